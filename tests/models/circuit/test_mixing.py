"""Drawn mixers against integration in time at the radio rate, a square law, the memoryless diode, hand calculations."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.diode import Diode
from models.circuit.drawing import Capacitance, Coil, Part, Resistance
from models.circuit.field_effect import FieldEffect
from models.circuit.mixer import Drive, Mixer, Source, sine
from models.circuit.mixer_table import DrawnDetector, MixerTable, loads_at_rest, mixer_table
from models.circuit.mixing import solver_for
from models.circuit.operating_point import solve
from models.circuit.transistor import DepletionJunction, Transistor
from models.detector.diode import DiodeLoad, static_output, sum_envelope
from models.junction import THERMAL_VOLTAGE
from tests.shared.mixer_in_time import at_start, in_time, integrated

RADIO = 250e3
FAINT = DepletionJunction(1e-17)


def one_diode():
    """Both outputs through 47 kohm into one node, a diode and its load behind it."""
    parts = (
        Part("input resistor", Resistance(100e3), ("input", "ground")),
        Part("wiring", Capacitance(20e-12), ("input", "ground")),
        Part("diode", Diode(), ("input", "tone")),
        Part("load", Resistance(100e3), ("tone", "ground")),
        Part("load capacitor", Capacitance(1e-9), ("tone", "ground")),
    )
    return Mixer(parts, Source("input"), Source("input"), "tone")


def one_transistor():
    """Both outputs through 470 kohm into the base of a transistor."""
    parts = (
        Part("upper bias", Resistance(470e3), ("supply", "base")),
        Part("lower bias", Resistance(100e3), ("base", "ground")),
        Part("mixer", Transistor(), ("base", "collector", "emitter")),
        Part("collector resistor", Resistance(10e3), ("supply", "collector")),
        Part("collector capacitor", Capacitance(2.2e-9), ("collector", "ground")),
        Part("emitter resistor", Resistance(4.7e3), ("emitter", "ground")),
        Part("emitter capacitor", Capacitance(100e-9), ("emitter", "ground")),
    )
    return Mixer(parts, Source("base", 470e3), Source("base", 470e3), "collector")


def two_inputs():
    """A field-effect transistor fed at its gate and at its source, with a coil in its drain."""
    parts = (
        Part("gate leak", Resistance(470e3), ("gate", "ground")),
        Part("wiring", Capacitance(5e-12), ("gate", "ground")),
        Part("mixer", FieldEffect(), ("gate", "drain", "source")),
        Part("source resistor", Resistance(3.3e3), ("source", "ground")),
        Part("coil", Coil(10e-3, 300.0, 5e-12), ("supply", "drain")),
        Part("drain capacitor", Capacitance(1e-9), ("drain", "ground")),
        Part("tone resistor", Resistance(22e3), ("drain", "tone")),
        Part("tone capacitor", Capacitance(470e-12), ("tone", "ground")),
    )
    return Mixer(parts, Source("gate", 100e3), Source("source", 10e3), "tone")


def square_law(leak=1e6):
    """A field-effect transistor that stays in its square law, the gate biased below its source."""
    device = FieldEffect(pinch_off=-3.0, factor=1e-4, channel_slope=0.0, source_junction=FAINT, drain_junction=FAINT)
    parts = (
        Part("gate leak", Resistance(leak), ("gate", "ground")),
        Part("wiring", Capacitance(5e-12), ("gate", "ground")),
        Part("mixer", device, ("gate", "drain", "source")),
        Part("bias", Resistance(10e3), ("source", "supply")),
        Part("bias foot", Resistance(1.8e3), ("source", "ground")),
        Part("source capacitor", Capacitance(1e-3), ("source", "ground")),
        Part("drain resistor", Resistance(1e3), ("supply", "drain")),
        Part("drain capacitor", Capacitance(10e-9), ("drain", "ground")),
    )
    return Mixer(parts, Source("gate", 100e3), Source("gate", 100e3), "drain", supply_resistor=1e-3)


@pytest.fixture(scope="module")
def still():
    """The quasi-static law of the mixers, each with its solver."""
    drive = Drive(RADIO, sine(2.0), sine(1.6))
    return {make.__name__: solver_for(make(), drive) for make in (one_diode, one_transistor, two_inputs)}


@pytest.mark.parametrize(
    ("name", "beat"),
    [
        ("one_diode", 25e3),
        pytest.param("one_transistor", -25e3, marks=pytest.mark.slow),
        pytest.param("two_inputs", 25e3, marks=pytest.mark.slow),
    ],
)
def test_integration_in_time_gives_the_same(still, name, beat):
    solver, begin = still[name]
    mixed = solver.solve(beat, near=begin.ports)
    waves, end, names = integrated(mixed.mixer, mixed.drive, beat, at_start(mixed))
    node = mixed.mixer.tone_node
    place = names.index(node)
    assert_allclose(end[place], at_start(mixed)[place], atol=1e-3)  # it is steady: one period later it is as before
    true, own = (np.fft.rfft(wave) for wave in (waves[place], in_time(mixed, node)))
    strongest = np.abs(true[1:10]).max()
    assert np.abs(true[1:10] - own[1:10]).max() < 1e-3 * strongest  # -60 dB
    # beside the law in which the filters follow the beat, which is wrong here
    assert abs(np.abs(begin.tone()[1]) * 256 - np.abs(true[1])) > 0.2 * np.abs(true[1])


@pytest.mark.slow
def test_integration_from_rest_ends_there():
    """From the state of rest, without knowing the solution, ten periods of the beat."""
    source = Source("input", coupling_capacitor=100e-12)  # so small that all has settled by then
    mixer = replace(one_diode(), reference=source, variable=source)
    solver, begin = solver_for(mixer, Drive(RADIO, sine(2.0), sine(1.6)))
    mixed = solver.solve(12.5e3, near=begin.ports)
    rest = at_start(solver.solve(12.5e3, (1e-6, 1e-6)))
    waves, _, names = integrated(mixed.mixer, mixed.drive, 12.5e3, rest, points=1024, periods=10)
    node = mixed.mixer.tone_node
    true, own = (np.fft.rfft(wave) for wave in (waves[names.index(node)], in_time(mixed, node, 1024)))
    assert np.abs(true[1:10] - own[1:10]).max() < 1e-3 * np.abs(true[1:10]).max()


def test_square_law_makes_the_product():
    # mean of f (v - p)^2 with v = b + a1 cos(t) + a2 cos(t - phi): f ((b - p)^2 + (a1^2 + a2^2) / 2 + a1 a2 cos(phi))
    mixer, swings = square_law(), (2.0, 1.2)
    solver, still = solver_for(mixer, Drive(RADIO, sine(swings[0]), sine(swings[1])))
    mixed = solver.solve(200.0, near=still.ports)  # so fast that the source capacitor holds the bias
    omega = 2.0 * math.pi * RADIO
    source = complex(mixer.reference.admittance(omega))
    at_gate = source / (2.0 * source + 1e-6 + 1j * omega * 5e-12)
    first, second = (abs(at_gate) * swing for swing in swings)
    lines = mixed.tone()
    at_drain = 1e3 / (1.0 + 2j * math.pi * 200.0 * 1e3 * 10e-9)
    assert_allclose(lines[1], -at_drain * 1e-4 * first * second, rtol=2e-3)
    assert np.abs(lines[2:]).max() < 2e-3 * abs(lines[1])


@pytest.mark.slow
def test_diode_is_the_memoryless_one_where_nothing_else_counts():
    # two equal resistors halve the sum and act as one of half their size; the coil is a path for direct current
    # alone, with their resistance
    diode = Diode(saturation_current=2e-7, emission_factor=1.1, junction=FAINT)
    parts = (
        Part("path", Coil(0.3, 1e3), ("input", "ground")),
        Part("diode", diode, ("input", "tone")),
        Part("load", Resistance(100e3), ("tone", "ground")),
        Part("load capacitor", Capacitance(10e-9), ("tone", "ground")),
    )
    source = Source("input", 2e3, 1e-6)
    _, mixed = solver_for(Mixer(parts, source, source, "tone"), Drive(RADIO, sine(1.0), sine(0.7)))
    load = DiodeLoad(100e3, 10e-9, 2e-7, 1.1, source_resistance=1e3)
    phases = np.arange(mixed.phases) * (2.0 * math.pi / mixed.phases)
    expected = static_output(load, sum_envelope(0.5, 0.35, phases))
    assert_allclose(mixed.coefficients("tone")[0].real, expected, atol=3e-3 * expected.max())


def test_load_at_rest_by_hand():
    # the base, both bias resistors and the other's output resistor, all across the node
    mixer = one_transistor()
    large = ("collector capacitor", "emitter capacitor")  # so large that nothing comes back from these ends
    parts = tuple(replace(part, what=Capacitance(1e-4)) if part.name in large else part for part in mixer.parts)
    mixer = replace(mixer, parts=parts)
    drawing = mixer.drawing()
    linear, laws = drawing.network(), drawing.laws()
    rest = linear.ports.T @ solve(linear, laws, 9.0)
    device = laws.evaluate(rest)
    base_current = float(device.currents[:, 0].sum())
    conductance = 1.0 / 470e3 + 1.0 / 100e3 + base_current / THERMAL_VOLTAGE + 1.0 / 470e3
    capacitance = float(np.trace(device.capacitances[:, :, 0]))
    for load in loads_at_rest(mixer, RADIO):
        assert_allclose(1.0 / load.resistance, conductance, rtol=0.03)  # the base resistance lies before the junction
        assert_allclose(load.capacitance, capacitance, rtol=0.05, atol=0)


def test_a_conducting_diode_loads_more_than_one_at_rest(still):
    mixed = still["one_diode"][1]
    assert mixed.load("reference").resistance < 0.9 * loads_at_rest(mixed.mixer, RADIO)[0].resistance


def test_a_source_that_is_a_little_inductive_loads_by_its_resistance(still):
    mixed = still["two_inputs"][1]
    seen = mixed.admittance("variable")
    assert -0.1 * seen.real < seen.imag < 0.0  # by the gate's capacitance, through the resistance before it
    assert_allclose(mixed.load("variable").resistance, 1.0 / seen.real)
    assert mixed.load("variable").capacitance < 1e-14
    assert mixed.load("reference").resistance > 100.0 * mixed.load("variable").resistance


def test_inputs_exchanged_turn_the_beat_round(still):
    # who is the reference only turns the direction of the phase, where both stand still
    mixed = still["one_diode"][1]
    drive = replace(mixed.drive, reference=mixed.drive.variable, variable=mixed.drive.reference)
    _, other = solver_for(mixed.mixer, drive)
    assert_allclose(other.tone()[:8], mixed.tone()[:8].conj(), atol=1e-5 * abs(mixed.tone()[1]))


@pytest.mark.slow
def test_table_reads_what_is_solved(still):
    solver, begin = still["one_diode"]
    table = mixer_table(solver, begin, (2.0, 1.6))
    detector = DrawnDetector(table, 2.0, 1.6)
    for beat in (0.0, 40.0, -700.0, 9e3):
        true = solver.solve(beat, near=begin.ports)
        size = table.level(0.0)  # the strongest line of this mixer
        assert np.abs(detector.lines(beat)[0] - true.tone()).max() < 1e-3 * size
        moved = solver.solve(beat, (1.0, 1.02), near=true.ports).tone()
        assert np.abs(detector.with_amplitudes(2.0, 1.02 * 1.6).lines(beat)[0] - moved).max() < 1e-3 * size
    # below the lower of its corners all of it follows the beat
    edge = table.quasi_static_up_to
    assert 5.0 < edge < table.corner
    assert_allclose(table.level(0.5 * edge), table.level(0.0), rtol=0.01)


def test_a_table_follows_both_amplitudes_by_parabolas():
    """Lines that are a polynomial of the second degree in either amplitude are met everywhere, not only where solved.

    The table knows them at the middle and one reach to either side; the beat changes nothing here.
    """
    middle, reach = (2.0, 1.6), (0.03, 0.2)

    def added(step, slope, bend):
        return slope * step + bend * step**2

    of_variable, of_reference = (0.7 - 0.2j, 0.3 + 0.1j), (-0.4 + 0.5j, 0.6 - 0.3j)
    bends = [added(sign * reach[1], *of_variable) for sign in (-1.0, 1.0)]
    bends += [added(sign * reach[0], *of_reference) for sign in (-1.0, 1.0)]
    beats, sparse = np.linspace(-12e3, 12e3, 9), np.array([-12e3, 0.0, 12e3])
    shape = np.array(bends)[None, :, None] * np.ones((3, 1, 2))
    table = MixerTable(beats, np.ones((9, 2), dtype=complex), sparse, shape, middle, reach, RADIO)
    for first, second in ((0.01, 0.0), (0.0, -0.15), (-0.02, 0.1), (0.05, 0.3)):
        found = table.read([440.0], middle[0] * (1.0 + first), middle[1] * (1.0 + second))
        assert_allclose(found, 1.0 + added(first, *of_reference) + added(second, *of_variable), rtol=1e-9)


@pytest.mark.filterwarnings("error")
def test_a_tone_behind_a_capacitor_follows_no_beat_at_once():
    """A high-pass of 10 Hz has no standing tone to compare with: from the lowest beat on it is twice, and 1 %, off.

    The tone C_1 = j b / (10 Hz + j b), as behind a coupling capacitor.
    """
    beats, sparse = 8.0 * np.sinh(np.linspace(-8.0, 8.0, 65)), np.array([-12e3, 0.0, 12e3])
    lines = np.stack([np.zeros(65), 1j * beats / (10.0 + 1j * beats)], axis=1)
    table = MixerTable(beats, lines, sparse, np.zeros((3, 4, 2), dtype=complex), (1.0, 1.0), (0.03, 0.03), RADIO)
    assert table.level(0.0) == 0.0
    assert table.quasi_static_up_to == table.corner == 1.0
    assert_allclose(table.level(10.0), math.sqrt(0.5), rtol=1e-3)


def test_a_mixer_without_a_device_is_refused():
    parts = (Part("load", Resistance(1e3), ("tone", "ground")),)
    with pytest.raises(ValueError, match="draw a diode or a transistor"):
        solver_for(Mixer(parts, Source("tone"), Source("tone"), "tone"), Drive(RADIO, sine(1.0), sine(1.0)))
