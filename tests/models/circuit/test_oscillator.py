"""Steady state of the oscillator: balance of energy, scaling, limits, loads, antenna, and what is refused."""

from dataclasses import replace
from inspect import unwrap

import numpy as np
import pytest
from numpy.testing import assert_allclose

import models.circuit.oscillator as oscillator_module
from models.circuit import oscillator_start
from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, Load, OscillatorCircuit, Trimmer
from models.circuit.harmonic_balance import NotConvergedError
from models.circuit.oscillator import small_signal, steady_state
from models.circuit.oscillator_start import drive_at
from models.circuit.transistor import DepletionJunction, Transistor, TransistorPorts

DEFAULT = OscillatorCircuit()
LIMITED = replace(
    DEFAULT,
    feedback_capacitor=470e-12,
    emitter_capacitor=4.7e-9,
    fixed_capacitor=47e-12,
    bias=Bias(upper_resistor=22e3, lower_resistor=22e3, emitter_resistor=22e3),
)


@pytest.fixture(scope="module")
def normal():
    return steady_state(DEFAULT)


@pytest.fixture(scope="module")
def limited():
    return steady_state(LIMITED)


def test_lands_near_236_khz_at_9_volt(normal):
    assert_allclose(normal.frequency, 236e3, rtol=5e-3)
    assert DEFAULT.supply_voltage == 9.0
    assert 1.0 < normal.output_peak_to_peak < 9.0
    assert 0.001 < normal.thd < 0.1
    assert normal.reverse_emitter_peak < 4.0


@pytest.mark.parametrize("name", ["normal", "limited"])
def test_the_supply_delivers_what_the_losses_take(name, request):
    # worked out again from the waveforms, instant by instant, part by part
    state = request.getfixturevalue(name)
    circuit, count = state.circuit, 4096
    v = {node: state.waveform(node, count) for node in state.names}
    ports = np.stack([v["base"] - v["emitter"], v["base"] - v["collector"]])
    device = TransistorPorts(circuit.transistor).evaluate(ports)
    bias, load = circuit.bias, circuit.load
    taken = {
        "transistor": np.mean(np.sum(device.currents * ports, axis=0)),
        "supply resistor": np.mean((circuit.supply_voltage - v["cold end"]) ** 2) / circuit.supply_resistor,
        "inductor": np.mean(v["inductor"] ** 2) * circuit.series_resistance,
        "emitter resistor": np.mean(v["emitter"] ** 2) / bias.emitter_resistor,
        "above": np.mean((v["cold end"] - v["wiper"]) ** 2) / bias.above_wiper,
        "below": np.mean(v["wiper"] ** 2) / bias.below_wiper,
        "feed": np.mean((v["wiper"] - v["base"]) ** 2) / bias.feed_resistor,
        "output": np.mean((v["coupled"] - v["load"]) ** 2) / circuit.output_resistor,
        "load": np.mean(v["load"] ** 2) / load.resistance,
    }
    delivered = np.mean(circuit.supply_voltage - v["cold end"]) / circuit.supply_resistor * circuit.supply_voltage
    assert_allclose(sum(taken.values()), delivered, rtol=1e-5)
    assert_allclose(taken["inductor"], state.powers["inductor"], rtol=1e-9)
    assert_allclose(sum(state.powers.values()), state.supply_power, rtol=1e-5)
    assert taken["inductor"] > 1e-3 * delivered


def test_supply_limits_the_swing(limited):
    # the collector junction clamps: the collector cannot go far below the base
    lowest = (limited.waveform("collector", 4096) - limited.waveform("base", 4096)).min()
    assert -0.75 < lowest < -0.3
    unlimited = 2 * 0.00015 * 37e3  # twice the mean current through a loaded tank of some 37 kilohm
    assert limited.tank_amplitude < 0.8 * unlimited


