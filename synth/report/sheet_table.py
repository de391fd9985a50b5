"""The expected readings of a sheet as text, CSV and plot, and its figures as JSON; the page is in sheet_page."""

from __future__ import annotations

from synth.analysis.sheet_figures import SheetFigures
from synth.analysis.sheet_readings import ReadingFigure
from synth.report.figure import BLUE, INK, QUIET, Layout, draw_bands, saved_figure
from synth.report.sheet_markup import NO_BREAK, reading
from synth.report.written import Form, columns_of, rows_csv

STYLES = (
    {"color": QUIET, "linewidth": 1.0, "label": "all parts at worst"},
    {"color": BLUE, "linewidth": 6.0, "solid_capstyle": "butt", "label": "allowed band (root sum of squares)"},
)


def _off(row: ReadingFigure, low: float, high: float) -> tuple[float, float]:
    """A band in percent off the expected reading."""
    return 100.0 * (low / row.expected - 1.0), 100.0 * (high / row.expected - 1.0)


def save_sheet_plot(figures: SheetFigures, path: str, force: bool) -> None:
    """Draw the bands of all readings above 0 of `figures` into `path` (.png or .svg)."""
    rows = [row for row in figures.readings if row.expected > 0.0]
    with saved_figure(path, force, Layout((1.0,), (8.0, 1.8 + 0.36 * max(1, len(rows))))) as (figure, (axes,)):
        bands = [(_off(row, row.worst_low, row.worst_high), _off(row, row.low, row.high)) for row in rows]
        draw_bands(axes, bands, STYLES)
        axes.axvline(0.0, color=INK, linewidth=0.8)
        names = [f"{row.code} {row.oscillator}, {row.point}: {reading(row.expected, row.unit)}" for row in rows]
        axes.set_yticks(range(len(rows)), names, fontsize=8)
        axes.set_xlabel("off the expected reading (%)")
        axes.set_title(f"Expected readings of {figures.design}", loc="left", color=INK)
        figure.legend(*axes.get_legend_handles_labels(), loc="outside lower center", ncols=2, fontsize=9)


COLUMNS = columns_of(ReadingFigure)


def readings_text(figures: SheetFigures) -> str:
    """The readings with their bands for a person; the whole sheet is the page."""
    lines = [f"Expected readings of {figures.design} ({figures.design_hash})", ""]
    for row in figures.readings:
        expected, low, high = (reading(value, row.unit) for value in (row.expected, row.low, row.high))
        name = f"{row.code:<5}{row.oscillator:<11}{row.point:<29}"
        lines.append(f"{name}{expected:>12}  {low} to {high}; {row.condition}")
    lines += [f"{row.code:<5}{row.name}: not solved: {row.why}" for row in figures.unsolved]
    if figures.bench is not None:
        lines += ["", f"Read on the built instrument ({figures.bench.source}):"]
        for read in figures.bench.readings:
            designed = "-" if read.expected is None else reading(read.expected, read.unit)
            fitted = reading(read.fit, read.unit) if read.kept else "left out"
            name = f"line {read.line:<4}{read.oscillator:<11}{read.what:<14}"
            lines.append(
                f"{name}designed {designed:>12}  read {reading(read.read, read.unit):>12}  fitted {fitted:>12}"
            )
        lines += [f"note: {slip}" for slip in figures.bench.slips]
        lines += [f"retuning: {advice}" for advice in figures.bench.retuning]
    lines += ["", "Bands: part tolerances as root sum of squares. Cautions, parts, steps and ruler: on the sheet (-o)."]
    lines += [f"note: {notice}" for notice in figures.notices]
    return "\n".join(lines).replace(NO_BREAK, " ") + "\n"


def readings_csv(figures: SheetFigures) -> str:
    """One reading a line, SI units."""
    return rows_csv(COLUMNS, figures.readings, exact=True)


SHEET = Form("beatfield.sheet/1", readings_text, readings_csv)
