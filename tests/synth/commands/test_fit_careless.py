"""`beatfield fit` and files as a hurried builder types them: each is read, or refused with line and remedy."""

from __future__ import annotations

import math
import re

import pytest

from models.tank import resonant_frequency
from synth.analysis.readings import read_readings
from synth.cli import main
from synth.errors import DesignError

P = 1e-12
COIL, STRAY = 1.02e-3, 55 * P
HEAD = "fitted_capacitor,frequency"
VALUES = (47, 100, 220, 330, 470)


def khz(value: float, more: float = 0.0) -> str:
    return f"{float(resonant_frequency(COIL, STRAY + (value + more) * P)) / 1e3:.4f} kHz"


def table(*rows: str, head: str = HEAD) -> str:
    return "\n".join((head, *rows)) + "\n"


ROWS = tuple(f"{value} pF,{khz(value)}" for value in VALUES)
GOOD = table(*ROWS)
HZ = {value: float(khz(value)[:-4]) * 1e3 for value in VALUES}

READ = {
    "byte order mark": "\ufeff" + GOOD,
    "CRLF": GOOD.replace("\n", "\r\n"),
    "CR": GOOD.replace("\n", "\r"),
    "empty lines": "\n\n" + GOOD.replace("\n", "\n\n"),
    "lines of commas alone": GOOD + ",\n , \n",
    "quotes": table(*(",".join(f'"{cell}"' for cell in row.split(",")) for row in ROWS)),
    "spaces around": GOOD.replace(",", " , "),
    "narrow spaces": GOOD.replace(" ", "\u00a0"),
    "capital header": table(*ROWS, head="Fitted_Capacitor,FREQUENCY"),
    "columns exchanged with their names": table(
        *(",".join(row.split(",")[::-1]) for row in ROWS), head="frequency,fitted_capacitor"
    ),
    "nF and MHz": table(*(f"{value / 1e3:g} nF,{HZ[value] / 1e6!r} MHz" for value in VALUES)),
    "micro sign": table(*(f"{value / 1e6:g} \u00b5F,{khz(value)}" for value in VALUES)),
    "Greek mu": table(*(f"{value / 1e6:g} \u03bcF,{khz(value)}" for value in VALUES)),
    "as on a schematic": table(*(f"{value}p,{HZ[value]!r}Hz" for value in VALUES)),
    "remarks": "# a bench\n" + GOOD + "# its end\n",
    "no line end": GOOD.rstrip("\n"),
}


@pytest.mark.parametrize("name", READ)
def test_what_can_be_read_is_read(name):
    rows = read_readings(READ[name].removeprefix("\ufeff")).rows
    assert [row.setting.fitted_capacitor for row in rows] == pytest.approx([value * P for value in VALUES], rel=1e-9)
    assert [row.read["frequency"] for row in rows] == pytest.approx([HZ[value] for value in VALUES], rel=1e-9)


def one(cells: str) -> str:
    """Two good lines and one with these cells: line 4."""
    return table(*ROWS[:2], cells)


