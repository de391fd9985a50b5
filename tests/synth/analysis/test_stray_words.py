"""Whether a kind of board explains a stray capacitance, in words."""

from __future__ import annotations

import pytest

from models.stray import BOARDS, stray_range
from synth.analysis.figures import explanation


def test_a_difference_larger_than_the_board_is_said():
    # common practice: 100 pF on a solderless breadboard, 260 pF on a soldered board: 160 pF less stray there
    difference = 260e-12 - 100e-12
    assert "larger than the stated solderless breadboard explains" in explanation(difference, "solderless breadboard")


@pytest.mark.parametrize("board", list(BOARDS))
def test_explanations(board):
    low, high = stray_range(board)
    assert "is what the stated" in explanation(0.5 * (low + high), board)
    assert "less than usual" in explanation(0.5 * low, board)
    assert "cannot be" in explanation(-5e-12, board)
    assert "from memory" in explanation(2 * high, board)
