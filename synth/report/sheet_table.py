"""The expected readings of a sheet as CSV and as text, from the same figures as the page."""

from __future__ import annotations

import csv
import io

from synth.report.sheet_figures import SheetFigures
from synth.report.sheet_markup import reading
from synth.report.sheet_readings import ReadingFigure

CSV_COLUMNS = tuple(ReadingFigure.__dataclass_fields__)


def readings_csv(figures: SheetFigures) -> str:
    """One reading a line, SI units."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    writer.writerows([getattr(row, name) for name in CSV_COLUMNS] for row in figures.readings)
    return made.getvalue()


def readings_text(figures: SheetFigures) -> str:
    """The readings with their bands for a person; the whole sheet is the page."""
    lines = [f"Expected readings of {figures.design} ({figures.design_hash})", ""]
    for row in figures.readings:
        expected, low, high = (reading(value, row.unit) for value in (row.expected, row.low, row.high))
        name = f"{row.code:<5}{row.oscillator:<11}{row.point:<29}"
        lines.append(f"{name}{expected:>12}  {low} to {high}; {row.condition}")
    lines += ["", "Bands: part tolerances as root sum of squares. Cautions, parts, steps and ruler: on the sheet (-o)."]
    lines += [f"note: {notice}" for notice in figures.notices]
    return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ") + "\n"