FAULTS = {
    "no units": (table("47,493.4"), ["line 2", "no unit", "'100 pF'", "'236 kHz'"]),
    "unit in the header": (table(*ROWS, head="fitted_capacitor (pF),frequency (kHz)"), ["line 1", "did you mean"]),
    "kHz as Hz": (one("220 pF,300.5 Hz"), ["line 4", "was it 300.5 kHz"]),
    "Hz as kHz": (one("220 pF,300506 kHz"), ["line 4", "was it 300.506 kHz"]),
    "kHz as MHz": (one("220 pF,300.5 MHz"), ["line 4", "was it 300.5 kHz"]),
    "uF": (one("220 uF,300.5 kHz"), ["line 4", "was it 220 nF"]),
    "cells swapped": (one("300.5 kHz,220 pF"), ["line 4", "are the cells swapped"]),
    "decimal comma": (one("220 pF,300,5 kHz"), ["line 4", "point"]),
    "decimal comma in quotes": (one('220 pF,"300,5 kHz"'), ["line 4", "write 300.5 kHz"]),
    "thousands' comma": (one('220 pF,"300,506 Hz"'), ["line 4", "'300506 Hz'"]),
    "thousands' blank": (one("220 pF,300 506 Hz"), ["line 4", "without spaces"]),
    "thousands' apostrophe": (one("220 pF,300'506 Hz"), ["line 4", "write for example"]),
    "semicolons": (GOOD.replace(",", ";"), ["line 1", "semicolons", "commas"]),
    "semicolons below": (table("47 pF;493.4 kHz"), ["line 2", "semicolons", "commas"]),
    "tabs": (GOOD.replace(",", "\t"), ["line 1", "tabs", "commas"]),
    "blanks for commas": (GOOD.replace(",", "  "), ["line 1", "did you mean"]),
    "commas at the end": (table(ROWS[0] + ",,"), ["line 2", "delete the commas"]),
    "a comma behind the header": (table(ROWS[0] + ",", head=HEAD + ","), ["line 1", "no name", "delete the comma"]),
    "a remark as a column": (table(ROWS[0] + ",good", head=HEAD + ",remark"), ["line 1", "unknown column 'remark'"]),
    "foreign names": (table(*ROWS, head="Kondensator,Frequenz"), ["line 1", "'kondensator'", "columns are"]),
    "blank for underscore": (table(*ROWS, head="fitted capacitor,frequency"), ["line 1", "'fitted_capacitor'"]),
    "header again": (table(*ROWS[:2], HEAD, *ROWS[2:]), ["line 4", "write for example"]),
    "no header": ("\n".join(ROWS), ["line 1", "is a reading", "names the columns"]),
    "header only": (HEAD + "\n", ["no readings", "below the header"]),
    "empty": ("", ["is empty", HEAD]),
    "blank lines": ("\n\n", ["is empty", HEAD]),
    "no frequency column": (table("47 pF", head="fitted_capacitor"), ["line 1", "frequency is missing"]),
    "empty frequency": (one("220 pF,"), ["line 4", "is empty", "leave the line out"]),
    "empty capacitor": (one(",300.5 kHz"), ["line 4", "is empty", "'100 pF'"]),
    "question mark": (one("220 pF,?"), ["line 4", "'236 kHz'"]),
    "dash": (one("220 pF,-"), ["line 4", "'236 kHz'"]),
    "about": (one("220 pF,~300 kHz"), ["line 4", "'236 kHz'"]),
    "plus minus": (one("220 pF,300.5 kHz +- 0.1"), ["line 4", "'236 kHz'"]),
    "range": (one("220 pF,300-301 kHz"), ["line 4", "'236 kHz'"]),
    "a date": (one("220 pF,3. Apr"), ["line 4", "'236 kHz'"]),
    "negative capacitor": (one("-220 pF,300.5 kHz"), ["line 4", "between 0 F and 1 uF"]),
    "negative frequency": (one("220 pF,-300.5 kHz"), ["line 4", "between 1 kHz and 100 MHz"]),
    "nothing counted": (one("220 pF,0 Hz"), ["line 4", "between 1 kHz"]),
    "not a number": (one("220 pF,nan kHz"), ["line 4", "'236 kHz'"]),
    "infinite": (one("220 pF,inf kHz"), ["line 4", "'236 kHz'"]),
    "overflow": (one("220 pF,1e400 kHz"), ["line 4", "too large"]),
    "case": (one("220 PF,300.5 KHZ"), ["line 4", "write 'pF'", "write 'kHz'"]),
    "typographic quotes": (one("\u201c220 pF\u201d,300.5 kHz"), ["line 4", "'100 pF'"]),
    "a quote left open": (one('"220 pF,300.5 kHz'), ["line 4", "CSV"]),
    "a zero byte": (one("220 pF,300.5 k\0Hz"), ["line 4", "invisible"]),
    "trimmer in hundredths": (table("47 pF,493 kHz,50", head=HEAD + ",trimmer"), ["line 2", "write '50 %'"]),
    "trimmer in a word": (table("47 pF,493 kHz,half", head=HEAD + ",trimmer"), ["line 2", "'0.5'"]),
    "wrong oscillator": (table("47 pF,493 kHz,pitch", head=HEAD + ",oscillator"), ["line 2", "reference, variable"]),
    "wrong note": (table("H4,5 cm", head="pitch,hand_distance"), ["line 2", "'A4' or '440 Hz'"]),
    "note without octave": (table("C#,5 cm", head="pitch,hand_distance"), ["line 2", "octave"]),
    "distance without unit": (table("440 Hz,5", head="pitch,hand_distance"), ["line 2", "'0.45 m'"]),
    "distance in m": (table("440 Hz,20 m", head="pitch,hand_distance"), ["line 2", "between 5 mm and 5 m"]),
    "another file": ('[reference]\ncapacitance = "47 pF"\n', ["line 1", "unknown column"]),
    "a table of a text": ("| fitted_capacitor | frequency |\n|---|---|\n", ["line 1", "begin with the header"]),
}


