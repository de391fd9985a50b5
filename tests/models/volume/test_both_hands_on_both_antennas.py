"""Both hands on both antennas: each antenna by its own hand first, and each hand changes the other's law."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose
from small_instrument import BOTH, RING, RING_CURVE

from models.hand.both_hands import Changes, HandCurve


def test_the_pitch_hears_the_volume_hand_by_its_capacitance():
    heard = BOTH.pitch_distance([0.1, 0.3], 0.01)
    curve = BOTH.pitch.curve
    assert_allclose(
        curve.capacitance(heard) - curve.empty_capacitance,
        0.9 * (curve.capacitance([0.1, 0.3]) - curve.empty_capacitance),
        rtol=1e-9,
        atol=0,
    )
    assert_allclose(BOTH.pitch_distance([0.1, 0.3], 0.6), [0.1, 0.3], rtol=1e-12, atol=0)


def test_the_volume_hears_the_pitch_hand():
    heights, own = RING_CURVE.distances, np.array([0.05, 0.4])
    more = HandCurve(RING_CURVE, Changes(heights, own, np.log([1.05, 1.0]) * np.ones((heights.size, 1))))
    both = replace(BOTH, ring=more)
    assert_allclose(both.gain(0.4, [0.05, 0.2]), RING.gain([0.05, 0.2]), rtol=1e-9, atol=0)
    # a pitch hand that adds to what the ring feels makes it quieter: as if the volume hand were lower
    assert (both.gain(0.05, [0.06, 0.15]) < RING.gain([0.06, 0.15])).all()
    assert both.gain(0.05, 5.0) == both.gain(0.05, 0.6)
