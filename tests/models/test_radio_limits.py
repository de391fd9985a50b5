"""The example radio limits against the rule's table."""

from __future__ import annotations

import math

import pytest

from models.radio_limits import general_field_limit


@pytest.mark.parametrize(
    ("frequency", "microvolts", "distance"),
    [
        (9e3, 2400.0 / 9.0, 300.0),
        (240e3, 10.0, 300.0),
        (600e3, 40.0, 30.0),
        (1600e3, 15.0, 30.0),
        (1705e3, 24000.0 / 1705.0, 30.0),
        (7e6, 30.0, 30.0),
        (40e6, 100.0, 3.0),
    ],
)
def test_the_rows_of_the_rule(frequency: float, microvolts: float, distance: float) -> None:
    """47 CFR 15.209(a), its table from memory; at 1705 kHz the tighter of both rows, 15.209(b)."""
    limit = general_field_limit(frequency)
    assert limit.field == pytest.approx(microvolts * 1e-6, rel=1e-12)
    assert limit.distance == distance


def test_the_rows_meet_where_the_field_falls_with_distance() -> None:
    """At 490 kHz the two rows are one field, where it falls as 1/r: 300 m and 30 m differ by ten."""
    below, above = general_field_limit(489_999.999), general_field_limit(490e3)
    assert below.field * below.distance == pytest.approx(above.field * above.distance, rel=1e-6)


def test_twice_the_frequency_has_half_the_field() -> None:
    assert general_field_limit(300e3).field == pytest.approx(0.5 * general_field_limit(150e3).field, rel=1e-12)


@pytest.mark.parametrize("frequency", [0.0, 8.9e3, 89e6, math.nan, math.inf, True])
def test_outside_the_rows_it_is_refused(frequency: float) -> None:
    with pytest.raises(ValueError, match="frequency"):
        general_field_limit(frequency)
