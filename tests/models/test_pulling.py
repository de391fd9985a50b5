"""Pulling and locking: Adler's beat, spectrum, and the phase against a tight solution of his equation."""

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from models.pitch import cents
from models.pulled_phase import COTANGENT, NEAR, PulledPhase
from models.pulling import (
    advance_phase,
    bent_below,
    held_from,
    pulled_beat,
    pulled_beat_of,
)

RATE = 48_000
STEP = 1.0 / RATE
TURN = 2.0 * np.pi
Nodes = list[tuple[float, float]]


def test_pulled_beat_check_values() -> None:
    # R. Adler, Proc. IRE 34 (1946) 351: sqrt(10^2 - 2^2), sqrt(4^2 - 2^2), and 0.86602540 of the offset at K = 2
    assert_allclose(pulled_beat([10.0, 4.0, -4.0], 2.0), [9.797959, 3.464102, -3.464102], rtol=0, atol=5e-7)
    assert_allclose(pulled_beat(2.0, 1.0), 2.0 * 0.86602540, rtol=1e-8)
    assert np.array_equal(pulled_beat([-2.0, -1.0, 0.0, 1.9, 2.0], 2.0), np.zeros(5))
    assert_allclose(pulled_beat([3.0, -5.0], 0.0), [3.0, -5.0], rtol=1e-15)


@given(st.floats(-1e5, 1e5), st.floats(0.0, 1e4), st.floats(1e-3, 1e3))
def test_pulled_beat_is_odd_scales_and_never_exceeds_the_offset(offset: float, lock: float, factor: float) -> None:
    beat = float(pulled_beat(offset, lock))
    assert_allclose(pulled_beat_of(offset, lock), beat, rtol=1e-15, atol=0.0)
    assert_allclose(pulled_beat(-offset, lock), -beat, rtol=1e-15)
    assert abs(beat) <= abs(offset) * (1.0 + 1e-15)
    assert_allclose(pulled_beat(factor * offset, factor * lock), factor * beat, rtol=1e-6, atol=1e-5 * factor)


def tight_solution(nodes: Nodes, lock: float, phase: float) -> np.ndarray:
    """Phases after each sample from scipy's DOP853, for an offset linear between nodes (s, Hz).

    Solved for the difference from the free phase, which is known exactly, so that the solver's tolerance is not
    spent on thousands of turns, and piece by piece, so that it never steps over a corner.
    """
    found, free, pulled = [], phase, 0.0
    for (start, first), (end, last) in pairwise(nodes):
        times = np.arange(round((end - start) * RATE) + 1) * STEP
        slope = (last - first) / (end - start)

        def ahead(time: np.ndarray, free: float = free, first: float = first, slope: float = slope) -> np.ndarray:
            return free + TURN * (first * time + 0.5 * slope * time * time)

        def rate(time: float, state: np.ndarray, ahead: Callable[..., np.ndarray] = ahead) -> np.ndarray:
            return -TURN * lock * np.sin(ahead(np.float64(time)) + state)

        longest = 0.25 / max(abs(first), abs(last), lock)
        solution = solve_ivp(
            rate, (0.0, times[-1]), [pulled], "DOP853", times, rtol=3e-14, atol=1e-14, max_step=longest
        )
        found.append(ahead(times[1:]) + solution.y[0][1:])
        free, pulled = float(ahead(times[-1])), float(solution.y[0][-1])
    return np.concatenate(found)


def sampled(nodes: Nodes) -> np.ndarray:
    """The offset at every sample from the first node to the last."""
    times, offsets = np.array(nodes).T
    return np.interp(np.arange(round(times[-1] * RATE) + 1) * STEP, times, offsets)


@pytest.mark.parametrize(
    ("nodes", "lock"),
    [
        ([(0.0, 40.0), (0.7, -30.0), (1.4, 3.0), (2.2, 0.51)], 0.5),  # through zero beat, then just outside lock
        ([(0.0, 0.0), (0.5, 4.99), (1.0, 5.01), (2.0, 60.0)], 5.0),  # locked, to the edge, away
        pytest.param(  # 8 kHz per second, then on the edge itself
            [(0.0, -800.0), (0.2, 800.0), (0.4, 20.0), (1.0, 20.0)], 20.0, marks=pytest.mark.slow
        ),
        pytest.param(  # strong pulling, sliding into lock
            [(0.0, 1500.0), (0.25, -1000.0), (0.3, 300.0), (1.0, 190.0)], 200.0, marks=pytest.mark.slow
        ),
    ],
)
def test_phase_along_a_moving_hand(nodes: Nodes, lock: float) -> None:
    phases = advance_phase(0.3, sampled(nodes), lock, STEP)
    assert np.abs(phases - tight_solution(nodes, lock, 0.3)).max() < 1e-7


