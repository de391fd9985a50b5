"""What the circuit sees of a Maxwell matrix: circuit algebra done by hand, limits, signs, bad values."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.hand.earthing import USUAL_SHOES, Earthing, Ties, seen_capacitance, tank_tie

PF = 1e-12
NAMES = ("antenna", "common", "ring", "player")


def maxwell(mutual: dict[tuple[int, int], float], to_earth: list[float]) -> np.ndarray:
    """Maxwell's matrix, F, of capacitances between conductors and to earth, pF."""
    matrix = np.diag(np.array(to_earth, dtype=float))
    for (i, j), value in mutual.items():
        matrix[i, j] -= value
        matrix[j, i] -= value
        matrix[i, i] += value
        matrix[j, j] += value
    return matrix * PF


# antenna, common, ring, player; typical sizes
FOUR = maxwell({(0, 1): 3.0, (0, 2): 0.15, (0, 3): 2.0, (1, 2): 1.7, (1, 3): 6.0, (2, 3): 4.0}, [2.0, 11.0, 2.0, 65.0])


def seen(matrix=FOUR, names=NAMES, sensing="antenna", to_common=None, **to_earth):
    return seen_capacitance(matrix, names, Ties(to_earth, to_common or {}), sensing)


def test_two_plates_and_a_tie_are_the_series_connection():
    # Antenna and player joined by 2 pF only (no capacitance of their own to earth), player to earth by 6 pF: 1.5 pF.
    matrix = maxwell({(0, 1): 2.0}, [0.0, 0.0])
    assert_allclose(seen(matrix, ("antenna", "player"), player=6 * PF), 1.5 * PF, rtol=1e-12, atol=0)
    assert_allclose(seen(matrix, ("antenna", "player"), player=math.inf), 2.0 * PF, rtol=1e-12, atol=0)


def test_a_floating_common_is_the_star_of_three_capacitors():
    # Antenna to common 3 pF, antenna to earth 2 pF, common to earth 11 pF and 9 pF of supply: 3 + 2 * 20 / 22 pF.
    matrix = maxwell({(0, 1): 3.0}, [2.0, 11.0])
    assert_allclose(seen(matrix, ("antenna", "common"), common=9 * PF), (3.0 + 40.0 / 22.0) * PF, rtol=1e-12, atol=0)


def test_bonding_everything_leaves_the_diagonal():
    bonded = seen(common=math.inf, ring=math.inf, player=math.inf)
    assert_allclose(bonded, FOUR[0, 0], rtol=1e-12, atol=0)
    held = seen(to_common={"ring": math.inf}, common=math.inf, player=math.inf)
    assert_allclose(held, FOUR[0, 0], rtol=1e-12, atol=0)


def test_large_ties_come_near_wires():
    wired = seen(to_common={"ring": math.inf}, common=math.inf, player=100 * PF)
    large = seen(to_common={"ring": 1e-3}, common=1e-3, player=100 * PF)
    assert_allclose(large, wired, rtol=1e-6, atol=0)
    afloat = seen(to_common={"ring": math.inf}, common=5 * PF, player=100 * PF)
    assert_allclose(seen(to_common={"ring": 1e-3}, common=5 * PF, player=100 * PF), afloat, rtol=1e-6, atol=0)


def test_an_instrument_that_floats_in_empty_space_sees_antenna_and_common_alone():
    # Body and ring to infinity: no mutual capacitance to them. Nothing to earth at all: the 3 pF between the two.
    matrix = maxwell({(0, 1): 3.0}, [1e-9, 1e-9, 2.0, 65.0])
    assert_allclose(seen(matrix), 3.0 * PF, rtol=1e-9, atol=0)


@pytest.mark.parametrize("tie", [0.0, 20 * PF, 100 * PF, 1e-9])
def test_every_better_tie_adds_capacitance(tie):
    # (Of passive ties a source sees more the more there is of any: Rayleigh's theorem of monotony.)
    before = seen(common=tie, player=100 * PF)
    assert seen(common=tie + 10 * PF, player=100 * PF) > before
    assert seen(common=tie, player=150 * PF) > before
    assert seen(common=tie, player=100 * PF, to_common={"ring": 50 * PF}) > before


def test_ring_and_antenna_are_seen_alike():
    """Numbering does not matter: the same matrix with the two exchanged."""
    order = [2, 1, 0, 3]
    turned = FOUR[np.ix_(order, order)]
    ties = {"common": 30 * PF, "player": 100 * PF}
    assert_allclose(
        seen(turned, sensing="ring", to_common={"antenna": 40 * PF}, **ties),
        seen(to_common={"ring": 40 * PF}, **ties),
        rtol=1e-12,
        atol=0,
    )


def test_places_broadcast_and_one_that_is_not_there_is_left_out():
    stacked = np.stack([[FOUR, 2.0 * FOUR], [3.0 * FOUR, FOUR]])
    found = seen(stacked)
    assert found.shape == (2, 2)
    assert_allclose(found, seen() * np.array([[1.0, 2.0], [3.0, 1.0]]), rtol=1e-12, atol=0)
    absent = FOUR.copy()
    absent[3], absent[:, 3] = 0.0, 0.0
    assert_allclose(seen(absent, common=math.inf), seen(FOUR[:3, :3], NAMES[:3], common=math.inf), rtol=1e-12, atol=0)


def test_a_tank_is_a_capacitance_that_turns_negative_below_resonance():
    # 1 mH and 400 pF resonate at 251 646.06 Hz (f = 1 / (2 pi sqrt(L C))): there it counts as nothing.
    omega = 1.0 / math.sqrt(1e-3 * 400 * PF)
    assert abs(tank_tie(omega, 1e-3, 400 * PF)) < 1e-9 * 400 * PF
    assert_allclose(tank_tie(2.0 * omega, 1e-3, 400 * PF), 300 * PF, rtol=1e-12, atol=0)
    assert tank_tie(0.5 * omega, 1e-3, 400 * PF) < 0.0


def test_the_total_to_earth_counts_what_the_field_finds():
    share = 67 * PF
    assert_allclose(Earthing(150 * PF).shoes(share), 83 * PF, rtol=1e-12, atol=0)
    assert Earthing().shoes(share) == USUAL_SHOES
    assert Earthing(math.inf).shoes(share) == math.inf
    with pytest.raises(ValueError, match="50 pF.*67 pF"):
        Earthing(50 * PF).shoes(share)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Earthing(body_capacitance=-PF), "body_capacitance must be >= 0"),
        (lambda: Earthing(body_capacitance=True), "body_capacitance must be a finite"),
        (lambda: Earthing(common_to_earth=-PF), "common_to_earth must be >= 0"),
        (lambda: Earthing(common_to_earth=math.nan), "common_to_earth must be a finite"),
        (lambda: Ties({"player": math.nan}), "tie of the player"),
    ],
)
def test_bad_ties_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
