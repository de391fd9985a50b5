"""The pitch field of a design for a person, and how its figures are written."""

from __future__ import annotations

from synth.analysis.field_figures import CURVE_COLUMNS, FieldFigures
from synth.analysis.volume_figures import STEEPNESS_AT_DB, VolumeFigures
from synth.report.field_plot import save_field_plot
from synth.report.written import Form, finished, numbers_csv

DASH = "-"


def field_text(report: FieldFigures) -> str:
    """The report for a person."""
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("hand", report.posture),
        ("reference oscillator", f"{report.reference_frequency_hz / 1e3:.3f} kHz"),
        ("variable, no player", f"{report.variable_frequency_empty_hz / 1e3:.3f} kHz ({report.mode} mode)"),
        ("antenna, no player", f"{1e12 * report.empty_capacitance_f:.3f} pF"),
        (f"antenna, hand at {100.0 * report.nearest_m:.0f} cm", f"{1e12 * report.nearest_capacitance_f:.3f} pF"),
        ("zero beat", _centimetres(report.zero_beat_m)),
        ("locked, silent", _span(report.locked_near_m, report.locked_far_m)),
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
        lines += ["", f"{'note':<6}{'frequency':>12}{'distance':>11}{'steepness':>18}"]
        lines += [
            f"{note.note:<6}{note.frequency_hz:>9.1f} Hz{100.0 * note.distance_m:>8.2f} cm"
            f"{note.cents_per_mm:>9.1f} cents/mm"
            for note in report.notes
        ]
    return finished(lines, report.notices)


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


def _centimetres(distance: float | None) -> str:
    return DASH if distance is None else f"{100.0 * distance:.1f} cm"


def _hertz(frequency: float | None) -> str:
    return DASH if frequency is None else f"{frequency:.1f} Hz"


def _span(near: float | None, far: float | None) -> str:
    return DASH if near is None or far is None else f"{100.0 * near:.1f} to {100.0 * far:.1f} cm"


FIELD = Form(
    "beatfield.field/1", field_text, lambda figures: numbers_csv(CURVE_COLUMNS, figures.curve), save_field_plot
)