def test_scaling_every_capacitance_and_inductance_scales_time():
    # C -> k C, L -> k L, transit times -> k: the same voltages at 1/k of the frequency, exactly
    scale = 1.7

    def junction(old):
        return replace(
            old, zero_bias_capacitance=scale * old.zero_bias_capacitance, transit_time=scale * old.transit_time
        )

    part = DEFAULT.transistor
    names = ("inductance", "inductor_self_capacitance", "fixed_capacitor", "board_stray", "feedback_capacitor")
    names += ("emitter_capacitor", "supply_capacitor", "coupling_capacitor")
    scaled = replace(
        DEFAULT,
        **{name: scale * getattr(DEFAULT, name) for name in names},
        inductor_q_frequency=DEFAULT.inductor_q_frequency / scale,
        trimmers=tuple(Trimmer(scale * t.minimum, scale * t.maximum, t.setting) for t in DEFAULT.trimmers),
        bias=replace(DEFAULT.bias, wiper_capacitor=scale * 100e-9, base_capacitor=scale * 100e-9),
        load=Load(DEFAULT.load.resistance, scale * DEFAULT.load.capacitance),
        transistor=replace(
            part,
            emitter_junction=junction(part.emitter_junction),
            collector_junction=junction(part.collector_junction),
        ),
    )
    plain, stretched = steady_state(DEFAULT), steady_state(scaled)
    assert_allclose(stretched.frequency * scale, plain.frequency, rtol=1e-9)
    assert_allclose(stretched.tank_amplitude, plain.tank_amplitude, rtol=1e-8)


def test_gentle_high_q_oscillation_has_the_describing_function_amplitude():
    # next to no harmonics and junction capacitance: V_1 = x V_T, and 2 I_1(x) / (x I_0(x)) = critical over actual g_m
    junction = DepletionJunction(1e-15)
    circuit = replace(
        DEFAULT,
        inductor_q=1000.0,
        load=None,
        feedback_capacitor=470e-12,
        emitter_capacitor=10e-9,
        fixed_capacitor=330e-12,
        bias=Bias(emitter_resistor=680e3),
        transistor=Transistor(forward_gain=1e5, emitter_junction=junction, collector_junction=junction),
    )
    signal, state = small_signal(circuit), steady_state(circuit)
    current = float(state.coefficients("emitter")[0].real) / circuit.bias.emitter_resistor
    thermal = TransistorPorts(circuit.transistor).thermal
    drive = 2 * abs(state.port_coefficients[0, 1]) / thermal
    assert drive > 2.0
    assert_allclose(drive, drive_at(signal.critical_transconductance * thermal / current), rtol=0.01)


def test_amplitude_grows_with_the_emitter_current():
    swings = [steady_state(replace(DEFAULT, bias=Bias(emitter_resistor=r))).tank_amplitude for r in (150e3, 82e3, 47e3)]
    assert swings[0] < swings[1] < swings[2]


def test_warm_start_finds_the_same_solution(normal):
    nearby = replace(DEFAULT, board_stray=DEFAULT.board_stray + 2e-12)
    warm, cold = steady_state(nearby, warm_start=normal), steady_state(nearby)
    assert warm.method == "warm start"
    assert_allclose(warm.frequency, cold.frequency, rtol=1e-9)
    assert_allclose(warm.tank_amplitude, cold.tank_amplitude, rtol=1e-8)
    # the law of the resonance: df/dC = -f / (2 C), C with the collector junction at its mean voltage; the load's 20 pF
    # behind 47 kilohm would add some 5 pF, below 1 %
    rest = small_signal(DEFAULT).point.port_voltages
    junction = TransistorPorts(DEFAULT.transistor).currents_and_capacitances(rest)[1][1, 0]
    total = DEFAULT.tank_capacitance + float(junction)
    assert_allclose(warm.frequency - normal.frequency, -normal.frequency * 1e-12 / total, rtol=0.02)


