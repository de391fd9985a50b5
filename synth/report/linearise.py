"""A straighter pitch field: text, CSV, JSON, and a plot of both fields and the front."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from models.pitch import note_number
from models.straight.search import MARGIN
from synth.analysis.corners import SAFE_MARGIN_DB, CornerFigure
from synth.analysis.linearise_figures import CURVE_COLUMNS, BoundFigures, FieldOverNotes, LineariseFigures
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, draw_note_axis, saved_figure
from synth.report.written import Form, finished, numbers_csv

ROOM = 6.0  # semitones shown beyond the notes asked for


def save_linearise_plot(report: LineariseFigures, path: str, force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, Layout((2.0, 1.0), (8.0, 8.2), share_x=False)) as (figure, (pitch, front)):
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
    draw_note_axis(axes, low - ROOM, high + ROOM)
    axes.axhspan(low, high, color="#f4f4f4", zorder=0)
    axes.grid(axis="y")
    axes.set_xlim(0.0, distance[-1])
    axes.set_xlabel("hand distance, skin to antenna (cm)")
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


def linearise_text(report: LineariseFigures) -> str:
    """The report for a person."""
    before, after = report.before, report.after
    lines = [
        f"notes {report.low_hz:.1f} to {report.high_hz:.1f} Hz within {100 * report.near_m:.1f} to "
        f"{100 * report.far_m:.1f} cm, at least {100 * report.fill:.0f} % of it filled; seed {report.seed}",
        "",
        f"{'':<34}{'before':>14}{'after':>14}",
        *(f"{name:<34}{_cell(a, form):>14}{_cell(b, form):>14}" for name, a, b, form in _pairs(before, after)),
        "",
        report.parts,
        "",
        "What each step costs, cents RMS from a straight line",
        f"{'':<58}{'straightest':>13}{report.choice:>13}",
        *(f"{name:<58}{_cell(a, '.1f'):>13}{_cell(b, '.1f'):>13}" for name, a, b in _steps(report)),
        "",
        "Every place of the inductor, straightest in preferred values (cents RMS; tuned: branch against",
        "tank, the hand at the lowest note; builds: mean, share that holds the notes)",
        f"{'':<46}{'choke':>10}{'tank':>10}{'tuned':>8}{'ideal':>8}{'parts':>8}{'loss':>8}{'builds':>8}{'hold':>7}",
        *(
            f"{row.place:<46}{_part(row.choke_h):>10}{_part(row.tank_h):>10}{_tuned(row.branch_over_tank):>8}"
            f"{_cell(row.ideal_cents, '.1f'):>8}"
            f"{row.preferred_cents:>8.1f}{_cell(row.lossy_cents, '.1f'):>8}{_cell(row.builds_mean_cents, '.1f'):>8}"
            f"{100 * row.builds_held:>5.0f} %"
            for row in report.places
        ),
        *(f"{name:<46}nothing keeps to the goal" for name in report.places_without),
        "",
        "Straightness against sensitivity and drift: none beats another in all three (continuous values)",
        f"{'':<46}{'cents RMS':>10}{'cents/mm':>10}{'Hz/ppm':>9}{'coil Hz/ppm':>13}{'carrier':>11}{'zero beat':>11}",
        *(
            f"{row.place:<46}{row.rms_cents:>10.1f}{row.cents_per_mm:>10.1f}{row.drift_hz_per_ppm:>9.3f}"
            f"{row.branch_hz_per_ppm:>13.3f}{row.carrier_hz / 1e3:>7.0f} kHz{100 * row.zero_beat_m:>8.1f} cm"
            for row in report.front
        ),
        "",
        *_solved_lines(report),
        *corner_lines(report.corners),
        "",
        *_bound_lines(report.bounds),
        f"Assumed: {format_quantity(report.choke_self_capacitance_f, 'F')} across each choke (rule of thumb, "
        f"from memory{_resonance(report)}), Q {report.choke_quality_factor:.0f},",
        f"{format_quantity(report.joint_stray_f, 'F')} to earth at each joint of a chain (assumed); coils within "
        f"{100 * report.coil_tolerance:.3g} %, capacitors {100 * report.capacitor_tolerance:.3g} %, "
        f"board and antenna stray {100 * report.stray_tolerance:.3g} %.",
        f"A tapped coil: coupling {report.tap_coupling:.3g} between the turns below and above its tap (from memory for "
        "one close winding; variable.tap_coupling), the tap's place taken as exact.",
        "Drift: Hz of zero beat per ppm between the two oscillators, and per ppm of the series coil alone.",
    ]
    return finished(lines, report.notices)


def _solved_lines(report: LineariseFigures) -> list[str]:
    """How the circuit differs from the lossless law that was searched by."""
    if not report.solved:
        return []
    lines = [
        "Solved as circuits (coil loss, transistor, harmonics); search, steps, places, front and builds above go by",
        "the lossless law. Cents RMS from a straight line:",
        f"{'':<60}{'lossless':>10}{'circuit':>10}{'differs':>10}",
    ]
    for row in report.solved:
        apart = None
        if row.lossless_cents is not None and row.circuit_cents is not None:
            apart = row.circuit_cents - row.lossless_cents
        cells = (_cell(row.lossless_cents, ".1f"), _cell(row.circuit_cents, ".1f"), _cell(apart, "+.1f"))
        lines.append(f"{row.label + ': ' + row.place:<60}" + "".join(f"{cell:>10}" for cell in cells))
        if row.why:
            lines.append(f"  {row.why}")
        if row.polished_cents is not None:
            lines.append(f"  variable trimmer turned to {row.polished_trimmer:.2f}: {row.polished_cents:.1f} cents")
    return [*lines, ""]


def corner_lines(met: Sequence[CornerFigure]) -> list[str]:
    """What the design does in the corners, a table."""
    lines = [
        "At the corners: supply 10 %, current gain (a valve's perveance, a FET's current) 50 %, pots and trimmer at",
        f"their ends; zero beat tuned again (margin: loop gain above what starts, {SAFE_MARGIN_DB:g} dB is our rule of "
        "thumb):",
        f"{'':<38}{'margin':>9}{'carrier':>14}{'zero beat':>14}{'all notes':>11}{'cents RMS':>11}",
    ]
    for corner in met:
        if corner.why:
            lines += [f"{corner.name:<38}does not run: {corner.why}"]
            continue
        margin = "-" if corner.margin_db is None else f"{corner.margin_db:.1f} dB"
        lines.append(
            f"{corner.name:<38}{margin:>9}{_cell(corner.carrier_hz, 'kHz') + ' kHz':>14}"
            f"{'reached' if corner.tuned else 'NOT reached':>14}{'played' if corner.held else 'NO':>11}"
            f"{_cell(corner.rms_cents, '.1f'):>11}"
        )
    return lines


def _bound_lines(bounds: BoundFigures) -> list[str]:
    held = (
        f"Held to carriers of {bounds.lowest_carrier_hz / 1e3:.0f} to {bounds.highest_carrier_hz / 1e3:.0f} kHz and a "
        f"tank of at least {1e12 * bounds.least_tank_f:.0f} pF in all (--carrier, --stray-multiple).\n"
        f"And, the ideal too, to a mode that starts first: the other needs {MARGIN:g} times its conductance or more."
    )
    if bounds.without_cents is None or bounds.without_carrier_hz is None or bounds.without_tank_f is None:
        return [held]
    within = "nothing" if bounds.within_cents is None else f"{bounds.within_cents:.1f} cents"
    return [
        held,
        f"What these bounds cost, two chokes in continuous values: {within} within them, {bounds.without_cents:.1f} "
        f"cents without, at {bounds.without_carrier_hz / 1e3:.0f} kHz with {1e12 * bounds.without_tank_f:.0f} pF.",
    ]


def _pairs(before: FieldOverNotes, after: FieldOverNotes) -> list[tuple[str, Any, Any, str]]:
    names = (
        ("cents RMS from a straight line", "rms_cents", ".1f"),
        ("over builds, mean", "builds_mean_cents", ".1f"),
        ("over builds, 95 % stay below", "builds_worst_cents", ".1f"),
        ("builds that hold the notes", "builds_held", ".0%"),
        ("highest note at", "highest_note_m", "cm"),
        ("lowest note at", "lowest_note_m", "cm"),
        ("zero beat at", "zero_beat_m", "cm"),
        ("cents per mm on average", "cents_per_mm", ".1f"),
        ("reference, kHz", "carrier_hz", "kHz"),
        ("drift, Hz per ppm of mismatch", "drift_hz_per_ppm", ".3f"),
    )
    return [(label, getattr(before, name), getattr(after, name), form) for label, name, form in names]


def _steps(report: LineariseFigures) -> list[tuple[str, float | None, float | None]]:
    names = (
        ("ideal: no loss, no self-capacitance, any tank", "ideal_cents"),
        ("a tank that its trimmer can make up for", "trimmable_cents"),
        ("self-capacitance of the chokes, stray at the joints", "real_chokes_cents"),
        ("preferred values", "preferred_cents"),
        ("coil loss", "lossy_cents"),
        ("tolerances, zero beat tuned again (mean)", "builds_mean_cents"),
        ("the same, the variable trimmer set for evenness too (mean)", "retuned_mean_cents"),
    )
    return [(label, getattr(report.straightest, name), getattr(report.chosen, name)) for label, name in names]


def _cell(value: float | None, form: str) -> str:
    if value is None:
        return "-"
    if form == "cm":
        return f"{100.0 * value:.1f} cm"
    return f"{1e-3 * value:.3f}" if form == "kHz" else f"{value:{form}}"


def _tuned(ratio: float | None) -> str:
    return "-" if ratio is None else f"{100.0 * (ratio - 1.0):+.1f} %"


def _part(value: float | None) -> str:
    return "-" if value is None else format_quantity(value, "H", 3)


def _resonance(report: LineariseFigures) -> str:
    found = report.chosen.choke_self_resonance_hz
    return "" if found is None else f"; resonates by itself at {format_quantity(found, 'Hz', 3)}"


LINEARISE = Form(
    "beatfield.linearise/1", linearise_text, lambda made: numbers_csv(CURVE_COLUMNS, made.curve), save_linearise_plot
)
