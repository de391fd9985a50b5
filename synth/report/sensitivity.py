"""How steep a field is for a hand: text, CSV, JSON and plot, against the smallest change that is heard."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from models.pitch import MEASURED_FROM, MEASURED_TO
from synth.analysis.sensitivity_figures import NoteSensitivity, SensitivitiesFigures, SensitivityFigures
from synth.analysis.suiting import DesignSuits
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, saved_figure
from synth.report.moves import felt_lines
from synth.report.written import Form, columns_of, finished, rows_csv, several_csv

ROOM = 0.055  # of the axis's length that a note's name takes
STEEP_TINT = "#f6dccf"
TICKS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)  # cents


def save_sensitivity_plot(report: SensitivityFigures, path: str, force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, Layout((1.0,), (8.0, 5.4))) as (figure, (axes,)):
        axes.set_title(f"Sensitivity of {report.design}", loc="left", color=INK, pad=26.0)
        axes.set_xlabel("hand distance, skin to antenna (cm)")
        axes.set_ylabel("cents")
        if not report.notes:
            axes.text(0.5, 0.5, "no note in reach", transform=axes.transAxes, ha="center", color=VERMILLION)
            return
        place = 100.0 * _column(report, "distance_m")
        for index, (near, far) in enumerate(report.steep_spans_m):
            axes.axvspan(
                100.0 * near,
                100.0 * far,
                color=STEEP_TINT,
                linewidth=0.0,
                zorder=0,
                label="too steep to play" if index == 0 else None,
            )
        axes.plot(place, _column(report, "cents_per_mm"), color=BLUE, marker="o", markersize=3, label="1 mm of hand")
        tremor = f"tremor, {1e3 * report.tremor_m:.3g} mm RMS"
        axes.plot(place, _column(report, "tremor_cents"), color=GREEN, marker="s", markersize=3, label=tremor)
        axes.plot(place, _column(report, "limen_cents"), color=ORANGE, linestyle=(0, (5, 2)), label="smallest heard")
        axes.axhline(
            report.too_steep_cents_per_mm,
            color=QUIET,
            linestyle=":",
            linewidth=1.0,
            label=f"{report.too_steep_cents_per_mm:g} cents in 1 mm",
        )
        axes.set_yscale("log")
        axes.set_yticks(TICKS, [f"{tick:g}" for tick in TICKS])
        axes.minorticks_off()
        axes.set_ylim(*_limits(report))
        axes.set_xlim(left=0.0)
        axes.grid(axis="y", which="major")
        _name_notes(axes, report)
        figure.legend(loc="outside lower center", ncols=3, fontsize=9)


def _limits(report: SensitivityFigures) -> tuple[float, float]:
    """The drawn range, cents: a fifth beyond the least and the most of what is drawn."""
    drawn = [_column(report, name) for name in ("cents_per_mm", "tremor_cents", "limen_cents")]
    most = max(report.too_steep_cents_per_mm, *(float(values.max()) for values in drawn))
    return 0.8 * min(float(values.min()) for values in drawn), 1.25 * most


def _name_notes(axes: Axes, report: SensitivityFigures) -> None:
    """Note names above the axis: every C, then every other note for which there is room."""
    low, high = axes.get_xlim()
    ticks = axes.secondary_xaxis("top")
    chosen: list[tuple[float, str]] = []
    for note in sorted(report.notes, key=lambda note: (not _is_c(note.note), "#" in note.note, note.distance_m)):
        place = 100.0 * note.distance_m
        if all(abs(place - other) >= ROOM * (high - low) for other, _ in chosen):
            chosen.append((place, note.note))
    chosen.sort()
    ticks.set_xticks([place for place, _ in chosen], [name for _, name in chosen])
    ticks.tick_params(colors=QUIET, labelcolor=INK, labelsize=9)
    for place, name in chosen:
        axes.axvline(place, color=QUIET, linewidth=0.9 if _is_c(name) else 0.35, alpha=0.5, zorder=0.5)


def _is_c(name: str) -> bool:
    return name[0] == "C" and "#" not in name


def _column(report: SensitivityFigures, name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """One figure of every note."""
    return np.array([getattr(note, name) for note in report.notes], dtype=np.float64)


def sensitivity_text(report: SensitivityFigures) -> str:
    """The report for a person."""
    steady = "" if report.own_hand else " (steady hands: 0.03 to 0.15 mm, doi:10.1001/archneur.1982.00510180036009)"
    placed = "yours" if report.own_hand else "an elbow known to 0.6 to 1.1 degrees, van Beers et al. 1998"
    lines = [
        f"{'design':<12}{report.design} ({report.design_hash})",
        f"{'tremor':<12}{1e3 * report.tremor_m:.3g} mm RMS{steady}",
        f"{'placement':<12}{1e3 * report.placement_m:.2g} mm RMS ({placed})",
        f"{'heard':<12}smallest change heard of a pure tone, after Wier, Jesteadt and Green 1977 (measured "
        f"{MEASURED_FROM:.0f} to {MEASURED_TO:.0f} Hz, carried on beyond)",
        f"{'too steep':<12}from {report.too_steep_cents_per_mm:g} cents/mm: 1 mm off is nearer to the next note",
        f"{'to play':<12}{_steep_text(report)}",
        *_zero_beat_lines(report),
    ]
    if not report.notes:
        lines += ["", "no note is in reach of this design"]
    else:
        head = f"{'note':<6}{'hand':>11}{'1 mm is':>14}{'tremor is':>14}{'placement is':>16}{'smallest heard':>17}"
        lines += ["", head]
    lines += [
        f"{note.note:<6}{100.0 * note.distance_m:>8.2f} cm{note.cents_per_mm:>8.1f} cents"
        f"{note.tremor_cents:>8.2f} cents{note.placement_cents:>10.1f} cents{note.limen_cents:>11.2f} cents"
        f"  {note.verdict}"
        for note in turning_points(report.notes)
    ]
    if len(turning_points(report.notes)) < len(report.notes):
        lines.append("the notes between two rows are as these are; --csv has all of them")
    lines += felt_lines(report.moves, report.felt, report.felt_cents)
    return finished(lines, report.notices)


def turning_points(notes: Sequence[NoteSensitivity]) -> tuple[NoteSensitivity, ...]:
    """The first and the last of the notes, and those on both sides of a change of the verdict."""
    last = len(notes) - 1
    return tuple(
        note
        for place, note in enumerate(notes)
        if place in (0, last) or notes[place - 1].verdict != note.verdict or notes[place + 1].verdict != note.verdict
    )


def _zero_beat_lines(report: SensitivityFigures) -> list[str]:
    """Where zero beat should be for the user's own reach."""
    if not report.own_hand:
        return []
    now = "out of reach" if report.zero_beat_m is None else f"now {100.0 * report.zero_beat_m:.1f} cm"
    if report.zero_beat_for_reach_m is None:
        return [f"{'zero beat':<12}no place of it gives C2 where your hand, drawn back, rests ({now})"]
    best = f"zero beat at {100.0 * report.zero_beat_for_reach_m:.0f} cm for your reach"
    return [f"{'your reach':<12}{best} ({now}): C2 is then where your hand, drawn back, rests"]


