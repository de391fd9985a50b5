"""The pitch field of a design as one set of figures, with its volume antenna."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from models.pitch_field import PitchField
from models.volume.volume_antenna import VolumeAntenna
from synth.analysis.figures import DENSE, collected, of, playable
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash

STEEPNESS_AT_DB = -12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeFigures:
    """SI units in the names; heights above the ring; None where the hand does not reach that gain."""

    resonance_hz: float = of("volume.resonator.frequency")
    oscillator_empty_hz: float
    ring_empty_capacitance_f: float = of("volume.curve.empty_capacitance")
    trimmer: float = of("volume.tank.trimmer_setting")
    silent_below_m: float | None
    minus_40_db_m: float | None
    minus_3_db_m: float | None
    full_from_m: float | None
    steepness_at_minus_12_db_per_cm: float | None


def volume_figures(volume: VolumeAntenna) -> VolumeFigures:
    """Collect the figures of a volume antenna."""
    steep_at = _height(volume, STEEPNESS_AT_DB)
    return collected(
        VolumeFigures,
        {"volume": volume},
        oscillator_empty_hz=float(volume.tank.with_antenna(volume.curve.empty_capacitance + volume.ring_stray)),
        silent_below_m=_height(volume, None),
        minus_40_db_m=_height(volume, -40.0),
        minus_3_db_m=_height(volume, -3.0),
        full_from_m=_height(volume, 0.0),
        steepness_at_minus_12_db_per_cm=None if steep_at is None else float(volume.steepness_db_per_cm(steep_at)),
    )


def _height(volume: VolumeAntenna, gain_db: float | None) -> float | None:
    """Height for a gain, m; for None, of the silence's end."""
    try:
        return volume.distance_at(0.0 if gain_db is None else 10.0 ** (gain_db / 20.0))
    except ValueError:
        return None


CURVE_POINTS = 161
CURVE_COLUMNS = (
    "distance_m",
    "antenna_capacitance_f",
    "variable_frequency_hz",
    "beat_hz",
    "note_number",
    "cents_per_mm",
)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFigures:
    """Every figure of a pitch field, SI units in the names; None where the design has no such thing."""

    design: str = of("workpiece.design.name")
    design_hash: str
    posture: str = of("workpiece.design.player.posture")
    mode: str = of("instrument.mode")
    detector: str = of("instrument.detector.kind")
    reference_frequency_hz: float = of("instrument.reference_frequency")
    variable_frequency_empty_hz: float
    empty_capacitance_f: float = of("curve.empty_capacitance")
    nearest_m: float = of("curve.nearest")
    farthest_m: float = of("curve.farthest")
    nearest_capacitance_f: float
    zero_beat_m: float | None = of("field.zero_beat_distance")
    locked_near_m: float | None
    locked_far_m: float | None
    playable_near_m: float | None = of("field.playable_near")
    playable_far_m: float | None = of("field.playable_far")
    lowest_hz: float | None = of("field.lowest_frequency")
    highest_hz: float | None = of("field.highest_frequency")
    linearity_rms_cents: float | None
    linearity_near_m: float | None
    linearity_far_m: float | None
    octaves: tuple[OctaveFigure, ...]
    notes: tuple[NoteFigure, ...]
    volume: VolumeFigures | None
    notices: tuple[str, ...] = of("workpiece.notices")
    curve: NDArray[np.float64] = field(metadata=DENSE)  # (CURVE_POINTS, len(CURVE_COLUMNS)); NaN where nothing sounds


def field_figures(workpiece: OpenedDesign) -> FieldFigures:
    """Collect the figures of a design's pitch field."""
    instrument, field = workpiece.instrument, workpiece.field
    curve = instrument.curve
    even = _linearity(field)
    return collected(
        FieldFigures,
        {"workpiece": workpiece, "instrument": instrument, "curve": curve, "field": field},
        design_hash=design_hash(workpiece.design),
        variable_frequency_empty_hz=float(
            instrument.frequency_with(curve.empty_capacitance + instrument.antenna_stray)
        ),
        nearest_capacitance_f=float(curve.capacitances[0]),
        locked_near_m=field.locked_span[0] if field.locked_span else None,
        locked_far_m=field.locked_span[1] if field.locked_span else None,
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
    inside = playable(field, distances)
    if inside.any():
        steepness[inside] = field.cents_per_mm(distances[inside])
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
