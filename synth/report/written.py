"""How figures are written: one form for each command gives their text, CSV, JSON and plot."""

from __future__ import annotations

import csv
import io
import json
import sys
from argparse import Namespace
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, fields, is_dataclass
from typing import Any, Generic, TypeVar

from models.quick_dataclass import dataclass
from synth.files import atomic_file
from synth.files.plain_text import for_spreadsheet, valid_utf8
from synth.terminal import shown

Figures = TypeVar("Figures")


@dataclass(frozen=True, slots=True)
class Form(Generic[Figures]):
    """How the figures of one command are written: schema of the JSON, text, CSV; plot into a path (True: replaced).

    csv: the whole table, or its pieces one after the other where it may be long.
    """

    schema: str
    text: Callable[[Figures], str]
    csv: Callable[[Figures], str | Iterable[str]] | None = None
    plot: Callable[[Figures, str, bool], None] | None = None

    def document(self, figures: Figures) -> dict[str, Any]:
        """The figures as JSON-ready values, without those that are dense (they are the CSV)."""
        assert is_dataclass(figures)
        names = [part.name for part in fields(figures) if not part.metadata.get("dense")]
        return {"schema": self.schema, **{name: _plain(getattr(figures, name)) for name in names}}

    def write(self, arguments: Namespace, figures: Figures) -> None:
        """Write the CSV and the plot if asked for, then print the JSON, or the text where the CSV is not on stdout."""
        from synth.build.workbench import say

        table, plot = getattr(arguments, "csv", None), getattr(arguments, "plot", None)
        if table and self.csv is not None:
            write_text(self.csv(figures), table, arguments.force)
        if plot and self.plot is not None:
            self.plot(figures, plot, arguments.force)
            say(f"wrote {plot}")
        if arguments.json:
            print_json(self.document(figures))
        elif table != "-":
            sys.stdout.write(shown(self.text(figures), sys.stdout))


def finished(lines: Iterable[str], notices: Sequence[str]) -> str:
    """The lines of a text report with what there is to know below them."""
    return "\n".join([*lines, *([""] if notices else []), *(f"note: {notice}" for notice in notices)]) + "\n"


def numbers_csv(heads: Sequence[str], rows: Iterable[Iterable[float]]) -> str:
    """Numbers as CSV with nine digits under `heads`; an empty cell where there is no number."""
    lines = [",".join("" if cell != cell else f"{cell:.9g}" for cell in row) for row in rows]
    return "\n".join([",".join(heads), *lines]) + "\n"


def rows_csv(columns: Sequence[str], rows: Iterable[object], exact: bool = False) -> str:
    """One line for each of `rows`: its attributes `columns`, numbers with nine digits or `exact`; empty for None."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(getattr(row, name), exact) for name in columns] for row in rows)
    return made.getvalue()


def several_csv(columns: Sequence[str], tables: Iterable[tuple[object, Iterable[object]]]) -> str:
    """The rows of several designs in one table, under the names of those they are of (their attribute `design`)."""
    lines = [",".join(("design", *columns))]
    for owner, rows in tables:
        name = rows_csv(("design",), [owner]).splitlines()[1]
        lines += [f"{name},{row}" for row in rows_csv(columns, rows).splitlines()[1:]]
    return "\n".join(lines) + "\n"


def columns_of(row: type, *without: str) -> tuple[str, ...]:
    """The names of a dataclass's fields, as columns of a table."""
    return tuple(part.name for part in fields(row) if part.name not in without)


def print_json(document: dict[str, Any]) -> None:
    """Print `document` as JSON in valid UTF-8 (no NaN or infinity: they are not JSON)."""
    sys.stdout.write(valid_utf8(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)) + "\n")


def write_text(text: str | Iterable[str], target: str, force: bool) -> None:
    """Write `text`, or its pieces, to the file `target`, or to stdout for `-`."""
    pieces = [text] if isinstance(text, str) else text
    if target == "-":
        for piece in pieces:
            sys.stdout.write(valid_utf8(piece))
    else:
        atomic_file.write_pieces(target, pieces, force)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def _cell(value: object, exact: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return for_spreadsheet(value)
    return f"{value:.9g}" if isinstance(value, float) and not exact else str(value)
