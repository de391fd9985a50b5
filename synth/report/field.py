"""The pitch field of a design as text, CSV, JSON and plot: pitch against hand distance, and the steepness."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.circuit.oscillator_noise import LOWEST_FREQUENCY
from models.circuit.ripple_law import REFERENCE_BASE, SUPPLY, VARIABLE_BASE
from synth.analysis.adjoint_figures import heard
from synth.analysis.field_figures import CURVE_COLUMNS, STEEPNESS_AT_DB, FieldFigures, VolumeFigures
from synth.analysis.hum_figures import BeatHum, heard_line
from synth.designs.quantity import format_quantity
from synth.report.antenna import antenna_words, approach_words, earthing_facts, player_words, room_facts
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, draw_note_axis, saved_figure
from synth.report.mixer import mixer_facts
from synth.report.moves import moves_lines
from synth.report.pulling import pulling_facts
from synth.report.scene_plot import draw_scene
from synth.report.written import Form, finished, numbers_csv

_STEEPEST_SHOWN = 1000.0  # cents per mm
WRAPPED, MOST_REASONS = 66, 2  # letters of a line and notices, in a plot without a field


def save_field_plot(report: FieldFigures, path: str, force: bool) -> None:
    """Draw the report's pitch field into `path` (.png or .svg)."""
    column = dict(zip(CURVE_COLUMNS, report.curve.T, strict=True))
    distance = 100.0 * column["distance_m"]
    inside = _playable(report, column["distance_m"])
    beside = bool(report.outlines)
    layout = Layout((1.8, 1.0), (8.0, 6.6))
    if beside:
        layout = Layout((1.8, 1.0), (11.0, 6.6), widths=(2.2, 1.0))
    with saved_figure(path, force, layout) as (figure, (pitch, steepness, *scene)):
        _draw_pitch(pitch, report, distance, np.where(inside, column["note_number"], np.nan))
        _draw_steepness(steepness, distance, np.where(inside, column["cents_per_mm"], np.nan))
        for axes in (pitch, steepness):
            _draw_zero_beat(axes, report)
        steepness.set_xlabel("hand distance, skin to antenna (cm)")
        steepness.set_xlim(0.0, distance[-1])
        pitch.set_title(f"Pitch field of {report.design}", loc="left", color=INK)
        handles, labels = pitch.get_legend_handles_labels()
        if beside:
            draw_scene(scene[0], scene[1], report.outlines, report.earth_plane)
            more = scene[0].get_legend_handles_labels()
            handles, labels = handles + more[0], labels + more[1]
        figure.legend(handles, labels, loc="outside lower center", ncols=4 if beside else 2, fontsize=9)


def _playable(report: FieldFigures, distance: Floats) -> NDArray[np.bool_]:
    if report.playable_near_m is None or report.playable_far_m is None:
        return np.zeros(distance.shape, dtype=bool)
    return np.asarray((distance >= report.playable_near_m) & (distance <= report.playable_far_m))


def _draw_pitch(axes: Axes, report: FieldFigures, distance: Floats, number: Floats) -> None:
    axes.plot(distance, number, color=BLUE, label=f"pitch, {report.posture} hand")
    known = ~np.isnan(number)
    if not known.any():
        why = [textwrap.fill(notice, WRAPPED) for notice in report.notices[:MOST_REASONS]]
        text = "\n\n".join(["no playable distance", *why])
        axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", va="center", color=VERMILLION, fontsize=9)
        return
    if report.linearity_rms_cents is not None and report.linearity_near_m and report.linearity_far_m:
        _draw_straight_line(axes, report, distance[known], number[known])
    low, high = np.floor(number[known].min() / 12.0) * 12.0, np.ceil(number[known].max() / 12.0) * 12.0
    draw_note_axis(axes, low, high)
    axes.set_yticks(np.arange(low, high + 1.0, 1.0), minor=True)
    axes.tick_params(axis="y", which="minor", length=2)
    axes.grid(axis="y", which="major")


def _draw_straight_line(axes: Axes, report: FieldFigures, distance: Floats, number: Floats) -> None:
    near, far = 100.0 * (report.linearity_near_m or 0.0), 100.0 * (report.linearity_far_m or 0.0)
    places = np.linspace(near, far, 201)
    line = np.polynomial.Polynomial.fit(places, np.interp(places, distance, number), 1)
    label = f"straight line, {report.linearity_rms_cents:.0f} cents RMS off"
    axes.plot([near, far], line(np.array([near, far])), color=ORANGE, linestyle=(0, (5, 3)), label=label)


