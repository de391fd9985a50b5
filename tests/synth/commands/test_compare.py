"""`beatfield compare`: one set of figures in text, JSON, CSV and plot; the same hand for every design."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest

from synth.build.workbench import open_design
from synth.cli import main
from synth.hands.gestures import shared_path


@pytest.fixture
def designs(demos, tmp_path, monkeypatch) -> list[str]:
    monkeypatch.chdir(tmp_path)
    return [str(demos / f"{name}.toml") for name in ("meadow", "heron", "puddle")]


def test_same_figures_everywhere(designs, capsys):
    assert main(["compare", *designs, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "beatfield.compare/1"
    assert [row["design"] for row in document["designs"]] == ["Meadow", "Heron", "Puddle"]
    assert main(["compare", *designs, "--csv", "-"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    for row, cells in zip(document["designs"], rows, strict=True):
        for name, cell in cells.items():
            if row[name] is None:
                assert cell == ""
            elif isinstance(row[name], float):
                assert float(cell) == pytest.approx(row[name], rel=1e-8)
            else:
                assert cell == str(row[name])
    assert main(["compare", *designs]) == 0
    text = capsys.readouterr().out
    for row in document["designs"]:
        assert f"{row['reference_frequency_hz'] / 1e3:.3f} kHz" in text
        assert f"{100 * row['playable_far_m']:.1f} cm" in text
    assert document["designs"][2]["range_rms_cents"] is None, "three octaves are not four"
    assert f"{document['designs'][0]['range_rms_cents']:.0f} cents" in text


def test_figures_are_those_of_the_field_command(designs, capsys):
    designs = designs[::2]
    assert main(["compare", *designs, "--json"]) == 0
    together = json.loads(capsys.readouterr().out)["designs"]
    for name, row in zip(designs, together, strict=True):
        assert main(["field", name, "--json"]) == 0
        alone = json.loads(capsys.readouterr().out)
        for key in ("design_hash", "zero_beat_m", "lowest_hz", "highest_hz", "linearity_rms_cents", "mode"):
            assert row[key] == alone[key]
        assert row["octaves"] == len(alone["octaves"])


@pytest.mark.slow
def test_designs_of_one_name_are_told_apart_by_their_files(designs, capsys):
    mine, built = (Path(name) for name in ("mine.toml", "built.toml"))
    for file in (mine, built):
        file.write_text(Path(designs[1]).read_text("utf-8"), "utf-8")
    assert main(["compare", str(mine), str(built), designs[0], "--plot", "fields.svg"]) == 0
    head = capsys.readouterr().out.splitlines()[0]
    for label in ("1 Heron (mine.toml)", "2 Heron (built.toml)", "3 Meadow"):
        assert label in head
        assert label in Path("fields.svg").read_text("utf-8"), "the legend"


@pytest.mark.slow
def test_plot_holds_every_design(designs, capsys):
    assert main(["compare", *designs, "--plot", "all.svg"]) == 0
    drawn = Path("all.svg").read_text("utf-8")
    assert drawn.count("<path") > 40


def test_the_hand_is_the_same_and_never_shrill(designs):
    pieces = [open_design(Path(name)) for name in designs[:2]]
    path, _ = shared_path("sweep", pieces, 4.0, 3)
    again, _ = shared_path("sweep", pieces, 4.0, 3)
    assert np.array_equal(path.distances, again.distances)
    for piece in pieces:
        assert np.abs(piece.field.frequency_at(np.clip(path.distances, None, piece.field.playable_far))).max() < 2094.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["A"], ["two designs"]),
        (["A", "B", "--gesture", "sweep"], ["--gesture is for sound", "-o"]),
        (["A", "B", "-o", "a.mp3"], ["a.mp3", ".wav"]),
        (["A", "B", "--plot", "a.bmp"], ["a.bmp", ".png"]),
        (["A", "B", "--range", "65Hz"], ["--range 65Hz", "colon"]),
        (["A", "B", "--range", "1047Hz:65Hz"], ["below the second"]),
        (["A", "B", "--gesture", "swoop", "-o", "a.wav"], ["swoop", "sweep"]),
        (["A", "missing.toml"], ["missing.toml"]),
    ],
)
def test_bad_usage_is_one_message_and_leaves_nothing(designs, refused, arguments, words):
    named = [{"A": designs[0], "B": designs[1]}.get(word, word) for word in arguments]
    refused(["compare", *named], words)


def test_interrupt_leaves_no_file(designs, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("synth.sound.voice.Voice.render", interrupted)
    assert main(["compare", *designs[:2], "--seconds", "1", "-o", "a.wav"]) == 130
    assert list(Path().iterdir()) == []