@pytest.mark.parametrize("name", FAULTS)
def test_what_cannot_be_read_has_line_and_remedy(name):
    text, words = FAULTS[name]
    with pytest.raises(DesignError) as caught:
        read_readings(text, "r.csv")
    said = str(caught.value)
    assert all(line.startswith("r.csv: ") for line in said.splitlines())
    for word in words:
        assert word in said


FITTED = {
    "two lines exchanged": (table(ROWS[0], f"100 pF,{khz(220)}", f"220 pF,{khz(100)}", *ROWS[3:]), "line 3 and line 4"),
    "two boards in turns": (
        table(
            *(row for pair in zip(ROWS, [f"{c} pF,{khz(c, 60)}" for c in (68, 150, 270)], strict=False) for row in pair)
        ),
        "lines 3, 5, 7",
    ),
    "the wrong way round": (table(*(f"{a} pF,{khz(b)}" for a, b in zip(VALUES, VALUES[::-1], strict=True))), "swapped"),
    "one frequency for all": (table(*(f"{value} pF,303 kHz" for value in VALUES)), "was it joined"),
    "one reading": (table(ROWS[0]), ""),
    "the same line twice": (table(ROWS[0], ROWS[0]), ""),
    "nothing fitted": (table(f"0 pF,{khz(0)}", *ROWS), ""),
    "a marking of digits": (table(*ROWS[:1], f"101 pF,{khz(100)}", *ROWS[2:]), ""),
    "a harmonic": (table(*ROWS[:2], f"220 pF,{2.0 * HZ[220]!r} Hz", *ROWS[3:]), "second harmonic"),
    "numbers of nothing": (table("47 pF,812 kHz", "100 pF,101 kHz", "220 pF,455 kHz"), "line"),
}


# many exchanges are tried
COSTLY = (
    "two lines exchanged",
    "two boards in turns",
    "the wrong way round",
    "one frequency for all",
    "a harmonic",
    "numbers of nothing",
)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name in COSTLY else []) for name in FITTED]
)
def test_what_is_fitted_is_told_without_an_absurd_value(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    text, words = FITTED[name]
    (tmp_path / "r.csv").write_text(text, "utf-8")
    code = main(["fit", "r.csv"])
    said = capsys.readouterr()
    assert code in (0, 2)
    assert "Traceback" not in said.err
    assert words in said.out + said.err
    for line in said.out.splitlines():
        if re.match("(inductance|stray)", line):
            number, unit = line.split()[1:3]
            assert float(number) >= 0.0
            assert unit in ("pF", "nF", "uH", "mH", "H", "F")
            assert not math.isclose(float(number), 0.0) or unit == "F"


@pytest.mark.slow
def test_distances_from_far_to_near_are_named(tmp_path, monkeypatch, capsys, demos):
    monkeypatch.chdir(tmp_path)
    rows = "100 Hz,10 cm", "900 Hz,40 cm"
    (tmp_path / "r.csv").write_text(table(*rows, head="pitch,hand_distance"), "utf-8")
    main(["fit", "r.csv", "--design", str(demos / "heron.toml")])
    said = capsys.readouterr()
    assert f"lines 2 to {len(rows) + 1}: the pitch rises" in said.out + said.err
    assert "opposite order" in said.out + said.err
