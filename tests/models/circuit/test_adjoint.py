"""The perturbation projection against differences of solved circuits, against exact laws, and in time."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.oscillator import steady_state
from models.circuit.part_values import neighbours, part_values, with_part_value
from models.circuit.transient import crossings, measure, simulate
from models.circuit.transistor import Transistor, TransistorPorts
from models.circuit.warm_transistor import warmed
from synth.comparisons.oscillator import CIRCUITS

EARLY = replace(CIRCUITS["normal"], transistor=Transistor(early_voltage=60.0, base_resistance=100.0))


def differences(state, name):
    """Relative changes of frequency and amplitude per relative change of a value, by two solved circuits, and the
    value's own unit of change."""
    value = part_values(state.circuit)[name]
    unit = abs(value) if value else 1e-12
    step = 1e-4 if name.endswith(("setting", "position")) else 1e-4 * unit
    low, high = (
        steady_state(with_part_value(state.circuit, name, value + sign * step), warm_start=state) for sign in (-1, 1)
    )
    scale = unit / (2.0 * step)
    return (
        (high.frequency - low.frequency) / state.frequency * scale,
        (high.tank_amplitude - low.tank_amplitude) / state.tank_amplitude * scale,
        unit,
    )


def agreement(circuit):
    """Largest deviation of frequency and amplitude sensitivities from differences, of the largest one."""
    state = steady_state(circuit)
    adjoint = oscillator_adjoint(state)
    frequency, amplitude = adjoint.frequency_sensitivities(), adjoint.amplitude_sensitivities()
    inside = [name for name in frequency if part_values(circuit)[name] != 0.0]
    rows = []
    for name in inside:
        by_frequency, by_amplitude, unit = differences(state, name)
        own = frequency[name] * unit / state.frequency, amplitude[name] * unit / state.tank_amplitude
        rows.append((by_frequency, own[0], by_amplitude, own[1]))
    table = np.array(rows)
    errors = np.abs(table[:, 0] - table[:, 1]).max(), np.abs(table[:, 2] - table[:, 3]).max()
    return errors[0] / np.abs(table[:, 0]).max(), errors[1] / np.abs(table[:, 2]).max()


@pytest.mark.slow
@pytest.mark.parametrize("circuit", [CIRCUITS["normal"], EARLY], ids=["normal", "early effect, base resistance"])
def test_every_value_agrees_with_two_solved_circuits(circuit):
    by_frequency, by_amplitude = agreement(circuit)
    assert by_frequency < 1e-6
    assert by_amplitude < 1e-5


def test_means_and_swings_of_nodes_agree_with_two_solved_circuits():
    state = steady_state(EARLY)
    adjoint = oscillator_adjoint(state)
    for name in ("bias.emitter_resistor", "transistor.forward_gain", "inductance", "board_stray"):
        value = part_values(EARLY)[name]
        circuits = [with_part_value(EARLY, name, value * (1.0 + by)) for by in (-1e-4, 1e-4)]
        low, high = (steady_state(circuit, warm_start=state) for circuit in circuits)
        response = adjoint.response(adjoint.disturbance_of(name))
        for node in ("emitter", "collector"):
            mean, swing = adjoint.level_changes(response, node)
            by_mean = (high.coefficients(node)[0] - low.coefficients(node)[0]).real / (2e-4 * value)
            by_swing = (high.peak_to_peak(node) - low.peak_to_peak(node)) / (2e-4 * value)
            assert_allclose((mean, swing), (by_mean, by_swing), rtol=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["light drive", "heavy drive", "low Q", "heavy load", "supply-limited", "500 kHz"])
def test_every_value_of_other_circuits_agrees(name):
    by_frequency, by_amplitude = agreement(CIRCUITS[name])
    assert by_frequency < 1e-4
    assert by_amplitude < 1e-4


@pytest.fixture(scope="module")
def normal():
    return oscillator_adjoint(steady_state(CIRCUITS["normal"]))


