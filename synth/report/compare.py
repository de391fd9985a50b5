"""Any number of designs in one table and one plot: note against hand distance, and how straight each one is."""

from __future__ import annotations

from typing import Any

import numpy as np

from synth.analysis.compare_figures import CompareFigures, DesignRow
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Layout, draw_note_axis, saved_figure
from synth.report.written import Form, columns_of, finished, rows_csv

COLOURS = (BLUE, ORANGE, GREEN, VERMILLION, INK, QUIET)
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1.5, 2)))
LOWEST, HIGHEST = 24.0, 96.0  # C1 to C7: what is shown at most


def save_compare_plot(report: CompareFigures, path: str, force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    rows, names = len(report.designs), shown_names(report)
    bars = 0.55 + 0.28 * rows
    legend = 0.2 * ((rows + 1) // 2)
    layout = Layout((4.4, bars), (8.0, 5.6 + bars + legend), share_x=False)
    with saved_figure(path, force, layout) as (figure, (pitch, even)):
        for number in range(rows):
            line = DASHES[number // len(COLOURS) % len(DASHES)]
            label = f"{number + 1} {names[number]}"
            places, notes = 100.0 * report.distances, report.numbers[number]
            pitch.plot(places, notes, color=_colour(number), linestyle=line, label=label)
        known = report.numbers[np.isfinite(report.numbers)]
        low = LOWEST if not known.size else max(LOWEST, 12.0 * np.floor(known.min() / 12.0))
        high = HIGHEST if not known.size else min(HIGHEST, 12.0 * np.ceil(known.max() / 12.0))
        draw_note_axis(pitch, low, high)
        pitch.set_xlim(0.0, 100.0 * report.distances[-1])
        pitch.grid(axis="y")
        pitch.set_xlabel("hand distance, skin to antenna (cm)")
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


def shown_names(report: CompareFigures) -> list[str]:
    """What the designs are called: those of one name also by their files."""
    names = [row.design for row in report.designs]
    return [
        f"{_short(name)} ({_short(file)})" if names.count(name) > 1 and file else _short(name)
        for name, file in zip(names, report.files, strict=True)
    ]


def _short(name: str) -> str:
    return name if len(name) <= 40 else name[:39] + "…"


_FACTS = (
    ("reference", "reference_frequency_hz", "kHz"),
    ("mode", "mode", ""),
    ("zero beat", "zero_beat_m", "cm"),
    ("playable from", "playable_near_m", "cm"),
    ("playable to", "playable_far_m", "cm"),
    ("lowest note", "lowest_hz", "Hz"),
    ("highest note", "highest_hz", "Hz"),
    ("whole octaves, C to C", "octaves", ""),
    ("unevenness over them, RMS", "linearity_rms_cents", "cents"),
    ("unevenness over RANGE, RMS", "range_rms_cents", "cents"),
    ("RANGE from", "range_near_m", "cm"),
    ("RANGE to", "range_far_m", "cm"),
    ("steepness at A4", "cents_per_mm_at_a4", "cents/mm"),
    ("gain for equal level", "gain_db", "dB"),
    ("level, sounding parts", "level_db", "dB"),
)
_SCALES = {"kHz": (1e-3, 3), "cm": (100.0, 1), "Hz": (1.0, 1), "cents": (1.0, 0), "cents/mm": (1.0, 1), "dB": (1.0, 1)}


def compare_text(report: CompareFigures) -> str:
    """The table for a person, one column a design."""
    heard = any(row.gain_db is not None for row in report.designs)
    names = shown_names(report)
    columns = [[f"{number} {name}" for number, name in enumerate(names, start=1)]]
    labels = [""]
    for label, name, unit in _FACTS:
        if unit == "dB" and not heard:
            continue
        labels.append(label.replace("RANGE", f"{report.low_hz:.0f}-{report.high_hz:.0f} Hz"))
        columns.append([shown(getattr(row, name), unit) for row in report.designs])
    widths = [max(14, *(len(column[number]) + 2 for column in columns)) for number in range(len(report.designs))]
    lines = [
        f"{label:<34}" + "".join(f"{cell:>{width}}" for cell, width in zip(column, widths, strict=True))
        for label, column in zip(labels, columns, strict=True)
    ]
    told = dict.fromkeys(
        f"{name}: {notice}" for name, row in zip(names, report.designs, strict=True) for notice in row.notices
    )
    return finished(lines, list(told))


def shown(value: Any, unit: str) -> str:
    """One cell of the table."""
    if value is None:
        return "-"
    if unit not in _SCALES:
        return str(value)
    scale, digits = _SCALES[unit]
    return f"{scale * value:.{digits}f} {unit}"


COLUMNS = columns_of(DesignRow, "notices")
COMPARE = Form("beatfield.compare/1", compare_text, lambda made: rows_csv(COLUMNS, made.designs), save_compare_plot)
