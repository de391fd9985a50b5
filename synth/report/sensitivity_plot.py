"""Sensitivity as a plot: what 1 mm and the tremor do at each note, and the smallest change heard."""

from __future__ import annotations

import os

from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure
from synth.report.sensitivity_report import SensitivityReport, columns


def save_sensitivity_plot(report: SensitivityReport, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, (1.0,), (8.0, 5.0)) as (figure, (axes,)):
        axes.set_title(f"Sensitivity of {report.design}", loc="left", color=INK)
        axes.set_xlabel("hand distance, skin to antenna (cm)")
        axes.set_ylabel("cents")
        if not report.notes:
            axes.text(0.5, 0.5, "no note in reach", transform=axes.transAxes, ha="center", color=VERMILLION)
            return
        place = 100.0 * columns(report, "distance_m")
        axes.plot(place, columns(report, "cents_per_mm"), color=BLUE, marker="o", markersize=3, label="1 mm of hand")
        tremor = f"tremor, {1e3 * report.tremor_m:.3g} mm RMS"
        axes.plot(place, columns(report, "tremor_cents"), color=GREEN, marker="s", markersize=3, label=tremor)
        axes.plot(place, columns(report, "limen_cents"), color=ORANGE, linestyle=(0, (5, 2)), label="smallest heard")
        axes.axhline(report.too_steep_cents_per_mm, color=QUIET, linestyle=":", linewidth=1.0,
                     label="too steep for 1 mm")
        axes.set_yscale("log")
        axes.yaxis.set_major_formatter("{x:g}")
        axes.set_xlim(left=0.0)
        axes.grid(axis="y", which="major")
        figure.legend(loc="outside lower center", ncols=4, fontsize=9)
