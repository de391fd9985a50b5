"""The expected readings of a sheet as text, and how the figures of a sheet are written beside its page."""

from __future__ import annotations

from synth.analysis.sheet_figures import SheetFigures
from synth.analysis.sheet_readings import ReadingFigure
from synth.report.sheet_markup import NO_BREAK, reading
from synth.report.written import Form, columns_of, rows_csv

COLUMNS = columns_of(ReadingFigure)


def readings_text(figures: SheetFigures) -> str:
    """The readings with their bands for a person; the whole sheet is the page."""
    lines = [f"Expected readings of {figures.design} ({figures.design_hash})", ""]
    for row in figures.readings:
        expected, low, high = (reading(value, row.unit) for value in (row.expected, row.low, row.high))
        name = f"{row.code:<5}{row.oscillator:<11}{row.point:<29}"
        lines.append(f"{name}{expected:>12}  {low} to {high}; {row.condition}")
    lines += ["", "Bands: part tolerances as root sum of squares. Cautions, parts, steps and ruler: on the sheet (-o)."]
    lines += [f"note: {notice}" for notice in figures.notices]
    return "\n".join(lines).replace(NO_BREAK, " ") + "\n"


def readings_csv(figures: SheetFigures) -> str:
    """One reading a line, SI units."""
    return rows_csv(COLUMNS, figures.readings, exact=True)


SHEET = Form("beatfield.sheet/1", readings_text, readings_csv)
