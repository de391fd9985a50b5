"""The diode detector in time: against a stiff ODE solver, AM and diagonal clipping, the repeating cycle, pulling."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.special import i0e
from slow_ones import slow_ones

from models.detector.diode import DiodeLoad, static_output, sum_envelope
from models.detector.diode_response import beat_cycle, recurrence, respond

LOAD = DiodeLoad()  # R C 100 us


def integrated(load, envelope, times, start):
    """The averaged equation by scipy's Radau: dv/dt = (I_s (I0(A / u) exp(-v / u) - 1) - v / R) / C."""

    def slope(time, state):
        x, y = envelope(time) / load.unit, state / load.unit
        current = load.saturation_current * (i0e(x) * np.exp(x - y) - 1.0)
        return (current - state / load.resistance) / load.capacitance

    found = solve_ivp(
        slope, (times[0], times[-1]), [start], method="Radau", rtol=1e-9, atol=1e-12, t_eval=times, max_step=1e-5
    )
    return found.y[0]


@pytest.mark.slow
def test_block_against_a_stiff_solver():
    """A beat with a jump in its rate, from an empty capacitor: within 2e-4 V at 192 kHz."""
    rate = 192000
    times = np.arange(1000) / rate

    def envelope(time):
        return float(sum_envelope(1.0, 0.8, 2.0 * math.pi * (400.0 * time + 60e3 * time**2)))

    samples = np.array([envelope(time) for time in times])
    found = respond(LOAD, samples, rate, start=0.0)
    assert found[0] == 0.0
    assert_allclose(found[5:], integrated(LOAD, envelope, times, 0.0)[5:], rtol=0, atol=2e-4)


