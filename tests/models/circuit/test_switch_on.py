"""Oscillations that need the switching on, hard ones with base resistance, and one that is irregular."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.stats import expon

from models.circuit.bias import Bias
from models.circuit.common_base import OscillatorCircuit, Trimmer
from models.circuit.envelope import Outcome
from models.circuit.oscillator import NotSteadyError, small_signal, steady_state
from models.circuit.resonance import natural_frequency
from models.circuit.small_signal import DoesNotStartError
from models.circuit.start_up import start_up
from models.circuit.switch_on import HIGH_NOISE, LOW_NOISE, rising_bias, step_swing, thermal_swing
from models.circuit.transient import cycle_swings, run_length, simulate
from models.circuit.transistor import Transistor

HARD = OscillatorCircuit(
    inductance=680e-6,
    inductor_q=70.0,
    inductor_q_frequency=240e3,
    fixed_capacitor=330e-12,
    trimmers=(Trimmer(5e-12, 60e-12, 0.5),),
    board_stray=12e-12,
    feedback_capacitor=150e-12,
    emitter_capacitor=1.5e-9,
    bias=Bias(47e3, 22e3, 10e3, 4.7e3, 2.2e3, 47e-9, 47e-9),
    supply_voltage=12.0,
    supply_capacitor=470e-9,
)


def with_emitter(resistance, part=Transistor()):  # noqa: B008
    return replace(HARD, bias=replace(HARD.bias, emitter_resistor=resistance), transistor=part)


def kennedy(part=Transistor()):  # noqa: B008
    """M. P. Kennedy, IEEE Trans. CAS I 41 (1994) 771 (page from memory): 98.5 uH with 35 ohm, 54 nF twice, 400 ohm,
    +-5 V; the base held at the middle of 10 V."""
    inductance, frequency = 98.5e-6, 1.0 / (2.0 * math.pi * math.sqrt(98.5e-6 * 27e-9))
    return OscillatorCircuit(
        inductance=inductance,
        inductor_q=2.0 * math.pi * frequency * inductance / 35.0,
        inductor_q_frequency=frequency,
        inductor_self_capacitance=0.0,
        fixed_capacitor=0.0,
        trimmers=(),
        board_stray=0.0,
        feedback_capacitor=54e-9,
        emitter_capacitor=54e-9,
        bias=Bias(20.0, 1e-3, 20.0, 1e-3, 400.0, 1e-3, 1e-3),
        transistor=part,
        supply_voltage=10.0,
        supply_resistor=0.1,
        supply_capacitor=1e-3,
        load=None,
    )


@pytest.mark.slow
def test_it_grows_only_while_the_supply_rises():
    # an independent program, in time: 273 354.93 Hz, 22.890 V peak to peak
    state = steady_state(HARD)
    assert_allclose(state.frequency, 273354.93, rtol=1e-7)
    assert_allclose(state.peak_to_peak("tank"), 22.890, rtol=5e-4)
    assert not state.grows_from_rest
    assert not small_signal(HARD).starts
    assert state.method == "grown while the supply rose"
    with pytest.raises(ValueError, match="does not grow from rest"):
        run_length(state)


@pytest.mark.slow
def test_a_hard_one_with_base_resistance():
    # the same program: 266 904.49 Hz, 21.300 V
    state = steady_state(with_emitter(10e3, Transistor(base_resistance=200.0)))
    assert_allclose(state.frequency, 266904.49, rtol=2e-7)
    assert_allclose(state.peak_to_peak("tank"), 21.300, rtol=5e-4)
    assert state.grows_from_rest


@pytest.mark.slow
def test_an_abrupt_waveform_whose_last_harmonics_still_tell_a_little():
    # with 1024 harmonics 267 353.5136 Hz: what is left at 512 is well below 1 ppm
    state = steady_state(with_emitter(5e3, Transistor(base_resistance=200.0)))
    assert_allclose(state.frequency, 267353.5136, rtol=3e-7)


def test_the_way_ends_at_rest_and_passes_the_window():
    way = rising_bias(HARD)
    assert_allclose(way.growth[-1], small_signal(HARD).growth_rate, rtol=1e-4)
    assert way.growth.max() > 5e4
    assert way.growth[0] < 0.0
    # gathered in one piece, each rate taken in the middle of its step instead of at the end
    middle = 0.5 * (way.growth[1:] + way.growth[:-1])
    inside = middle > 0.0
    assert_allclose(way.growth_times, np.sum(middle[inside] * np.diff(way.times)[inside]), rtol=0.1)


def test_a_decoupling_twice_as_slow_gathers_twice_the_growth():
    slow = replace(HARD, bias=replace(HARD.bias, wiper_capacitor=94e-9, base_capacitor=94e-9))
    assert_allclose(rising_bias(slow).growth_times, 2.0 * rising_bias(HARD).growth_times, rtol=0.1)


@pytest.mark.slow
def test_near_the_edge_thermal_noise_decides():
    # integrated from switching on with the thermal swing: 700 ohm dies away, 850 and 900 ohm last (below)
    starts = {
        (resistance, times): start_up(with_emitter(resistance), least_swing=times * thermal_swing(HARD)).outcome
        is Outcome.SETTLES
        for resistance, times in ((700.0, HIGH_NOISE), (850.0, LOW_NOISE), (850.0, 1.0), (900.0, LOW_NOISE))
    }
    assert list(starts.values()) == [False, False, True, True]


@pytest.mark.slow
def test_a_window_that_closes_too_soon_starts_nothing():
    circuit = with_emitter(700.0)
    with pytest.raises(DoesNotStartError, match="shorts the feedback") as caught:
        steady_state(circuit)
    assert_allclose(caught.value.growth_times, rising_bias(circuit).growth_times, rtol=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize(("resistance", "lasts"), [(700.0, False), (850.0, True), (900.0, True)])
def test_the_edge_in_time(resistance, lasts):
    swings = cycle_swings(simulate(with_emitter(resistance), 1.2e-3, frequency=290e3, relative_tolerance=1e-7), "tank")
    assert swings[len(swings) // 4 :].max() > 5e-3  # it grew
    assert (swings[-1] > 20.0) == lasts
    if not lasts:
        assert swings[-1] < swings[len(swings) // 4 :].max()


def test_the_linear_way_bounds_the_swing():
    way = rising_bias(HARD)
    # a quiet step leaves the floor to grow, a loud one grows less than by itself: it has died down before
    quiet, loud = way.largest_swing(1e-9, 1e-9), way.largest_swing(10.0, 1e-9)
    assert_allclose(quiet, 1e-9 * math.exp(way.growth_times), rtol=1e-9)
    assert quiet <= loud
    silent = rising_bias(with_emitter(10e6))
    assert silent.growth_times == 0.0
    assert silent.largest_swing(10.0, 1e-6) == 1e-6


def test_the_probability_of_weak_and_strong_noise():
    # Rayleigh: the square of the peak is exponentially distributed (scipy's as the reference)
    assert_allclose(expon.cdf(LOW_NOISE**2), 0.01, rtol=0.01)
    assert_allclose(expon.sf(HIGH_NOISE**2), 0.01, rtol=0.01)


def test_too_little_current_is_not_helped_by_switching_on():
    with pytest.raises(DoesNotStartError, match="too little") as caught:
        steady_state(with_emitter(10e6))
    assert caught.value.growth_times == 0.0


@pytest.mark.parametrize("part", [Transistor(), Transistor(base_resistance=10.0)], ids=["plain", "base resistance"])
@pytest.mark.parametrize("harmonics", [None, 64])
def test_kennedys_irregular_oscillator_is_called_unstable(part, harmonics):
    assert small_signal(kennedy(part)).starts
    with pytest.raises(NotSteadyError, match="not steady"):
        steady_state(kennedy(part), harmonics=harmonics)


def test_the_step_of_the_supply_against_the_impulse_response_of_the_tank():
    """A tank without loss that is driven by u(t) rings on with the size of the integral of u'(t) exp(-j w t)."""
    circuit = replace(HARD, supply_resistor=1.5)
    turns = 2.0 * math.pi * natural_frequency(circuit) * circuit.supply_resistor * circuit.supply_capacitor
    assert 0.5 < turns < 2.0  # neither term of the law is lost beside the other
    parts = [quad(lambda x: math.exp(-x), 0.0, np.inf, weight=weight, wvar=turns)[0] for weight in ("cos", "sin")]
    assert_allclose(step_swing(circuit), circuit.supply_voltage * math.hypot(*parts), rtol=1e-6)
