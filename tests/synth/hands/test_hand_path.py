"""Hand paths: linear between their stamps, held at the ends, the same in any division into blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.hands.hand_path import HandPath, still_hand


def _path(count: int, seed: int = 3) -> HandPath:
    random = np.random.default_rng(seed)
    times = np.cumsum(random.uniform(1e-4, 0.02, count)) - 1e-4
    return HandPath(times, random.uniform(0.01, 0.8, count), random.uniform(0.0, 1.0, count))


def test_straight_line_is_exact() -> None:
    path = HandPath(np.array([0.0, 2.0]), np.array([0.5, 0.1]), np.array([0.0, 1.0]))
    block = path.block(0, 201, 100)
    share = np.arange(201) / 200
    np.testing.assert_allclose(block.distance, 0.5 - 0.4 * share, rtol=0, atol=1e-15)
    np.testing.assert_allclose(block.volume, share, rtol=0, atol=1e-15)


def test_holds_the_end_values() -> None:
    path = HandPath(np.array([1.0, 2.0]), np.array([0.3, 0.2]), np.array([0.4, 0.8]))
    before, after = path.block(0, 100, 100), path.block(201, 50, 100)
    assert set(before.distance) == {0.3}
    assert set(after.distance) == {0.2}
    assert set(before.volume) == {0.4}
    assert set(after.volume) == {0.8}


@settings(max_examples=40, deadline=None)
@given(
    st.integers(1, 60), st.lists(st.integers(0, 400), min_size=1, max_size=12), st.sampled_from([44100, 48000, 8000])
)
def test_blocks_do_not_matter(count: int, lengths: list[int], rate: int) -> None:
    path = _path(count)
    whole = path.block(0, sum(lengths), rate)
    starts = np.cumsum([0, *lengths[:-1]])
    parts = [path.block(int(start), length, rate) for start, length in zip(starts, lengths, strict=True)]
    np.testing.assert_array_equal(np.concatenate([part.distance for part in parts]), whole.distance)
    np.testing.assert_array_equal(np.concatenate([part.volume for part in parts]), whole.volume)


def test_agrees_with_interpolation_over_the_whole_path() -> None:
    path = _path(500)
    block = path.block(1234, 5000, 48000)
    expected = np.interp(np.arange(1234, 6234) / 48000, path.times, path.distances)
    np.testing.assert_array_equal(block.distance, expected)


def test_blocks_cover_every_frame() -> None:
    path = HandPath(np.array([0.0, 1.0]), np.array([0.3, 0.2]), np.array([1.0, 1.0]))
    assert path.frames(48000) == 48001
    assert [block.distance.size for block in path.blocks(20000, 48000)] == [20000, 20000, 8001]
    assert path.block(48000, 1, 48000).distance[0] == 0.2


def test_arrays_are_private_and_read_only() -> None:
    distances = np.array([0.3, 0.2])
    path = HandPath(np.array([0.0, 1.0]), distances, np.array([1.0, 1.0]))
    distances[0] = 9.0
    assert path.distances[0] == 0.3
    with pytest.raises(ValueError, match="read-only"):
        path.distances[0] = 1.0


@pytest.mark.parametrize(
    ("times", "distances", "volumes", "part"),
    [
        ([0.0, 0.0], [0.1, 0.1], [1, 1], "increase"),
        ([-1.0, 0.0], [0.1, 0.1], [1, 1], ">= 0"),
        ([0.0, 1.0], [0.1, -0.1], [1, 1], "distances must be > 0"),
        ([0.0, 1.0], [0.1, np.nan], [1, 1], "finite"),
        ([0.0, 1.0], [0.1, 0.1], [1, 1.5], "between 0 and 1"),
        ([0.0, 1.0], [0.1], [1, 1], "one length"),
        ([], [], [], "at least 1"),
    ],
)
def test_refuses_bad_values(times: list[float], distances: list[float], volumes: list[float], part: str) -> None:
    with pytest.raises(ValueError, match=part):
        HandPath(np.array(times, dtype=float), np.array(distances, dtype=float), np.array(volumes, dtype=float))


def test_refuses_bad_blocks() -> None:
    path = still_hand(0.3, 1.0)
    for call in (lambda: path.block(-1, 5, 48000), lambda: path.block(0, -1, 48000), lambda: path.block(0, 5, 0)):
        with pytest.raises(ValueError, match="must be"):
            call()
    assert path.block(7, 0, 48000).distance.shape == (0,)


def test_kept_within_the_field_with_a_notice() -> None:
    path = HandPath(np.array([0.0, 1.0, 2.0]), np.array([0.005, 0.3, 2.0]), np.ones(3))
    kept, notice = path.held_within(0.01, 0.8)
    np.testing.assert_array_equal(kept.distances, [0.01, 0.3, 0.8])
    assert notice is not None
    assert "2 of 3" in notice
    same, nothing = kept.held_within(0.01, 0.8)
    assert same is kept
    assert nothing is None