def _draw_steepness(axes: Axes, distance: Floats, cents_per_mm: Floats) -> None:
    steep = np.abs(cents_per_mm)
    axes.plot(distance, np.where(steep <= _STEEPEST_SHOWN, steep, np.nan), color=GREEN)
    shown = steep[~np.isnan(steep)]
    if shown.size and shown.min() > 0.0:
        axes.set_yscale("log")
        low, high = _round_figure(shown.min(), up=False), _round_figure(min(shown.max(), _STEEPEST_SHOWN), up=True)
        axes.set_ylim(0.8 * low, 1.25 * high)
        axes.yaxis.set_major_formatter("{x:g}")
        axes.yaxis.set_minor_formatter(_one_two_five)
    axes.grid(axis="y", which="major")
    axes.set_ylabel("cents per mm")


def _round_figure(value: float, up: bool) -> float:
    """The next 1, 2 or 5 times a power of ten, at or beyond `value`."""
    decade = 10.0 ** math.floor(math.log10(value))
    steps = [decade * factor for factor in (1.0, 2.0, 5.0, 10.0)]
    return min(step for step in steps if step >= value) if up else max(step for step in steps if step <= value)


def _one_two_five(value: float, _position: float) -> str:
    """Label of a minor tick of a logarithmic axis: only the twos and fives."""
    lead = f"{value:e}"[0]
    return f"{value:g}" if lead in "25" else ""


def _draw_zero_beat(axes: Axes, report: FieldFigures) -> None:
    if report.zero_beat_m is not None:
        label = f"zero beat, {100.0 * report.zero_beat_m:.1f} cm"
        axes.axvline(100.0 * report.zero_beat_m, color=QUIET, linewidth=1.0, linestyle=":", label=label)
    if report.locked_near_m is not None and report.locked_far_m is not None:
        axes.axvspan(
            100.0 * report.locked_near_m,
            100.0 * report.locked_far_m,
            facecolor="none",
            edgecolor=QUIET,
            hatch="////",
            linewidth=0.0,
            label="locked, silent",
        )


DASH = "-"


def field_text(report: FieldFigures) -> str:
    """The report for a person."""
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("pitch antenna", antenna_words(report.antenna)),
        ("hand", f"{report.posture}, {approach_words(report.antenna)}"),
        ("player", player_words(report.player)),
        *room_facts(report.room),
        *earthing_facts(report.earthing),
        ("reference oscillator", f"{report.reference_frequency_hz / 1e3:.3f} kHz"),
        *_tuned(report),
        ("variable, no player", f"{report.variable_frequency_empty_hz / 1e3:.3f} kHz ({report.mode} mode)"),
        ("antenna, no player", f"{1e12 * report.empty_capacitance_f:.3f} pF"),
        (f"antenna, hand at {100.0 * report.nearest_m:.0f} cm", f"{1e12 * report.nearest_capacitance_f:.3f} pF"),
        ("zero beat", _centimetres(report.zero_beat_m)),
        ("locked, silent", _span(report.locked_near_m, report.locked_far_m)),
        *pulling_facts(report.lock_range_hz, report.lock_paths, report.pulling),
        *mixer_facts(report.mixer),
        ("playable", _span(report.playable_near_m, report.playable_far_m)),
        ("lowest and highest", f"{_hertz(report.lowest_hz)} to {_hertz(report.highest_hz)}"),
        (
            "unevenness",
            DASH
            if report.linearity_rms_cents is None
            else f"{report.linearity_rms_cents:.0f} cents RMS from a straight line over "
            f"{_span(report.linearity_near_m, report.linearity_far_m)}",
        ),
    ]
    facts += _supply_facts(report)
    facts += [] if report.volume is None else _volume_facts(report.volume)
    lines = [f"{name:<22}{value}" for name, value in facts]
    if report.octaves:
        lines += ["", f"{'octave':<12}{'from':>10}{'to':>10}{'width':>10}"]
        lines += [
            f"{octave.low_note + ' ' + octave.high_note:<12}{_centimetres(octave.far_m):>10}"
            f"{_centimetres(octave.near_m):>10}{_centimetres(octave.width_m):>10}"
            for octave in report.octaves
        ]
    if report.notes:
        head = f"{'hum by 1 mV: supply':>21}{'one ' + report.control_end:>21}" if report.hum else ""
        lines += ["", f"{'note':<6}{'frequency':>12}{'distance':>11}{'steepness':>18}{head}"]
        lines += [
            f"{note.note:<6}{note.frequency_hz:>9.1f} Hz{100.0 * note.distance_m:>8.2f} cm"
            f"{note.cents_per_mm:>9.1f} cents/mm{hum}"
            for note, hum in zip(report.notes, _note_hum(report), strict=True)
        ]
    lines += moves_lines(report.moves)
    return finished(lines, report.notices)


