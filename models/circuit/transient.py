"""The oscillator integrated in time from switch-on: the independent check of harmonic balance, and the virtual scope.

The same equations of the parts, solved another way: C(x) dx/dt = s - G x - A i(A^T x), where C(x) holds the linear
capacitances and inductances and the slopes of the junction charges; x are node voltages and inductor currents. The
supply is off (all states zero) and steps to its voltage at t = 0. Integrator: LSODA (scipy), which switches between
Adams and stiff backward-differentiation formulas.
The equations hold no noise. Where the ringing of the step has died away before the oscillation can grow, the tank gets
its thermal swing once, at the moment from which it grows; else it would grow from the error of the integrator.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from models.arrays import Floats
from models.checks import finite, non_negative, positive
from models.circuit.devices import Devices
from models.circuit.drawing import Drawable, drawn
from models.circuit.network import GROUND, Network
from models.circuit.resonance import natural_frequency
from models.circuit.small_signal import small_signal
from models.circuit.steady_state import SteadyState
from models.circuit.switch_on import rising_bias, thermal_kick, thermal_swing
from models.circuit.work import spend
from models.quick_dataclass import dataclass

POINTS_PER_CYCLE = 64
SLOPE_WORK = 700.0
"""Work of one slope of all states, in elements of a Jacobian of harmonic balance made and eliminated (measured; of one
transistor it is a good third of that).
"""
ABSOLUTE_TOLERANCE = 1e-9
"""V; currents of inductors are scaled by CURRENT_SCALE."""
CURRENT_SCALE = 1e-3
MOST_STEPS = 100_000
"""Between two points of the record."""


@dataclass(frozen=True, slots=True, eq=False)
class TransientRecord:
    """A run: times (m,), s, equally spaced, and states (n, m), V and A, of the nodes `names`; tank: its two nodes."""

    times: Floats
    states: Floats
    names: tuple[str, ...]
    tank: tuple[str, str]

    def voltage(self, name: str) -> Floats:
        """Return one state against time, or "tank": its hot end over its cold end."""
        if name == "tank":
            return self.voltage(self.tank[0]) - self.voltage(self.tank[1])
        if name == GROUND:
            return np.zeros_like(self.times)
        state: Floats = self.states[self.names.index(name)]
        return state

    def followed_by(self, after: TransientRecord) -> TransientRecord:
        """Return this run and then `after`, which begins at the instant at which this one ends."""
        times = np.concatenate([self.times, after.times[1:]])
        return TransientRecord(times, np.concatenate([self.states, after.states[:, 1:]], axis=1), self.names, self.tank)


@dataclass(frozen=True, slots=True)
class Measurement:
    """Readings on the settled tail of a record.

    frequency Hz; amplitude: peak fundamental of the tank voltage, V; peak_to_peak of the hot end of the tank, V;
    startup_time: s from the start of the record until the swing first reaches 90 % of its final value; frequency_drift:
    relative change of frequency and amplitude_drift of amplitude between the two halves of the tail.
    """

    frequency: float
    amplitude: float
    peak_to_peak: float
    startup_time: float
    frequency_drift: float
    amplitude_drift: float


def state_derivative(linear: Network, ports: Devices) -> Callable[[float, Floats], Floats]:
    """Return the function (t, x) -> dx/dt. The junction capacitances enter by the Woodbury identity (p x p)."""
    if len(ports.knees) != 2:
        return _derivative_of_any(linear, ports)
    # a constant part of the junction capacitances joins the linear ones, so that every node holds charge
    held = junction_floor(ports)
    inverse = np.linalg.inv(linear.capacitance + linear.ports @ np.diag(held) @ linear.ports.T)
    entry = inverse @ linear.ports  # (n, 2)
    (e00, e01), (e10, e11) = (linear.ports.T @ entry).tolist()
    free_rate, push = -inverse @ linear.conductance, inverse @ linear.source
    # one product gives the port voltages, their rate and the rate of all states without the device
    sense = linear.ports.T
    stacked = np.concatenate([sense, sense @ free_rate, free_rate])
    offset = np.concatenate([np.zeros(2), sense @ push, push])
    evaluate, (h0, h1) = ports.at_instant, held.tolist()

    def derivative(_: float, states: Floats) -> Floats:
        spend(SLOPE_WORK)
        known = stacked @ states + offset
        v0, v1, r0, r1 = known[:4].tolist()
        (i0, i1), (c0, c1) = evaluate((v0, v1))
        c0, c1 = c0 - h0, c1 - h1
        # the port voltages move by u = r - E (i + c u): solve (1 + E c) u = r - E i
        r0, r1 = r0 - e00 * i0 - e01 * i1, r1 - e10 * i0 - e11 * i1
        m00, m01, m10, m11 = 1.0 + e00 * c0, e01 * c1, e10 * c0, 1.0 + e11 * c1
        determinant = m00 * m11 - m01 * m10
        u0, u1 = (m11 * r0 - m01 * r1) / determinant, (m00 * r1 - m10 * r0) / determinant
        result: Floats = known[4:] - entry @ np.array((i0 + c0 * u0, i1 + c1 * u1))
        return result

    return derivative


def _derivative_of_any(linear: Network, ports: Devices) -> Callable[[float, Floats], Floats]:
    """As `state_derivative`, for any number of ports."""
    held = junction_floor(ports)
    inverse = np.linalg.inv(linear.capacitance + linear.ports @ np.diag(held) @ linear.ports.T)
    entry = inverse @ linear.ports
    seen, count = linear.ports.T @ entry, len(held)
    free_rate, push = -inverse @ linear.conductance, inverse @ linear.source
    sense = linear.ports.T
    stacked = np.concatenate([sense, sense @ free_rate, free_rate])
    offset = np.concatenate([np.zeros(count), sense @ push, push])
    identity = np.eye(count)

    def derivative(_: float, states: Floats) -> Floats:
        spend(SLOPE_WORK)
        known = stacked @ states + offset
        current, junction = (np.array(part) for part in ports.at_instant(known[:count].tolist()))
        more = junction - held
        moved = np.linalg.solve(identity + seen * more, known[count : 2 * count] - seen @ current)
        return np.asarray(known[2 * count :] - entry @ (current + more * moved))

    return derivative


def junction_floor(ports: Devices) -> Floats:
    """Return a constant share of the port capacitances (p,), F: those at 10 V reverse (any other would do)."""
    floor: Floats = ports.currents_and_capacitances(np.full(len(ports.knees), -10.0))[1][:, 0]
    return floor


def simulate(
    circuit: Drawable,
    duration: float,
    *,
    start: SteadyState | Floats | None = None,
    disturbance: float = 0.0,
    keep_from: float = 0.0,
    frequency: float | None = None,
    relative_tolerance: float = 1e-8,
    thermal: bool = True,
    progress: Callable[[float], None] = lambda share: None,
) -> TransientRecord:
    """Integrate `circuit` for `duration`, s.

    start None: from switch-on, everything at 0, and with `thermal` the tank's thermal swing where the oscillation
    begins to grow (models.circuit.switch_on), if the tank swings by less there. A SteadyState: its states at t = 0, the
    alternating part enlarged by the relative `disturbance`, so that the run has to find its own way back. An array
    (n,): these states.
    keep_from: earliest time kept, s. frequency: sets the spacing of the record (POINTS_PER_CYCLE; default from
    inductance and capacitance). progress: hears the share of the duration that is integrated. Raises ValueError when
    the integrator gives up.
    """
    duration = positive("duration", duration)
    non_negative("keep_from", keep_from)
    finite("disturbance", disturbance)
    positive("relative_tolerance", relative_tolerance)
    drawing, linear, ports = drawn(circuit)
    derivative = state_derivative(linear, ports)
    if frequency is None:
        frequency = natural_frequency(circuit)
    first = _start(start, len(linear.names), disturbance)
    spacing = 1.0 / (POINTS_PER_CYCLE * positive("frequency", frequency))
    count = math.floor((duration - keep_from) / spacing)
    if count < 2:
        raise ValueError(f"duration {duration:g} s leaves nothing to keep after {keep_from:g} s")
    times: Floats = keep_from + spacing * np.arange(count + 1, dtype=np.float64)
    scale = np.array([CURRENT_SCALE if name in linear.coils else 1.0 for name in linear.names])
    absolute = ABSOLUTE_TOLERANCE * scale

    from scipy.integrate import odeint  # heavy, and seldom needed

    def told(time: float, states: Floats) -> Floats:
        progress(time / duration)
        return derivative(time, states)

    def integrated(begin: float, states: Floats, until: Floats) -> Floats:
        later = until[until > begin]
        found, facts = odeint(
            told,
            states,
            np.concatenate([[begin], later]),
            tfirst=True,
            rtol=relative_tolerance,
            atol=absolute,
            hmax=0.1 / frequency,
            mxstep=MOST_STEPS,
            full_output=True,
        )
        if facts["message"] != "Integration successful." or not np.isfinite(found).all():
            raise ValueError(f"transient: the integrator stopped: {facts['message']}")
        return np.asarray(found[later.size - until.size + 1 :].T)

    kick = thermal_kick(circuit, duration) if start is None and thermal else None
    if kick is None or kick[0] <= 2.0 / frequency:
        return TransientRecord(times, integrated(0.0, first, times), linear.names, drawing.tank)
    opening, swing = kick
    last_cycles: Floats = opening - spacing * np.arange(2 * POINTS_PER_CYCLE, -1, -1, dtype=np.float64)
    early, late = times[times <= opening], times[times > opening]
    until = np.union1d(early, last_cycles)
    before = integrated(0.0, first, until)
    record = TransientRecord(last_cycles, before[:, np.searchsorted(until, last_cycles)], linear.names, drawing.tank)
    quiet = float(cycle_swings(record, "tank")[-1]) < 2.0 * thermal_swing(circuit)
    begin = record.states[:, -1] + (swing if quiet else 0.0)
    after = integrated(opening, begin, late) if late.size else before[:, :0]
    states = np.concatenate([before[:, np.searchsorted(until, early)], after], axis=1)
    return TransientRecord(times, states, linear.names, drawing.tank)


def run_length(expected: SteadyState, cycles: int = 60) -> float:
    """Return a duration, s, from switch-on that lets the tank come up from its thermal swing while the bias sets
    (models.circuit.switch_on) and then the slowest disturbance of `expected` fall to exp(-8), and leaves `cycles` to
    read. An estimate: `measure` checks it. Raises ValueError where it does not grow from rest.
    """
    circuit = expected.circuit
    if small_signal(circuit).growth_rate <= 0.0:
        raise ValueError("run_length: the oscillation does not grow from rest; see models.circuit.start_up")
    growth_times = math.log(float(expected.harmonic_amplitudes("tank")[0]) / thermal_swing(circuit))
    grown = rising_bias(circuit).gathers(growth_times)
    return grown + 8.0 * expected.settling_time + cycles / expected.frequency


def _start(start: SteadyState | Floats | None, size: int, disturbance: float) -> Floats:
    if start is None:
        return np.zeros(size)
    if isinstance(start, SteadyState):
        if start.spectra.shape[0] != size:
            raise ValueError("transient: the steady state given as start belongs to a circuit with other parts")
        alternating: Floats = 2.0 * start.spectra[:, 1:].sum(axis=1).real
        rest: Floats = start.spectra[:, 0].real + (1.0 + disturbance) * alternating
        return rest
    return np.asarray(start, dtype=np.float64)


def crossings(times: Floats, values: Floats, level: float) -> Floats:
    """Return the instants, s, at which `values` rise through `level`, by the cubic through four samples (Newton)."""
    above = values - level
    rising = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
    rising = rising[(rising >= 1) & (rising + 2 < len(above))]
    a, b, c, d = (above[rising + shift] for shift in (-1, 0, 1, 2))
    # Lagrange cubic on the nodes -1, 0, 1, 2 as a polynomial in u (0 at the sample before the crossing)
    second, third = 0.5 * (a + c) - b, (d - a + 3.0 * (b - c)) / 6.0
    linear = c - b - second - third
    u = -b / (c - b)
    for _ in range(6):
        u = u - (b + u * (linear + u * (second + u * third))) / (linear + u * (2.0 * second + 3.0 * u * third))
    found: Floats = times[rising] + u * (times[1] - times[0])
    return found


def cycle_swings(record: TransientRecord, name: str) -> Floats:
    """Return the peak-to-peak of every cycle of a state (or "tank"), V, less what it drifts from its beginning to its
    end.
    """
    values = record.voltage(name)
    count = (values.size - 1) // POINTS_PER_CYCLE
    cycles = values[: count * POINTS_PER_CYCLE].reshape(count, POINTS_PER_CYCLE)
    drift = np.diff(values[: count * POINTS_PER_CYCLE + 1 : POINTS_PER_CYCLE])
    ramp = np.arange(POINTS_PER_CYCLE) / POINTS_PER_CYCLE
    return np.asarray(np.ptp(cycles - drift[:, None] * ramp, axis=1))


def _period_and_amplitude(times: Floats, values: Floats) -> tuple[float, float]:
    """Return the mean period, s (least squares through all crossings), and the fundamental's peak, V."""
    instants = crossings(times, values, float(values.mean()))
    if len(instants) < 4:
        raise ValueError("transient: fewer than four cycles: it does not oscillate, or the run is too short")
    period, _ = np.polynomial.polynomial.polyfit(np.arange(len(instants)), instants - instants[0], 1)[::-1]
    inside = (times >= instants[0]) & (times <= instants[-1])
    phase = 2.0 * np.pi * (times[inside] - instants[0]) / period
    basis = np.stack([np.ones_like(phase), *(part(n * phase) for n in (1, 2, 3) for part in (np.cos, np.sin))])
    fitted = np.linalg.lstsq(basis.T, values[inside], rcond=None)[0]
    return float(period), float(np.hypot(fitted[1], fitted[2]))


