"""Any number of designs as one plot: note against hand distance, and below it how straight each one is."""

from __future__ import annotations

import os

import numpy as np

from models.pitch import note_name
from synth.analysis.compare_figures import CompareFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

COLOURS = (BLUE, ORANGE, GREEN, VERMILLION, INK, QUIET)
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1.5, 2)))
LOWEST, HIGHEST = 24.0, 96.0  # C1 to C7: what is shown at most


def save_compare_plot(report: CompareFigures, path: str | os.PathLike[str], force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    rows = len(report.designs)
    bars = 0.55 + 0.28 * rows
    legend = 0.2 * ((rows + 1) // 2)
    with saved_figure(path, force, (4.4, bars), (8.0, 5.6 + bars + legend), share_x=False) as (figure, (pitch, even)):
        for number, row in enumerate(report.designs):
            line = DASHES[number // len(COLOURS) % len(DASHES)]
            label = f"{number + 1} {_short(row.design)}"
            places, notes = 100.0 * report.distances, report.numbers[number]
            pitch.plot(places, notes, color=_colour(number), linestyle=line, label=label)
        known = report.numbers[np.isfinite(report.numbers)]
        low = LOWEST if not known.size else max(LOWEST, 12.0 * np.floor(known.min() / 12.0))
        high = HIGHEST if not known.size else min(HIGHEST, 12.0 * np.ceil(known.max() / 12.0))
        ticks = np.arange(low, high + 1.0, 12.0)
        pitch.set_yticks(ticks, [note_name(tick) for tick in ticks])
        pitch.set_ylim(low, high)
        pitch.set_xlim(0.0, 100.0 * report.distances[-1])
        pitch.grid(axis="y")
        pitch.set_xlabel("hand distance, skin to antenna (cm)")
        pitch.set_ylabel("note")
        pitch.set_title("Pitch fields compared", loc="left", color=INK)
        for number, row in enumerate(report.designs):
            found = row.range_rms_cents
            told = "does not play them all" if found is None else f"{found:.0f}"
            even.barh(number + 1, found or 0.0, color=_colour(number), height=0.6)
            even.annotate(
                told, (found or 0.0, number + 1), (4, 0), textcoords="offset points", va="center", fontsize=9, color=INK
            )
        even.set_yticks(np.arange(1, rows + 1))
        even.set_ylim(rows + 0.6, 0.4)
        even.margins(x=0.22)
        even.set_ylabel("design")
        even.set_xlim(left=0.0)
        even.set_xlabel(f"unevenness from {report.low_hz:.0f} to {report.high_hz:.0f} Hz (cents RMS)")
        figure.legend(*pitch.get_legend_handles_labels(), loc="outside lower center", ncols=2, fontsize=9)


def _colour(number: int) -> str:
    return COLOURS[number % len(COLOURS)]


def _short(name: str) -> str:
    return name if len(name) <= 40 else name[:39] + "…"
