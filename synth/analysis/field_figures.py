"""The pitch field of a design as one set of figures, with its volume antenna."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from typing import cast

import numpy as np

from models.arrays import Floats
from models.hand.scene import Posture
from models.pitch import note_number
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from models.volume.volume_antenna import VolumeAntenna
from synth.analysis.adjoint_figures import lowest_note_jitter, pushing
from synth.analysis.antenna_figures import (
    AntennaFigures,
    EarthingFigures,
    PlayerFigures,
    RoomFigures,
    antenna_figures,
    earthing_figures,
    player_figures,
    room_figures,
)
from synth.analysis.circuit_points import control_end
from synth.analysis.figures import DENSE, OfDesign, collected, of, playable, row, rows
from synth.analysis.hum_figures import BeatHum, beat_hum, given_hum
from synth.analysis.mixer_figures import MixerFigures, mixer_figures
from synth.analysis.moves import PitchMoves, pitch_moves
from synth.analysis.pulling_figures import LockPath, PullingFigures, lock_paths, pulling_figures
from synth.analysis.scene_outlines import Outline, scene_outlines
from synth.build.workbench import OpenedDesign

STEEPNESS_AT_DB = -12.0
SHOWN_DISTANCE = 0.2  # m of either hand in a drawing, where nothing says better

SAME_PLACE = 1e-6  # of the trimmer's turn, by which rounding may move it


def _height(gain_db: float | None) -> Callable[[VolumeAntenna], float | None]:
    """The height for a gain, m, or for None that of the silence's end; None where the hand does not reach it."""

    def of_volume(volume: VolumeAntenna) -> float | None:
        try:
            return volume.distance_at(0.0 if gain_db is None else 10.0 ** (gain_db / 20.0))
        except ValueError:
            return None

    return of_volume


def _steepness(volume: VolumeAntenna) -> float | None:
    height = _height(STEEPNESS_AT_DB)(volume)
    return None if height is None else float(volume.steepness_db_per_cm(height))


def _empty_frequency(volume: VolumeAntenna) -> float:
    return float(volume.tank.with_antenna(volume.curve.empty_capacitance + volume.ring_stray))


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeFigures:
    """SI units in the names; heights above the ring; None where the hand does not reach that gain."""

    resonance_hz: float = of("volume.resonator.frequency")
    oscillator_empty_hz: float = of("volume", _empty_frequency)
    ring_empty_capacitance_f: float = of("volume.curve.empty_capacitance")
    trimmer: float = of("volume.tank.trimmer_setting")
    silent_below_m: float | None = of("volume", _height(None))
    minus_40_db_m: float | None = of("volume", _height(-40.0))
    minus_3_db_m: float | None = of("volume", _height(-3.0))
    full_from_m: float | None = of("volume", _height(0.0))
    steepness_at_minus_12_db_per_cm: float | None = of("volume", _steepness)


volume_figures = row(VolumeFigures, "volume")

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


@dataclass(frozen=True, slots=True, kw_only=True)
class OctaveFigure:
    """One whole octave of the field."""

    low_note: str = of("span.low_note")
    high_note: str = of("span.high_note")
    far_m: float = of("span.far_distance")
    near_m: float = of("span.near_distance")
    width_m: float = of("span.width")


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFigures(OfDesign):
    """Every figure of a pitch field, SI units in the names; None where the design has no such thing."""

    antenna: AntennaFigures = of("opened", antenna_figures)
    player: PlayerFigures = of("opened", player_figures)
    room: RoomFigures = of("opened.scene.room", room_figures)
    earthing: EarthingFigures | None = of("opened", earthing_figures)
    posture: str = of("opened.design.player.posture")
    mode: str = of("instrument.mode")
    detector: str = of("instrument.detector.kind")
    reference_frequency_hz: float = of("instrument.reference_frequency")
    reference_trimmer_set: float | None  # where zero beat puts it, 0 to 1; None where it stays as written
    variable_frequency_empty_hz: float
    empty_capacitance_f: float = of("curve.empty_capacitance")
    nearest_m: float = of("curve.nearest")
    farthest_m: float = of("curve.farthest")
    nearest_capacitance_f: float = of("curve.capacitances.0", float)
    zero_beat_m: float | None = of("field.zero_beat_distance")
    locked_near_m: float | None = of("field.locked_span.0")
    locked_far_m: float | None = of("field.locked_span.1")
    lock_range_hz: float = of("instrument.lock_range")
    lock_paths: tuple[LockPath, ...]  # strongest first; none without solved circuits, and where the lock range is given
    pulling: PullingFigures = of("opened", pulling_figures)
    playable_near_m: float | None = of("field.playable_near")
    playable_far_m: float | None = of("field.playable_far")
    lowest_hz: float | None = of("field.lowest_frequency")
    highest_hz: float | None = of("field.highest_frequency")
    linearity_rms_cents: float | None = of("even.0")
    linearity_near_m: float | None = of("even.1")
    linearity_far_m: float | None = of("even.2")
    octaves: tuple[OctaveFigure, ...] = of("octaves", rows(OctaveFigure, "span"))
    notes: tuple[NoteFigure, ...]
    pushing_hz_per_v: float | None  # of the beat, by the supply of both; None without solved circuits, as below
    hum: tuple[BeatHum, ...]  # of 1 mV, by its frequency and where it enters
    ripple: BeatHum | None  # that of [supply]
    lowest_note_jitter_cents: float | None  # by thermal, shot and flicker noise
    volume: VolumeFigures | None = of("opened.volume", volume_figures)
    mixer: MixerFigures | None = of("opened", mixer_figures)  # None where the design draws none
    moves: PitchMoves  # nothing where it was not asked for
    notices: tuple[str, ...] = of("opened.notices")
    control_end: str = field(metadata=DENSE)  # of the reference's device: base, gate, grid or input
    outlines: tuple[Outline, ...] = field(metadata=DENSE)  # of the conductors, for a drawing; none where not asked for
    earth_plane: bool = field(metadata=DENSE)
    curve: Floats = field(metadata=DENSE)  # (CURVE_POINTS, len(CURVE_COLUMNS)); NaN where nothing sounds


