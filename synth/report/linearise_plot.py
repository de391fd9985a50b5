"""Before and after as a plot: both pitch fields with the straight line, and the front below them."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np

from models.pitch import note_name, note_number
from synth.analysis.linearise_figures import CURVE_COLUMNS, LineariseFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARGIN = 6.0  # semitones shown beyond the notes asked for


def save_linearise_plot(report: LineariseFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, (2.0, 1.0), (8.0, 8.2), share_x=False) as (figure, (pitch, front)):
        _draw_fields(pitch, report)
        _draw_front(front, report)
        pitch.legend(loc="upper right", fontsize=9)
        handles, labels = front.get_legend_handles_labels()
        if handles:
            figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=9)


def _draw_fields(axes: Axes, report: LineariseFigures) -> None:
    column = dict(zip(CURVE_COLUMNS, report.curve.T, strict=True))
    distance = 100.0 * column["distance_m"]
    for figures, name, colour in (
        (report.before, "before_note_number", QUIET),
        (report.after, "after_note_number", BLUE),
    ):
        when = name.split("_")[0]
        error = figures.rms_cents
        off = "does not play all notes" if error is None else f"{error:.0f} cents RMS off straight"
        axes.plot(distance, column[name], color=colour, label=f"{when}: {off}")
    axes.plot(distance, column["after_line_note_number"], color=ORANGE, linestyle=(0, (5, 3)), label="straight line")
    low, high = (float(value) for value in note_number([report.low_hz, report.high_hz]))
    ticks = np.arange(np.ceil((low - MARGIN) / 12.0), np.floor((high + MARGIN) / 12.0) + 1.0) * 12.0
    axes.set_yticks(ticks, [note_name(tick) for tick in ticks])
    axes.set_ylim(low - MARGIN, high + MARGIN)
    axes.axhspan(low, high, color="#f4f4f4", zorder=0)
    axes.grid(axis="y")
    axes.set_xlim(0.0, distance[-1])
    axes.set_xlabel("hand distance, skin to antenna (cm)")
    axes.set_ylabel("note")
    axes.set_title(f"{report.before.design}, and straightened ({report.choice})", loc="left", color=INK)


def _draw_front(axes: Axes, report: LineariseFigures) -> None:
    bands = ((0.0, 0.2, GREEN), (0.2, 0.35, BLUE), (0.35, np.inf, VERMILLION))
    for least, most, colour in bands:
        rows = [row for row in report.front if least <= row.drift_hz_per_ppm < most]
        if rows:
            band = f"{least:g} to {most:g}" if np.isfinite(most) else f"above {least:g}"
            label = f"drift {band} Hz/ppm"
            sensitivity, error = [row.cents_per_mm for row in rows], [row.rms_cents for row in rows]
            axes.plot(sensitivity, error, "o", color=colour, label=label)
    after = report.after
    if after.rms_cents is not None and after.cents_per_mm is not None:
        label = "after, in preferred values"
        axes.plot(
            [after.cents_per_mm], [after.rms_cents], "*", color=INK, markersize=13, markerfacecolor="none", label=label
        )
    axes.margins(0.1)
    axes.grid()
    axes.set_xlabel("sensitivity (cents per mm)")
    axes.set_ylabel("cents RMS off straight")