def test_following_up_from_rest_finds_the_same_solution(normal, monkeypatch):
    real, calls = oscillator_module.balance, []

    def failing_first(*arguments, **options):
        calls.append(1)
        if len(calls) == 1:
            raise oscillator_module.NotConvergedError("on purpose")
        return real(*arguments, **options)

    monkeypatch.setattr(oscillator_module, "balance", failing_first)
    state = unwrap(steady_state)(DEFAULT)
    assert state.method == "followed up from rest"
    assert_allclose(state.frequency, normal.frequency, rtol=1e-9)


def newton_steps(monkeypatch, module):
    """The steps of every balance that `module` asks for from now on, those without success as well."""
    real, steps = module.balance, []

    def counted(*arguments, **options):
        try:
            found = real(*arguments, **options)
        except NotConvergedError:
            steps.append(options["iterations"])
            raise
        steps.append(found.iterations)
        return found

    monkeypatch.setattr(module, "balance", counted)
    return steps


# the collector junction conducts at every trough, and the describing function leads nowhere
ABRUPT = replace(
    DEFAULT,
    fixed_capacitor=220e-12,
    feedback_capacitor=100e-12,
    inductor_q=80.0,
    bias=Bias(lower_resistor=33e3, emitter_resistor=10e3),
    output_resistor=1e6,
)


def test_an_abrupt_waveform_is_followed_and_refined_in_few_steps(monkeypatch):
    ways = newton_steps(monkeypatch, oscillator_module), newton_steps(monkeypatch, oscillator_start)
    state = unwrap(steady_state)(ABRUPT)
    assert state.method == "followed up from rest"
    assert state.harmonics >= 64
    assert sum(sum(steps) for steps in ways) < 300


@pytest.mark.slow
def test_an_abrupt_waveform_refined_is_the_one_followed_up_with_all_harmonics():
    state = steady_state(ABRUPT)
    at_once = steady_state(ABRUPT, harmonics=state.harmonics)
    assert_allclose(state.frequency, at_once.frequency, rtol=1e-9)
    assert_allclose(state.tank_amplitude, at_once.tank_amplitude, rtol=1e-8)


@pytest.mark.parametrize("change", [{"fixed_capacitor": 120e-12}, {"fixed_capacitor": 1200e-12}, {"inductance": 2e-3}])
def test_a_warm_start_goes_far_because_it_begins_near_the_new_frequency(normal, change, monkeypatch):
    far = replace(DEFAULT, **change)
    steps = newton_steps(monkeypatch, oscillator_module)
    warm = unwrap(steady_state)(far, warm_start=normal)
    assert warm.method == "warm start"
    assert len(steps) == 1
    assert abs(warm.frequency / normal.frequency - 1.0) > 0.15
    assert_allclose(warm.frequency, steady_state(far).frequency, rtol=1e-6)


def test_an_unchanged_network_keeps_its_frequency(normal, monkeypatch):
    steps = newton_steps(monkeypatch, oscillator_module)
    assert_allclose(unwrap(steady_state)(DEFAULT, warm_start=normal).frequency, normal.frequency, rtol=1e-12)
    assert steps == [0]


def test_more_harmonics_change_nothing(normal):
    finer = steady_state(DEFAULT, harmonics=2 * normal.harmonics)
    assert_allclose(finer.frequency, normal.frequency, rtol=1e-7)


def test_too_few_harmonics_are_refused():
    with pytest.raises(ValueError, match="4 harmonics do not suffice"):
        steady_state(DEFAULT, harmonics=4)
    with pytest.raises(ValueError, match="harmonics must be"):
        steady_state(DEFAULT, harmonics=2)


def test_a_straight_antenna_acts_as_a_capacitor_across_the_tank(normal):
    antenna = steady_state(replace(DEFAULT, antenna=AntennaLoad(5e-12)))
    capacitor = steady_state(replace(DEFAULT, board_stray=DEFAULT.board_stray + 5e-12))
    assert_allclose(antenna.frequency, capacitor.frequency, rtol=3e-6)  # ground and cold end differ a little
    assert antenna.frequency < normal.frequency


