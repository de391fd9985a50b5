"""The commands practice and hand: what the user's files hold, in every form."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from synth.cli import main
from synth.hands.own_hand_file import hand_file, own_hand
from synth.hands.trace_file import save_trace
from synth.practice.exercises import NAMES
from synth.practice.progress import Run, add_run, practice_file
from tests.guide.guide_blocks import returns


@pytest.fixture(autouse=True)
def own_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


def test_practice_lists_the_exercises_and_the_days(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["practice"]) == 0
    said = capsys.readouterr().out
    assert all(name in said for name in NAMES)
    assert "nothing was practised yet" in said
    for day, error in (("01", 40.0), ("02", 30.0), ("03", 20.0)):
        add_run(
            practice_file(), Run(f"2026-03-{day}T10:00:00", "steps", "Lantern", 1.0, False, 15, error, 4.0, 10.0, 1.0)
        )
    assert main(["practice", "steps"]) == 0
    line = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("steps  ") and "cents" in line)
    # lit next time: (mean of the last three - 10) / (50 - 10), by hand
    assert line.split() == ["steps", "3", "3", "40.0", "cents", "20.0", "cents", "50", "%"]
    assert main(["practice", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [day["rms_cents"] for day in document["days"]] == [40.0, 30.0, 20.0]
    assert main(["practice", "--csv", "-"]) == 0
    assert capsys.readouterr().out.count("steps") == 3
    assert main(["practice", "steps", "--plot", "steps.png"]) == 0
    assert Path("steps.png").stat().st_size > 5000


def test_practice_refuses_what_was_never_practised(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["practice", "stepz"]) == 2
    assert "did you mean" in capsys.readouterr().err
    practice_file().parent.mkdir(parents=True)
    practice_file().write_text("x\n", encoding="utf-8")
    assert main(["practice"]) == 2
    assert "practice.csv" in capsys.readouterr().err


def test_a_hand_is_measured_kept_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hand"]) == 2
    assert "beatfield hand TRACE.csv" in capsys.readouterr().err
    assert main(["hand", "--keep"]) == 2
    capsys.readouterr()
    save_trace(returns(), "returns.csv")
    assert main(["hand", "returns.csv"]) == 0
    measured = capsys.readouterr().out
    assert "10 to 42 cm" in measured
    assert own_hand() is None
    assert main(["hand", "returns.csv", "--keep"]) == 0
    assert str(hand_file()) in capsys.readouterr().err
    assert main(["hand", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["scatter"] == pytest.approx(3.2e-3, abs=1e-4)
    assert document["source"] == "returns.csv"


def test_play_takes_an_exercise_or_a_tune(tmp_path: Path, refused: Callable[[list[str], list[str]], None]) -> None:
    from synth.commands.play import practice_of

    assert practice_of("thirds").titles[practice_of("thirds").place] == "Thirds"
    tune = tmp_path / "mine.txt"
    tune.write_text("A4 1/4, C5 1/4", encoding="utf-8")
    assert practice_of(str(tune)).titles[0].endswith("mine.txt")
    tune.unlink()
    refused(["play", "--practise", "stepz"], ["stepz", "did you mean 'steps'", "long-notes"])
    refused(["play", "--practise", "nothing.mid"], ["nothing.mid", "no such tune"])
