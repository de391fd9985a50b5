"""The words and numbers of the readouts, from the instrument, the hand and the speaker's meters."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.pitch import nearest_note

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.live.meters import Meters

LOWEST_NOTE = 16.0  # Hz; below it a beat is counted, not heard as a note (C0 is 16.35 Hz)
IN_TUNE = 5.0  # cents
MINUS = "\N{MINUS SIGN}"
PIECES = " · "  # between the pieces of the status line


@dataclass(frozen=True, slots=True)
class Readouts:
    """What the panels say. `cents_off` is None where there is no note."""

    note: str
    cents_off: float | None
    remark: str
    beat: str
    distance: str
    capacitance: str
    variable: str
    reference: str
    reference_a: str = ""


def readouts(instrument: Instrument, distance: float, frequency: float, reference_a: float = 440.0) -> Readouts:
    """Readouts for a hand at `distance`, m, while `frequency`, Hz (signed), sounds."""
    speed = abs(frequency)
    note, cents_off = nearest_note(speed, reference_a) if speed >= LOWEST_NOTE else ("\N{EN DASH}", None)
    return Readouts(
        note=note.replace("#", "♯"),
        cents_off=cents_off,
        remark=_remark(frequency, cents_off, instrument.lock_range),
        beat=frequency_text(speed),
        distance=f"{100.0 * distance:.1f} cm",
        capacitance=f"{1e12 * float(instrument.antenna_capacitance(distance)):.3f} pF",
        variable=kilohertz_text(float(instrument.variable_frequency(distance))),
        reference=kilohertz_text(instrument.reference_frequency),
        reference_a=f"A = {reference_a:g} Hz",
    )


def _remark(frequency: float, cents_off: float | None, lock_range: float) -> str:
    if cents_off is None:
        locked = frequency == 0.0 and lock_range > 0.0
        return "oscillators locked" if locked else "near zero beat"
    if frequency < 0.0:
        return "beyond zero beat"
    if abs(cents_off) <= IN_TUNE:
        return "in tune"
    return "sharp" if cents_off > 0 else "flat"


def frequency_text(frequency: float) -> str:
    """A beat frequency, to 0.01 Hz below 100 Hz and 0.1 Hz above: "442.0 Hz"."""
    return f"{frequency:.2f} Hz" if frequency < 100.0 else f"{frequency:.1f} Hz"


def kilohertz_text(frequency: float) -> str:
    """A radio frequency to 1 Hz: "280.513 kHz"."""
    return f"{frequency / 1000.0:.3f} kHz"


def cents_text(cents_off: float | None) -> str:
    """Deviation with its sign: "+12 cents"."""
    if cents_off is None:
        return ""
    return f"{round(cents_off):+d} cents".replace("-", MINUS)


def level_text(gain: float) -> str:
    """A gain as dB with a true minus sign; silence in words."""
    if gain <= 1e-5:
        return "silent"
    return f"{20.0 * math.log10(gain):.0f} dB".replace("-0 dB", "0 dB").replace("-", MINUS)


def full_scale_text(peak: float) -> str:
    """A peak against full scale: "−20 dBFS"."""
    return level_text(peak).replace("dB", "dBFS")


def status_pieces(meters: Meters, kept_seconds: float = 0.0) -> tuple[str, ...]:
    """The sound device's state and how much of the take is in memory, the most important first."""
    if not meters.alive:
        pieces = ["sound process ended"]
    elif not meters.sounding:
        pieces = ["silent clock", f"{meters.sample_rate / 1000:g} kHz", f"late blocks {meters.late_blocks}"]
    else:
        pieces = [
            f"underruns {meters.underruns}",
            f"latency {1000 * meters.latency:.1f} ms",
            f"{meters.sample_rate / 1000:g} kHz",
            f"block time {100 * meters.share_median:.0f} % (worst {100 * meters.share_worst:.0f} %)",
            f"late blocks {meters.late_blocks}",
        ]
        if meters.gesture_latency > 0.0:
            pieces.insert(0, f"hand to sound {1000 * meters.gesture_latency:.0f} ms")
    whole = int(kept_seconds)
    kept = [f"{whole // 60}:{whole % 60:02d} kept"] if whole >= 1 else []
    return (pieces[0], *kept, *pieces[1:])
