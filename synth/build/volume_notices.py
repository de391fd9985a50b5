"""What a player should know of the volume hand, in words: each fault with its figures and its remedy."""

from __future__ import annotations

import math

from models.volume.volume_antenna import VolumeAntenna, VolumeFault


def volume_notices(volume: VolumeAntenna) -> tuple[str, ...]:
    """A sentence for each fault of the volume side."""
    return tuple(_words(volume, fault) for fault in volume.faults())


def trimmer_notice(volume: VolumeAntenna, needed: float | None, height: float) -> str:
    """Why the trimmer cannot be set for full volume with the hand at `height`, m.

    needed: F, what the trimmer would have to be; None where the rectifier never gives the full voltage.
    """
    if needed is None:
        return _words(volume, VolumeFault.RECTIFIER_TOO_WEAK)
    tank = volume.tank
    return (
        f"the volume oscillator needs {1e12 * needed:.1f} pF of trimmer for full volume at {100.0 * height:.1f} cm; "
        f"it has {1e12 * tank.trimmer_minimum:.1f} to {1e12 * tank.trimmer_maximum:.1f} pF: change its capacitance or "
        "the resonator's"
    )


def _words(volume: VolumeAntenna, fault: VolumeFault) -> str:
    lag, period = volume.rectifier.time_constant, 1.0 / volume.resonator.frequency
    match fault:
        case VolumeFault.NEARER_IS_LOUDER:
            return (
                "the volume oscillator lies above the resonance, so that a nearer hand is louder: raise the "
                "resonator's frequency or add capacitance to the oscillator"
            )
        case VolumeFault.CROSSES_THE_RESONANCE:
            return (
                f"the volume hand crosses the resonance {100.0 * volume.playable_far:.1f} cm above the ring and grows "
                "quieter beyond: raise the resonator's frequency or add capacitance to the oscillator"
            )
        case VolumeFault.RECTIFIER_TOO_WEAK:
            return (
                f"full volume takes {volume.stage.full:g} V of control voltage, and even in tune the rectifier gives "
                f"{volume.rectifier.highest:g} V: lower full or raise the amplitude"
            )
        case VolumeFault.NEVER_FULL:
            return (
                f"the volume hand never reaches full volume, at most {_decibels(volume.loudest)}: lower the "
                "resonator's frequency, take capacitance from the oscillator, or lower full"
            )
        case VolumeFault.NEVER_SILENT:
            return (
                f"the volume hand {100.0 * volume.curve.nearest:.0f} cm above the ring still leaves "
                f"{_decibels(volume.quietest)}: raise the threshold, the resonator's Q or the oscillator's inductance "
                "(with less capacitance)"
            )
        case VolumeFault.RECTIFIER_TOO_FAST:
            return (
                f"the volume rectifier forgets in {1e6 * lag:.3g} us, hardly longer than the radio period of "
                f"{1e6 * period:.3g} us: choose a larger detector capacitance"
            )
        case VolumeFault.RECTIFIER_TOO_SLOW:
            return (
                f"the volume rectifier lags by {1e3 * lag:.0f} ms, which the sound here does not: choose a smaller "
                "detector capacitance"
            )


def _decibels(gain: float) -> str:
    return f"{20.0 * math.log10(gain):.1f} dB" if gain > 0.0 else "silence"
