"""Invented capacitance curves and a small instrument, for tests that need no solved field.

Each curve holds 30 distances from 1 to 80 cm (the ring's to 60 cm) and falls evenly to what the antenna has alone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.hand.both_hands import Changes, HandCurve
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.hand_field import HandField
from models.instrument import Instrument
from models.tank import Tank
from models.volume.both_hands import BothHands
from models.volume.volume_antenna import VolumeAntenna

_DISTANCES, _HEIGHTS = np.geomspace(0.01, 0.8, 30), np.geomspace(0.01, 0.6, 30)
# As solved fields of a rod of half a metre run: the hand adds 0.5 pF at 5 cm.
ROD = CapacitanceCurve(_DISTANCES, 6.24e-12 + 0.033e-12 / (_DISTANCES + 0.015), 6.24e-12)
# Steeper than a rod: 1.7 pF at 5 cm, so that one plain tank sounds over several octaves.
STEEP = CapacitanceCurve(_DISTANCES, 8e-12 + 0.09e-12 / (_DISTANCES + 0.02) ** 1.1, 8e-12)
# A ring of some 25 cm under the other hand: 1.25 pF at 5 cm.
RING_CURVE = CapacitanceCurve(_HEIGHTS, 7.4e-12 + 0.1e-12 / (_HEIGHTS + 0.03), 7.4e-12)
RING = VolumeAntenna(RING_CURVE, Tank(2.2e-3, 61.58e-12), Tank(2.2e-3, 72e-12), ring_stray=3e-12)  # full at 25 cm
# Both hands: what the hand adds to the rod is a tenth less with the volume hand down; the ring heeds its own alone.
BOTH = BothHands(
    HandCurve(ROD, Changes(_DISTANCES, np.array([0.01, 0.1, 0.6]), np.log([0.9, 0.97, 1.0]) * np.ones((30, 1)))),
    HandCurve(RING_CURVE),
    RING,
)


def small_field(
    open_hand: CapacitanceCurve = ROD, fist: CapacitanceCurve = ROD, ring: CapacitanceCurve | None = None
) -> HandField:
    """The field in which the rod, and the ring if any, have these curves whatever is joined to what.

    No conductor feels another one; the player's capacitance is invented too. Closed fingers take a third from what an
    open hand adds.
    """
    names = ("antenna", "player") if ring is None else ("antenna", "ring", "player")
    heights = np.zeros(0) if ring is None else ring.distances[[0, 10, 20, -1]]
    columns = max(heights.size, 1)

    def matrices(own: Any, loop: Any, person: float) -> Any:
        diagonal = [own] if ring is None else [own, loop]
        return np.stack(np.broadcast_arrays(*diagonal, np.float64(person)), axis=-1)[..., None] * np.eye(len(names))

    places = {}
    for posture, curve in (("open", open_hand), ("fist", fist)):
        loop = 0.0 if ring is None else ring.capacitance(heights)
        own = curve.capacitances[:, None] * np.ones(columns)
        places[posture] = matrices(own, loop, 70e-12)
    some = open_hand.distances[::3]
    closed = open_hand.empty_capacitance + np.multiply.outer(
        [0.66, 0.85], open_hand.capacitance(some) - open_hand.empty_capacitance
    )
    fingers = matrices(closed[..., None] * np.ones(columns), 0.0 if ring is None else ring.capacitance(heights), 70e-12)
    return HandField(
        names=names,
        distances=open_hand.distances,
        heights=heights,
        places=places,
        ring_heights=np.zeros(0) if ring is None else ring.distances,
        ring_places=np.zeros((0, 2, 2))
        if ring is None
        else matrices(open_hand.capacitances[-1], ring.capacitances, 70e-12),
        without_player=matrices(open_hand.empty_capacitance, 0.0 if ring is None else ring.empty_capacitance, 0.0),
        body_share=67e-12,
        openings=np.array([0.0, 0.5]),
        finger_distances=some,
        finger_places=fingers,
    )


def same_field(first: HandField, second: HandField) -> bool:
    """Whether two fields are the same to the last bit."""
    return (
        (first.names, first.body_share, set(first.places)) == (second.names, second.body_share, set(second.places))
        and all(np.array_equal(first.places[posture], second.places[posture]) for posture in first.places)
        and np.array_equal(first.distances, second.distances)
        and np.array_equal(first.ring_places, second.ring_places)
        and np.array_equal(first.without_player, second.without_player)
        and np.array_equal(first.openings, second.openings)
        and np.array_equal(first.finger_distances, second.finger_distances)
        and np.array_equal(first.finger_places, second.finger_places)
        and first.opening == second.opening
    )


def make_instrument(zero_beat: float = 0.6, **changes: Any) -> Instrument:
    """The instrument with zero beat at a hand distance, m; `changes` to its fields. Some 0.8 kHz at 5 cm by default."""
    made = replace(Instrument(STEEP, Tank(820e-6, 300e-12), 3e5), **changes)
    if "reference_frequency" in changes:
        return made
    return replace(made, reference_frequency=float(made.variable_frequency(zero_beat)))


def tuned(zero_beat: float, branch: SeriesInductor = DIRECT, mode: str = "low", **values: float) -> Instrument:
    """A lower one, of 1 mH and 400 pF with 1 pF of stray at the antenna, tuned to zero beat at a hand distance, m."""
    loose = Instrument(STEEP, Tank(1e-3, 400e-12), 1.0, branch, antenna_stray=1e-12, mode=mode, **values)
    return replace(loose, reference_frequency=float(loose.variable_frequency(zero_beat)))
