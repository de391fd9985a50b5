"""Drawings: what they stamp, the fixed form as one of them, devices that alone carry direct current, the adjoint."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pair_in_time import Pair, integrate_pairs

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, OscillatorCircuit
from models.circuit.coupled import Coupling, lock_range
from models.circuit.drawing import (
    Capacitance,
    Coil,
    Drawing,
    Load,
    Part,
    Potentiometer,
    Resistance,
    Trimmer,
    without_load,
)
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.modulation import both_ripples
from models.circuit.operating_point import operating_point
from models.circuit.oscillator import steady_state
from models.circuit.oscillator_noise import oscillator_noise
from models.circuit.part_values import neighbours, part_values, with_part_value
from models.circuit.resonance import beside_tank, natural_frequency, resonance
from models.circuit.small_signal import Obstacle, small_signal
from models.circuit.steady_state import SteadyState
from models.circuit.transient import measure, run_length, simulate
from models.circuit.transistor import Transistor
from models.circuit.variable_oscillator import with_antenna


def part(name: str, what: object, *ends: str) -> Part:
    return Part(name, what, ends)


HARTLEY = Drawing(
    (
        part("coil", Coil(1e-3, 20.0, 8e-12, tap=0.05), "ground", "foot", "hot"),
        part("tuning", Capacitance(330e-12), "hot", "ground"),
        part("trimmer", Trimmer(5e-12, 65e-12), "hot", "ground"),
        part("gate capacitor", Capacitance(47e-12), "hot", "gate"),
        part("gate leak", Resistance(470e3), "gate", "ground"),
        part("source resistor", Resistance(8.2e3), "source", "pot top"),
        part("pot", Potentiometer(4.7e3), "foot", "foot", "pot top"),
        part("bypass", Capacitance(4.7e-9), "source", "foot"),
        part("drain resistor", Resistance(1e3), "supply", "drain"),
        part("drain bypass", Capacitance(22e-9), "drain", "ground"),
        part("fet", FieldEffect(), "gate", "drain", "source"),
    ),
    amplifier="fet",
    coil="coil",
    capacitor="tuning",
    tank=("hot", "ground"),
    output_node="source",
    antenna_node="hot",
    pot="pot",
    trimmers=("trimmer",),
    load=Load(),
)


@pytest.fixture(scope="module")
def hartley() -> SteadyState:
    return steady_state(HARTLEY)


def test_the_fixed_form_draws_itself_and_is_solved_alike() -> None:
    circuit = OscillatorCircuit(antenna=AntennaLoad(10e-12, 20e-3, 300.0, 1e-12))
    drawn = circuit.drawing()
    assert drawn.network().names == circuit.drawing().network().names
    assert steady_state(drawn).frequency == steady_state(circuit).frequency
    assert_allclose(natural_frequency(without_load(drawn)), natural_frequency(circuit), rtol=0.05)


def test_a_tapped_coil_is_the_whole_coil_between_its_ends() -> None:
    network = HARTLEY.network()
    below, above = (network.index(name) for name in network.coils)
    whole = network.capacitance[np.ix_([below, above], [below, above])].sum()
    assert_allclose(whole, 1e-3, rtol=1e-12)
    assert_allclose(resonance(HARTLEY, junctions=False).inductance, 1e-3, rtol=1e-4)  # less what hangs on the tap


def test_what_lies_beside_the_tank_is_counted() -> None:
    """The gate's capacitor ends at next to nothing without the transistor: what is left is its network's own."""
    assert beside_tank(HARTLEY) < 1e-12
    assert_allclose(beside_tank(OscillatorCircuit()), OscillatorCircuit().divider_capacitance, rtol=1e-12)


def test_the_resistance_of_a_base_hides_no_junction_from_the_tank() -> None:
    """The base stands still, so both junctions go to ground: capacitors in parallel and in series, by hand."""
    transistor = Transistor(base_resistance=200.0)
    circuit = OscillatorCircuit(transistor=transistor)
    emitter, collector = (
        one.zero_bias_capacitance for one in (transistor.emitter_junction, transistor.collector_junction)
    )
    divider = 1.0 / (1.0 / circuit.feedback_capacitor + 1.0 / (circuit.emitter_capacitor + emitter))
    seen = resonance(without_load(circuit))
    assert_allclose(seen.capacitance, circuit.across_tank + collector + divider, rtol=1e-3)
    assert_allclose(seen.inductance, circuit.inductance, rtol=1e-3)


def test_trimmer_pot_and_capacitor_are_turned_by_name() -> None:
    assert HARTLEY.with_trimmer(1.0).part("trimmer").what.capacitance == 65e-12
    assert HARTLEY.with_pot(0.2).pot_position == 0.2
    assert HARTLEY.with_fixed_capacitor(1e-10).fixed_capacitor == 1e-10
    with pytest.raises(ValueError, match="is no part of the drawing"):
        replace(HARTLEY, amplifier="valve")
    with pytest.raises(ValueError, match="two parts of the drawing are named 'fet'"):
        replace(HARTLEY, parts=(*HARTLEY.parts, HARTLEY.part("fet")))
    with pytest.raises(ValueError, match="has the ends gate, drain, source"):
        part("short", FieldEffect(), "gate", "drain")


def test_the_point_of_rest_satisfies_the_square_law_and_the_resistors() -> None:
    point = operating_point(HARTLEY)
    current, over = point.collector_current, FieldEffect().pinch_off
    gate_source = point.voltage("gate") - point.voltage("source")
    channel = 1.0 + FieldEffect().channel_slope * (point.voltage("drain") - point.voltage("source"))
    assert_allclose(current, FieldEffect().factor * (gate_source - over) ** 2 * channel, rtol=1e-3)
    assert_allclose(point.voltage("source"), current * (8.2e3 + 0.5 * 4.7e3 + 1.0), rtol=1e-5)
    assert_allclose(point.supply_current, current, rtol=1e-6)


def test_currents_and_power_balance(hartley: SteadyState) -> None:
    assert_allclose(sum(hartley.powers.values()), hartley.supply_power, rtol=1e-6)
    assert hartley.powers["fet"] > 0.0


def test_starting_needs_less_than_there_is_and_more_loss_needs_more() -> None:
    signal = small_signal(HARTLEY)
    assert signal.starts
    assert signal.critical_transconductance is not None
    assert_allclose(
        signal.margin_db, 20 * math.log10(signal.transconductance / signal.critical_transconductance), rtol=1e-9
    )
    lossy = small_signal(with_part_value(HARTLEY, "coil.series_resistance", 40.0))
    assert_allclose(lossy.margin_db - signal.margin_db, -6.0, atol=1.5)
    assert max(signal.loss_shares, key=lambda name: signal.loss_shares[name]).startswith("coil")


def test_causes_of_not_starting_are_named() -> None:
    starved = small_signal(with_part_value(HARTLEY, "supply_voltage", 0.5))
    assert starved.obstacle is Obstacle.OHMIC
    lossy = small_signal(with_part_value(HARTLEY, "coil.series_resistance", 400.0))
    assert lossy.obstacle is Obstacle.TOO_LITTLE_TRANSCONDUCTANCE


def test_the_adjoint_gives_what_solved_circuits_differ_by(hartley: SteadyState) -> None:
    slopes = oscillator_adjoint(hartley).frequency_sensitivities()
    assert set(slopes) == set(part_values(HARTLEY))
    for name in ("fixed_capacitor", "coil.tap", "fet.pinch_off", "pot.position", "supply_voltage", "temperature"):
        value = part_values(HARTLEY)[name]
        step = 1e-3 * abs(value)
        ends = [
            steady_state(with_part_value(HARTLEY, name, value + sign * step), warm_start=hartley).frequency
            for sign in (1, -1)
        ]
        assert_allclose(slopes[name], (ends[0] - ends[1]) / (2.0 * step), rtol=2e-3)


def test_a_capacitance_across_the_tank_is_that_of_its_capacitor(hartley: SteadyState) -> None:
    adjoint = oscillator_adjoint(hartley)
    direct = adjoint.frequency_shift(adjoint.disturbance_across_tank())
    assert_allclose(direct, adjoint.frequency_shift(adjoint.disturbance_of("fixed_capacitor")), rtol=1e-8)


def test_slow_ripple_is_pushing_and_noise_has_every_source(hartley: SteadyState) -> None:
    adjoint = oscillator_adjoint(hartley)
    pushing = adjoint.frequency_shift(adjoint.disturbance_of("supply_voltage"))
    by_supply, _ = both_ripples(adjoint, 1e-2)
    assert_allclose(by_supply.deviation.real, pushing, rtol=1e-4)
    noise = oscillator_noise(adjoint)
    assert "channel" in noise.diffusion
    assert noise.flicker == 0.0
    assert -160.0 < float(noise.phase_noise(100.0)) < -90.0


def test_an_antenna_hangs_at_its_node(hartley: SteadyState) -> None:
    from models.branch.antenna_branch import DIRECT

    loaded = with_antenna(HARTLEY, 1e-12, DIRECT)
    adjoint = oscillator_adjoint(hartley)
    expected = adjoint.frequency_shift(adjoint.disturbance_across_tank()) * 1e-12
    assert_allclose(steady_state(loaded).frequency - hartley.frequency, expected, rtol=5e-3)


def test_derivatives_by_name_reach_every_value() -> None:
    for name, value in part_values(HARTLEY).items():
        weights = neighbours(HARTLEY, name)
        moved = sum(weight * part_values(circuit)[name] for weight, circuit in weights)  # type: ignore[arg-type]
        assert_allclose(moved, 1.0, rtol=1e-6, err_msg=f"{name} = {value}")


INVERTER = Drawing(
    (
        part("coil", Coil(1e-3, 20.0), "hot", "far"),
        part("tuning", Capacitance(330e-12), "hot", "ground"),
        part("far capacitor", Capacitance(3.3e-9), "far", "ground"),
        part("drive resistor", Resistance(47e3), "drive", "far"),
        part("gate capacitor", Capacitance(100e-12), "hot", "gate"),
        part("bias resistor", Resistance(1e6), "drive", "gate"),
        part("inverter", Inverter(), "gate", "drive", "supply", "ground"),
    ),
    "inverter",
    "coil",
    ("hot", "ground"),
    "drive",
)


def test_what_the_network_carries_for_a_device_changes_nothing() -> None:
    """All nodes of the inverter's drawing hang for direct current on the device alone."""
    assert INVERTER.carried().any()
    point = operating_point(INVERTER)
    assert_allclose(point.voltage("gate"), 0.5 * point.voltage("supply"), rtol=1e-4)
    assert_allclose(point.voltage("gate"), point.voltage("drive"), rtol=1e-6)
    state = steady_state(INVERTER)
    assert_allclose(sum(state.powers.values()), state.supply_power, rtol=1e-6)
    stiff = INVERTER.laws()
    voltages = np.array([[4.0], [4.4], [5.0]])
    bare = INVERTER.part("inverter").law().evaluate(voltages)
    assert_allclose(
        INVERTER.whole_currents(voltages, stiff.evaluate(voltages).currents), bare.currents, rtol=1e-9, atol=1e-15
    )


