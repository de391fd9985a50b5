"""The expected frequencies of a sheet as a plot: each band about its reading, in percent."""

from __future__ import annotations

import os

from synth.analysis.sheet_figures import SheetFigures
from synth.report.figure import BLUE, INK, QUIET, saved_figure
from synth.report.sheet_markup import reading


def save_sheet_plot(figures: SheetFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the bands of all readings above 0 of `figures` into `path` (.png or .svg)."""
    rows = [row for row in figures.readings if row.expected > 0.0]
    with saved_figure(path, force, (1.0,), (8.0, 1.8 + 0.36 * max(1, len(rows)))) as (figure, (axes,)):
        for place, row in enumerate(rows):
            worst, band = (
                [100.0 * (end / row.expected - 1.0) for end in ends]
                for ends in ((row.worst_low, row.worst_high), (row.low, row.high))
            )
            axes.plot(worst, [place, place], color=QUIET, linewidth=1.0, label=None if place else "all parts at worst")
            axes.plot(
                band,
                [place, place],
                color=BLUE,
                linewidth=6.0,
                solid_capstyle="butt",
                label=None if place else "allowed band (root sum of squares)",
            )
        axes.axvline(0.0, color=INK, linewidth=0.8)
        names = [f"{row.code} {row.oscillator}, {row.point}: {reading(row.expected, row.unit)}" for row in rows]
        axes.set_yticks(range(len(rows)), names, fontsize=8)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.grid(axis="x")
        axes.set_xlabel("off the expected reading (%)")
        axes.set_title(f"Expected readings of {figures.design}", loc="left", color=INK)
        figure.legend(*axes.get_legend_handles_labels(), loc="outside lower center", ncols=2, fontsize=9)
