"""The envelope of a start-up against integration in time and against harmonic balance."""

from dataclasses import replace
from inspect import unwrap

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize

from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, OscillatorCircuit
from models.circuit.envelope import Outcome
from models.circuit.irregular import bursts_of
from models.circuit.oscillator import NotSteadyError, steady_state
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.start_up import REACHED, start_up
from models.circuit.switch_on import thermal_swing
from models.circuit.transient import POINTS_PER_CYCLE, cycle_swings, simulate
from models.circuit.transistor import Transistor
from models.circuit.work import bounded_work
from synth.build.circuit_assembly import START_WORK
from synth.comparisons.oscillator import CIRCUITS
from tests.models.circuit.test_switch_on import HARD, kennedy, with_emitter

DEFAULT = OscillatorCircuit()


def swift(name, size=4.7e-9):
    """One of the circuits with a bias that comes up so quickly that the swing of switching on stays above rounding."""
    circuit = CIRCUITS[name]
    return replace(circuit, bias=replace(circuit.bias, wiper_capacitor=size, base_capacitor=size))


def swinging(record):
    """Times, and the base-collector voltage without what moves slowly."""
    port = record.voltage("base") - record.voltage("collector")
    mean = np.ones(POINTS_PER_CYCLE) / POINTS_PER_CYCLE
    edge = slice(POINTS_PER_CYCLE, -POINTS_PER_CYCLE)
    return record.times[edge], (port - np.convolve(np.convolve(port, mean, "same"), mean, "same"))[edge]


def fundamental(found, times):
    """Times within the envelope, and the base-collector voltage's fundamental there as the envelope has it."""
    times = times[(times >= found.times[0]) & (times <= found.times[-1])]
    phase = 2.0 * np.pi * PchipInterpolator(found.times, found.frequency).antiderivative()(times)
    sizes = np.log([abs(point.voltages[PHASE_PORT, 1]) for point in found.points])
    return times, np.exp(PchipInterpolator(found.times, sizes)(times)) * np.cos(phase)


def demodulated(times, swing, frequency):
    """Times and frequency of a voltage, read over windows of eight cycles, one a cycle."""
    window = np.hanning(8 * POINTS_PER_CYCLE + 1)
    half = 4 * POINTS_PER_CYCLE
    turned = np.convolve(swing * np.exp(-2j * np.pi * frequency * times), window, "valid")[::POINTS_PER_CYCLE]
    when = times[half:-half:POINTS_PER_CYCLE]
    return when, frequency + np.gradient(np.unwrap(np.angle(turned)), when) / (2 * np.pi)


def against_time(circuit, duration, share=0.01, chirp_ppm=5.0):
    state, found = steady_state(circuit), start_up(circuit)
    assert found.outcome is Outcome.SETTLES
    assert not found.from_noise
    record = simulate(circuit, duration, frequency=state.frequency, relative_tolerance=1e-9)
    swings = cycle_swings(record, "tank")
    starts = record.times[: len(swings) * POINTS_PER_CYCLE : POINTS_PER_CYCLE]
    middles = starts + 0.5 / state.frequency
    inside = middles > found.times[0]
    envelope = np.exp(PchipInterpolator(found.times, np.log(found.tank))(middles[inside]))
    assert_allclose(envelope, swings[inside], atol=share * swings.max())
    quiet = int(np.argmin(swings))
    goal = REACHED * state.peak_to_peak("tank")
    reached = quiet + int(np.argmax(swings[quiet:] >= goal))
    assert reached > quiet
    started = np.interp(goal, swings[reached - 1 : reached + 1], middles[reached - 1 : reached + 1])
    assert_allclose(found.started, started, rtol=0.01)
    output = PchipInterpolator(found.times, found.output)(middles[inside])
    assert_allclose(output, cycle_swings(record, "load")[inside], atol=share * found.output.max())
    for name in ("base", "wiper", "emitter"):
        row = record.voltage(name)[: len(swings) * POINTS_PER_CYCLE].reshape(-1, POINTS_PER_CYCLE).mean(axis=1)
        means = PchipInterpolator(found.times, found.means[found.names.index(name)])(middles[inside])
        assert_allclose(means, row[inside], atol=0.02 * np.abs(row).max())
    times, swing = swinging(record)
    when, frequency = demodulated(times, swing, state.frequency)
    # read over the same windows: in eight cycles of a bent chirp the mean is not the frequency in their middle
    middle, computed = demodulated(*fundamental(found, times), state.frequency)
    late = (when > found.started) & (when < middle[-1])
    assert np.count_nonzero(late) > 20
    assert_allclose(np.interp(when[late], middle, computed)[:-4], frequency[late][:-4], rtol=chirp_ppm * 1e-6)


