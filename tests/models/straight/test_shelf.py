"""What there is to build with: owned parts in place of those that are sold, and what that leaves to search."""

from __future__ import annotations

import pytest

from models.straight.search import INDUCTANCES, FieldParts, Place
from models.straight.shelf import Shelf


def test_what_is_owned_takes_the_place_of_what_is_sold():
    owned = Shelf("E12", (1e-3,), ((10e-3, 4), (22e-3, 2)), (100e-12, 220e-12))
    assert owned.chokes_near(1e-3, 1.2, 2) == (10e-3, 22e-3)
    assert owned.chokes_near(1e-3, 1.2, 3) == (10e-3,)
    assert owned.coils_near(5e-3, 1.2) == (1e-3,)
    assert owned.capacitor(140e-12) == 100e-12
    assert owned.capacitor(160e-12) == 220e-12  # nearer in ratio
    sold = Shelf("E12")
    assert sold.capacitor(140e-12) == pytest.approx(150e-12)
    assert sold.coils_near(1e-3, 1.3) == pytest.approx((0.82e-3, 1e-3, 1.2e-3))
    assert all(coil <= INDUCTANCES[1] for coil in sold.coils_near(9e-3, 1.5))


def test_places_without_chokes_enough_fall_away():
    owned = Shelf(chokes=((10e-3, 2),))
    held = [owned.holds(Place(count, "low")) for count in (0, 1, 2, 4)]
    assert held == [True, True, True, False]
    assert Shelf().holds(Place(4, "high"))


def test_a_search_stays_between_what_is_owned():
    parts = Shelf(coils=(1e-3, 2e-3), chokes=((10e-3, 4), (22e-3, 2))).limited(FieldParts(), Place(4, "high"))
    assert parts.tank_inductances == pytest.approx((1e-3, 2e-3), rel=2e-3)
    assert parts.choke_inductances == pytest.approx((10e-3, 10e-3), rel=2e-3)
    assert parts.choke_inductances[0] < parts.choke_inductances[1]
    assert Shelf().limited(FieldParts(), Place(2, "low")) == FieldParts()


@pytest.mark.parametrize("bad", [{"coils": (0.0,)}, {"chokes": ((1e-3, 0),)}, {"capacitors": (-1e-12,)}])
def test_impossible_parts_are_refused(bad):
    with pytest.raises(ValueError, match="must be"):
        Shelf(**bad)