def sensitivities_text(report: SensitivitiesFigures) -> str:
    """Several designs for a person: a row each, and which suits the hand and why in one sentence."""
    wide = max(6, *(len(one.design) for one in report.suits)) + 2
    lines = [
        f"{'design':<{wide}}{'C2 to C6':>9}{'in reach':>10}{'met':>6}{'off by':>14}{'1 mm at C4':>15}{'zero beat':>12}"
    ]
    for one, figures in zip(report.suits, report.designs, strict=True):
        middle = next((note for note in figures.notes if note.note == "C4"), None)
        off = "-" if one.typical_cents is None else f"{one.typical_cents:.0f} cents"
        slope = "-" if middle is None else f"{middle.cents_per_mm:.1f} cents"
        zero = "-" if figures.zero_beat_m is None else f"{100.0 * figures.zero_beat_m:.1f} cm"
        lines.append(f"{one.design:<{wide}}{one.played:>9}{one.in_reach:>10}{one.met:>6}{off:>14}{slope:>15}{zero:>12}")
    first = report.designs[0]
    whose = "your hand" if first.own_hand else "a hand"
    lines += [
        "",
        f"met: where {whose}, {1e3 * first.placement_m:.2g} mm off its place, is nearer to the note than to the next",
        suits_sentence(report.suits, report.best, first.own_hand),
    ]
    notices = dict.fromkeys(notice for figures in report.designs for notice in figures.notices)
    return finished(lines, tuple(notices))


def suits_sentence(suits: Sequence[DesignSuits], name: str, own_hand: bool) -> str:
    """Which design suits and why."""
    chosen = next(one for one in suits if one.design == name)
    whose = "you" if own_hand else "the assumed hand"
    if chosen.met == 0:
        return f"none of these suits {whose}: on none is a note from C2 to C6 met"
    others = [one for one in suits if one is not chosen]
    if all(one.met == chosen.met for one in others):
        return (
            f"{name} suits {whose} best: as many notes are met on each, and on {name} they are off by least, "
            f"{chosen.typical_cents:.0f} cents"
        )
    rest = ", ".join(f"{one.met} on {one.design}" for one in others)
    return f"{name} suits {whose} best: {chosen.met} notes from C2 to C6 are met on it, {rest}"


def _steep_text(report: SensitivityFigures) -> str:
    """Where the field is too steep to play, in words."""
    if not report.steep_spans_m:
        return "no playable note is too steep"
    return "; ".join(_span_text(report, near, far) for near, far in report.steep_spans_m)


def _span_text(report: SensitivityFigures, near: float, far: float) -> str:
    names = [note.note for note in report.notes if near <= note.distance_m <= far]
    held = f"{names[0]} to {names[-1]}" if len(names) > 1 else names[0] if names else "between two notes"
    return f"{100.0 * near:.1f} to {100.0 * far:.1f} cm ({held})"


COLUMNS = columns_of(NoteSensitivity)
SENSITIVITY = Form(
    "beatfield.sensitivity/1", sensitivity_text, lambda made: rows_csv(COLUMNS, made.notes), save_sensitivity_plot
)


SENSITIVITIES = Form(
    "beatfield.sensitivities/1",
    sensitivities_text,
    lambda made: several_csv(COLUMNS, [(one, one.notes) for one in made.designs]),
)
