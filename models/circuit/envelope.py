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
by half or more in each cycle, 3 % on the rise. The frequency, once started, within 5 ppm where both are read over the
same windows of time; where it still falls by 1500 ppm in each cycle as the oscillation sets in (a tank of low Q) 40
ppm, 18 with steps of a tenth of TOLERANCE. Not for a bias that turns the transistor on within a fraction of a cycle
after the first cycles are over: that rings the tank, which slow harmonics cannot tell.
Method: time-varying Fourier coefficients, E. Ngoya and R. Larcheveque, IEEE MTT-S Digest (1996) 1365 (from memory).
"""

from __future__ import annotations

import math
from enum import Enum

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.drawing import Drawable
from models.circuit.harmonic_balance import (
    Factored,
    NotConvergedError,
    balance,
    instants,
    port_jacobian,
    resized,
    stacked,
    unstacked,
    waveform,
)
from models.circuit.irregular import bursts_of
from models.circuit.network import Network
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.steady_state import NotSteadyError, SteadyState, finished
from models.circuit.switch_on import LINEAR
from models.circuit.transient import CURRENT_SCALE
from models.circuit.transistor import PortState
from models.circuit.work import spend
from models.quick_dataclass import dataclass

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
SOLUTION_WORK, INSTANT_WORK = 8e3, 20.0
"""Work of one of its steps beside that of its Jacobian, and of each of its instants (measured)."""
NEWTON_STRIDE = 0.3
"""A Newton step is shortened to this: of STEADY_SCALE for the means, of the fundamental for the swings."""
ROUNDING = 1e-11
"""The smallest swing, V, that is told from rounding."""
SHORTEST = 0.5
"""Cycles in the shortest step that the error may ask for: what changes faster is no envelope; such steps damp it."""
NEAR_ITS_END = 3e-3
"""Newton's first step to a steady oscillation, in units of its size, beyond which the march has not come to it yet."""
MOST_HURRIED = 60
"""So many shortest steps in a row may miss the tolerance."""


class Outcome(Enum):
    """What becomes of an oscillation.

    SQUEGS: it comes in periodic bursts. PATTERN: it repeats only after several unlike cycles. WANDERS: no period found.
    """

    SETTLES = "settles"
    SQUEGS = "squegs"
    TWO_TONES = "two tones"
    PATTERN = "pattern"
    WANDERS = "wanders"
    DIES = "dies"
    UNDECIDED = "undecided"


class TooFastError(ValueError):
    """The envelope changes within a cycle, or no oscillation holds itself; only an integration in time can follow it.

    orbit: whether there is an oscillation, away from which disturbances lead.
    """

    def __init__(self, text: str, orbit: bool = False) -> None:
        super().__init__(text)
        self.orbit = orbit


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """One instant: time, s; w, rad/s; port coefficients (p, K + 1), states X (n, K + 1), charges P (n, K + 1)."""

    time: float
    omega: float
    voltages: Complexes
    states: Complexes
    charges: Complexes

    @property
    def frequency(self) -> float:
        """Frequency, Hz."""
        return self.omega / (2.0 * math.pi)

    def scaled(self, factor: float) -> Point:
        """The same with every harmonic times `factor`, the means kept."""
        factors = np.full(self.voltages.shape[1], factor)
        factors[0] = 1.0
        return Point(self.time, self.omega, self.voltages * factors, self.states * factors, self.charges * factors)

    def with_harmonics(self, harmonics: int) -> Point:
        """The same cut off or filled with zeros."""
        parts = (resized(part, harmonics) for part in (self.voltages, self.states, self.charges))
        return Point(self.time, self.omega, *parts)


