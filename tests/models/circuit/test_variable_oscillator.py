"""The variable oscillator solved along the antenna's capacitance."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.branch.modes import mode_frequencies, mode_slope
from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.variable_oscillator import law_capacitances, solve_along, with_antenna
from models.tank import frequency_slope

CIRCUIT = replace(
    OscillatorCircuit(),
    inductance=820e-6,
    fixed_capacitor=220e-12,
    feedback_capacitor=100e-12,
    inductor_q=80.0,
    inductor_q_frequency=273e3,
    bias=replace(OscillatorCircuit().bias, lower_resistor=33e3, emitter_resistor=220e3),
    output_resistor=1e6,
)
BRANCH = SeriesInductor(20e-3, 50.0, 1e-12)
HAND = law_capacitances(9.2e-12, 10.6e-12)


@pytest.fixture(scope="module")
def behind_choke():
    return solve_along(CIRCUIT, BRANCH, HAND)


@pytest.fixture(scope="module")
def straight():
    return solve_along(CIRCUIT, DIRECT, HAND)


def test_an_antenna_straight_on_the_collector_is_stray(straight):
    # the cold end of the tank is earth for the radio frequency but for its 1 uF against some 400 pF
    stray = steady_state(replace(CIRCUIT, board_stray=CIRCUIT.board_stray + HAND[-1]))
    assert_allclose(straight.frequencies[-1], stray.frequency, rtol=1e-5)
    assert_allclose(straight.output_amplitudes[-1], stray.harmonic_amplitudes("output")[0], rtol=1e-3)


@pytest.mark.parametrize("name", ["behind_choke", "straight"])
def test_the_frequency_falls_and_the_law_covers_the_hand(name, request):
    solved = request.getfixturevalue(name)
    assert (np.diff(solved.frequencies) < 0).all()
    law = solved.law()
    assert law.covers(HAND[0], HAND[-1])
    assert (law.amplitudes > 0).all()


def test_steepness_is_that_of_the_lossless_resonance(straight, behind_choke):
    """df/dC = -f / 2C of a tank, and of the branch -(f/2) r^2 / (C0 + Ca r^2), with the tank's linear capacitances and
    some 4 pF of collector junction (own derivations, checked in test_branch_modes; the transistor moves them little).
    """
    total = CIRCUIT.tank_capacitance + 4e-12
    middle = float(np.mean(HAND))
    read = np.diff(straight.frequencies[[0, -1]]) / (HAND[-1] - HAND[0])
    assert_allclose(read, frequency_slope(CIRCUIT.inductance, total + middle), rtol=0.03)
    args = (CIRCUIT.inductance, total, BRANCH.inductance, middle, BRANCH.self_capacitance)
    read = np.diff(behind_choke.frequencies[[0, -1]]) / (HAND[-1] - HAND[0])
    assert_allclose(read, mode_slope(*args)[0], rtol=0.03)
    assert_allclose(np.mean(behind_choke.frequencies), mode_frequencies(*args)[0], rtol=3e-3)
    assert behind_choke.frequencies[0] < straight.frequencies[0] * 1.01


def test_steepness_scales_with_frequency_over_capacitance():
    # half the inductance: the frequency and with it df/dC rise by root two (Q kept, so all but the bias scales)
    half = replace(CIRCUIT, inductance=0.41e-3, inductor_q_frequency=273e3 * 2**0.5)
    ends = HAND[[0, -1]]
    whole, halved = (np.diff(solve_along(circuit, DIRECT, ends).frequencies) for circuit in (CIRCUIT, half))
    assert_allclose(halved / whole, 2**0.5, rtol=0.01)


def test_between_its_points_the_law_is_the_circuit(behind_choke):
    law, between = behind_choke.law(), float(HAND[3] + 0.4 * (HAND[4] - HAND[3]))
    direct = steady_state(with_antenna(CIRCUIT, between, BRANCH), warm_start=behind_choke.states[0])
    assert_allclose(law.frequency(between), direct.frequency, rtol=0, atol=2e-3)  # Hz of a beat
    assert_allclose(law.amplitude(between), direct.harmonic_amplitudes("output")[0], rtol=1e-3)


def test_the_start_makes_no_difference(behind_choke):
    cold = steady_state(with_antenna(CIRCUIT, float(HAND[-1]), BRANCH))
    assert_allclose(behind_choke.frequencies[-1], cold.frequency, rtol=1e-7)


def test_a_lossier_choke_takes_amplitude_and_hardly_moves_the_frequency(behind_choke):
    lossy = solve_along(CIRCUIT, replace(BRANCH, quality_factor=25.0), HAND[[0, -1]])
    assert (lossy.output_amplitudes < behind_choke.output_amplitudes[[0, -1]]).all()
    assert_allclose(lossy.frequencies, behind_choke.frequencies[[0, -1]], rtol=1e-3)


@pytest.mark.parametrize("row", [[1e-12], [2e-12, 1e-12], [1e-12, np.nan], [0.0, 1e-12], [[1e-12, 2e-12]]])
def test_capacitances_must_be_a_rising_row(row):
    with pytest.raises(ValueError, match="capacitances"):
        solve_along(CIRCUIT, DIRECT, row)
    with pytest.raises(ValueError, match="rise"):
        law_capacitances(2e-12, 1e-12)


def test_a_circuit_that_does_not_start_is_named_with_its_antenna():
    weak = replace(CIRCUIT, inductor_q=2.0)
    with pytest.raises(ValueError, match=r"with 9\.2 pF of antenna: the oscillator does not start: "):
        solve_along(weak, DIRECT, HAND)


def test_two_modes_that_meet_are_refused():
    # with 31 mH the choke's own resonance crosses the tank's as the hand comes near
    with pytest.raises(ValueError, match=r"pF of antenna: .*another mode grows as well .near 257"):
        solve_along(CIRCUIT, SeriesInductor(31e-3, 60.0, 1e-12), HAND)


def test_a_leap_of_frequency_is_refused():
    with pytest.raises(ValueError, match="hops from"):
        solve_along(CIRCUIT, DIRECT, [5e-12, 60e-12])


def impedance(antenna, frequency):
    """Impedance, ohm, of an antenna behind its inductor and of the inductor's own capacitance beside it."""
    turn = 2j * np.pi * frequency
    coil = antenna.series_resistance + turn * antenna.inductance
    return 1.0 / (1.0 / coil + turn * antenna.self_capacitance) + 1.0 / (turn * antenna.capacitance)


@pytest.mark.parametrize("frequency", [100e3, 250e3, 400e3])
def test_at_a_tap_the_whole_coil_sees_the_impedance_over_the_square_of_the_ratio(frequency):
    # of an ideal transformer, any textbook
    whole, tapped = (with_antenna(CIRCUIT, 10e-12, BRANCH, ratio).antenna for ratio in (1.0, 0.4))
    assert_allclose(impedance(tapped, frequency), impedance(whole, frequency) / 0.4**2, rtol=1e-12)
