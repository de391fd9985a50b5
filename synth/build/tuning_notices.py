"""What to say of a reference that its trimmer brings to zero beat barely, or not at all."""

from __future__ import annotations

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


def _place(distance: float) -> str:
    return f"zero beat at {format_quantity(distance, 'm')}"
