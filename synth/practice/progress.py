"""What is kept of every run, in one small file of the user's own: a line a run, and from it the plot of the days.

The file is CSV with a header: it can be read, sorted and thrown away with any other program.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import astuple, fields
from datetime import date, datetime
from pathlib import Path

from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.files.atomic_file import make_folder, write_text
from synth.files.input_file import read_text
from synth.files.plain_text import counted, for_spreadsheet, from_spreadsheet
from synth.practice.course import Terms
from synth.practice.judgement import Judgement

MOST_RUNS = 5000  # kept; the oldest go first
LARGEST_FILE = 2_000_000  # bytes
LARGEST = 1e9  # of every number; what is larger was not written by a run


@dataclass(frozen=True, slots=True)
class Run:
    """One run: when it ended, what was played on which design, how, and what came of it.

    `when`: local time, ISO 8601. notes: how many were heard; late_ms: median. guided_share: of the notes that were lit.
    """

    when: str
    score: str
    design: str
    tempo: float
    waited: bool
    notes: int
    rms_cents: float
    spread_cents: float
    late_ms: float
    guided_share: float

    @property
    def day(self) -> date:
        """The day it was played on."""
        return datetime.fromisoformat(self.when).date()


COLUMNS = tuple(part.name for part in fields(Run))


def practice_file() -> Path:
    """Where the runs are kept."""
    from platformdirs import user_data_path

    return user_data_path("beatfield", appauthor=False) / "practice.csv"


def run_of(
    judgement: Judgement, score: str, design: str, terms: Terms, guided_share: float, when: datetime
) -> Run | None:
    """What is kept of a run; None where no note was heard."""
    if judgement.rms_cents is None:
        return None
    return Run(
        when.isoformat(timespec="seconds"),
        score,
        design,
        terms.tempo,
        terms.waits,
        judgement.heard,
        round(judgement.rms_cents, 2),
        round(judgement.spread_cents or 0.0, 2),
        round(1000.0 * (judgement.late or 0.0), 1),
        round(guided_share, 3),
    )


def read_runs(path: Path) -> tuple[Run, ...]:
    """The runs in a file, oldest first; none where there is no file yet. DesignError names the line it cannot read."""
    if not (path.exists() or path.is_symlink()):
        return ()
    remedy = "mend that line, or rename the file to begin a new one"
    text = read_text(path, LARGEST_FILE, "rename it", "begin by practising", "rename it to begin a new one")
    reader = csv.reader(io.StringIO(text))
    try:
        rows = [(reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        raise DesignError(f"{path}: line {reader.line_num}: not readable as CSV ({error}); {remedy}") from None
    if not rows or tuple(rows[0][1]) != COLUMNS:
        raise DesignError(f"{path}: line 1 must be {','.join(COLUMNS)}; rename the file to begin a new one")
    runs = []
    for line, cells in rows[1:]:
        try:
            runs.append(_run(cells))
        except ValueError as error:
            raise DesignError(f"{path}: line {line}: {error}; {remedy}") from None
    return tuple(runs)


def _run(cells: Sequence[str]) -> Run:
    if len(cells) != len(COLUMNS):
        raise ValueError(f"has {counted(len(cells), 'column')} instead of {len(COLUMNS)}")
    when, score, design, tempo, waited, notes, *rest = cells
    datetime.fromisoformat(when)
    if waited not in ("yes", "no"):
        raise ValueError(f"waited must be yes or no; got {waited[:20]!r}")
    numbers = [float(tempo), *map(float, rest)]
    if not all(abs(number) <= LARGEST for number in numbers):
        raise ValueError(f"holds a number that is not finite, or beyond {LARGEST:g}")
    if not 0 <= int(notes) <= LARGEST:
        raise ValueError(f"notes must be 0 or more; got {notes[:20]}")
    score, design = map(from_spreadsheet, (score, design))
    return Run(when, score, design, numbers[0], waited == "yes", int(notes), *numbers[1:])


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return for_spreadsheet(value) if isinstance(value, str) else value


def add_run(path: Path, run: Run) -> tuple[Run, ...]:
    """Write the file anew with one run more; return all of them. Raises DesignError or DeviceError."""
    runs = (*read_runs(path), run)[-MOST_RUNS:]
    make_folder(path.parent)
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(COLUMNS)
    for each in runs:
        writer.writerow(map(_cell, astuple(each)))
    write_text(path, made.getvalue(), force=True)
    return runs


def of_score(runs: Sequence[Run], score: str) -> tuple[Run, ...]:
    """The runs of one score."""
    return tuple(run for run in runs if run.score == score)


def by_day(runs: Sequence[Run]) -> tuple[tuple[date, float], ...]:
    """Each day with the RMS error over its notes, cents, oldest day first."""
    days: dict[date, list[Run]] = {}
    for run in runs:
        days.setdefault(run.day, []).append(run)
    return tuple(
        (day, math.sqrt(sum(one.notes * one.rms_cents**2 for one in each) / max(1, sum(one.notes for one in each))))
        for day, each in sorted(days.items())
    )
