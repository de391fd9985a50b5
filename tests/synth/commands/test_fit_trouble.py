"""`beatfield fit`: readings that are no tank's are one message with line and remedy; one slip is named and left out."""

from __future__ import annotations

from pathlib import Path

import pytest
from slow_ones import slow_ones

from models.tank import resonant_frequency
from synth.analysis.readings import read_readings
from synth.cli import main
from synth.errors import DesignError

P = 1e-12
COIL, STRAY = 1.05e-3, 62 * P


@pytest.fixture
def in_tmp(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def khz(value: float, more: float = 0.0, coil: float = COIL) -> str:
    """What a counter reads with `value` pF fitted and `more` pF beside the stray."""
    return f"{float(resonant_frequency(coil, STRAY + (value + more) * P)) / 1e3:.4f} kHz"


def table(*rows: str, head: str = "fitted_capacitor,frequency") -> str:
    return "\n".join((head, *rows)) + "\n"


BARE = tuple(f"{value} pF,{khz(value)}" for value in (47, 100, 220, 330, 470))
OTHER_BOARD = tuple(f"{value} pF,{khz(value, 90.0)}" for value in (68, 150, 270))
OTHER_COIL = tuple(f"{value} pF,{khz(value, coil=1.4 * COIL)}" for value in (100, 330, 470))
TURNED = "fitted_capacitor,frequency,trimmer"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        *slow_ones(
            (table(*BARE[:3], *OTHER_BOARD), ["from line 5 on", "90 pF more board stray", "column board"]),
            (
                table(BARE[0], OTHER_BOARD[0], BARE[1], OTHER_BOARD[1], BARE[2], OTHER_BOARD[2], BARE[3]),
                ["lines 3, 5, 7 fit", "90 pF more board stray", "column board"],
            ),
            (
                table(*BARE[:3], *OTHER_COIL),
                ["line 5 and line 3", "with nothing said to differ", "board", "trimmer"],
            ),
        ),
        *slow_ones(
            (table("100 pF,300 kHz", "330 pF,300 kHz", "470 pF,300 kHz"), ["line 2 and line 3", "was it joined"])
        ),
        (table(*(row.replace("pF", "nF") for row in BARE)), ["stray would be 60", "written as nF"]),
        (
            table(f"100 pF,{khz(170)},out", f"100 pF,{khz(108)},in", f"{BARE[2]},", f"{BARE[4]},", head=TURNED),
            ["line 2 and line 3", "in and out exchanged"],
        ),
        *slow_ones(
            (table("100 pF,380 kHz", "220 pF,305 kHz", "330 pF,240 kHz", "470 pF,220 kHz"), ["line", "tolerance"])
        ),
    ],
)
def test_readings_of_no_tank_are_refused(in_tmp, capsys, text, words):
    Path("r.csv").write_text(text, "utf-8")
    assert main(["fit", "r.csv", "--target-frequency", "200 kHz"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("beatfield: r.csv: the readings cannot be used: ")
    assert said.err.count("\n") == 1
    for word in words:
        assert word in said.err


@pytest.mark.parametrize(
    ("row", "slip"),
    [
        (f"330 pF,{2.0 * float(khz(330)[:-4])} kHz", "second harmonic"),
        *slow_ones(
            (f"330 pF,{khz(330).replace(' kHz', 'e-1 kHz')}", "a digit lost"),
            (f"330 pF,{khz(330).replace(' kHz', 'e1 kHz')}", "a digit too many"),
            (f"330 pF,{3.0 * float(khz(330)[:-4])} kHz", "third harmonic"),
            (f"330 pF,{0.5 * float(khz(330)[:-4])} kHz", "divides by two"),
            (f"3300 pF,{khz(330)}", "330 pF read as 3.3 nF"),
            (f"33 pF,{khz(330)}", "330 pF read as 33 pF"),
            (f"330 nF,{khz(330)}", "330 pF read as 330 nF"),
        ),
    ],
)
def test_one_slip_is_named_and_spoils_nothing(in_tmp, capsys, row, slip):
    Path("r.csv").write_text(table(*BARE[:3], row, BARE[4]), "utf-8")
    assert main(["fit", "r.csv"]) == 0
    told = capsys.readouterr().out
    assert "note: line 5" in told
    assert slip in told
    assert "1.05 mH" in told
    left_out = next(line for line in told.splitlines() if line.startswith("   5 "))
    assert left_out.endswith("left out")


def test_one_reading_with_nothing_fitted_stays_near_what_is_usual(in_tmp, capsys):
    """Of one reading both values hang together; neither may run away from what is assumed of it."""
    Path("r.csv").write_text(table("0 pF,600 kHz"), "utf-8")
    assert main(["fit", "r.csv"]) == 0
    coil = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("inductance"))
    assert "hardly told" in coil
    assert coil.split()[2] in ("mH", "uH")
    assert coil.split()[7] == "mH"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (table(*(row.replace(",", ";") for row in BARE)), ["line 2", "semicolons", "commas"]),
        (table(*(row.replace(",", "\t") for row in BARE)), ["line 2", "tabs", "commas"]),
        (table(*(row + "," for row in BARE)), ["line 2", "3 cells", "delete the commas"]),
        ("\n".join(BARE), ["line 1", "is a reading", "names the columns"]),
        (table(BARE[0], "100 pF"), ["line 3", "1 cell,", "one cell for each column"]),
    ],
)
def test_lines_that_are_no_cells_have_a_remedy(text, words):
    with pytest.raises(DesignError) as caught:
        read_readings(text, "r.csv")
    for word in words:
        assert word in str(caught.value)


def test_a_line_that_begins_with_a_hash_is_a_remark():
    rows = read_readings(table("# morning, 21 C", BARE[0], "", BARE[1])).rows
    assert [row.line for row in rows] == [3, 5]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (table("68 pF,3 MHz", "82 pF,2.8 MHz"), ["inductance would be", "2.7 mH", "units"]),
        pytest.param(
            table("440 Hz,5 cm", "440 Hz,10 cm", "440 Hz,20 cm", head="pitch,hand_distance"),
            ["line", "pitch = 440 Hz", "nearer"],
            marks=pytest.mark.slow,
        ),
    ],
)
def test_readings_of_another_design_are_refused(in_tmp, demos, capsys, text, words):
    Path("r.csv").write_text(text, "utf-8")
    which = [] if "pitch" in text else ["--which", "reference"]
    assert main(["fit", "r.csv", "--design", str(demos / "heron.toml"), *which]) == 2
    said = capsys.readouterr().err
    assert said.count("cannot be used") == 1
    for word in words:
        assert word in said