def field_figures(opened: OpenedDesign, with_moves: bool = False) -> FieldFigures:
    """Collect the figures of a design's pitch field; `with_moves`: also what moves it by itself, which takes longer."""
    instrument, field = opened.instrument, opened.field
    curve, lowest = instrument.curve, field.lowest_frequency
    both, lock, lines = opened.adjoints, instrument.lock_range, field.notes()
    roots = {"design": opened.design, "opened": opened, "instrument": instrument, "curve": curve, "field": field}
    return collected(
        FieldFigures,
        {**roots, "even": _linearity(field), "octaves": field.octaves()},
        variable_frequency_empty_hz=float(
            instrument.frequency_with(curve.empty_capacitance + instrument.antenna_stray)
        ),
        reference_trimmer_set=_trimmer_set(opened),
        notes=tuple(
            NoteFigure(line.name, line.frequency, line.distance, float(field.cents_per_mm(line.distance)))
            for line in lines
        ),
        lock_paths=lock_paths(opened.pulling),
        pushing_hz_per_v=None if both is None else pushing(both[0]) - pushing(both[1]),
        hum=beat_hum(opened, lines),
        ripple=given_hum(opened, lines),
        lowest_note_jitter_cents=(None if both is None or lowest is None else lowest_note_jitter(*both, lowest, lock)),
        moves=pitch_moves(opened) if with_moves else PitchMoves(),
        control_end=control_end(opened.circuits["reference"]) if both is not None else "base",
        outlines=_outlines(opened) if with_moves else (),
        earth_plane=opened.scene.room.earth_plane,
        curve=_dense_curve(opened),
    )


def _trimmer_set(opened: OpenedDesign) -> float | None:
    """Where the reference's trimmer stands after tuning; None without tuning and where it does not move."""
    setting, written = opened.reference_tank.trimmer_setting, opened.design.reference.trimmer
    moved = opened.design.tuning.zero_beat is not None and abs(setting - written) > SAME_PLACE
    return setting if moved else None


def _linearity(field: PitchField) -> tuple[float | None, float | None, float | None]:
    """RMS cents from the best straight line over the whole octaves (or all that is playable), and that range, m."""
    if field.playable_near is None or field.playable_far is None:
        return None, None, None
    octaves = field.octaves()
    near = min((octave.near_distance for octave in octaves), default=field.playable_near)
    far = max((octave.far_distance for octave in octaves), default=field.playable_far)
    return field.linearity_error(near, far), near, far


def _outlines(opened: OpenedDesign) -> tuple[Outline, ...]:
    """The scene with the pitch hand in the middle of the notes, and the volume hand where full volume begins."""
    lines = opened.field.notes()
    distance = lines[len(lines) // 2].distance if lines else SHOWN_DISTANCE
    posture = cast(Posture, opened.design.player.posture)
    return scene_outlines(opened.scene, posture, distance, opened.resting_height or SHOWN_DISTANCE)


def _dense_curve(opened: OpenedDesign) -> Floats:
    instrument, field = opened.instrument, opened.field
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
