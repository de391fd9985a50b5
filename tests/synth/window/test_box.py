"""Boxes cut into columns and rows."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from synth.window.box import Box


@given(
    st.integers(1, 500),
    st.integers(1, 500),
    st.lists(st.floats(0.1, 5.0), min_size=1, max_size=5),
    st.integers(0, 5),
)
def test_columns_fill_the_box_in_order(width: int, height: int, shares: list[float], gap: int) -> None:
    width += gap * len(shares)
    columns = Box(3, 5, width, height).columns(tuple(shares), gap)
    assert columns[0].left == 3
    assert columns[-1].right == 3 + width
    for one, other in itertools.pairwise(columns):
        assert other.left == one.right + gap
    rows = Box(5, 3, height, width).rows(tuple(shares), gap)
    assert [(row.top, row.height) for row in rows] == [(column.left, column.width) for column in columns]
