"""The file of progress: what is written is read again, and what is wrong with it is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest

from synth.errors import DesignError
from synth.practice.course import Terms
from synth.practice.judgement import Judgement
from synth.practice.progress import COLUMNS, MOST_RUNS, Run, add_run, by_day, of_score, practice_file, read_runs, run_of

RUN = Run("2026-03-01T10:00:00", "steps", "Lantern", 1.0, False, 15, 20.0, 4.5, -12.0, 0.75)


def test_runs_come_back_as_they_were_written(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "practice.csv"
    assert read_runs(file) == ()
    add_run(file, RUN)
    second = replace(RUN, when="2026-03-02T09:30:00", score='a, "b"', waited=True, rms_cents=10.0)
    assert add_run(file, second) == read_runs(file) == (RUN, second)
    formula = replace(RUN, design="=1+2", score="-steps")
    assert add_run(file, formula) == (RUN, second, formula) == read_runs(file)
    assert file.read_text(encoding="utf-8").endswith(",'-steps,'=1+2,1.0,no,15,20.0,4.5,-12.0,0.75\n")
    assert of_score(read_runs(file), "steps") == (RUN,)
    assert second.day == date(2026, 3, 2)


def test_days_are_weighed_by_their_notes() -> None:
    later = replace(RUN, when="2026-03-01T22:00:00", notes=5, rms_cents=40.0)
    other = replace(RUN, when="2026-02-27T08:00:00", rms_cents=30.0)
    # by hand: sqrt((15 * 400 + 5 * 1600) / 20) = sqrt(700)
    assert by_day([RUN, later, other]) == ((date(2026, 2, 27), 30.0), (date(2026, 3, 1), pytest.approx(700.0**0.5)))


def test_the_oldest_go_first(tmp_path: Path) -> None:
    file = tmp_path / "practice.csv"
    line = "2026-03-01T10:00:00,steps,Lantern,1.0,no,15,20.0,4.5,-12.0,0.75\n"
    file.write_text(",".join(COLUMNS) + "\n" + line * MOST_RUNS, encoding="utf-8")
    runs = add_run(file, replace(RUN, score="new"))
    assert len(runs) == MOST_RUNS
    assert runs[-1].score == "new"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nonsense\n", "line 1"),
        (f"{'x' * 200_000}\n", "not readable as CSV"),
        (",".join(COLUMNS) + "\n2026-03-01T10:00:00,steps\n", "line 2: has 2 columns"),
        (",".join(COLUMNS) + "\nyesterday,s,d,1,no,1,1,1,1,1\n", "line 2"),
        (",".join(COLUMNS) + "\n2026-03-01T10:00:00,s,d,1,perhaps,1,1,1,1,1\n", "yes or no"),
        (",".join(COLUMNS) + "\n2026-03-01T10:00:00,s,d,1,no,1,nan,1,1,1\n", "not finite"),
    ],
)
def test_a_damaged_file_names_the_line_and_the_remedy(tmp_path: Path, text: str, words: str) -> None:
    file = tmp_path / "practice.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=words) as raised:
        read_runs(file)
    assert "practice.csv" in str(raised.value)
    assert "rename" in str(raised.value)


def test_a_run_without_a_note_is_not_kept() -> None:
    nothing = Judgement((), None, None, None, None, None, None)
    now = datetime(2026, 3, 1, 10, 0, 0)
    assert run_of(nothing, "steps", "Lantern", Terms(), 1.0, now) is None
    kept = run_of(replace(nothing, rms_cents=12.345, late=0.0123), "steps", "Lantern", Terms(waits=True), 0.5, now)
    assert kept is not None
    assert (kept.rms_cents, kept.late_ms, kept.waited, kept.when) == (12.35, 12.3, True, "2026-03-01T10:00:00")


def test_the_file_is_the_users_own(private_cache: Path) -> None:
    assert practice_file().name == "practice.csv"
    assert "beatfield" in practice_file().parts
