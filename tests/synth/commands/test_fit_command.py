"""`beatfield fit`: from a CSV of readings to the same figures everywhere, and every fault with its line."""

from __future__ import annotations

import csv
import io
import json
import math
from functools import partial
from pathlib import Path

import pytest

from models.branch.modes import mode_frequencies
from models.tank import resonant_frequency
from synth.analysis.readings import MOST_ROWS, read_readings
from synth.build.workbench import OpenedDesign
from synth.cli import main
from synth.designs.design_file import load_design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
# common practice: 400 pF -> 147 kHz and 100 pF -> 172.278 kHz give 1.063 mH and 703 pF
PRACTICE = 'fitted_capacitor,frequency\n"400 pF","147 kHz"\n"100 pF","172.278 kHz"\n'


@pytest.fixture
def in_tmp(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def fitted(text: str, capsys, *options: str) -> dict:
    Path("readings.csv").write_text(text, "utf-8")
    assert main(["fit", "readings.csv", "--json", *options]) == 0
    return json.loads(capsys.readouterr().out)


def made(inductance: float, stray: float, trimmer: tuple[float, float], rows: list[tuple[float, float]]) -> str:
    """A readings file of a plain tank: rows of fitted capacitor and trimmer position."""
    lines = ["fitted_capacitor,frequency,trimmer"]
    for capacitor, position in rows:
        total = capacitor + stray + trimmer[0] + position * (trimmer[1] - trimmer[0])
        frequency = float(resonant_frequency(inductance, total))
        lines.append(f"{format_quantity(capacitor, 'F', None)},{frequency!r} Hz,{position}")
    return "\n".join(lines) + "\n"


def test_common_practice_readings(in_tmp, capsys):
    document = fitted(PRACTICE, capsys)
    assert document["schema"] == "beatfield.fit/2"
    found = {part["name"]: part for part in document["inferred"]}
    assert found["inductance"]["value"] == close(1.063e-3, rel=5e-4)
    assert found["stray"]["value"] == close(703e-12, rel=5e-4)
    assert document["closed_form"] == close([found["inductance"]["value"], found["stray"]["value"]], rel=3e-4)
    assert any("as many unknowns" in notice for notice in document["notices"])


def test_text_json_and_plot_say_the_same(in_tmp, capsys):
    document = fitted(
        PRACTICE,
        capsys,
        "--target-frequency",
        "160 kHz",
        "--board",
        "perfboard",
        "--other-board",
        "solderless breadboard",
    )
    options = ["--target-frequency", "160 kHz", "--board", "perfboard", "--other-board", "solderless breadboard"]
    assert main(["fit", "readings.csv", "--plot", "fit.svg", "--csv", "fit.csv", *options]) == 0
    text = capsys.readouterr().out
    rows = list(csv.DictReader(io.StringIO(Path("fit.csv").read_text("utf-8"))))
    assert len(rows) == len(document["residuals"])
    for row, figures in zip(rows, document["residuals"], strict=True):
        for name, value in figures.items():
            said = row[name]
            if isinstance(value, float):
                assert float(said) == value
            else:
                assert said == ("" if value is None else str(value).lower() if isinstance(value, bool) else str(value))
    left_out = next(notice for notice in document["notices"] if notice.startswith("fitted by the resonance alone"))
    assert "coil loss" in left_out
    assert "transistor" in left_out
    assert "50 ppm" in left_out  # 1 / (2 x 100^2)
    assert left_out in text
    for part in document["inferred"]:
        for figure in ("value", "low", "high"):
            assert format_quantity(part[figure], part["unit"]) in text
    for row in document["residuals"]:
        assert f"{row['read'] / 1e3:.3f} kHz" in text
    for target in document["targets"]:
        assert f"{target['low_hz'] / 1e3:.3f} to {target['high_hz'] / 1e3:.3f} kHz" in text
    assert "larger than the stated perfboard explains" in document["board_says"]
    assert document["board_says"] in text
    assert "<svg" in Path("fit.svg").read_text("utf-8")


def test_target_is_reached_by_the_closed_form(in_tmp, capsys):
    document = fitted(PRACTICE, capsys, "--target-frequency", "160 kHz")
    inductance, elsewhere = document["closed_form"]
    target = document["targets"][0]
    exact = 1 / ((2 * math.pi * 160e3) ** 2 * inductance) - elsewhere
    assert target["needed_f"] == close(exact, rel=1e-3)
    assert target["fitted_f"] == 220e-12
    assert target["lower_f"] + target["trimmer_f"] == close(target["needed_f"], rel=1e-9)
    assert target["frequency_hz"] == close(float(resonant_frequency(inductance, elsewhere + 220e-12)), rel=2e-4)


def test_other_board_moves_the_target_by_its_stray(in_tmp, capsys):
    text = made(1e-3, 40 * P, (8 * P, 58 * P), [(100 * P, 0.0), (100 * P, 1.0), (330 * P, 0.0), (470 * P, 1.0)])
    here, there = fitted(
        text,
        capsys,
        "--target-frequency",
        "250 kHz",
        "--board",
        "perfboard",
        "--series",
        "E24",
        "--other-board",
        "solderless breadboard",
    )["targets"]
    added = 0.5 * (10 + 60 - 4 - 25) * P  # middles of the usual ranges
    assert there["added_stray_f"] == close(added, rel=1e-9)
    assert here["needed_f"] - there["needed_f"] == close(added, rel=1e-6)
    moved = float(resonant_frequency(1e-3, 1 / ((2 * math.pi * 250e3) ** 2 * 1e-3) + added))
    assert there["shift_hz"] == close(moved - 250e3, rel=2e-3)
    tank = 1 / ((2 * math.pi * 250e3) ** 2 * 1e-3)
    for end, difference in (("shift_least_hz", 60 - 4), ("shift_most_hz", 10 - 25)):  # most and least stray of it
        assert there[end] == close(float(resonant_frequency(1e-3, tank + difference * P)) - 250e3, rel=2e-3)
    assert there["frequency_hz"] == close(250e3, rel=1e-6)
    assert 0.0 <= there["trimmer"] <= 1.0


def test_what_cannot_be_told_apart_is_said_and_separated(in_tmp, capsys):
    text = made(1e-3, 40 * P, (8 * P, 58 * P), [(100 * P, 0.0), (100 * P, 1.0), (330 * P, 0.0), (470 * P, 1.0)])
    document = fitted(text, capsys)
    assert document["not_told"] == ["trimmer_minimum"]
    sums = {part["name"]: part["value"] for part in document["sums"]}
    assert sums["stray + trimmer_minimum"] == close(48 * P, rel=5e-3)
    assert "trimmer" not in document["next_reading"]["setting"], "with the trimmer away"
    best = document["next_reading"]["fitted_capacitor_f"]
    more = text + f"{format_quantity(best, 'F', None)},{float(resonant_frequency(1e-3, best + 40 * P))!r} Hz,\n"
    apart = {part["name"]: part for part in fitted(more, capsys)["inferred"]}
    for name, truth in (("trimmer_minimum", 8 * P), ("stray", 40 * P)):
        assert apart[name]["low"] < truth < apart[name]["high"]
        assert apart[name]["told"]
    assert apart["trimmer_minimum"]["value"] == close(8 * P, rel=0.02)
    known = fitted(text, capsys, "--known", "trimmer_minimum=8 pF,1 pF")
    assert {part["name"]: part["value"] for part in known["inferred"]}["stray"] == close(40 * P, rel=0.02)


def test_design_written_back_reads_what_was_read(in_tmp, capsys):
    rows = [(100 * P, 0.0), (100 * P, 1.0), (330 * P, 0.0), (470 * P, 1.0)]
    fitted(made(1e-3, 40 * P, (8 * P, 58 * P), rows), capsys, "-o", "new.toml", "--target-frequency", "250 kHz")
    tank = load_design("new.toml").reference
    total = (
        tank.capacitance
        + tank.stray
        + tank.trimmer_minimum
        + tank.trimmer * (tank.trimmer_maximum - tank.trimmer_minimum)
    )
    assert resonant_frequency(tank.inductance, total) == close(250e3, rel=1e-6)
    assert tank.trimmer_maximum - tank.trimmer_minimum == close(50 * P, rel=2e-3)
    assert main(["field", "new.toml", "--json"]) == 0
    capsys.readouterr()
    assert main(["fit", "readings.csv", "-o", "new.toml"]) == 2
    assert "--force" in capsys.readouterr().err


def test_hand_distances_behind_a_branch(in_tmp, demos, capsys):
    """A made bench of the Meadow design with 3.5 pF of antenna stray gives that back and keeps the rest."""
    design = load_design(demos / "meadow.toml")
    opened = OpenedDesign(design)
    curve, branch, ends = opened.curve, opened.branch, opened.wired.antenna.stray - design.antenna.stray
    rows = [(c * P, None) for c in (180, 270, 470)] + [(270 * P, d) for d in (0.1, 0.3, 0.6)]
    lines = ["fitted_capacitor,frequency,hand_distance"]
    for capacitor, distance in rows:
        total, cell = capacitor + 85 * P, "" if distance is None else f"{distance} m"
        if distance is None:
            frequency = float(resonant_frequency(1e-3, total))
        else:
            antenna, total = float(curve.capacitance(distance)) + 3.5 * P + ends, total + ends
            frequency = float(mode_frequencies(1e-3, total, branch.inductance, antenna, branch.self_capacitance)[1])
        lines.append(f"{format_quantity(capacitor, 'F', None)},{frequency!r} Hz,{cell}")
    text = "\n".join(lines) + "\n"
    document = fitted(text, capsys, "--design", str(demos / "meadow.toml"), "-o", "m.toml")
    found = {part["name"]: part for part in document["inferred"]}
    assert found["antenna_stray"]["low"] < 3.5 * P < found["antenna_stray"]["high"]
    assert found["inductance"]["value"] == close(1e-3, rel=5e-3)
    assert document["which"] == "variable"
    assert {row["mode"] for row in document["residuals"]} == {None, "high"}
    written = load_design("m.toml")
    assert written.antenna.stray == close(3.5 * P, rel=0.15)
    assert written.reference == design.reference


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["empty", "fitted_capacitor,frequency"]),
        ("fitted_capacitor\n100 pF\n", ["line 1", "frequency is missing"]),
        ("fitted_capacitor,frequency,colour\n", ["line 1", "colour"]),
        ("fitted_capacitor,frequency,frequency\n", ["line 1", "twice"]),
        ("fitted_capacitor,frequency\n", ["no readings"]),
        ("fitted_capacitor;frequency\n100 pF;200 kHz\n", ["line 1", "semicolons", "commas"]),
        ("fitted_capacitor,frequency\n100 pF,231,4 kHz\n", ["line 2", "point"]),
        ('fitted_capacitor,frequency\n100 pF,"231,4 kHz"\n', ["line 2", "decimal comma", "231.4"]),
        ("fitted_capacitor,frequency\n200 kHz,100 pF\n", ["line 2", "swapped"]),
        ("fitted_capacitor,frequency\n100 pF,231.4 Hz\n", ["line 2", "was it 231.4 kHz"]),
        ("fitted_capacitor,frequency\n100 nF,231.4 kHz\n100 uF,90 kHz\n", ["line 3", "was it 100 nF"]),
        (",".join(["frequency"] * 100_000) + "\n", ["line 1", "100000 columns"]),
        ("fitted_capacitor,pitch\n100 pF,A4\n", ["line 2", "hand_distance"]),
        ("fitted_capacitor,frequency,oscillator\n100 pF,200 kHz,variabel\n", ["line 2", "did you mean 'variable'"]),
        (
            "fitted_capacitor,frequency\n100,200 kHz\n220 pF,300 mH\n",
            ["line 2", "line 3", "fitted_capacitor", "frequency"],
        ),
        ("fitted_capacitor,frequency\n100 pF,200 kHz,1\n", ["line 2", "3 cells"]),
        ("fitted_capacitor,frequency\n100 pF,\n", ["line 2", "empty"]),
        ("fitted_capacitor,frequency,trimmer\n100 pF,200 kHz,1.5\n", ["line 2", "trimmer"]),
        ("fitted_capacitor,frequency\n-5 pF,200 kHz\n", ["line 2", "between"]),
        ('fitted_capacitor,frequency\n"100 pF,200 kHz\n', ["line 2", "CSV"]),
        ("fitted_capacitor,frequency\n" + "1 pF,x\n" * 14, ["line 11", "and 4 more faults"]),
        ("fitted_capacitor,frequency\n" + "100 pF,200 kHz\n" * (MOST_ROWS + 1), [str(MOST_ROWS)]),
    ],
)
def test_faults_of_a_file_have_their_lines(text, words):
    with pytest.raises(DesignError) as caught:
        read_readings(text, "r.csv")
    for word in words:
        assert word in str(caught.value)


