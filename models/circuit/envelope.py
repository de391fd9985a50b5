"""The envelope of a start-up: the oscillation by harmonics that vary slowly, in steps of many cycles.

With a phase theta(t) of slowly varying angular frequency w = d theta/dt the states are
    x(t) = X_0(t) + 2 Re sum over k of X_k(t) exp(j k theta(t)), and the equations of the circuit become
    d/dt P_k + j k w P_k + G X_k + A I_k = S_k,   P_k = C X_k + A Q_k,   S_0 = s, S_k = 0 beyond,
with the matrices C, G and the ports A of the network and the spectra I_k, Q_k of the device's currents and charges as
in models.circuit.harmonic_balance. Nothing is neglected but harmonics beyond the last: every time constant of bias and
decoupling is in C and G. The phase condition Im V_1 = 0 at one port makes w an unknown of each step.
The derivative is taken by the backward differentiation formula of second order with varying steps (E. Hairer,
S. P. Norsett, G. Wanner, Solving Ordinary Differential Equations I, 1993, section III.5, from memory), the growth g
of the fundamental in the steps before taken out: P_k exp(-g t) is differenced for k >= 1, so that a swing that grows or
falls exponentially is followed exactly by steps of any length.
The first cycles, in which the supply steps up, are integrated in time (models.circuit.transient) and resolved into
harmonics and the other modes of the circuit by least squares.
Against integration in time (tests): starting time within 1 %, envelope within 1 % of its peak; where the swing rises
by half or more in each cycle, 3 % on the rise. Not for a bias that turns the transistor on within a fraction of a cycle
after the first cycles are over: that rings the tank, which slow harmonics cannot tell.
Method: time-varying Fourier coefficients, E. Ngoya and R. Larcheveque, IEEE MTT-S Digest (1996) 1365 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from scipy.linalg.lapack import dgetrf, dgetrs

from models.arrays import Complexes, Floats
from models.checks import finite
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable
from models.circuit.harmonic_balance import (
    NotConvergedError,
    balance,
    instants,
    port_jacobian,
    resized,
    stacked,
    unstacked,
    waveform,
)
from models.circuit.network import Network
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.resonance import natural_frequency, thermal_swing
from models.circuit.small_signal import small_signal
from models.circuit.start_threshold import characteristic_roots, leading_pair, mode_shape
from models.circuit.steady_state import NotSteadyError, SteadyState, finished
from models.circuit.transient import (
    CURRENT_SCALE,
    POINTS_PER_CYCLE,
    TransientRecord,
    crossings,
    cycle_swings,
    simulate,
)
from models.circuit.transistor import PortState

REACHED = 0.9
"""Share of the final swing that counts as started."""
FIRST_CYCLES = 14
"""Cycles integrated in time after switching on."""
MOST_PIECES = 5
"""They are integrated on at most so many times,"""
SLOW_RISE = 1.0
"""unless the emitter junction rises by less than so many thermal voltages a cycle, or conducts:"""
CONDUCTING = 0.45
"""V."""
WINDOW = 10
"""The last cycles of the first ones, from which the harmonics are read."""
FITTED = 6
"""Harmonics read from the first cycles."""
DEGREE = 3
"""Degree of the polynomial by which each of them changes in the window."""
RUNG_DOWN = 8.0
"""Natural logarithm of the fall in the window beyond which no fundamental can be read there."""
FEWEST_HARMONICS = 8
MOST_HARMONICS = 128
CUT_OFF = 1e-4
"""Harmonics are added while the last two hold more than this share of the collector junction's fundamental."""
TOLERANCE = 5e-4
"""Error of one step: of the fundamental, relative; of a mean voltage, of STEADY_SCALE."""
STEADY_SCALE = 0.1
LONGEST_RATIO = 2.0
"""A step is at most this many times the one before it (the formula is stable up to 1 + sqrt 2)."""
MOST_STEPS = 6000
DEEPEST_FALL = 5.0
"""Largest natural logarithm of a fall taken out of one step; more would leave nothing to tell a frequency by."""
NEWTON_STEPS = 12
NEWTON_STRIDE = 0.3
"""A Newton step is shortened to this: of STEADY_SCALE for the means, of the fundamental for the swings."""
SMALL = 1e-3
"""Peak of the tank's fundamental, V, below which the oscillation is small beside the thermal voltage."""
ROUNDING = 1e-11
"""The smallest swing, V, that is told from rounding."""
FOLLOWED = 240
"""Cycles integrated in time where the envelope is too fast, or no oscillation holds itself."""
FEWEST_KEPT = 10
"""Fewer points are dropped when the envelope breaks off: the run goes on from the first cycles."""
SHORTEST = 0.5
"""Cycles in the shortest step that the error may ask for: what changes faster is no envelope; such steps damp it."""
MOST_HURRIED = 60
"""So many shortest steps in a row may miss the tolerance."""