class March:
    """The march of one circuit through its start-up."""

    def __init__(self, circuit: Drawable, linear: Network, points: list[Point]) -> None:
        self.circuit, self.linear, self.points = circuit, linear, points
        self.ports = circuit.drawing().laws()
        self.scale = np.array([CURRENT_SCALE if name in linear.coils else 1.0 for name in linear.names])
        self.tank = linear.unit(*circuit.drawing().tank)
        self.growth = growth_between(points[-2], points[-1])
        self.solutions = 0

    def advance(self, step: float) -> tuple[Point, float]:
        """Return the point one `step`, s, further, and its error in units of the tolerance."""
        last = self.points[-1]
        now, rate = last.time + step, max(self.growth, -DEEPEST_FALL / step)
        points = self.points[-3:]
        times = np.array([point.time for point in points])
        first, second, third = times.tolist()
        grown = np.exp(np.minimum(50.0, np.outer(rate * (now - times), np.arange(last.voltages.shape[1]) > 0)))
        ratio = step / (third - second)
        lead, middle, back = (1.0 + 2.0 * ratio) / (1.0 + ratio), -(1.0 + ratio), ratio * ratio / (1.0 + ratio)
        drive = points[2].charges * (-middle / step * grown[2]) + points[1].charges * (-back / step * grown[1])
        drive[:, 0] += self.linear.source
        shift = np.full(drive.shape[1], lead / step + rate)
        shift[0] = lead / step
        weights = (
            (now - second) * (now - third) / ((first - second) * (first - third)),
            (now - first) * (now - third) / ((second - first) * (second - third)),
            (now - first) * (now - second) / ((third - first) * (third - second)),
        )
        guess = sum(point.voltages * row for row, point in zip(np.array(weights)[:, None] * grown, points, strict=True))
        means = sum(weight * point.states[:, 0].real for weight, point in zip(weights, points, strict=True))
        omega = last.omega + (last.omega - self.points[-2].omega) * ratio
        found = self._solve(now, np.asarray(guess), omega, shift, drive)
        # the error of the formula over that of the extrapolation by three points
        share = step * (now - second) / ((2.0 * step + third - second) * (now - first))
        means = np.abs(found.states[:, 0].real - means) / self.scale
        junctions = np.abs(found.voltages[:, 0] - np.asarray(guess)[:, 0])
        swings = np.abs(found.voltages[:, 1] - np.asarray(guess)[:, 1]) / np.abs(found.voltages[:, 1])
        largest = max(float(means.max()) / STEADY_SCALE, float(junctions.max()) / STEADY_SCALE, float(swings.max()))
        return found, share * largest / TOLERANCE

    def _solve(self, now: float, guess: Complexes, omega: float, shift: Floats, drive: Complexes) -> Point:
        """Return the solution of one implicit step by Newton's method, the Jacobian kept while it serves."""
        linear, count = self.linear, guess.shape[1]
        incidence, order = linear.ports, np.arange(count)
        sample, by_order = instants(count - 1), 1j * order
        still = linear.conductance + shift[:, None, None] * linear.capacitance
        turning = by_order[:, None, None] * linear.capacitance
        place = PHASE_PORT * (2 * count - 1) + count  # of Im V_1, which stays zero: there the frequency stands
        newton: Factored | None = None
        values, before = guess.copy(), math.inf
        values[PHASE_PORT, 1] = values[PHASE_PORT, 1].real
        for _ in range(NEWTON_STEPS):
            self.solutions += 1
            spend(SOLUTION_WORK + INSTANT_WORK * sample)
            device: PortState = self.ports.evaluate(waveform(values, sample))
            current, charge = np.fft.rfft(np.stack((device.currents, device.charges)))[..., :count] / sample
            rates = shift + omega * by_order
            around = still + omega * turning
            pushed = (drive - incidence @ (current + rates * charge)).T[:, :, None]
            if newton is None:
                inverse = np.linalg.inv(around)
                states = np.matmul(inverse, pushed)[:, :, 0].T
            else:
                states = np.linalg.solve(around, pushed)[:, :, 0].T
            charges = linear.capacitance @ states + incidence @ charge
            error = stacked(values - incidence.T @ states)
            if newton is None:
                backward = incidence.T @ inverse
                jacobian = port_jacobian(np.asarray(backward @ incidence, dtype=np.complex128), device, rates)
                turned = np.matmul(backward, (by_order * charges).T[:, :, None])[:, :, 0].T
                jacobian[:, place] = omega * stacked(turned)
                try:
                    newton = Factored(jacobian)
                except np.linalg.LinAlgError:
                    raise NotConvergedError("envelope: the equations of a step are singular") from None
            change = -newton.solve(error)
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
                return Point(now, omega, values, states, charges)
            if length > 0.3 * before:
                newton = None
            before = length
        raise NotConvergedError("envelope: a step does not converge")


def marched(
    march: March, kept: list[Point], floor: float, rest: Floats | None, longest: float, period: float
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
        march.growth = growth_between(last, point)
        swing = 2.0 * float(abs(march.tank @ point.states[:, 1]))
        march.points = [*march.points[-2:], point]
        if swing < floor:
            from_noise = True
            march.points = [each.scaled(floor / swing) for each in march.points]
        march.points = enough_harmonics(march.points)
        kept.append(march.points[-1])
        slow = abs(march.growth) * step < 1e-2 and step > 5.0 * period
        if slow and point.time > next_trial and swing > LINEAR:
            next_trial = point.time + max(2.0 * step, 0.1 * point.time)
            state, unstable = settled(march, point)
            if state is not None:
                return Outcome.SETTLES, state, from_noise
            if unstable:
                raise TooFastError(
                    "envelope: the steps would hold an oscillation from which disturbances lead away", True
                )
        supply = march.circuit.supply_voltage
        if rest is not None and swing < LINEAR and march.growth < 0.0 and _at_rest(point, rest, supply):
            return Outcome.DIES, None, from_noise
        if len(kept) % 20 == 0:
            late = kept[len(kept) // 2 :]
            swings = np.array([2.0 * abs(march.tank @ each.states[:, 1]) for each in late])
            bursts = bursts_of(np.array([each.time for each in late]), swings) if swings.max() > LINEAR else None
            if bursts is not None and bursts.periodic:
                return Outcome.SQUEGS, None, from_noise
            if bursts is not None and bursts.irregular:
                return Outcome.WANDERS, None, from_noise
        step = max(SHORTEST * period, step * min(LONGEST_RATIO, 0.9 * max(error, 1e-3) ** (-1.0 / 3.0)))
    return Outcome.UNDECIDED, None, from_noise


def growth_between(before: Point, after: Point) -> float:
    """Return the growth rate, 1/s, of the fundamental at the phase port between two points."""
    ratio = abs(after.voltages[PHASE_PORT, 1]) / abs(before.voltages[PHASE_PORT, 1])
    return math.log(max(ratio, 1e-12)) / (after.time - before.time)


def enough_harmonics(points: list[Point]) -> list[Point]:
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


def settled(march: March, point: Point) -> tuple[SteadyState | None, bool]:
    """Return the steady state if the march has all but reached it; whether there is one from which it is led away."""
    linear, ports, voltages, omega = march.linear, march.ports, point.voltages, point.omega
    try:
        orbit = balance(linear, ports, voltages, omega, phase_port=PHASE_PORT, iterations=12, farthest=NEAR_ITS_END)
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


def _at_rest(point: Point, rest: Floats, supply: float) -> bool:
    return bool(np.max(np.abs(point.states[:, 0].real - rest)) < 1e-4 * supply)
