"""The volume antenna's part of the field report: frequencies, and the heights of the hand for silence and loudness."""

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

    def facts(self) -> list[tuple[str, str]]:
        """Names and values for the text report."""
        steepness = self.steepness_at_minus_12_db_per_cm
        return [
            (
                "volume oscillator",
                f"{self.oscillator_empty_hz / 1e3:.3f} kHz, no player; resonance {self.resonance_hz / 1e3:.3f} kHz",
            ),
            ("volume ring", f"{1e12 * self.ring_empty_capacitance_f:.3f} pF, no player"),
            ("volume hand, silent", f"up to {_centimetres(self.silent_below_m)}"),
            ("volume hand, -40 dB", _centimetres(self.minus_40_db_m)),
            ("volume hand, -3 dB", _centimetres(self.minus_3_db_m)),
            ("volume hand, full", f"from {_centimetres(self.full_from_m)}"),
            ("volume steepness", "-" if steepness is None else f"{steepness:.1f} dB/cm at {STEEPNESS_AT_DB:.0f} dB"),
        ]


def volume_figures(volume: VolumeAntenna) -> VolumeFigures:
    """Collect the figures of a volume antenna."""
    steep_at = _height(volume, STEEPNESS_AT_DB)
    return VolumeFigures(
        resonance_hz=volume.resonator.frequency,
        oscillator_empty_hz=float(volume.tank.with_antenna(volume.curve.empty_capacitance + volume.ring_stray)),
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


def _centimetres(height: float | None) -> str:
    return "-" if height is None else f"{100.0 * height:.1f} cm"