class Outcome(Enum):
    """What becomes of the oscillation."""

    SETTLES = "settles"
    SQUEGS = "squegs"
    DIES = "dies"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, eq=False)
class StartUp:
    """The start-up of one circuit from switching on, SI units.

    first: the first cycles, integrated in time. From there on at `times` (m,), s: peak-to-peak voltage of the tank and
    of the output (m,), V; frequency (m,), Hz, of the collector's fundamental; means (n, m), the mean of each state of
    `names`, V and A. started: the time, s, from which the tank swings by REACHED of its last (of a squegging one: its
    largest) peak-to-peak; None if it dies. state: the steady oscillation it settles into, else None.
    from_noise: whether the swing of switching on fell so low that the thermal noise of the tank is what grows; the
    starting time is then uncertain by a growth time or two.
    """

    outcome: Outcome
    first: TransientRecord
    times: Floats
    tank: Floats
    output: Floats
    frequency: Floats
    means: Floats
    names: tuple[str, ...]
    started: float | None
    state: SteadyState | None
    from_noise: bool


class TooFastError(ValueError):
    """The envelope changes within a cycle; only an integration in time can follow it."""


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """One instant: time, s; w, rad/s; port coefficients (p, K + 1), states X (n, K + 1), charges P (n, K + 1)."""

    time: float
    omega: float
    voltages: Complexes
    states: Complexes
    charges: Complexes

    def scaled(self, factor: float) -> _Point:
        """The same with every harmonic times `factor`, the means kept."""
        factors = np.full(self.voltages.shape[1], factor)
        factors[0] = 1.0
        return _Point(self.time, self.omega, self.voltages * factors, self.states * factors, self.charges * factors)

    def with_harmonics(self, harmonics: int) -> _Point:
        """The same cut off or filled with zeros."""
        parts = (resized(part, harmonics) for part in (self.voltages, self.states, self.charges))
        return _Point(self.time, self.omega, *parts)