@pytest.mark.slow
def test_a_start_up_in_time():
    against_time(swift("normal"), 0.75e-3)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("circuit", "duration", "share", "chirp_ppm"),
    [
        (swift("light drive"), 1.6e-3, 0.01, 5.0),
        (swift("heavy drive"), 0.8e-3, 0.02, 5.0),  # these two rise by half and more in each cycle
        # its frequency falls by a fifth of its excess in each cycle; with steps of a tenth of the tolerance 18 ppm
        (swift("low Q", 2.2e-9), 0.6e-3, 0.03, 50.0),
        (CIRCUITS["supply-limited"], 0.8e-3, 0.01, 5.0),
    ],
    ids=["light", "heavy", "low Q", "supply-limited"],
)
def test_start_ups_in_time(circuit, duration, share, chirp_ppm):
    against_time(circuit, duration, share, chirp_ppm)


@pytest.mark.parametrize("name", ["light drive", pytest.param("antenna branch", marks=pytest.mark.slow)])
def test_it_settles_where_harmonic_balance_lands(name):
    found, state = start_up(CIRCUITS[name]), steady_state(CIRCUITS[name])
    assert found.outcome is Outcome.SETTLES
    assert_allclose(found.frequency[-1], state.frequency, rtol=2e-6)
    assert_allclose(found.tank[-1], state.peak_to_peak("tank"), rtol=2e-3)
    assert_allclose(found.output[-1], state.peak_to_peak("output"), rtol=2e-3)
    assert_allclose(found.means[:, -1], state.spectra[:, 0].real, atol=5e-3)
    assert found.state is not None
    assert_allclose(found.state.frequency, state.frequency, rtol=2e-6)