def test_temperature_takes_the_gain_along_as_stated(normal):
    """By two circuits solved with the transistor half a kelvin colder and warmer, its gain going faster than usual."""
    state = normal.state

    def solved(rise):
        warm = warmed(state.circuit.transistor, rise, 0.02)
        return steady_state(replace(state.circuit, transistor=warm), warm_start=state).frequency

    found = normal.temperature_sensitivity(0.02)
    assert found == pytest.approx(solved(0.5) - solved(-0.5), rel=1e-4)
    assert abs(normal.temperature_sensitivity() / found - 1.0) > 1e-3
    assert normal.temperature_sensitivity() == pytest.approx(normal.frequency_sensitivities()["temperature"], rel=1e-12)


def test_the_projection_of_the_motion_itself_is_one_at_every_instant(normal):
    # Demir, Mehrotra & Roychowdhury 2000: v1(t)^T C(t) dx/dt = 1
    count = 512
    omega, order = normal.angular_frequency, normal.order

    def along(coefficients):
        return np.fft.irfft(coefficients * count, n=count)

    projection, velocity = along(normal.projection), along(1j * omega * order * normal.spectra)
    ports = along(1j * omega * order * normal.state.port_coefficients)
    charging = np.repeat(normal.device.capacitances, count // normal.device.capacitances.shape[-1], axis=-1)
    stride = count // normal.device.capacitances.shape[-1]
    flow = normal.linear.capacitance @ velocity
    flow += normal.linear.ports @ np.einsum("pqt,qt->pt", charging, ports)
    assert_allclose(np.sum(projection * flow, axis=0)[::stride], 1.0, atol=2e-3)


def test_scaling_all_reactances_moves_the_frequency_by_as_much(normal):
    # C -> (1 + d) C, L -> (1 + d) L and transit times: f -> f / (1 + d), exactly
    values, slopes = part_values(normal.state.circuit), normal.frequency_sensitivities()
    reactive = ("capacit", "inductance", "stray", "minimum", "maximum", "transit")
    total = sum(slopes[name] * value for name, value in values.items() if any(word in name for word in reactive))
    # the series resistance is given by the quality factor at a frequency: 2 pi f_Q L / Q must not grow with L
    total += slopes["inductor_q"] * values["inductor_q"]
    assert_allclose(total, -normal.state.frequency, rtol=1e-6)


def test_slopes_by_the_matrices_are_the_response_to_the_whole_change(normal):
    circuit = normal.state.circuit
    changed = replace(
        circuit,
        inductance=1.02 * circuit.inductance,
        fixed_capacitor=0.97 * circuit.fixed_capacitor,
        antenna=None if circuit.antenna is None else replace(circuit.antenna, capacitance=11e-12),
        supply_voltage=1.01 * circuit.supply_voltage,
    )
    found = changed.drawing().network()
    shift = normal.slopes().shift(found.conductance, found.capacitance, found.source)
    assert shift == pytest.approx(normal.frequency_shift(normal.disturbance_to(changed)), rel=1e-9)
    assert abs(shift) > 1e-3 * normal.state.frequency


def test_a_capacitor_to_earth_is_a_current_at_every_harmonic(normal):
    # a small capacitance at the collector draws j k w c V_k: the response to these currents is d(frequency)/dC
    capacitance, node = 1e-15, "collector"
    voltages = normal.state.coefficients(node)
    total = 0.0
    for harmonic in range(1, normal.state.harmonics + 1):
        current = -1j * harmonic * normal.angular_frequency * capacitance * 2.0 * voltages[harmonic]
        total += (np.conj(normal.phase_response(node, harmonic)) * current).real
    across = normal.frequency_sensitivities()["board_stray"] * capacitance
    assert_allclose(total, across, rtol=1e-3)  # the cold end lies at earth for the radio frequency


def test_a_volt_of_supply_is_a_direct_current_through_the_supply_resistor(normal):
    per_volt = normal.frequency_sensitivities()["supply_voltage"]
    per_ampere = normal.phase_response("cold end", 0)
    assert per_ampere.imag == 0.0
    assert_allclose(per_volt, per_ampere.real / normal.state.circuit.supply_resistor, rtol=1e-8)


def test_a_change_of_many_values_at_once(normal):
    circuit = normal.state.circuit
    other = replace(
        circuit,
        board_stray=circuit.board_stray + 0.02e-12,
        supply_voltage=circuit.supply_voltage * 1.0005,
        bias=replace(circuit.bias, emitter_resistor=circuit.bias.emitter_resistor * 0.9995),
    )
    moved = steady_state(other, warm_start=normal.state)
    found = normal.response(normal.disturbance_to(other))
    assert_allclose(found.frequency, moved.frequency - normal.state.frequency, rtol=2e-3)
    row = [normal.linear.index(name) for name in ("collector", "cold end")]
    swing = (normal.spectra + found.spectra)[row[0], 1] - (normal.spectra + found.spectra)[row[1], 1]
    assert_allclose(
        2 * abs(swing) - normal.state.tank_amplitude, moved.tank_amplitude - normal.state.tank_amplitude, rtol=2e-3
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["bias.emitter_resistor", "board_stray"])
def test_against_integration_in_time(normal, name):
    state = normal.state
    value = part_values(state.circuit)[name]
    found = []
    for factor in (0.97, 1.03):
        near = steady_state(with_part_value(state.circuit, name, factor * value), warm_start=state)
        record = simulate(near.circuit, 130 / near.frequency, start=near, frequency=near.frequency)
        found.append(measure(record).frequency)
    slope = (found[1] - found[0]) / (0.06 * value)
    assert_allclose(normal.frequency_sensitivities()[name], slope, rtol=0.02)


@pytest.mark.slow
def test_a_short_current_at_any_phase_in_time():
    # a charge into one node at an instant of the cycle: how far ahead the oscillation is when everything has settled
    bias = replace(CIRCUITS["normal"].bias, wiper_capacitor=2.2e-9, base_capacitor=2.2e-9)
    state = steady_state(replace(CIRCUITS["normal"], bias=bias, supply_capacitor=20e-9, inductor_q=30.0))
    adjoint, node, count, charge = oscillator_adjoint(state), "emitter", 256, 2e-12
    duration = 6.0 * state.settling_time + 20.0 / state.frequency
    order = np.arange(state.harmonics + 1)
    expected, found = [], []
    for place in (20, 148):
        turned = state.spectra * np.exp(2j * np.pi * order * place / count)
        states = turned[:, 0].real + 2.0 * turned[:, 1:].sum(axis=1).real
        voltages = adjoint.linear.ports.T @ states
        slopes = np.diag(TransistorPorts(state.circuit.transistor).currents_and_capacitances(voltages)[1][:, 0])
        capacitance = adjoint.linear.capacitance + adjoint.linear.ports @ slopes @ adjoint.linear.ports.T
        kick = np.linalg.solve(capacitance, charge * adjoint.linear.unit(node))
        instants = []
        for sign in (1.0, -1.0):
            start = states + sign * kick
            record = simulate(state.circuit, duration, start=start, frequency=state.frequency)
            tank = record.voltage("tank")
            instants.append(crossings(record.times, tank, float(tank[-1280:].mean()))[-10:])
        found.append(0.5 * np.mean(instants[1] - instants[0]) / charge)
        expected.append(adjoint.advance(node, count)[place])
    assert_allclose(found, expected, rtol=0.02, atol=0.01 * np.abs(adjoint.advance(node, count)).max())


def test_values_at_the_end_of_their_domain_step_inwards():
    circuit = replace(
        CIRCUITS["pot at 0"], trimmers=(replace(CIRCUITS["normal"].trimmers[0], setting=1.0),), board_stray=0.0
    )
    for name in ("bias.position", "trimmers.0.setting", "board_stray"):
        weights = [weight for weight, _ in neighbours(circuit, name)]
        values = [part_values(near)[name] for _, near in neighbours(circuit, name)]
        assert_allclose(sum(weights), 0.0, atol=1e-9 * max(map(abs, weights)))
        assert_allclose(np.dot(weights, values), 1.0, rtol=1e-6)


def test_unknown_names_and_harmonics_are_refused(normal):
    with pytest.raises(ValueError, match="no value named"):
        with_part_value(normal.state.circuit, "flux capacitor", 1.0)
    with pytest.raises(ValueError, match="harmonic must be"):
        normal.phase_response("base", 1000)
    with pytest.raises(ValueError, match="other nodes"):
        normal.disturbance_to(replace(normal.state.circuit, load=None))