class _March:
    """The march of one circuit through its start-up."""

    def __init__(self, circuit: Drawable, linear: Network, points: list[_Point]) -> None:
        self.circuit, self.linear, self.points = circuit, linear, points
        self.ports = circuit.drawing().laws()
        self.scale = np.array([CURRENT_SCALE if name in linear.coils else 1.0 for name in linear.names])
        self.tank = linear.unit(*circuit.drawing().tank)
        self.growth = _growth(points[-2], points[-1])
        self.solutions = 0

    def advance(self, step: float) -> tuple[_Point, float]:
        """Return the point one `step`, s, further, and its error in units of the tolerance."""
        last = self.points[-1]
        now, rate = last.time + step, max(self.growth, -DEEPEST_FALL / step)
        grown = [point.scaled(math.exp(min(50.0, rate * (now - point.time)))) for point in self.points[-3:]]
        first, second, third = (point.time for point in self.points[-3:])
        ratio = step / (third - second)
        lead, middle, back = (1.0 + 2.0 * ratio) / (1.0 + ratio), -(1.0 + ratio), ratio * ratio / (1.0 + ratio)
        drive = -(middle * grown[2].charges + back * grown[1].charges) / step
        drive[:, 0] += self.linear.source
        shift = np.full(drive.shape[1], lead / step + rate)
        shift[0] = lead / step
        weights = (
            (now - second) * (now - third) / ((first - second) * (first - third)),
            (now - first) * (now - third) / ((second - first) * (second - third)),
            (now - first) * (now - second) / ((third - first) * (third - second)),
        )
        guess = sum(weight * point.voltages for weight, point in zip(weights, grown, strict=True))
        states = sum(weight * point.states for weight, point in zip(weights, grown, strict=True))
        omega = last.omega + (last.omega - self.points[-2].omega) * ratio
        found = self._solve(now, np.asarray(guess), omega, shift, drive)
        # the error of the formula over that of the extrapolation by three points
        share = step * (now - second) / ((2.0 * step + third - second) * (now - first))
        means = np.abs(found.states[:, 0] - np.asarray(states)[:, 0]).real / self.scale
        junctions = np.abs(found.voltages[:, 0] - np.asarray(guess)[:, 0])
        swings = np.abs(found.voltages[:, 1] - np.asarray(guess)[:, 1]) / np.abs(found.voltages[:, 1])
        largest = max(float(means.max()) / STEADY_SCALE, float(junctions.max()) / STEADY_SCALE, float(swings.max()))
        return found, share * largest / TOLERANCE

    def _solve(self, now: float, guess: Complexes, omega: float, shift: Floats, drive: Complexes) -> _Point:
        """Return the solution of one implicit step by Newton's method, the Jacobian kept while it serves."""
        linear, count = self.linear, guess.shape[1]
        incidence, order = linear.ports, np.arange(count)
        sample = instants(count - 1)
        place = PHASE_PORT * (2 * count - 1) + count  # of Im V_1, which stays zero: there the frequency stands
        values, factors, before = guess.copy(), None, math.inf
        values[PHASE_PORT, 1] = values[PHASE_PORT, 1].real
        for _ in range(NEWTON_STEPS):
            self.solutions += 1
            device: PortState = self.ports.evaluate(waveform(values, sample))
            current = np.fft.rfft(device.currents, axis=-1)[:, :count] / sample
            charge = np.fft.rfft(device.charges, axis=-1)[:, :count] / sample
            rates = shift + 1j * omega * order
            inverse = np.linalg.inv(linear.conductance + rates[:, None, None] * linear.capacitance)
            states = np.matmul(inverse, (drive - incidence @ (current + rates * charge)).T[:, :, None])[:, :, 0].T
            charges = linear.capacitance @ states + incidence @ charge
            error = stacked(values - incidence.T @ states)
            if factors is None:
                backward = incidence.T @ inverse
                jacobian = port_jacobian(np.asarray(backward @ incidence, dtype=np.complex128), device, rates)
                turned = np.matmul(backward, (1j * order * charges).T[:, :, None])[:, :, 0].T
                jacobian[:, place] = omega * stacked(turned)
                lower, pivots, fault = dgetrf(jacobian)
                if fault != 0:
                    raise NotConvergedError("envelope: the equations of a step are singular")
                factors = lower, pivots
            change = -dgetrs(*factors, error)[0]
            detuned, change[place] = float(change[place]), 0.0
            moved = unstacked(change, len(values))
            size = np.abs(values[:, 1])
            length = max(
                float(np.max(np.abs(moved[:, 0]))) / STEADY_SCALE,
                float(np.max(np.abs(moved[:, 1:]) / np.maximum(size, ROUNDING)[:, None])),
                abs(detuned) * 100.0,
            )
            part = min(1.0, NEWTON_STRIDE / length) if length > 0.0 else 1.0
            values = values + part * moved
            omega *= 1.0 + part * detuned
            if length < 0.03 * TOLERANCE:
                return _Point(now, omega, values, states, charges)
            if length > 0.3 * before:
                factors = None
            before = length
        raise NotConvergedError("envelope: a step does not converge")