def behind_an_inductor(inductance, quality, emitter_resistor):
    """L0 = 820 uH, C0 = 470 pF, Ca = 10 pF with next to no junction capacitance."""
    junction = DepletionJunction(1e-15)
    divider = 1 / (1 / 100e-12 + 1 / 4.7e-9)
    return OscillatorCircuit(
        inductance=820e-6,
        inductor_q=300.0,
        inductor_q_frequency=250e3,
        inductor_self_capacitance=0.0,
        trimmers=(),
        board_stray=0.0,
        feedback_capacitor=100e-12,
        emitter_capacitor=4.7e-9,
        fixed_capacitor=470e-12 - divider,
        load=None,
        bias=Bias(emitter_resistor=emitter_resistor),
        transistor=Transistor(emitter_junction=junction, collector_junction=junction),
        antenna=AntennaLoad(10e-12, inductance, 2 * np.pi * 250e3 * inductance / quality),
    )


def test_antenna_behind_an_inductor_oscillates_in_the_mode_of_the_tank():
    # X^2 L0 C0 La Ca - X (L0 C0 + La Ca + L0 Ca) + 1 = 0, X = omega^2, with La = 20 mH: 251 103.731 Hz the lower
    state = steady_state(behind_an_inductor(20e-3, 80.0, 390e3))
    assert_allclose(state.frequency, 251103.731, rtol=2e-4)


def test_with_both_modes_alike_the_one_that_grows_wins():
    # the same with La = L0 C0 / Ca = 38.54 mH: 238 351.621 and 275 746.776 Hz, either half tank and half branch
    circuit = behind_an_inductor(38.54e-3, 80.0, 160e3)
    assert sum(1 for root in small_signal(circuit).roots if root.imag > 0 and root.real > 0) == 1
    assert_allclose(steady_state(circuit).frequency, 275746.776, rtol=2e-4)


def test_when_both_modes_grow_neither_is_returned():
    # an exponential device at constant mean current keeps its mean conductance: one mode does not hold the other down
    with pytest.raises(ValueError, match="another mode grows as well"):
        steady_state(behind_an_inductor(38.54e-3, 80.0, 100e3))


def test_a_mode_that_another_one_ousts_is_not_returned():
    # a lossless branch: in its lower mode the upper one still grows
    circuit = behind_an_inductor(20e-3, 1e9, 390e3)
    assert_allclose(steady_state(circuit).frequency, 363342.537, rtol=2e-4)
    with pytest.raises(ValueError, match="another mode grows as well"):
        steady_state(circuit, near_frequency=251.1e3)


def test_does_not_start_is_an_error_with_the_cause():
    with pytest.raises(ValueError, match="does not start: no transconductance overcomes the losses"):
        steady_state(replace(DEFAULT, inductor_q=2.0))


def test_squegging_is_not_returned_as_a_steady_state():
    # the base bypass is far too small: integrated in time, this circuit's swing never comes to rest
    circuit = replace(
        DEFAULT,
        inductor_q=100.0,
        fixed_capacitor=100e-12,
        feedback_capacitor=2e-9,
        emitter_capacitor=100e-9,
        bias=Bias(emitter_resistor=10e3, base_capacitor=1e-9, feed_resistor=100e3, position=0.8),
    )
    with pytest.raises(ValueError, match="not steady"):
        steady_state(circuit)


def test_the_base_resistance_changes_little():
    plain, resistive = (
        steady_state(replace(DEFAULT, transistor=Transistor(base_resistance=r))).frequency for r in (0.0, 100.0)
    )
    # omega r C of 100 ohm and the junctions' some 20 pF is 0.003: the drive hardly turns in phase
    assert 0 < abs(resistive - plain) < 2.5e-4 * plain
