"""Choices of tank values as a plot: the frequencies each trimmer covers as marked, and in every build."""

from __future__ import annotations

import os

from synth.analysis.choose_figures import ChoiceRow, ChooseFigures
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, INK, ORANGE, VERMILLION, saved_figure

MOST = 12  # choices drawn, the best first


def save_choose_plot(report: ChooseFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the range of every choice of `report` into `path` (.png or .svg)."""
    rows = report.choices[:MOST]
    with saved_figure(path, force, (1.0,), (8.0, 1.8 + 0.42 * len(rows))) as (figure, (axes,)):
        for place, row in enumerate(rows):
            axes.plot(
                [row.lowest_hz / 1e3, row.highest_hz / 1e3],
                [place, place],
                color=BLUE,
                linewidth=2.0,
                label=None if place else "covers, all parts as marked",
            )
            if row.sure_lowest_hz is not None and row.sure_highest_hz is not None:
                axes.plot(
                    [row.sure_lowest_hz / 1e3, row.sure_highest_hz / 1e3],
                    [place, place],
                    color=ORANGE,
                    linewidth=7.0,
                    solid_capstyle="butt",
                    label=None if place else "in every build",
                )
        axes.axvline(report.target_hz / 1e3, color=VERMILLION, linewidth=1.0, linestyle="--", label="target")
        axes.set_yticks(range(len(rows)), [_name(row) for row in rows])
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.grid(axis="x")
        axes.set_xlabel("frequency (kHz)")
        axes.set_title(f"{report.which.capitalize()} oscillator of {report.design}", loc="left", color=INK)
        figure.legend(*axes.get_legend_handles_labels(), loc="outside lower center", ncols=3, fontsize=9)


def _name(row: ChoiceRow) -> str:
    trimmer = f"{row.trimmer_minimum_f * 1e12:.3g}-{row.trimmer_maximum_f * 1e12:.3g} pF"
    return f"{format_quantity(row.inductance_h, 'H')}, {format_quantity(row.capacitance_f, 'F')}, {trimmer}"