def start_up(circuit: Drawable, *, longest: float = 1.0, least_swing: float | None = None) -> StartUp:
    """Return the start-up of `circuit` from switching on, everything at 0 and the supply stepping up at t = 0.

    longest: the time, s, after which it is given up as undecided. least_swing: peak of the tank's fundamental, V, below
    which it does not fall; None is that of thermal noise (`thermal_swing`). Where the envelope changes within a cycle
    (it squegs in sharp bursts, wanders, or two modes sound at once) the rest is integrated in time for FOLLOWED cycles
    and read cycle by cycle. Raises ValueError for a least_swing within the rounding of the supply, and where an
    integration in time gives up.
    """
    floor = thermal_swing(circuit) if least_swing is None else finite("least_swing", least_swing)
    if floor < ROUNDING:
        raise ValueError(f"least_swing must be at least {ROUNDING:g} V, above rounding; got {floor:g}")
    linear = circuit.drawing().network()
    signal = small_signal(circuit)
    near = signal.critical_frequency or natural_frequency(circuit)
    ports = circuit.drawing().laws()
    first = _first_cycles(circuit, linear, ports, near)
    rest = signal.point.states if signal.growth_rate < 0.0 else None
    try:
        march = _March(circuit, linear, _resolved(first, linear, ports, near, floor))
    except TooFastError:
        return _followed(circuit, linear, first, [], near)
    kept, from_noise = [march.points[-1]], False
    try:
        outcome, state, from_noise = _marched(march, kept, floor, rest, longest, 1.0 / near)
    except TooFastError:
        return _followed(circuit, linear, first, kept if len(kept) >= FEWEST_KEPT else [], near)
    return _collected(circuit, linear, first, kept, outcome, state, from_noise)


def _first_cycles(circuit: Drawable, linear: Network, ports: DeviceLaw, near: float) -> TransientRecord:
    """Integrate the first cycles in time: on until the emitter junction conducts, where it comes up so quickly that its
    turning on, within a fraction of a cycle, rings the tank.
    """
    run = simulate(circuit, FIRST_CYCLES / near, frequency=near, relative_tolerance=1e-7)
    for _ in range(MOST_PIECES):
        junction = linear.ports[:, ports.control] @ run.states
        cycle = junction[-POINTS_PER_CYCLE:].mean(), junction[-2 * POINTS_PER_CYCLE : -POINTS_PER_CYCLE].mean()
        if not ports.exponential:
            break
        conducting = float(junction[-WINDOW * POINTS_PER_CYCLE :].min()) > CONDUCTING
        if conducting or (cycle[0] < CONDUCTING and cycle[0] - cycle[1] < SLOW_RISE * ports.thermal):
            break
        more = simulate(circuit, FIRST_CYCLES / near, start=run.states[:, -1], frequency=near, relative_tolerance=1e-7)
        times = np.concatenate([run.times, run.times[-1] + more.times[1:]])
        run = TransientRecord(times, np.concatenate([run.states, more.states[:, 1:]], axis=1), run.names, run.tank)
    return run


