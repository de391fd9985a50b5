"""Two hands on one antenna: the other hand at rest, between its places, monotony, the distance of equal effect."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.hand.both_hands import Changes, Fingers, HandCurve
from models.hand.capacitance_curve import CapacitanceCurve

EMPTY = 7e-12
OWN = np.geomspace(0.01, 0.8, 24)
OTHERS = np.geomspace(0.01, 0.6, 8)


def law(own, other):
    """An invented field: a smooth law whose share by the other hand grows with the distance of the own hand."""
    return EMPTY + 0.03e-12 / (own + 0.02) * np.exp(-0.2 * own / (other + 0.1))


TABLE = law(OWN[:, None], OTHERS)


@pytest.fixture(scope="module")
def hand():
    return HandCurve.of_table(OWN, OTHERS, TABLE, EMPTY, rest=0.2)


def test_solved_places_are_given_back(hand):
    assert hand.heeds_other
    assert_allclose(hand.capacitance(OWN[:, None], OTHERS), TABLE, rtol=1e-12, atol=0)
    assert_allclose(hand.capacitance(OWN, 0.2), hand.curve.capacitance(OWN), rtol=1e-12, atol=0)
    assert_allclose(hand.capacitance(OWN), hand.curve.capacitance(OWN), rtol=0, atol=0)


def test_between_solved_places_it_is_near_the_law(hand):
    own, other = np.array([0.013, 0.11, 0.55])[:, None], np.array([0.012, 0.05, 0.31, 0.59])
    found, true = hand.capacitance(own, other) - EMPTY, law(own, other) - EMPTY
    assert_allclose(found, true, rtol=3e-3, atol=0)


def test_it_is_monotone_where_the_solved_points_are_and_has_no_jumps(hand):
    heights = np.geomspace(0.01, 0.6, 4001)
    for own in (OWN[3], 0.123, OWN[20]):
        values = hand.capacitance(own, heights)
        assert (np.diff(values) > 0.0).all()  # the law rises with the place of the other hand
        slopes = np.diff(np.log(values - EMPTY)) / np.diff(np.log(heights))
        assert np.abs(np.diff(slopes)).max() < 2e-3
    falling = hand.capacitance(np.geomspace(0.01, 0.8, 4001), 0.033)
    assert (np.diff(falling) < 0.0).all()


def test_beyond_the_solved_places_the_nearest_counts(hand):
    assert_allclose(hand.capacitance(0.1, [0.0, 0.005]), hand.capacitance(0.1, [0.01, 0.01]), rtol=0, atol=0)
    assert hand.capacitance(0.1, 5.0) == hand.capacitance(0.1, 0.6)


def test_the_distance_of_equal_effect_has_the_same_capacitance(hand):
    own, other = np.array([0.02, 0.1, 0.4])[:, None], np.array([0.015, 0.1, 0.2, 0.5])
    equal = hand.equal_distance(own, other)
    assert_allclose(hand.curve.capacitance(equal) - EMPTY, hand.capacitance(own, other) - EMPTY, rtol=1e-9, atol=0)
    assert_allclose(hand.equal_distance(own[:, 0], 0.2), own[:, 0], rtol=1e-12, atol=0)
    assert (equal[:, 0] > own[:, 0]).all()  # a lower other hand takes away: as if the own hand were farther
    ends = hand.equal_distance([0.001, 0.01, 0.8, 2.0], 0.01)
    assert ((ends >= 0.01) & (ends <= 0.8)).all()


def test_without_another_hand_nothing_changes():
    alone = HandCurve(CapacitanceCurve(OWN, TABLE[:, -1], EMPTY))
    assert not alone.heeds_other
    assert alone.capacitance(0.2, 0.1) == alone.curve.capacitance(0.2)
    assert alone.equal_distance(0.2, 0.1) == 0.2


def test_a_table_of_the_wrong_shape_is_refused():
    with pytest.raises(ValueError, match="change must be one finite value for each of 24 distances and 8"):
        Changes(OWN, OTHERS, np.zeros((8, 24)))
    with pytest.raises(ValueError, match="change must"):
        Changes(OWN, OTHERS, np.full((24, 8), np.nan))


SOME, DRAWN_IN = OWN[::3], 0.09


def closed(own, other, opening):
    """The field of `law` for fingers so far open: their skin is farther back, and a closed hand is a little more."""
    back = own + (1.0 - opening) * DRAWN_IN
    return EMPTY + (law(back, other) - EMPTY) * (1.0 + 0.2 * (1.0 - opening) ** 1.5 / (1.0 + own))


def fingers(others=OTHERS[-1:], own=1.0):
    table = {each: np.log(closed(SOME[:, None], others, each) - EMPTY) for each in (0.0, 0.5, 1.0, own)}
    wide = np.log(law(OWN, others[-1]) - EMPTY)
    return Fingers.of_table(SOME, others if len(others) > 1 else np.zeros(0), table, (OWN, wide), DRAWN_IN, own)


@pytest.mark.parametrize("own", [1.0, 0.3])
def test_closing_fingers_take_away_and_their_law_is_met_between_the_solved_places(own):
    table = closed(OWN[:, None], OTHERS, own)
    hand = HandCurve.of_table(OWN, OTHERS, table, EMPTY, OTHERS[-2], fingers(OTHERS, own))
    assert hand.heeds_opening
    assert hand.opening == own
    place, other = np.array([0.013, 0.11, 0.55])[:, None], np.array([0.012, 0.05, 0.31, 0.59])
    for opening in (0.0, 0.2, 0.5, 0.77, 1.0):
        found, true = hand.capacitance(place, other, opening) - EMPTY, closed(place, other, opening) - EMPTY
        assert_allclose(found, true, rtol=8e-3, atol=0)
        assert_allclose(hand.capacitance(SOME[:, None], OTHERS, 0.5), closed(SOME[:, None], OTHERS, 0.5), rtol=1e-9)
    assert_allclose(hand.capacitance(place, other, own), hand.capacitance(place, other), rtol=1e-12, atol=0)
    resting = hand.capacitance(place, OTHERS[-2], 0.4)
    assert_allclose(hand.capacitance(place, None, 0.4), resting, rtol=1e-12, atol=0)


def test_the_fingers_have_no_jumps_and_only_one_direction():
    hand = HandCurve.of_table(OWN, OTHERS, TABLE, EMPTY, 0.2, fingers(OTHERS))
    values = np.log(hand.capacitance(0.06, 0.1, np.linspace(0.0, 1.0, 2001)) - EMPTY)
    steps = np.diff(values)
    assert (steps > 0.0).all()
    assert np.abs(np.diff(steps)).max() < 0.02 * steps.max()


def test_the_distance_of_equal_effect_hears_the_fingers_with_and_without_another_hand():
    alone = HandCurve(CapacitanceCurve(OWN, TABLE[:, -1], EMPTY), None, fingers())
    both = HandCurve.of_table(OWN, OTHERS, TABLE, EMPTY, 0.2, fingers(OTHERS))
    own, opening = np.array([0.011, 0.05, 0.4])[:, None], np.array([0.0, 0.3, 0.8])
    for hand, other in ((alone, None), (both, None), (both, 0.03)):
        equal = hand.equal_distance(own, other, opening)
        found, wanted = hand.curve.capacitance(equal), hand.capacitance(own, other, opening)
        assert_allclose(found - EMPTY, wanted - EMPTY, rtol=1e-9, atol=0)
        assert (np.diff(equal, axis=-1) < 0.0).all()  # a closed hand is as if it were farther
    assert (alone.equal_distance(0.8, None, [0.0, 1.0]) == 0.8).all()  # held within the curve


def test_beyond_the_solved_openings_the_nearest_counts_and_a_fist_knows_none():
    alone = HandCurve(CapacitanceCurve(OWN, TABLE[:, -1], EMPTY), None, fingers())
    assert alone.capacitance(0.1, None, 1.7) == alone.capacitance(0.1)
    assert alone.capacitance(0.1, None, -1.0) == alone.capacitance(0.1, None, 0.0)
    fist = HandCurve(CapacitanceCurve(OWN, TABLE[:, -1], EMPTY))
    assert not fist.heeds_opening
    assert fist.equal_distance(0.1, None, 0.2) == 0.1
