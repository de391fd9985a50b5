"""What `beatfield benchmark` measured as one set of figures; text and JSON are written from it."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields
from statistics import median
from time import process_time
from typing import Any, TypeVar

from models.quick_dataclass import dataclass

SCHEMA = "beatfield.benchmark/1"

Cell = str | float | int | None


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: key in JSON, SI unit there, heading, and how a number is shown: times `scale`."""

    key: str
    heading: str
    unit: str = ""
    scale: float = 1.0
    shown: str = ".3g"


@dataclass(frozen=True, slots=True)
class BenchmarkGoal:
    """One stated goal and what was measured: at least `limit`, or at most where `at_least` is False.

    `value` None: what was to be measured did not come about, which misses the goal.
    """

    of: str
    figure: str
    value: float | None
    limit: float
    at_least: bool = True

    @property
    def met(self) -> bool:
        """Whether the goal is reached."""
        if self.value is None:
            return False
        return self.value >= self.limit if self.at_least else self.value <= self.limit


@dataclass(frozen=True, slots=True)
class Comparison:
    """One comparison: a table of rows of cells, one for each column, its goals and what to know of it.

    `skipped`: why it could not be made; "" where it was.
    """

    name: str
    title: str
    columns: tuple[Column, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    goals: tuple[BenchmarkGoal, ...] = ()
    notes: tuple[str, ...] = ()
    skipped: str = ""
    seconds: float = 0.0

    def document(self) -> dict[str, Any]:
        """The section as JSON-ready values: rows by the keys of their columns, in SI units."""
        keys = [column.key for column in self.columns]
        return {
            "name": self.name,
            "title": self.title,
            "units": {column.key: column.unit for column in self.columns if column.unit},
            "rows": [dict(zip(keys, row, strict=True)) for row in self.rows],
            "goals": [{**asdict(goal), "met": goal.met} for goal in self.goals],
            "notes": list(self.notes),
            "skipped": self.skipped,
            "seconds": self.seconds,
        }


@dataclass(frozen=True, slots=True)
class BenchmarkReport:
    """Every comparison of one run, and on what it ran."""

    quick: bool
    python: str
    numpy: str
    scipy: str
    processors: int
    load: float | None  # runnable processes over the last minute, before the run
    sections: tuple[Comparison, ...]

    @property
    def goals_met(self) -> bool:
        """Whether no stated goal is missed (comparisons that were skipped have none)."""
        return all(goal.met for section in self.sections for goal in section.goals)

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        facts = {part.name: getattr(self, part.name) for part in fields(self) if part.name != "sections"}
        sections = [section.document() for section in self.sections]
        return {"schema": SCHEMA, **facts, "goals_met": self.goals_met, "sections": sections}

    def text(self) -> str:
        """The report for a person."""
        load = "" if self.load is None else f", load {self.load:.1f} before the run"
        extent = "quick" if self.quick else "full"
        lines = [
            f"Beatfield beside plain ways to the same results, {extent} run; times are processor times of this process",
            f"Python {self.python}, numpy {self.numpy}, scipy {self.scipy}; {self.processors} processors{load}",
        ]
        for section in self.sections:
            lines += ["", *section_lines(section)]
        missed = sum(not goal.met for section in self.sections for goal in section.goals)
        total = sum(len(section.goals) for section in self.sections)
        lines += ["", f"goals: {total - missed} met, {missed} MISSED"]
        return "\n".join(lines) + "\n"


def section_lines(section: Comparison) -> list[str]:
    """One section for a person."""
    lines = [f"{section.title}  [{section.name}, {section.seconds:.1f} s]"]
    if section.skipped:
        return [*lines, f"  not measured: {section.skipped}"]
    table = [[column.heading for column in section.columns]]
    table += [[shown(cell, column) for cell, column in zip(row, section.columns, strict=True)] for row in section.rows]
    widths = [max(len(line[place]) for line in table) for place in range(len(section.columns))]
    for line in table:
        first, *others = (
            cell.ljust(width) if place == 0 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(line, widths, strict=True))
        )
        lines.append("  " + "   ".join([first, *others]).rstrip())
    lines += [f"  {goal_line(goal)}" for goal in section.goals]
    return lines + [f"  note: {note}" for note in section.notes]


def goal_line(goal: BenchmarkGoal) -> str:
    """One goal for a person."""
    value = "nothing measured" if goal.value is None else f"{goal.value:.4g}"
    bound = "at least" if goal.at_least else "at most"
    return f"{'met   ' if goal.met else 'MISSED'} {goal.of}: {goal.figure} {value}, goal {bound} {goal.limit:g}"


def shown(cell: Cell, column: Column) -> str:
    """One cell of a table as text."""
    if cell is None:
        return "-"
    return cell if isinstance(cell, str) else format(cell * column.scale, column.shown)


Result = TypeVar("Result")


def timed(action: Callable[[], Result]) -> tuple[Result, float]:
    """What `action` returns, and the processor time it took, s."""
    start = process_time()
    result = action()
    return result, process_time() - start


def side_by_side(actions: Mapping[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median processor time, s, of each action over `rounds` rounds, each of which takes all of them once."""
    times: dict[str, list[float]] = {name: [] for name in actions}
    for _ in range(rounds):
        for name, action in actions.items():
            times[name].append(timed(action)[1])
    return {name: median(found) for name, found in times.items()}


def peak_memory(action: Callable[[], object]) -> int:
    """Most memory, bytes, that `action` had taken from Python and numpy at one time beyond what was taken before."""
    tracemalloc.start()
    try:
        tracemalloc.reset_peak()
        before = tracemalloc.get_traced_memory()[0]
        action()
        return tracemalloc.get_traced_memory()[1] - before
    finally:
        tracemalloc.stop()