def _marched(
    march: _March, kept: list[_Point], floor: float, rest: Floats | None, longest: float, period: float
) -> tuple[Outcome, SteadyState | None, bool]:
    """March on until the outcome is known and add every point to `kept`; whether the floor was met.

    rest: the states at rest where that is stable. Raises TooFastError, `kept` filled up to there.
    """
    step, next_trial, from_noise, hurried = period, 0.0, False, 0
    for _ in range(MOST_STEPS):
        last = march.points[-1]
        if last.time >= longest:
            break
        step = min(step, LONGEST_RATIO * (last.time - march.points[-2].time))
        try:
            point, error = march.advance(step)
        except NotConvergedError:
            step *= 0.4
            if step < 0.02 * period:
                raise TooFastError("envelope: its equations are solved for no step") from None
            continue
        if error > 1.0 and step > SHORTEST * period:
            step = max(SHORTEST * period, step * max(0.3, 0.9 * error ** (-1.0 / 3.0)))
            continue
        hurried = hurried + 1 if error > 1.0 else 0
        if hurried > MOST_HURRIED:
            raise TooFastError("envelope: it changes within a cycle")
        march.growth = _growth(last, point)
        swing = 2.0 * float(abs(march.tank @ point.states[:, 1]))
        march.points = [*march.points[-2:], point]
        if swing < floor:
            from_noise = True
            march.points = [each.scaled(floor / swing) for each in march.points]
        march.points = _enough_harmonics(march.points)
        kept.append(march.points[-1])
        slow = abs(march.growth) * step < 1e-2 and step > 5.0 * period
        if slow and point.time > next_trial and swing > SMALL:
            next_trial = point.time + max(2.0 * step, 0.1 * point.time)
            state, unstable = _settled(march, point)
            if state is not None:
                return Outcome.SETTLES, state, from_noise
            if unstable:
                raise TooFastError("envelope: the steps would hold an oscillation from which disturbances lead away")
        supply = march.circuit.supply_voltage
        if rest is not None and swing < SMALL and march.growth < 0.0 and _at_rest(point, rest, supply):
            return Outcome.DIES, None, from_noise
        if len(kept) % 20 == 0 and _comes_in_bursts(_fundamentals(march, kept)):
            return Outcome.SQUEGS, None, from_noise
        step = max(SHORTEST * period, step * min(LONGEST_RATIO, 0.9 * max(error, 1e-3) ** (-1.0 / 3.0)))
    return Outcome.UNDECIDED, None, from_noise


