"""Rows of a table: found by the bits of an offset as by a search, and read in single precision without noise."""

import numpy as np
import pytest

from synth.sound.beat_phase import TURN_BITS, TURN_MASK
from synth.sound.row_finder import RowFinder
from synth.sound.wavetable import Cycles

STRIDE = 7
LINES = {
    "rows of a table": (np.append(0.0, np.geomspace(0.4, 21600.0, 150)), np.arange(151.0)),
    "levels that stand and cross over": ([17.0, 20.0, 24.0, 29.0, 29.0, 40.0], [0.0, 1.0, 1.0, 2.0, 2.0, 3.0]),
    "two ends close to each other": ([0.0, 40.0, 40.0004, 40.02, 41.0], [0.0, 1.0, 2.0, 3.0, 4.0]),
    "falling": ([0.0, 3.0, 5.0, 900.0], [2.5, 2.0, 1.0, 0.0]),
    "one row": ([0.0], [0.0]),
}


@pytest.mark.parametrize("name", LINES)
def test_rows_are_those_of_numpys_interpolation(name):
    points, places = (np.asarray(values, dtype=np.float64) for values in LINES[name])
    ends = np.concatenate([points, np.nextafter(points, np.inf), np.maximum(np.nextafter(points, 0.0), 0.0)])
    sizes = np.concatenate([ends, np.geomspace(1e-9, 1e5, 4000), np.linspace(39.9, 41.1, 4000)])
    found, shares = RowFinder(points, places, STRIDE).find(sizes, 0.0, 1e5)
    beginnings = np.asarray(found)
    assert (beginnings % STRIDE == 0).all()
    assert (shares >= -1e-5).all()
    assert (shares <= 1.0 + 1e-5).all()
    np.testing.assert_allclose(beginnings / STRIDE + shares, np.interp(sizes, points, places), rtol=0, atol=5e-6)


@pytest.mark.parametrize("name", LINES)
def test_what_lies_in_one_row_is_found_without_a_search_to_the_same_bits(name):
    points, places = (np.asarray(values, dtype=np.float64) for values in LINES[name])
    finder, together = RowFinder(points, places, STRIDE), 0
    for least in np.geomspace(0.3, 1e4, 200):
        sizes = np.linspace(least, 1.001 * least, 9)
        beginning, shares = finder.find(sizes, sizes[0], sizes[-1])
        wanted, wanted_shares = finder.find(sizes, 0.0, 1e9)
        assert np.all(beginning == wanted)
        assert shares.tobytes() == wanted_shares.tobytes()
        together += isinstance(beginning, int)
    assert together > 100


def test_a_level_that_stands_has_no_share_of_the_next():
    points, places = (np.asarray(values, dtype=np.float64) for values in LINES["levels that stand and cross over"])
    _, shares = RowFinder(points, places, STRIDE).find(np.linspace(20.0, 24.0, 1001), 20.0, 24.0)
    assert (shares == 0.0).all()


def test_single_precision_adds_noise_below_140_db():
    """Against the same straight lines in double precision (numpy's interpolation), of a table that peaks at 1."""
    size = 4096
    turns = np.arange(size + 1) / size
    rows = np.array([np.sin(2.0 * np.pi * turns), np.sin(2.0 * np.pi * turns) ** 5, np.zeros(size + 1)])
    rng = np.random.default_rng(6)
    phase, share = rng.integers(0, TURN_MASK, 20_000), rng.uniform(0.0, 1.0, 20_000)
    first, second = (np.interp(phase / 2.0**TURN_BITS, turns, row) for row in rows[:2])
    cycles = Cycles(rows)
    one = cycles.row(phase, 1) - second
    mixed = cycles.across(phase, np.zeros(phase.size, dtype=np.int64), share.astype(np.float32))
    for noise in (one, mixed - ((1.0 - share) * first + share * second)):
        assert np.sqrt(np.mean(noise**2)) < 1e-7