def test_an_input_held_outside_its_range_is_stuck() -> None:
    held = replace(INVERTER, parts=(*INVERTER.parts, part("short", Resistance(1e3), "gate", "ground")))
    assert small_signal(held).obstacle is Obstacle.STUCK


def test_two_devices_keep_the_amplifier_first() -> None:
    buffer = (
        part("buffer coupling", Capacitance(10e-12), "source", "base"),
        part("upper", Resistance(220e3), "supply", "base"),
        part("lower", Resistance(220e3), "base", "ground"),
        part("buffer", Transistor(base_resistance=50.0), "base", "supply", "emitter"),
        part("buffer resistor", Resistance(10e3), "emitter", "ground"),
    )
    whole = replace(HARTLEY, parts=(*buffer, *HARTLEY.parts), output_node="emitter")
    assert [device.name for device in whole.devices] == ["fet", "buffer"]
    assert whole.network().ports.shape[1] == 4
    alone, buffered = small_signal(replace(HARTLEY, load=None)), small_signal(whole)
    assert_allclose(buffered.frequency, alone.frequency, rtol=5e-3)
    assert "base resistance of buffer" in buffered.loss_shares


@pytest.mark.soak  # a minute each; test_drawn_circuits.py integrates thirty cycles of the templates' own forms
@pytest.mark.parametrize("circuit", [HARTLEY, replace(INVERTER, load=Load())], ids=["Hartley", "inverter"])
def test_integration_in_time_from_switching_on_agrees(circuit: Drawing) -> None:
    bare = replace(circuit, load=None)  # its coupling capacitor would charge for milliseconds and change nothing
    state = steady_state(bare)
    record = simulate(bare, min(run_length(state), 2e-3), frequency=state.frequency, relative_tolerance=1e-7)
    read = measure(record, allowed_drift=None)
    assert_allclose(read.frequency, state.frequency, rtol=20e-6)
    assert_allclose(read.amplitude, state.tank_amplitude, rtol=0.01)


