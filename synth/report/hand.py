"""A player's own hand for a person."""

from __future__ import annotations

from synth.hands.own_hand import OwnHand
from synth.report.written import Form, finished


def hand_lines(hand: OwnHand) -> tuple[str, ...]:
    """The hand in sentences, one a line."""
    if hand.tremor is None or hand.tremor_rate is None:
        least = f"less than the {1e3 * hand.resolution:.2g} mm steps that were seen can show"
        tremor = f"it trembles by {least}"
    else:
        tremor = f"it trembles by {1e3 * hand.tremor:.2g} mm (RMS), {hand.tremor_rate:.1f} times a second"
    return (
        f"it goes from {100.0 * hand.nearest:.0f} to {100.0 * hand.farthest:.0f} cm from the antenna",
        f"it comes back to a place within {1e3 * hand.scatter:.1f} mm (standard deviation)",
        tremor,
        f"at its fastest it moves {100.0 * hand.speed:.0f} cm a second",
    )


def hand_text(hand: OwnHand) -> str:
    """The report for a person."""
    made = f"{hand.when or 'at an unknown time'}, from {hand.source or 'an unknown path'}"
    names = ("reach", "place", "tremor", "speed")
    lines = [f"{name:<12}{line}" for name, line in zip(names, hand_lines(hand), strict=True)]
    return finished([*lines, f"{'measured':<12}{made}"], ())


HAND: Form[OwnHand] = Form("beatfield.hand/1", hand_text)