@pytest.mark.slow
def test_one_that_starts_only_while_the_supply_rises():
    # an independent program, in time: 273 354.93 Hz, 22.890 V peak to peak
    found = start_up(HARD)
    assert found.outcome is Outcome.SETTLES
    assert_allclose(found.frequency[-1], 273354.93, rtol=2e-6)
    assert_allclose(found.tank[-1], 22.890, rtol=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("resistance", [700.0, 10e6])
def test_one_that_dies(resistance):
    found = start_up(with_emitter(resistance))
    assert found.outcome is Outcome.DIES
    assert found.started is None
    assert found.state is None


@pytest.mark.slow
def test_larger_bias_capacitors_take_longer_in_proportion():
    times = [
        start_up(replace(DEFAULT, bias=replace(DEFAULT.bias, wiper_capacitor=size, base_capacitor=size))).started
        for size in (0.5e-6, 1e-6)
    ]
    assert times[1] / times[0] == pytest.approx(2.0, rel=0.02)


@pytest.mark.slow
def test_the_thermal_swing():
    # the noise of a capacitor of 1 pF at 300 K is 64.4 uV r.m.s. (common practice, from memory)
    expected = np.sqrt(2.0) * 64.4e-6 * np.sqrt(1e-12 / DEFAULT.tank_capacitance)
    assert_allclose(thermal_swing(DEFAULT), expected, rtol=1e-3)
    found = start_up(DEFAULT)
    assert found.from_noise
    assert_allclose(found.tank.min(), 2.0 * thermal_swing(DEFAULT), rtol=0.05)


def test_a_floor_within_rounding_is_refused():
    with pytest.raises(ValueError, match="least_swing must be at least"):
        start_up(DEFAULT, least_swing=0.0)


@pytest.mark.slow
def test_kennedys_oscillator_is_shown():
    # irregular there (Kennedy, as in test_switch_on); with this transistor the base resistance decides whether a window
    # of three cycles catches it (below), also when integrated with a tolerance of 1e-8
    found = start_up(kennedy(Transistor(base_resistance=10.0)))
    assert found.outcome is Outcome.WANDERS
    late = found.tank[-150:]
    assert late.max() > 2.0 * late.min() > 0.5


@pytest.mark.slow
def test_what_is_irregular_is_told_by_the_cycles_that_could_be_paid_for():
    # within the work that a command allows, a start-up ends after half of the cycles that the one above takes
    with bounded_work(START_WORK):
        found = unwrap(start_up)(kennedy(Transistor(base_resistance=10.0)))
    assert found.late is not None
    assert found.late.times[-1] - found.late.times[0] < 300 / 96e3
    assert found.outcome is Outcome.WANDERS


@pytest.mark.soak
def test_kennedys_oscillator_is_caught_by_a_window_of_three_cycles():
    caught = start_up(kennedy())
    assert caught.outcome is Outcome.PATTERN
    assert caught.pattern is not None
    assert caught.pattern.cycles == 3
    run = simulate(kennedy(), 1.2e-3, start=caught.late.states[:, -1], frequency=96e3, relative_tolerance=1e-9).voltage(
        "tank"
    )
    shift = round(caught.pattern.period * 96e3 * POINTS_PER_CYCLE)
    assert np.corrcoef(run[:-shift], run[shift:])[0, 1] > 0.99
    third = shift // 3
    assert np.corrcoef(run[:-third], run[third:])[0, 1] < 0.9


def squegging(gain=20.0):
    return replace(
        DEFAULT,
        inductor_q=200.0,
        fixed_capacitor=100e-12,
        feedback_capacitor=2e-9,
        emitter_capacitor=47e-9,
        transistor=Transistor(forward_gain=gain),
        bias=Bias(emitter_resistor=1e3, base_capacitor=10e-9, feed_resistor=1e6, position=0.8),
    )


@pytest.mark.slow
def test_a_squegging_circuit_is_shown():
    circuit = squegging()
    with pytest.raises(NotSteadyError):
        steady_state(circuit)
    found = start_up(circuit)
    assert found.outcome is Outcome.SQUEGS
    assert found.bursts is not None
    assert found.bursts.depth > 0.8
    # integrated from a point before its first burst on
    swings = found.tank
    point = next(one for one in found.points if one.time > 4.3e-3)
    near, spectra = found.points[-1].frequency, point.states
    start = spectra[:, 0].real + 2.0 * spectra[:, 1:].sum(axis=1).real
    record = simulate(circuit, 5e-3, start=start, frequency=near, relative_tolerance=1e-9)
    measured = bursts_of(np.arange(len(cycle_swings(record, "tank"))) / near, cycle_swings(record, "tank"))
    assert measured is not None
    assert_allclose(found.bursts.period, measured.period, rtol=0.03)
    assert_allclose(found.bursts.highest, measured.highest, rtol=0.02)
    assert swings[len(swings) // 2 :].min() < 0.2 * swings.max()


@pytest.mark.slow
def test_two_modes_at_once_are_shown():
    normal = CIRCUITS["antenna branch"]
    circuit = replace(
        normal,
        antenna=AntennaLoad(12e-12, 35e-3, 100.0, 2e-12),
        bias=replace(normal.bias, emitter_resistor=100e3),
    )
    with pytest.raises(NotSteadyError, match="another mode grows as well"):
        steady_state(circuit)
    found = start_up(circuit)
    assert found.outcome is Outcome.TWO_TONES
    assert found.second_mode is not None
    # both tones as least squares find them in the record itself (scipy)
    late = slice(-200 * POINTS_PER_CYCLE, None)
    times, values = found.late.times[late], found.late.voltage("tank")[late]

    def rest(angular):
        columns = [np.ones_like(times), *(part(w * times) for w in angular for part in (np.cos, np.sin))]
        basis = np.stack(columns, axis=1)
        fit = np.linalg.lstsq(basis, values, rcond=None)[0]
        return values - basis @ fit, fit

    start = 2.0 * np.pi * np.array(found.tones.frequencies)
    angular = minimize(
        lambda part: np.sum(rest(start * (1.0 + 1e-3 * part))[0] ** 2), np.zeros(2), method="Nelder-Mead"
    )
    frequencies = start * (1.0 + 1e-3 * angular.x) / (2.0 * np.pi)
    fit = rest(2.0 * np.pi * frequencies)[1]
    assert_allclose(found.tones.frequencies, frequencies, rtol=2e-4)
    assert_allclose(found.tones.amplitudes, np.hypot(fit[1::2], fit[2::2]), rtol=0.03)
