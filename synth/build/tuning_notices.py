"""What a builder should know of the tuning before soldering, in words: trimmer, mode, zero beat, locking."""

from __future__ import annotations

from models.branch.antenna_branch import HOP_RATIO, ModeHop
from models.instrument import Instrument
from synth.designs.quantity import format_quantity

TRIMMER_MARGIN = 0.05  # of the trimmer's turn that should be left at either end


def margin_notice(setting: float, distance: float) -> tuple[str, ...]:
    """What to say of a trimmer at `setting` (0 to 1) for zero beat at `distance`, m: nothing unless near an end."""
    if TRIMMER_MARGIN <= setting <= 1.0 - TRIMMER_MARGIN:
        return ()
    room = 100.0 * min(setting, 1.0 - setting)
    return (
        f"the reference's trimmer gives {_place(distance)} only {room:.1f} % of its turn from its end: "
        "little is left for drift and tolerances",
    )


def out_of_reach_notice(reached: float, target: float, distance: float, fixed: float, now: float) -> str:
    """What to say of a trimmer at its end, where the reference is at `reached` and not at `target`, Hz.

    `fixed`, F, is the capacitor that brings it there with the trimmer in the middle, `now` the one it has.
    """
    miss = reached - target
    side = "above" if miss > 0.0 else "below"
    notice = (
        f"the reference's trimmer cannot reach {_place(distance)}: at its end it leaves the reference "
        f"{format_quantity(abs(miss), 'Hz')} {side} the {format_quantity(target, 'Hz', 6)} of the variable oscillator"
    )
    has = format_quantity(now, "F")
    if fixed <= 0.0:
        return f"{notice}; no reference.capacitance does it (now {has}): choose a smaller reference.inductance"
    needed = format_quantity(fixed, "F")
    return f"{notice}; reference.capacitance of {needed} (now {has}) brings it there with the trimmer in the middle"


def instrument_notices(instrument: Instrument) -> tuple[str, ...]:
    """A sentence for each of: a mode that may be left, a zero beat out of reach, oscillators always locked."""
    near, far = instrument.curve.nearest, instrument.curve.farthest
    nearest, farthest = (float(value) for value in instrument.offset_frequency([near, far]))
    hop, apart = instrument.mode_hop(), max(abs(nearest), abs(farthest))
    found = [] if hop is None else [_hop_notice(hop, instrument.mode)]
    if farthest > 0.0:
        found.append(
            f"zero beat is out of reach: with the hand at {100 * far:.1f} cm the oscillators are still "
            f"{farthest:.1f} Hz apart"
        )
    elif nearest < 0.0:
        found.append(
            f"zero beat is out of reach and the pitch falls as the hand comes nearer: at "
            f"{100 * near:.1f} cm the variable oscillator is still {-nearest:.1f} Hz above the reference"
        )
    if apart <= instrument.lock_range:
        found.append(
            f"the oscillators stay locked, and silent, at every hand distance: they are at most "
            f"{apart:.1f} Hz apart and lock within {instrument.lock_range:.1f} Hz"
        )
    return tuple(found)


def _hop_notice(hop: ModeHop, mode: str) -> str:
    reach = f"with the hand at {100 * hop.near:.1f} to {100 * hop.far:.1f} cm"
    if hop.needed is None:
        return (
            f"the series inductor is so lossy that only the {hop.rival} mode is left to start in {reach}, "
            f"not the {mode} one"
        )
    own, other = hop.needed
    return (
        f"the oscillator {'starts in' if other < own else 'may hop to'} its {hop.rival} mode {reach}: at "
        f"{100 * hop.worst:.1f} cm it needs {1e6 * other:.3g} uS there against "
        f"{1e6 * own:.3g} uS in the {mode} mode (ratio {other / own:.2f}; {HOP_RATIO:g} is asked for)"
    )


def _place(distance: float) -> str:
    return f"zero beat at {format_quantity(distance, 'm')}"