def _followed(circuit: Drawable, linear: Network, first: TransientRecord, kept: list[_Point], near: float) -> StartUp:
    """Return the start-up whose envelope is too fast from the last point kept on: the rest is integrated in time."""
    if kept:
        spectra = kept[-1].states
        begin, states = kept[-1].time, spectra[:, 0].real + 2.0 * spectra[:, 1:].sum(axis=1).real
    else:
        begin, states = float(first.times[-1]), first.states[:, -1]
    run = simulate(circuit, FOLLOWED / near, start=states, frequency=near, relative_tolerance=1e-6)
    tank, output = cycle_swings(run, "tank"), cycle_swings(run, _output(circuit))
    count = len(tank)
    cycles = run.states[:, : count * POINTS_PER_CYCLE].reshape(len(run.names), count, POINTS_PER_CYCLE)
    middles = begin + (np.arange(count) + 0.5) * POINTS_PER_CYCLE * run.times[1]
    values = run.voltage("tank")
    instants_up = begin + crossings(run.times, values, float(values.mean()))
    if len(instants_up) < 2:
        frequency = np.full(count, near)
    else:
        between = 0.5 * (instants_up[1:] + instants_up[:-1])
        frequency = np.interp(middles, between, 1.0 / np.diff(instants_up))
    before = _collected(circuit, linear, first, kept, Outcome.UNDECIDED, None, False) if kept else None
    bursts = _comes_in_bursts(tank[count // 4 :])
    joined = StartUp(
        outcome=Outcome.SQUEGS if bursts else Outcome.UNDECIDED,
        first=first,
        times=middles,
        tank=tank,
        output=output,
        frequency=frequency,
        means=cycles.mean(axis=2),
        names=linear.names,
        started=None,
        state=None,
        from_noise=False,
    )
    if before is not None:
        joined = replace(
            joined,
            times=np.concatenate([before.times, joined.times]),
            tank=np.concatenate([before.tank, joined.tank]),
            output=np.concatenate([before.output, joined.output]),
            frequency=np.concatenate([before.frequency, joined.frequency]),
            means=np.concatenate([before.means, joined.means], axis=1),
        )
    return replace(joined, started=_reached(joined.times, joined.tank, REACHED * float(joined.tank.max())))


def _growth(before: _Point, after: _Point) -> float:
    """Return the growth rate, 1/s, of the fundamental at the phase port between two points."""
    ratio = abs(after.voltages[PHASE_PORT, 1]) / abs(before.voltages[PHASE_PORT, 1])
    return math.log(max(ratio, 1e-12)) / (after.time - before.time)


def _enough_harmonics(points: list[_Point]) -> list[_Point]:
    """Return the points with more harmonics where the last two of the newest are not small, with fewer if they can."""
    voltages = points[-1].voltages
    harmonics = voltages.shape[1] - 1
    size = abs(voltages[PHASE_PORT, 1])
    if float(np.max(np.abs(voltages[:, -2:]))) > CUT_OFF * size and 2 * harmonics <= MOST_HARMONICS:
        return [point.with_harmonics(2 * harmonics) for point in points]
    half = harmonics // 2
    if half >= FEWEST_HARMONICS and float(np.max(np.abs(voltages[:, half - 1 :]))) < 0.03 * CUT_OFF * size:
        return [point.with_harmonics(half) for point in points]
    return points


def _settled(march: _March, point: _Point) -> tuple[SteadyState | None, bool]:
    """Return the steady state if the march has all but reached it; whether there is one from which it is led away."""
    linear, ports, voltages, omega = march.linear, march.ports, point.voltages, point.omega
    try:
        orbit = balance(linear, ports, voltages, omega, phase_port=PHASE_PORT, iterations=12)
    except NotConvergedError:
        return None, False
    moved = np.abs(orbit.coefficients[:, 1] - voltages[:, 1]) / np.abs(orbit.coefficients[:, 1])
    means = np.abs(orbit.coefficients[:, 0] - voltages[:, 0])
    detuned = abs(orbit.angular_frequency / omega - 1.0)
    if float(moved.max()) > 1e-3 or float(means.max()) > 1e-3 or detuned > 2e-6:
        return None, False
    try:
        return finished(march.circuit, linear, ports, orbit, "start-up followed"), False
    except NotSteadyError:
        return None, True


def _at_rest(point: _Point, rest: Floats, supply: float) -> bool:
    return bool(np.max(np.abs(point.states[:, 0].real - rest)) < 1e-4 * supply)


def _fundamentals(march: _March, kept: list[_Point]) -> Floats:
    return np.array([abs(march.tank @ each.states[:, 1]) for each in kept])


def _output(circuit: Drawable) -> str:
    return circuit.drawing().output


def _comes_in_bursts(swings: Floats) -> bool:
    """Tell whether the swing has risen and fallen at least four times, in the later half no less deeply."""
    inner = swings[1:-1]
    peaks = np.flatnonzero((inner > swings[:-2]) & (inner >= swings[2:])) + 1
    depths = [1.0 - swings[a:b].min() / swings[a] for a, b in zip(peaks[:-1], peaks[1:], strict=True)]
    deep = [depth for depth in depths if depth > 0.05]
    half = len(deep) // 2
    return half >= 2 and sum(deep[-half:]) > 0.8 * sum(deep[:half])


def _collected(
    circuit: Drawable,
    linear: Network,
    first: TransientRecord,
    kept: list[_Point],
    outcome: Outcome,
    state: SteadyState | None,
    from_noise: bool,
) -> StartUp:
    rows = np.stack([linear.unit(*circuit.drawing().tank), linear.unit(_output(circuit))])
    swings = np.empty((2, len(kept)))
    for place, point in enumerate(kept):
        coefficients = rows @ point.states
        coefficients[:, 0] = 0.0
        swings[:, place] = np.ptp(waveform(coefficients, max(256, 8 * point.voltages.shape[1])), axis=1)
    times = np.array([point.time for point in kept])
    goal = REACHED * (float(swings[0].max()) if state is None else state.peak_to_peak("tank"))
    started = None if outcome is Outcome.DIES else _reached(times, swings[0], goal)
    return StartUp(
        outcome=outcome,
        first=first,
        times=times,
        tank=swings[0],
        output=swings[1],
        frequency=np.array([point.omega for point in kept]) / (2.0 * math.pi),
        means=np.stack([point.states[:, 0].real for point in kept], axis=1),
        names=linear.names,
        started=started,
        state=state,
        from_noise=from_noise,
    )


def _reached(times: Floats, swings: Floats, goal: float) -> float | None:
    """Return when the swing first rises through `goal` after it was lowest, the logarithm between two points linear."""
    quiet = int(np.argmin(swings))
    above = np.flatnonzero(swings[quiet:] >= goal)
    if above.size == 0:
        return None
    place = quiet + int(above[0])
    if place == 0:
        return float(times[0])
    low, high = np.log(swings[place - 1 : place + 1])
    return float(times[place - 1] + (math.log(goal) - low) / (high - low) * (times[place] - times[place - 1]))


def _resolved(first: TransientRecord, linear: Network, ports: DeviceLaw, near: float, floor: float) -> list[_Point]:
    """Return three points one cycle apart around the middle of the window of the first cycles.

    Each state is a sum of polynomials of degree DEGREE times exp(j k w t), and of the circuit's other modes. Where
    the fundamental has rung down by RUNG_DOWN in the window, what looks like it is left of the rising means: it then
    begins at the floor, peak V of the tank, in the shape of its mode.
    """
    late = first.times >= first.times[-1] - WINDOW / near
    times, states = first.times[late], first.states[:, late]
    device = ports.evaluate(linear.ports.T @ states.mean(axis=1))
    capacitance = linear.capacitance + linear.ports @ device.capacitances[:, :, 0] @ linear.ports.T
    conductance = linear.conductance + linear.ports @ device.conductances[:, :, 0] @ linear.ports.T
    roots = characteristic_roots(capacitance, conductance)
    carrier = leading_pair(roots, near)
    if carrier is None:
        raise TooFastError("envelope: the circuit has no mode that rings while the supply rises")
    omega, middle = carrier.imag, 0.5 * (times[0] + times[-1])
    half = 0.5 * (times[-1] - times[0])
    since = times - middle
    powers = (since / half) ** np.arange(DEGREE + 1)[:, None]
    columns = [*powers]
    for order in range(1, FITTED + 1):
        columns += [
            part * powers[n]
            for part in (np.cos(order * omega * since), np.sin(order * omega * since))
            for n in range(DEGREE + 1)
        ]
    for root in roots:
        if root.imag > 0.0 and root != carrier:
            other = np.exp((root.real + 1j * root.imag) * since)
            columns += [other.real, other.imag]
    solution = np.linalg.lstsq(np.stack(columns, axis=1), states.T, rcond=None)[0][: (DEGREE + 1) * (2 * FITTED + 1)]
    parts = solution.reshape(2 * FITTED + 1, DEGREE + 1, -1)  # constant, cos 1, sin 1, cos 2, ...
    series = np.concatenate([parts[:1].astype(np.complex128), 0.5 * (parts[1::2] - 1j * parts[2::2])])
    if carrier.real * (times[-1] - times[0]) < -RUNG_DOWN:
        shape = mode_shape(capacitance, conductance, carrier)
        series[1:] = 0.0
        series[1, 0] = 0.5 * floor * shape / abs(linear.unit(*first.tank) @ shape)
    points = []
    for offset in (-1.0 / near, 0.0, 1.0 / near):
        place = offset / half
        value = np.einsum("kdn,d->nk", series, place ** np.arange(DEGREE + 1))
        slope = np.einsum("kdn,d->nk", series[:, 1:], np.arange(1, DEGREE + 1) * place ** np.arange(DEGREE)) / half
        lead, rising = linear.ports[:, PHASE_PORT] @ value[:, 1], linear.ports[:, PHASE_PORT] @ slope[:, 1]
        turned = value * np.exp(-1j * np.angle(-lead) * np.arange(FITTED + 1))
        turned = resized(turned, FEWEST_HARMONICS)
        voltages: Complexes = linear.ports.T @ turned
        sample = instants(FEWEST_HARMONICS)
        charge = np.fft.rfft(ports.evaluate(waveform(voltages, sample)).charges, axis=-1)[:, : FEWEST_HARMONICS + 1]
        charges = linear.capacitance @ turned + linear.ports @ charge / sample
        speed = omega + float((rising / lead).imag)
        points.append(_Point(middle + offset, speed, voltages, turned, charges))
    return points
