"""Drift as a plot: zero beat and notes against temperature, and the zero beat during warm-up."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from synth.analysis.drift_figures import DriftFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STYLES = ((GREEN, "-"), (BLUE, "-"), (VERMILLION, (0, (5, 2))))
NOTE_COLOURS = (ORANGE, GREEN, BLUE, VERMILLION, QUIET)
NOTE_STROKES = ("-", (0, (5, 2)), (0, (1, 1)))


def save_drift_plot(report: DriftFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, (1.0, 1.0, 1.0), (8.0, 9.4), share_x=False) as (figure, (beat, notes, warm)):
        title = f"{report.design}: tuned at {report.from_deg_c:g} degC"
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        for case, curve, (colour, stroke) in zip(report.cases, report.curves, STYLES, strict=True):
            beat.plot(report.temperature, curve.zero_beat, color=colour, linestyle=stroke, label=case.case)
        beat.set_ylabel("zero beat moved, Hz")
        beat.set_xlabel("temperature, degrees Celsius")
        _draw_notes(notes, report)
        _draw_warm_up(warm, report)
        for axes in (beat, notes, warm):
            axes.axhline(0.0, color=QUIET, linewidth=0.8)
            axes.grid(axis="y", which="major")
            axes.margins(x=0.0)
            if axes is warm:
                axes.legend(loc="upper right", fontsize=9)
            elif axes.get_legend_handles_labels()[0]:
                axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=5, fontsize=9, borderaxespad=0.2)


def _draw_notes(axes: Axes, report: DriftFigures) -> None:
    """The notes of the case with the mismatch as stated."""
    case, curve = report.cases[1], report.curves[1]
    for index, note in enumerate(case.notes):
        colour, stroke = NOTE_COLOURS[index % len(NOTE_COLOURS)], NOTE_STROKES[index // len(NOTE_COLOURS) % 3]
        axes.plot(report.temperature, curve.note_cents[:, index], color=colour, linestyle=stroke, label=note.note)
    axes.set_ylabel(f"note moved, cents\n({case.case})")
    axes.set_xlabel("temperature, degrees Celsius")


def _draw_warm_up(axes: Axes, report: DriftFigures) -> None:
    minutes = report.warm_up[:, 0] / 60.0
    for column, (case, (colour, stroke)) in enumerate(zip(report.cases, STYLES, strict=True), start=1):
        axes.plot(
            minutes,
            report.warm_up[:, column],
            color=colour,
            linestyle=stroke,
            label=f"{case.case}, holds after {case.hold_s / 60.0:.0f} min",
        )
    axes.axhspan(-report.hold_limit_hz, report.hold_limit_hz, color=QUIET, alpha=0.2, linewidth=0.0)
    axes.set_ylabel("zero beat still to move, Hz")
    axes.set_xlabel(f"time after switching on, min; grey: within {report.hold_limit_hz:g} Hz of the end")
    axes.set_xlim(0.0, minutes[-1])