def measure(record: TransientRecord, cycles: int = 60, allowed_drift: float | None = 5e-6) -> Measurement:
    """Read frequency, amplitude and start-up time off a record, on its last `cycles` cycles.

    allowed_drift: largest relative difference of frequency between the halves of the tail (None: any). Raises
    ValueError when there is no oscillation, or when it has not settled.
    """
    tank = record.voltage("tank")
    span = record.times[1] - record.times[0]
    tail = slice(max(0, len(tank) - cycles * POINTS_PER_CYCLE), None)
    times, values = record.times[tail], tank[tail]
    middle = len(times) // 2
    period, amplitude = _period_and_amplitude(times, values)
    early, late = (_period_and_amplitude(times[part], values[part]) for part in (slice(middle), slice(middle, None)))
    drift = early[0] / late[0] - 1.0
    if allowed_drift is not None and abs(drift) > allowed_drift:
        raise ValueError(f"transient: not settled, the frequency still moves by {drift * 1e6:.2g} ppm; run it longer")
    hot = record.voltage(record.tank[0])[tail]
    peaks = np.abs(tank[: len(tank) // POINTS_PER_CYCLE * POINTS_PER_CYCLE]).reshape(-1, POINTS_PER_CYCLE).max(axis=1)
    reached = int(np.argmax(peaks >= 0.9 * float(np.abs(values).max())))
    return Measurement(
        frequency=1.0 / period,
        amplitude=amplitude,
        peak_to_peak=float(hot.max() - hot.min()),
        startup_time=float(record.times[0] + reached * POINTS_PER_CYCLE * span),
        frequency_drift=drift,
        amplitude_drift=late[1] / early[1] - 1.0,
    )