def test_ends_of_a_trimmer_and_an_empty_room_have_words():
    text = "fitted_capacitor,frequency,trimmer,hand_distance\n47 pF,1 MHz,out,away\n47 pF,1 MHz,IN,\n"
    rows = [row.setting for row in read_readings(text).rows]
    assert [(row.trimmer, row.away, row.antenna_plugged) for row in rows] == [(0.0, True, True), (1.0, False, False)]
    notes = read_readings("fitted_capacitor,pitch,hand_distance\n47 pF,A4,10 cm\n,261.6 Hz,away\n").rows
    assert [row.read["pitch"] for row in notes] == [440.0, 261.6]


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        (PRACTICE, ["--board", "perfbord"], ["perfbord", "did you mean 'perfboard'"]),
        (PRACTICE, ["--series", "E7"], ["E7", "E12"]),
        (PRACTICE, ["--target-frequency", "160"], ["--target-frequency", "unit"]),
        (PRACTICE, ["--target-frequency", "1 MHz"], ["too much", "less inductance"]),
        (PRACTICE, ["--other-board", "perfboard"], ["--board"]),
        (PRACTICE, ["--counter-error", "x"], ["--counter-error"]),
        (PRACTICE, ["--counter-error", "0 Hz"], ["--counter-error"]),
        (PRACTICE, ["--capacitor-tolerance", "120 %"], ["--capacitor-tolerance"]),
        (PRACTICE, ["--known", "stay=3 pF"], ["stay", "did you mean 'stray'"]),
        (PRACTICE, ["--known", "stray=3"], ["--known", "unit"]),
        (PRACTICE, ["--plot", "a.bmp"], ["a.bmp", ".png"]),
        (PRACTICE.replace("400 pF", "50 pF"), [], ["lower frequency"]),
        ("fitted_capacitor,frequency,hand_distance\n47 pF,1 MHz,10 cm\n68 pF,0.9 MHz,\n", [], ["--design"]),
        ("fitted_capacitor,frequency,pot\n47 pF,1 MHz,0.5\n68 pF,0.9 MHz,\n", [], ["pot", "[circuit]"]),
        (
            "fitted_capacitor,frequency\n47 pF,200 kHz\n47 pF,200 kHz\n",
            ["-o", "a.toml"],
            ["inductance", "next reading"],
        ),
    ],
)
def test_bad_usage_is_one_message_and_leaves_nothing(in_tmp, capsys, text, options, words):
    Path("r.csv").write_text(text, "utf-8")
    assert main(["fit", "r.csv", *options]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    for word in words:
        assert word in said.err
    assert [file.name for file in in_tmp.iterdir()] == ["r.csv"]


@pytest.mark.slow
def test_the_table_keeps_its_columns_apart_and_the_plot_draws_the_curve_between(in_tmp, capsys):
    rows = ["fitted_capacitor,frequency,trimmer,fine_trimmer,board"]
    rows += [
        f"{value} pF,{frequency} kHz,0.25,0.5,a long name of a board" for value, frequency in ((510, 210), (560, 203))
    ]
    Path("r.csv").write_text("\n".join(rows) + "\n", "utf-8")
    assert main(["fit", "r.csv", "--plot", "fit.svg"]) == 0
    lines = capsys.readouterr().out.splitlines()
    head = next(line for line in lines if line.startswith("line"))
    for line in lines[lines.index(head) + 1 :][:2]:
        assert "0 pF  trimmer 0.25, fine trimmer 0.5, a long name of a board  " in line
        assert line.index("kHz") == head.index("read") + 1
    drawn = Path("fit.svg").read_text("utf-8")
    assert drawn.count("<path") > 20
    assert "as designed" not in drawn


@pytest.mark.slow
def test_residuals_too_large_for_the_errors_are_told(in_tmp, capsys):
    rows = [(100 * P, 0.0), (220 * P, 0.0), (330 * P, 0.0), (470 * P, 0.0)]
    text = made(1e-3, 40 * P, (0.0, 0.0), rows).replace(",0.0\n", "\n").replace(",trimmer", "")
    assert not any("larger than" in notice for notice in fitted(text, capsys)["notices"])
    wrong = fitted(text.replace("330 pF", "390 pF"), capsys)
    assert "line 4" in wrong["slips"][0]
    assert "looks like 330 pF read as 390 pF" in wrong["slips"][0]
    assert [row["kept"] for row in wrong["residuals"]] == [True, True, False, True]
    coil = next(part for part in wrong["inferred"] if part["name"] == "inductance")
    assert coil["low"] < 1e-3 < coil["high"]
    drifted = fitted(text.replace("330 pF", "338 pF"), capsys, "--capacitor-tolerance", "0.5 %")
    assert drifted["slips"] or any("larger than the stated errors explain" in one for one in drifted["notices"])