@pytest.mark.slow
def test_phase_of_the_fastest_sweep_there_is_to_hear() -> None:
    nodes = [(0.0, 0.0), (0.05, 20_000.0), (0.1, 0.0)]
    assert np.abs(advance_phase(0.3, sampled(nodes), 150.0, STEP) - tight_solution(nodes, 150.0, 0.3)).max() < 5e-7


def test_error_falls_with_the_fourth_power_of_the_step() -> None:
    # a fast sweep through lock, in steps far coarser than sound needs
    def end(steps: int) -> float:
        return float(advance_phase(0.4, np.linspace(-300.0, 500.0, steps + 1), 90.0, 0.05 / steps)[-1])

    errors = np.array([end(steps) for steps in (64, 128, 256)]) - end(4096)
    assert_allclose(np.log2(errors[:-1] / errors[1:]), 4.0, atol=0.2)


@pytest.mark.slow
def test_phase_along_a_smooth_hand() -> None:
    # an offset that is curved between the samples, as a hand's is; 6 Hz vibrato on a slow sweep
    def offset(time: np.ndarray) -> np.ndarray:
        return 150.0 * np.sin(TURN * 0.4 * time) + 8.0 * np.sin(TURN * 6.0 * time)

    def free_phase(time: np.ndarray) -> np.ndarray:
        slow, fast = 150.0 / 0.4 * (1.0 - np.cos(TURN * 0.4 * time)), 8.0 / 6.0 * (1.0 - np.cos(TURN * 6.0 * time))
        return slow + fast

    times = np.arange(2 * RATE + 1) * STEP
    solution = solve_ivp(
        lambda time, state: -TURN * 3.0 * np.sin(free_phase(time) + state),
        (0.0, times[-1]),
        [0.0],
        "DOP853",
        times,
        rtol=1e-12,
        atol=1e-12,
        max_step=1e-3,
    )
    expected = free_phase(times) + solution.y[0]
    assert np.abs(advance_phase(0.0, offset(times), 3.0, STEP) - expected[1:]).max() < 1e-6


@pytest.mark.parametrize(
    "lock", [0.0, pytest.param(1e-9, marks=pytest.mark.slow), 2.0, pytest.param(150.0, marks=pytest.mark.slow)]
)
def test_splitting_into_blocks_changes_nothing(lock: float) -> None:
    offsets = sampled([(0.0, 900.0), (0.5, -400.0), (0.9, 2.0), (1.3, 3900.0)])
    whole = advance_phase(-1.7, offsets, lock, STEP)
    for length in (1, 37, 128, 4096):
        pieces, phase = [], -1.7
        last = min(offsets.size - 1, 400 * length)
        for start in range(0, last, length):
            pieces.append(advance_phase(phase, offsets[start : min(start + length, last) + 1], lock, STEP))
            phase = float(pieces[-1][-1])
        joined = np.concatenate(pieces)
        assert np.abs(joined - whole[: joined.size]).max() < 1e-10


def test_without_pulling_the_integral_is_exact() -> None:
    offsets = np.linspace(-100.0, 4000.0, RATE + 1)
    times = np.arange(1, RATE + 1) * STEP
    expected = 0.25 + TURN * (-100.0 * times + 0.5 * 4100.0 * times**2)
    assert np.abs(advance_phase(0.25, offsets, 0.0, STEP) - expected).max() < 1e-10


def test_a_vanishing_pull_joins_the_exact_integral() -> None:
    offsets = np.linspace(3000.0, -3000.0, 9601)
    assert_allclose(advance_phase(2.0, offsets, 1e-9, STEP), advance_phase(2.0, offsets, 0.0, STEP), rtol=0, atol=1e-7)


def test_locked_phase_rests_where_adler_says() -> None:
    phases = advance_phase(2.0, np.full(RATE + 1, 12.0), 30.0, STEP)
    assert_allclose(phases[-1], np.arcsin(12.0 / 30.0), rtol=0, atol=1e-12)
    phases = advance_phase(2.0 - 10 * TURN, np.full(RATE + 1, -12.0), 30.0, STEP)
    assert_allclose(phases[-1], -np.arcsin(12.0 / 30.0) - 10 * TURN, rtol=0, atol=1e-12)
    # the pair behind the phase grows e^1.1-fold a step here: more, over 4800, than a number holds
    phases = advance_phase(2.0, np.full(4801, 10_000.0), 20_000.0, STEP)
    assert_allclose(phases[-1], np.arcsin(0.5), rtol=0, atol=1e-12)