def test_two_drawn_oscillators_pull_each_other_as_the_fixed_form_does(hartley: SteadyState) -> None:
    coupling = Coupling(common_node=True, supply_resistance=5.0, coil_coupling=1e-4, tank_to_tank_capacitance=0.0)
    fixed = OscillatorCircuit()
    near = fixed.with_fixed_capacitor(fixed.fixed_capacitor + 0.01e-12)
    ways = []
    for drawn in (False, True):
        pair = (fixed.drawing(), near.drawing()) if drawn else (fixed, near)
        ways.append(lock_range(*(oscillator_adjoint(steady_state(circuit)) for circuit in pair), coupling))
    assert_allclose(ways[0].total, ways[1].total, rtol=1e-9)
    own = oscillator_adjoint(hartley)
    moved = oscillator_adjoint(steady_state(HARTLEY.with_fixed_capacitor(330.01e-12), warm_start=hartley))
    assert lock_range(own, moved, coupling).total > 0.0


def test_two_drawn_oscillators_are_integrated_together_as_the_fixed_form_is() -> None:
    fixed = OscillatorCircuit(bias=Bias(emitter_resistor=220e3))  # little drive: the rule of constant step follows it
    rows = []
    for circuit in (fixed, fixed.drawing()):
        state = steady_state(circuit)
        pair = Pair(state, state, Coupling(common_node=True), phase=1.0)
        rows.append(integrate_pairs([pair], 10.0 / state.frequency).amplitudes)
    assert_allclose(rows[0], rows[1], rtol=1e-9)
