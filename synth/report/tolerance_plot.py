"""Tolerances as a plot: trimmer settings that the builds need, notes they reach, and which part is behind it."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np

from models.pitch import note_name, note_number
from synth.analysis.tolerance_figures import ToleranceFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BINS = 60
MOST_PARTS = 8


def save_tolerance_plot(report: ToleranceFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, (1.0, 1.0, 1.35), (8.0, 9.0), share_x=False) as (figure, (trimmer, notes, parts)):
        figure.suptitle(f"{report.design}: {report.builds} builds", x=0.02, ha="left", color=INK, fontsize=11)
        _draw_trimmer(trimmer, report)
        _draw_notes(notes, report)
        _draw_parts(parts, report)


def _draw_trimmer(axes: Axes, report: ToleranceFigures) -> None:
    setting = report.runs.trimmer_setting
    low, high = min(-0.1, float(setting.min())), max(1.1, float(setting.max()))
    step = 1.0 / max(2, round(BINS / (high - low)))  # so that a bin ends at 0 and at 1
    edges = (step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)).tolist()
    inside = (setting >= 0.0) & (setting <= 1.0)
    label = f"reach zero beat, {100.0 * report.zero_beat_reached.share:.1f} %"
    axes.hist(setting[inside], edges, color=BLUE, label=label)
    if not inside.all():
        axes.hist(
            setting[~inside],
            edges,
            color=VERMILLION,
            hatch="////",
            edgecolor="white",
            linewidth=0.0,
            label="trimmer at its end",
        )
    for end in (0.0, 1.0):
        axes.axvline(end, color=QUIET, linewidth=1.0, linestyle=":")
    axes.set_xlim(edges[0], edges[-1])
    axes.set_xlabel("setting of the reference's trimmer that zero beat needs (0 = out, 1 = in)")
    axes.set_ylabel("builds")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, fontsize=9, borderaxespad=0.2)


def _draw_notes(axes: Axes, report: ToleranceFigures) -> None:
    reached = report.runs.reached
    drawn = False
    for name, colour, words in (
        ("lowest", ORANGE, f"hand at {100.0 * report.farthest_m:g} cm"),
        ("highest", GREEN, f"hand at {100.0 * report.nearest_m:g} cm"),
    ):
        frequency = getattr(report.runs, name)[reached]
        number = note_number(frequency[~np.isnan(frequency)])
        if number.size:
            edges = np.arange(np.floor(number.min()) - 0.5, np.ceil(number.max()) + 1.0).tolist()
            axes.hist(number, edges, color=colour, label=words)
            drawn = True
    if not drawn:
        axes.text(0.5, 0.5, "no build sounds", transform=axes.transAxes, ha="center", color=VERMILLION)
        return
    low, high = axes.get_xlim()
    ticks = np.arange(12.0 * np.floor(low / 12.0), high + 12.0, 12.0)
    axes.set_xticks(ticks, [note_name(round(tick)) for tick in ticks])
    axes.set_xlim(low, high)
    axes.set_xlabel("note, of the builds that reach zero beat")
    axes.set_ylabel("builds")
    axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, fontsize=9, borderaxespad=0.2)


def _draw_parts(axes: Axes, report: ToleranceFigures) -> None:
    """Shares of the variance, the strongest parts on top."""
    held = {
        name: {hold.part: hold.share for hold in report.outcome(name).held_by}
        for name in ("trimmer_setting", "highest", "unevenness")
    }
    ranked = sorted(
        (part.part for part in report.parts), key=lambda part: -max(shares.get(part, 0.0) for shares in held.values())
    )[:MOST_PARTS]
    labels = {"trimmer_setting": "trimmer setting", "highest": "highest note", "unevenness": "unevenness"}
    places = np.arange(len(ranked))[::-1]
    for index, (name, colour) in enumerate(zip(held, (BLUE, GREEN, QUIET), strict=True)):
        shares = [100.0 * held[name].get(part, 0.0) for part in ranked]
        axes.barh(places + 0.27 * (1 - index), shares, height=0.25, color=colour, label=labels[name])
    axes.set_yticks(places, ranked)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("share of the spread (variance), %")
    axes.grid(axis="x", which="major")
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", fontsize=9)
