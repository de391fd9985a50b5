"""The pitch field of a design as one set of figures; text, JSON, CSV and plot are all written from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.pitch_field import PitchField
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash
from synth.report.output import csv_text
from synth.report.volume_figures import VolumeFigures, volume_figures

SCHEMA = "beatfield.field/1"
CURVE_POINTS = 161
CSV_COLUMNS = (
    "distance_m",
    "antenna_capacitance_f",
    "variable_frequency_hz",
    "beat_hz",
    "note_number",
    "cents_per_mm",
)
DASH = "-"


@dataclass(frozen=True, slots=True)
class NoteFigure:
    """One note of the field."""

    note: str
    frequency_hz: float
    distance_m: float
    cents_per_mm: float


@dataclass(frozen=True, slots=True)
class OctaveFigure:
    """One whole octave of the field."""

    low_note: str
    high_note: str
    far_m: float
    near_m: float
    width_m: float


@dataclass(frozen=True, slots=True)
class FieldReport:
    """Every figure of the report, SI units in the names; None where the design has no such thing."""

    design: str
    design_hash: str
    posture: str
    mode: str
    detector: str
    reference_frequency_hz: float
    variable_frequency_empty_hz: float
    empty_capacitance_f: float
    nearest_m: float
    farthest_m: float
    nearest_capacitance_f: float
    zero_beat_m: float | None
    locked_near_m: float | None
    locked_far_m: float | None
    playable_near_m: float | None
    playable_far_m: float | None
    lowest_hz: float | None
    highest_hz: float | None
    linearity_rms_cents: float | None
    linearity_near_m: float | None
    linearity_far_m: float | None
    octaves: tuple[OctaveFigure, ...]
    notes: tuple[NoteFigure, ...]
    volume: VolumeFigures | None
    notices: tuple[str, ...]
    curve: NDArray[np.float64]  # (CURVE_POINTS, len(CSV_COLUMNS)); NaN where nothing sounds

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values (without the dense curve, which is the CSV)."""
        figures = asdict(self)
        del figures["curve"]
        return {"schema": SCHEMA, **figures}

    def text(self) -> str:
        """The report for a person."""
        return _text(self)

    def csv(self) -> str:
        """The dense curve as CSV; an empty cell where nothing sounds."""
        return csv_text(CSV_COLUMNS, self.curve)


def field_report(workpiece: OpenedDesign) -> FieldReport:
    """Collect the figures of a design's pitch field."""
    instrument, field = workpiece.instrument, workpiece.field
    curve = instrument.curve
    even = _linearity(field)
    return FieldReport(
        design=workpiece.design.name,
        design_hash=design_hash(workpiece.design),
        posture=workpiece.design.player.posture,
        mode=instrument.mode,
        detector=instrument.detector.kind,
        reference_frequency_hz=instrument.reference_frequency,
        variable_frequency_empty_hz=float(
            instrument.frequency_with(curve.empty_capacitance + instrument.antenna_stray)
        ),
        empty_capacitance_f=curve.empty_capacitance,
        nearest_m=curve.nearest,
        farthest_m=curve.farthest,
        nearest_capacitance_f=float(curve.capacitances[0]),
        zero_beat_m=field.zero_beat_distance,
        locked_near_m=field.locked_span[0] if field.locked_span else None,
        locked_far_m=field.locked_span[1] if field.locked_span else None,
        playable_near_m=field.playable_near,
        playable_far_m=field.playable_far,
        lowest_hz=field.lowest_frequency,
        highest_hz=field.highest_frequency,
        linearity_rms_cents=even[0],
        linearity_near_m=even[1],
        linearity_far_m=even[2],
        octaves=tuple(
            OctaveFigure(span.low_note, span.high_note, span.far_distance, span.near_distance, span.width)
            for span in field.octaves()
        ),
        notes=tuple(
            NoteFigure(line.name, line.frequency, line.distance, float(field.cents_per_mm(line.distance)))
            for line in field.notes()
        ),
        volume=None if workpiece.volume is None else volume_figures(workpiece.volume),
        notices=workpiece.notices,
        curve=_dense_curve(workpiece),
    )


def _linearity(field: PitchField) -> tuple[float | None, float | None, float | None]:
    """RMS cents from the best straight line over the whole octaves (or all that is playable), and that range, m."""
    if field.playable_near is None or field.playable_far is None:
        return None, None, None
    octaves = field.octaves()
    near = min((octave.near_distance for octave in octaves), default=field.playable_near)
    far = max((octave.far_distance for octave in octaves), default=field.playable_far)
    return field.linearity_error(near, far), near, far


def _dense_curve(workpiece: OpenedDesign) -> NDArray[np.float64]:
    instrument, field = workpiece.instrument, workpiece.field
    distances = np.geomspace(instrument.curve.nearest, instrument.curve.farthest, CURVE_POINTS)
    distances[[0, -1]] = instrument.curve.nearest, instrument.curve.farthest
    beat = instrument.beat_frequency(distances)
    number, steepness = np.full_like(beat, np.nan), np.full_like(beat, np.nan)
    number[beat != 0.0] = note_number(np.abs(beat[beat != 0.0]), field.reference_a)
    if field.playable_near is not None and field.playable_far is not None:
        playable = (distances >= field.playable_near) & (distances <= field.playable_far)
        steepness[playable] = field.cents_per_mm(distances[playable])
    return np.column_stack(
        [
            distances,
            instrument.antenna_capacitance(distances),
            instrument.variable_frequency(distances),
            beat,
            number,
            steepness,
        ]
    )


def _centimetres(distance: float | None) -> str:
    return DASH if distance is None else f"{100.0 * distance:.1f} cm"


def _hertz(frequency: float | None) -> str:
    return DASH if frequency is None else f"{frequency:.1f} Hz"


def _span(near: float | None, far: float | None) -> str:
    return DASH if near is None or far is None else f"{100.0 * near:.1f} to {100.0 * far:.1f} cm"


def _text(report: FieldReport) -> str:
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
    facts += [] if report.volume is None else report.volume.facts()
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
    lines += [""] * bool(report.notices) + [f"note: {notice}" for notice in report.notices]
    return "\n".join(lines) + "\n"
