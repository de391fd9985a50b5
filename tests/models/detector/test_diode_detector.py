"""The averaged diode: limits, its mean against quadrature, the output at rest, against one radio cycle in time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import i0
from slow_ones import slow_ones

from models.detector.diode import (
    AveragedDiode,
    DiodeLoad,
    mean_current,
    pulse_width_factor,
    static_output,
)

PLAIN = DiodeLoad()


def test_weak_signals_are_squared() -> None:
    """I0(x) = 1 + x^2 / 4: v = (x^2 / 4) I_s / (1/R + I_s / n V_T), by hand."""
    slope = 1.0 / PLAIN.resistance + PLAIN.saturation_current / PLAIN.unit
    for envelope in (1e-4, 1e-3):
        expected = 0.25 * (envelope / PLAIN.unit) ** 2 * PLAIN.saturation_current / slope
        assert float(static_output(PLAIN, envelope)) == pytest.approx(expected, rel=5e-4)
    weak = static_output(PLAIN, [1e-3, 2e-3])
    assert weak[1] / weak[0] == pytest.approx(4.0, rel=2e-3)


def test_strong_signals_lose_a_drop() -> None:
    """I0(x) ~ exp(x) / sqrt(2 pi x): v = A - n V_T (ln(1 + v / (R I_s)) + ln sqrt(2 pi x)), by hand."""
    for envelope in (2.0, 5.0, 10.0):
        found = float(static_output(PLAIN, envelope))
        load = math.log1p(found / PLAIN.resistance / PLAIN.saturation_current)
        drop = PLAIN.unit * (load + 0.5 * math.log(2.0 * math.pi * envelope / PLAIN.unit))
        assert envelope - found == pytest.approx(drop, rel=2e-3)
        assert 0.05 < envelope - found < 0.35
    lighter = replace(PLAIN, resistance=1e7)
    assert static_output(lighter, 5.0) > static_output(PLAIN, 5.0)


def test_scales_with_the_thermal_voltage() -> None:
    """All voltages in n V_T and I_s R over n V_T kept: the output scales with n."""
    double = replace(PLAIN, emission_factor=2.0 * PLAIN.emission_factor, resistance=2.0 * PLAIN.resistance)
    envelope = np.array([0.01, 0.1, 1.0])
    assert_allclose(static_output(double, 2.0 * envelope), 2.0 * static_output(PLAIN, envelope), rtol=1e-12, atol=0)


@pytest.mark.parametrize("source", [0.0, *slow_ones(300.0, 23.5e3, 1e6)])
def test_rises_with_the_envelope_and_balances(source: float) -> None:
    load = replace(PLAIN, source_resistance=source)
    envelope = np.geomspace(0.05, 8.0, 60)
    found = static_output(load, envelope)
    assert (np.diff(found) > 0.0).all()
    assert (found < envelope).all()
    if source > 0.0:
        x, y = envelope / load.unit, found / load.unit
        current = mean_current(x, y, load.source_strength, angles=4096)[0]
        # within 1e-4 of f + 1, which is what the table of the mean is held to below
        assert_allclose(load.load_strength * (current + 1.0), y + load.load_strength, rtol=2e-4, atol=0)


@pytest.mark.slow
def test_more_source_resistance_gives_less() -> None:
    outputs = [float(static_output(replace(PLAIN, source_resistance=r), 1.0)) for r in (0.0, 10.0, 1e3, 1e4, 1e6)]
    assert (np.diff(outputs) < 0.0).all()
    # a source of 1e6 ohm into 1e5 ohm: less than the mean of half a cosine, 1 / pi, through that divider
    assert outputs[-1] < 1e5 / 1.1e6 / math.pi


@pytest.mark.parametrize("source", [0.07, *slow_ones(1e-3, 5.0, 100.0)])
def test_table_of_the_mean(source: float) -> None:
    load = DiodeLoad(source_resistance=source * PLAIN.unit / PLAIN.saturation_current)
    random = np.random.default_rng(3)
    x = 60.0 * random.random(2000) ** 2
    y = x * random.uniform(-0.02, 1.2, 2000)
    diode = AveragedDiode(load, float(x.max()))
    current, slope = diode.evaluate(diode.prepare(x), y)
    expected, _ = mean_current(x, y, source)
    assert (np.abs(current - expected) <= 1e-4 * (expected + 1.0) + 1e-12).all()
    near = diode.evaluate(diode.prepare(x), y + 1e-5)[0] - diode.evaluate(diode.prepare(x), y - 1e-5)[0]
    assert_allclose(slope, near / 2e-5, rtol=1e-4, atol=1e-7)


def test_mean_without_resistor_is_the_bessel_function() -> None:
    """And a small resistor hardly changes it: r = 1e-9 against I0(x) exp(-y) - 1."""
    x, y = np.array([0.0, 0.5, 3.0, 8.0]), np.array([0.0, 0.1, 2.0, 6.0])
    expected = i0(x) * np.exp(-y) - 1.0
    diode = AveragedDiode(PLAIN, 8.0)
    assert_allclose(diode.evaluate(diode.prepare(x), y)[0], expected, rtol=1e-12, atol=1e-13)
    assert_allclose(mean_current(x, y, 1e-9)[0], expected, rtol=1e-5, atol=1e-7)


def test_pulse_width_factor_has_its_limits() -> None:
    """Weak: only I_1 / I_0 = x / 2 is left, s = sqrt(6) x / (2 pi); narrow: sum 1 / n^2 = pi^2 / 6, s toward 1."""
    assert pulse_width_factor(np.array([0.06]))[0] == pytest.approx(0.06 * math.sqrt(6.0) / (2.0 * math.pi), rel=0.02)
    values = pulse_width_factor(np.geomspace(0.1, 600.0, 50))
    assert (np.diff(values) > 0.0).all()
    assert 0.97 < values[-1] < 1.0


def settled_mean(load: DiodeLoad, amplitude: float, frequency: float) -> float:
    """Mean output, V, once each radio cycle repeats the one before, integrated by scipy without any average."""
    omega = 2.0 * math.pi * frequency

    def slope(time: float, state: np.ndarray) -> list[float]:
        across = amplitude * math.cos(omega * time) - state[0]
        current = load.saturation_current * math.expm1(min(across / load.unit, 300.0))
        return [(current - state[0] / load.resistance) / load.capacitance, state[0]]

    def cycle(start: float) -> np.ndarray:
        half = 0.5 / frequency  # from trough to trough
        found = solve_ivp(
            slope, (-half, half), [start, 0.0], method="Radau", rtol=1e-9, atol=1e-13, max_step=0.02 / frequency
        )
        return found.y[:, -1]

    begin = brentq(lambda start: cycle(start)[0] - start, 0.2 * amplitude, amplitude, xtol=1e-9)
    return float(cycle(begin)[1]) * frequency


@pytest.mark.parametrize(
    ("amplitude", "capacitance", "error"),
    [
        (0.1, 10e-9, 1e-5),
        *slow_ones((1.0, 10e-9, 1e-5), (1.0, 1e-9, 5e-4), (4.0, 1e-9, 2e-3)),
    ],
)
def test_against_the_radio_cycle_in_time(amplitude: float, capacitance: float, error: float) -> None:
    """170 kHz; `error` relative, larger where the ripple is: in n V_T some 0.006, 0.2, 2 and 8 from peak to peak."""
    load = DiodeLoad(capacitance=capacitance, radio_frequency=170e3)
    measured = settled_mean(load, amplitude, 170e3)
    assert float(static_output(load, amplitude)) == pytest.approx(measured, rel=error)
    if amplitude == 1.0:  # and without the ripple's share it is further off
        plain = float(static_output(replace(load, radio_frequency=None), amplitude))
        assert abs(plain - measured) > 5.0 * abs(float(static_output(load, amplitude)) - measured)


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("resistance", 0.0, "load resistance must be > 0"),
        ("capacitance", math.inf, "load capacitance must be a finite number"),
        ("saturation_current", -1e-9, "saturation current must be > 0"),
        ("emission_factor", math.nan, "emission factor must be a finite number"),
        ("source_resistance", -1.0, "source resistance must be >= 0"),
        ("radio_frequency", 0.0, "radio frequency must be > 0"),
    ],
)
def test_bad_parts_are_refused(name: str, value: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        DiodeLoad(**{name: value})


def test_envelopes_out_of_domain_are_refused() -> None:
    with pytest.raises(ValueError, match="envelope must be <= 17"):
        static_output(PLAIN, 600.1 * PLAIN.unit)
    with pytest.raises(ValueError, match="envelope must be >= 0"):
        static_output(PLAIN, -0.1)