def test_third_order():
    """Half the step, an eighth of the error, here at least a sixth; away from the ends of the block."""

    def run(rate):
        times = np.arange(round(0.01 * rate) + 1) / rate
        return respond(DiodeLoad(saturation_current=1e-6), 0.1 + 0.05 * np.cos(2.0 * math.pi * 700.0 * times), rate)

    exact = run(1_536_000)
    errors = []
    for rate in (24000, 48000, 96000):
        error = run(rate) - exact[:: 1_536_000 // rate]
        errors.append(np.abs(error[rate // 1000 : -rate // 1000]).max())
    assert errors[0] > 6.0 * errors[1] > 36.0 * errors[2]


def test_cutting_into_blocks_changes_little():
    """The next block starts where the last one ended; only the interpolation at its two ends differs."""
    times = np.arange(4001) / 192000
    envelope = sum_envelope(1.0, 0.7, 2.0 * math.pi * 500.0 * times)
    whole = respond(LOAD, envelope, 192000)
    first = respond(LOAD, envelope[:2001], 192000)
    second = respond(LOAD, envelope[2000:], 192000, start=float(first[-1]))
    assert_allclose(np.concatenate([first, second[1:]]), whole, rtol=0, atol=1e-6)


@pytest.mark.parametrize("share", [0.3, 0.8, 1.5, 4.0])
def test_follows_am_up_to_the_textbook_limit(share):
    """RC w <= sqrt(1 - m^2) / m: below, the output is the one at rest but for a lag; above, it is clipped diagonally.

    Clipped means: over some of the cycle the diode carries nothing and v falls as exp(-t / RC). An amplitude of 4 V
    keeps the diode's own drop, which the textbook leaves out, small.
    """
    depth, carrier = 0.7, 4.0
    load = DiodeLoad(saturation_current=1e-9, resistance=1e6, capacitance=1e-10)
    limit = math.sqrt(1.0 - depth**2) / depth / (2.0 * math.pi * load.time_constant)  # R C w = sqrt(1 - m^2) / m
    frequency = share * limit
    rate = 2000.0 * frequency
    times = np.arange(6001) / rate
    envelope = carrier * (1.0 + depth * np.cos(2.0 * math.pi * frequency * times))
    found = respond(load, envelope, rate)[4000:]
    falling = np.log(found[:-1] / found[1:]) * rate * load.time_constant  # 1 where the diode carries nothing
    clipped = np.mean(falling > 0.99)
    error = np.abs(found - static_output(load, envelope)[4000:]).max()
    if share < 1.0:
        assert clipped == 0.0
        assert error < 0.1
    else:
        assert clipped > 0.15
        assert error > 0.5
        assert found.min() > static_output(load, envelope.min()) + 0.1


def test_slow_beats_are_the_output_at_rest():
    phase = np.arange(1024) * (2.0 * math.pi / 1024)
    at_rest = static_output(LOAD, sum_envelope(1.0, 0.6, phase))
    slow = beat_cycle(LOAD, 1.0, 0.6, [0.01], points=1024)[:, 0]
    assert_allclose(slow, at_rest, rtol=0, atol=1e-5)


def test_fast_beats_leave_a_steady_part():
    cycle = beat_cycle(LOAD, 1.0, 0.6, [1e6], points=512)[:, 0]
    assert np.ptp(cycle) < 0.02
    # the load's mean current is then the diode's, averaged over the beat too
    x = sum_envelope(1.0, 0.6, np.arange(512) * (2.0 * math.pi / 512)) / LOAD.unit
    mean = LOAD.saturation_current * np.mean(np.exp(np.log(i0e(x)) + x - cycle / LOAD.unit) - 1.0)
    assert mean == pytest.approx(cycle.mean() / LOAD.resistance, rel=1e-3)


@pytest.mark.parametrize(("lock_range", "source"), [(0.0, 0.0), *slow_ones((300.0, 5e3), (0.0, 5e3), (300.0, 0.0))])
def test_cycle_is_where_the_block_settles(source, lock_range):
    """Ten beats in time, their phase by Adler's closed solution, against the cycle of the phase."""
    load = replace(LOAD, source_resistance=source)
    offset, rate = 500.0, 480000
    beat = math.sqrt(offset**2 - lock_range**2)
    times = np.arange(round(10 * rate / beat)) / rate
    ratio = offset / max(lock_range, 1e-9)
    # tan(phi / 2) = (1 + sqrt(K^2 - 1) tan(pi b t)) / K (Adler 1946)
    half = math.pi * beat * times - math.pi / 2
    turned = np.arctan2(np.cos(half) / ratio + math.sqrt(1.0 - 1.0 / ratio**2) * np.sin(half), np.cos(half))
    phase = 2.0 * np.unwrap(turned, period=math.pi)
    found = respond(load, sum_envelope(1.0, 0.8, phase), rate)
    cycle = beat_cycle(load, 1.0, 0.8, [offset], lock_range, points=4096)[:, 0]
    last = times > 8.0 / beat
    turn = np.arange(4097) * (2.0 * math.pi / 4096)
    expected = np.interp(phase[last] % (2.0 * math.pi), turn, np.append(cycle, cycle[0]))
    assert_allclose(found[last], expected, rtol=0, atol=2e-4)


def test_backward_beats_run_the_cycle_backward():
    forward, backward = beat_cycle(LOAD, 1.0, 0.8, [700.0, -700.0], 100.0, points=256).T
    assert_allclose(backward, np.roll(forward[::-1], 1), rtol=0, atol=0)
    assert np.abs(forward - backward).max() > 0.05  # it remembers: the two are not alike


def test_more_points_change_little():
    coarse = beat_cycle(LOAD, 2.0, 1.9, [20.0, 440.0, 5000.0], points=1024)
    fine = beat_cycle(LOAD, 2.0, 1.9, [20.0, 440.0, 5000.0], points=8192)[::8]
    assert np.abs(coarse - fine).max() < 2e-5


def test_scaling_of_time():
    """Ten times the capacitance at a tenth of the offset: the same cycle."""
    slow = beat_cycle(replace(LOAD, capacitance=1e-8), 1.0, 0.8, [44.0], 3.0, points=512)
    fast = beat_cycle(LOAD, 1.0, 0.8, [440.0], 30.0, points=512)
    assert_allclose(slow, fast, rtol=1e-12, atol=0)


def test_recurrence_is_the_plain_loop():
    random = np.random.default_rng(5)
    alpha, beta = random.uniform(-1.0, 1.0, (131, 3)), random.normal(size=(131, 3))
    sums, products = recurrence(alpha.copy(), beta.copy())
    value, product = np.zeros(3), np.ones(3)
    for step in range(131):
        value, product = alpha[step] * value + beta[step], product * alpha[step]
        assert_allclose(sums[step], value, rtol=1e-12, atol=1e-14)
        assert_allclose(products[step], product, rtol=1e-12, atol=0)


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="at least 4 numbers"):
        respond(LOAD, [1.0, 1.0], 48000)
    with pytest.raises(ValueError, match="envelope must be >= 0"):
        respond(LOAD, [1.0, -1.0, 1.0, 1.0], 48000)
    with pytest.raises(ValueError, match="sample_rate must be > 0"):
        respond(LOAD, np.ones(5), 0.0)
    with pytest.raises(ValueError, match="start must be >= 0"):
        respond(LOAD, np.ones(5), 48000, start=-1.0)
    with pytest.raises(ValueError, match="offset must be above the lock range, 5 Hz; got 3"):
        beat_cycle(LOAD, 1.0, 0.5, [10.0, 3.0], 5.0)
    with pytest.raises(ValueError, match="variable must be > 0"):
        beat_cycle(LOAD, 1.0, 0.0, [10.0])