def test_whole_turns_of_the_start_are_kept() -> None:
    offsets = np.linspace(5.0, 50.0, 2001)
    base = advance_phase(0.4, offsets, 3.0, STEP)
    for turns in (-3, 7, 1_000_000):
        assert_allclose(advance_phase(0.4 + turns * TURN, offsets, 3.0, STEP) - turns * TURN, base, rtol=0, atol=1e-8)


@pytest.mark.parametrize(("offset", "lock"), [(70_000.0, 10.0), (-47_999.0, 300.0), (24_000.0, 100.0)])
def test_offsets_beyond_the_sampling_rate_keep_their_turns(offset: float, lock: float) -> None:
    # a badly tuned instrument: the phase must still advance by the pulled beat
    phases = advance_phase(0.0, np.full(4801, offset), lock, STEP)
    assert_allclose(phases[-1] / (TURN * 0.1), pulled_beat(offset, lock), rtol=0, atol=lock / abs(offset) * 10.0)


def test_mean_rate_is_the_pulled_beat() -> None:
    # K = 2: exactly 100 pulled beats
    offset = 20.0 / np.sqrt(0.75)
    phases = advance_phase(0.0, np.full(5 * RATE + 1, offset), 0.5 * offset, STEP)
    assert_allclose(phases[-1], TURN * 100.0, rtol=0, atol=1e-7)


@pytest.mark.parametrize("ratio", [1.02, 2.0, 5.0])
def test_spectrum_is_one_sided_and_geometric(ratio: float) -> None:
    # Adler's solution as a series: |c_n| = (1 - rho^2) rho^(n-1) for n >= 1, rho = K - sqrt(K^2 - 1); the harmonics
    # below the injected signal vanish and the one on it is rho; K = 2: rho = 0.26794919
    rho = ratio - np.sqrt(ratio**2 - 1.0)
    if ratio == 2.0:
        assert_allclose(rho, 0.26794919, rtol=0, atol=5e-9)
    count = 4800  # samples in one pulled beat of 10 Hz
    offset = 10.0 / np.sqrt(1.0 - 1.0 / ratio**2)
    phases = advance_phase(0.6, np.full(count + 1, offset), offset / ratio, STEP)
    lines = np.fft.fft(np.exp(1j * phases)) / count
    harmonic = np.arange(1, 40)
    assert_allclose(np.abs(lines[harmonic]), (1.0 - rho**2) * rho ** (harmonic - 1), rtol=1e-7, atol=1e-12)
    assert_allclose(np.abs(lines[0]), rho, rtol=1e-9)
    assert np.abs(lines[-harmonic]).max() < 1e-11


@settings(max_examples=50, deadline=None)
@given(
    st.floats(-50.0, 50.0),
    st.lists(st.floats(-2e4, 2e4), min_size=2, max_size=200),
    st.floats(0.0, 2000.0),
)
def test_any_offsets_give_a_phase_within_the_bounds_of_pulling(phase: float, offsets: list[float], lock: float) -> None:
    pulled = advance_phase(phase, offsets, lock, STEP)
    free = advance_phase(phase, offsets, 0.0, STEP)
    assert np.all(np.isfinite(pulled))
    steps = np.arange(1, free.size + 1)
    assert np.all(np.abs(pulled - free) <= TURN * lock * STEP * steps * 1.2 + 1e-9)


def test_edges_and_bad_values() -> None:
    assert advance_phase(1.0, [5.0], 2.0, STEP).shape == (0,)
    assert advance_phase(1.0, [5.0, 5.0], 2.0, STEP).shape == (1,)
    with pytest.raises(ValueError, match="offsets must be a row"):
        advance_phase(0.0, [], 1.0, STEP)
    with pytest.raises(ValueError, match="offsets must be a row"):
        advance_phase(0.0, [[1.0, 2.0]], 1.0, STEP)
    with pytest.raises(ValueError, match="offsets must be finite"):
        advance_phase(0.0, [1.0, np.nan], 1.0, STEP)
    with pytest.raises(ValueError, match="phase must be"):
        advance_phase(np.inf, [1.0, 1.0], 1.0, STEP)
    with pytest.raises(ValueError, match="lock_range must be >= 0"):
        advance_phase(0.0, [1.0, 1.0], -1.0, STEP)
    with pytest.raises(ValueError, match="lock_range must be < 1"):
        advance_phase(0.0, [1.0, 1.0], 24_000.0, STEP)
    with pytest.raises(ValueError, match="time_step must be > 0"):
        advance_phase(0.0, [1.0, 1.0], 1.0, 0.0)
    with pytest.raises(ValueError, match="lock_range must be >= 0"):
        pulled_beat(1.0, -1.0)