def _supply_facts(report: FieldFigures) -> list[tuple[str, str]]:
    """What supply and noise do to the beat of two solved oscillators."""
    facts = []
    if report.pushing_hz_per_v is not None:
        facts.append(("supply", f"each volt more moves the beat by {report.pushing_hz_per_v:+.3g} Hz"))
    worst = max(_entering(report, SUPPLY), key=lambda one: one.lowest_note_cents or 0.0, default=None)
    facts += [] if worst is None else _hum("hum", worst, report.lowest_hz, _entering(report, SUPPLY))
    facts += [] if report.ripple is None else _hum("ripple in the sound", report.ripple, report.lowest_hz)
    if report.lowest_note_jitter_cents is not None and report.lowest_hz is not None:
        cents = report.lowest_note_jitter_cents
        text = f"{cents:.2g} cents at the lowest note over 0.1 s, from {LOWEST_FREQUENCY:g} Hz on"
        kinds = "thermal, shot and flicker noise"
        if report.control_end != "base":
            kinds = "thermal and shot noise (flicker not counted)"
        facts.append(("noise", f"{text}, {kinds}: {heard(cents, report.lowest_hz)}"))
    return facts


def _entering(report: FieldFigures, entry: str) -> list[BeatHum]:
    """The rows of hum for a ripple that enters there."""
    return [one for one in report.hum if one.enters == entry]


def _hum(name: str, hum: BeatHum, lowest: float | None, others: Sequence[BeatHum] = ()) -> list[tuple[str, str]]:
    """What a ripple does at worst; `others`: of the other frequencies that may come in its place."""
    text = f"{format_quantity(hum.ripple_v, 'V')} peak at {hum.ripple_hz:.0f} Hz ({hum.enters})"
    if hum.lowest_note_cents is not None and lowest is not None:
        text += f": {hum.lowest_note_cents:.2g} cents at the lowest note, {heard(hum.lowest_note_cents, lowest)}"
    levels = [note.sidebands_db for one in others or (hum,) for note in one.notes if note.sidebands_db is not None]
    tried = [one.ripple_hz for one in others]
    whose = f" by any of {min(tried):.0f} to {max(tried):.0f} Hz" if others else ""
    text += f"; lines beside the notes{whose} at {max(levels):.0f} dB or less" if levels else ""
    if hum.line_db is None:
        return [(name, text)]
    own = f"a line of its own at {hum.line_db:.0f} dB of a note: {heard_line(hum.line_db, hum.ripple_hz)}"
    return [(name, text), ("", own)]


def _note_hum(report: FieldFigures) -> list[str]:
    """Beside every note, by 1 mV of the worst of the usual frequencies at supply and at one control end: cents, dB."""
    if not report.hum:
        return [""] * len(report.notes)
    columns = [
        [_entering(report, SUPPLY)],
        [_entering(report, REFERENCE_BASE), _entering(report, VARIABLE_BASE)],
    ]
    rows = []
    for place in range(len(report.notes)):
        text = ""
        for column in columns:
            found = [one.notes[place] for group in column for one in group]
            level = max((note.sidebands_db for note in found if note.sidebands_db is not None), default=None)
            text += f"{max(note.cents for note in found):>10.2g} ct"
            text += f"{DASH:>8}" if level is None else f"{level:>5.0f} dB"
        rows.append(text)
    return rows


def _volume_facts(volume: VolumeFigures) -> list[tuple[str, str]]:
    """Names and values of the volume antenna."""
    steepness = volume.steepness_at_minus_12_db_per_cm
    return [
        (
            "volume oscillator",
            f"{volume.oscillator_empty_hz / 1e3:.3f} kHz, no player; resonance {volume.resonance_hz / 1e3:.3f} kHz",
        ),
        ("volume ring", f"{1e12 * volume.ring_empty_capacitance_f:.3f} pF, no player"),
        ("volume hand, silent", f"up to {_centimetres(volume.silent_below_m)}"),
        ("volume hand, -40 dB", _centimetres(volume.minus_40_db_m)),
        ("volume hand, -3 dB", _centimetres(volume.minus_3_db_m)),
        ("volume hand, full", f"from {_centimetres(volume.full_from_m)}"),
        ("volume steepness", "-" if steepness is None else f"{steepness:.1f} dB/cm at {STEEPNESS_AT_DB:.0f} dB"),
    ]


def _tuned(report: FieldFigures) -> list[tuple[str, str]]:
    """What was turned for zero beat."""
    if report.reference_trimmer_set is None:
        return []
    reached = report.zero_beat_m is not None and 0.0 < report.reference_trimmer_set < 1.0
    how = "retuned for zero beat" if reached else "retuned, as near to the wanted zero beat as it goes"
    return [("reference's trimmer", f"at {report.reference_trimmer_set:.3f} of its turn: {how}")]


def _centimetres(distance: float | None) -> str:
    return DASH if distance is None else f"{100.0 * distance:.1f} cm"


def _hertz(frequency: float | None) -> str:
    return DASH if frequency is None else f"{frequency:.1f} Hz"


def _span(near: float | None, far: float | None) -> str:
    return DASH if near is None or far is None else f"{100.0 * near:.1f} to {100.0 * far:.1f} cm"


FIELD = Form(
    "beatfield.field/1", field_text, lambda figures: numbers_csv(CURVE_COLUMNS, figures.curve), save_field_plot
)
