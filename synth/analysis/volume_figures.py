"""The volume antenna in figures: frequencies, and the heights of the hand for silence and loudness."""

from __future__ import annotations

from dataclasses import dataclass

from models.volume.volume_antenna import VolumeAntenna

STEEPNESS_AT_DB = -12.0


@dataclass(frozen=True, slots=True)
class VolumeFigures:
    """SI units in the names; heights above the ring; None where the hand does not reach that gain."""

    resonance_hz: float
    oscillator_empty_hz: float
    ring_empty_capacitance_f: float
    trimmer: float
    silent_below_m: float | None
    minus_40_db_m: float | None
    minus_3_db_m: float | None
    full_from_m: float | None
    steepness_at_minus_12_db_per_cm: float | None


def volume_figures(volume: VolumeAntenna) -> VolumeFigures:
    """Collect the figures of a volume antenna."""
    steep_at = _height(volume, STEEPNESS_AT_DB)
    return VolumeFigures(
        resonance_hz=volume.resonator.frequency,
        oscillator_empty_hz=float(volume.tank.with_antenna(volume.curve.empty_capacitance + volume.stray)),
        ring_empty_capacitance_f=volume.curve.empty_capacitance,
        trimmer=volume.tank.trimmer_setting,
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
