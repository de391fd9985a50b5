"""Which of several designs suits a hand: how many notes it would meet on each, from C2 to C6, within its reach."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from synth.hands.own_hand import OwnHand
from synth.hands.tune_path import PLACEMENT

LOWEST, HIGHEST = 36, 84  # note numbers, C2 and C6
NEARER = 50.0  # cents: a hand that misses its place by less is nearer to the note it wants than to the next


@dataclass(frozen=True, slots=True)
class DesignSuits:
    """One design for a hand: of the notes from C2 to C6 how many it plays, how many of them lie within the reach, and
    how many of those the hand's placement misses by less than half a semitone; the median of what the placement makes
    of those, cents (None where there are none).
    """

    design: str
    played: int
    in_reach: int
    met: int
    typical_cents: float | None


def design_suits(design: str, field: PitchField, hand: OwnHand | None) -> DesignSuits:
    """How a design suits a hand; None: the placement that is assumed, and any reach."""
    notes = [line for line in field.notes() if LOWEST <= line.number <= HIGHEST]
    placement = PLACEMENT if hand is None else hand.scatter
    reached = [line for line in notes if hand is None or hand.nearest <= line.distance <= hand.farthest]
    missed = [1e3 * placement * float(field.cents_per_mm(line.distance)) for line in reached]
    met = [value for value in missed if value < NEARER]
    return DesignSuits(design, len(notes), len(reached), len(met), float(np.median(met)) if met else None)


def best(designs: Sequence[DesignSuits]) -> DesignSuits:
    """The one on which most notes are met; of several the one whose notes are met best, then the first."""
    return max(designs, key=lambda one: (one.met, -(one.typical_cents or 0.0)))