def test_the_short_series_is_s_coth_s_where_it_stands_for_it() -> None:
    below, above = NEAR
    square = np.linspace(below, above, 1001)  # 0 is none of them
    size = np.sqrt(np.abs(square))
    expected = np.where(square < 0.0, size / np.tan(size), size / np.tanh(size))
    assert_allclose(np.polynomial.polynomial.polyval(square, COTANGENT), expected, rtol=0, atol=2e-12)


@pytest.mark.parametrize("count", [1, 7, 128, 4096])
def test_angle_is_the_phase_but_for_whole_turns(count):
    offsets = np.linspace(-400.0, 900.0, 4097)[: count + 1]
    for start in (0.3, -2.9, 40.0):
        phase = advance_phase(start, offsets, 35.0, STEP)
        angle = 2.0 * PulledPhase(35.0, STEP, start).half_phases(offsets)
        turns = (phase - angle) / TURN
        assert_allclose(turns, np.rint(turns), rtol=0, atol=1e-12)
        assert (np.abs(angle) <= TURN).all()


@pytest.mark.parametrize("lock", [1e-9, 5.0, 180.0, 20_000.0])
def test_a_pulled_phase_has_the_same_bits_however_the_steps_are_cut(lock: float) -> None:
    offsets = sampled([(0.0, 900.0), (0.05, -400.0), (0.09, 0.4), (0.13, 3900.0)])
    whole = PulledPhase(lock, STEP, 1.3).half_phases(offsets)
    cut, found, start = PulledPhase(lock, STEP, 1.3), [], 0
    for length in (1, 37, 128, 4, 2049, 1, offsets.size):
        stop = min(start + length, offsets.size - 1)
        found.append(cut.half_phases(offsets[start : stop + 1]))
        start = stop
    assert np.concatenate(found).tobytes() == whole.tobytes()


@pytest.mark.parametrize("lock", [0.3, 2.0, 40.0])
def test_notes_far_above_lock_are_not_bent(lock: float) -> None:
    note = bent_below(lock, 10.0)
    free = math.hypot(note, lock)
    assert float(pulled_beat(free, lock)) == pytest.approx(note, rel=1e-12)
    assert float(cents(note, free)) == pytest.approx(-10.0, rel=1e-9)
    assert note == pytest.approx(9.28 * lock, rel=1e-3)  # by hand: 1 / sqrt(2^(20/1200) - 1) = 9.277
    assert bent_below(lock, 1.0) > note > bent_below(lock, 100.0)


@pytest.mark.parametrize(("lock", "wander"), [(0.0, 0.02), (2.2, 0.01), (40.0, 0.01), (0.1, 1.0)])
def test_the_lowest_note_that_is_held_moves_by_the_cents_it_is_held_to(lock: float, wander: float) -> None:
    note = held_from(lock, wander, 10.0)
    offset, step = math.hypot(note, lock), 1e-4 * wander
    ends = pulled_beat([offset - step, offset + step], lock)
    assert float(cents(ends[1], ends[0])) * wander / (2.0 * step) == pytest.approx(10.0, rel=1e-4)
    lower = math.hypot(0.9 * note, lock)  # a lower note is moved by more
    assert float(cents(*pulled_beat([lower + step, lower - step], lock))) * wander / (2.0 * step) > 10.5


def test_held_notes_in_the_limits() -> None:
    free = 1200.0 / math.log(2.0) * 0.01 / 10.0
    assert held_from(0.0, 0.01, 10.0) == pytest.approx(free, rel=1e-12)
    assert held_from(1e4, 0.01, 10.0) == pytest.approx(math.sqrt(free * 1e4), rel=1e-3)
    assert held_from(3.0, 0.0, 10.0) == bent_below(0.0, 10.0) == 0.0
    with pytest.raises(ValueError, match="hold_cents must be > 0"):
        held_from(1.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="bend_cents must be > 0"):
        bent_below(1.0, 0.0)
    with pytest.raises(ValueError, match="wander must be >= 0"):
        held_from(1.0, -1.0, 10.0)
