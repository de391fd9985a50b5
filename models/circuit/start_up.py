"""The start-up of one circuit from switching on, from thermal noise to what becomes of it.

The first cycles are integrated in time, then the envelope marches (models.circuit.envelope); where it cannot yet, after
MORE_CYCLES. Where it changes within a cycle, or where no oscillation holds itself, the rest is integrated in time piece
by piece and read cycle by cycle until it is known what it is: periodic bursts, two tones, a pattern of several cycles,
something irregular, or an oscillation that settles.
Start-up times against integration in time: within 0.4 % where the swing of switching on is what grows. Where the
transistor turns on by about a thermal voltage a cycle, that rings the tank by some 10 uV, which slow harmonics do not
tell: where little else is left to grow (low Q, a heavy load) the time is up to 1.5 % off. Where thermal noise grows,
the built circuit's own time varies by a growth time from one switching-on to the next.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Complexes, Floats
from models.checks import finite
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import Drawable, drawn
from models.circuit.envelope import ROUNDING, March, Outcome, Point, TooFastError, marched, settled
from models.circuit.first_cycles import first_cycles, resolved
from models.circuit.harmonic_balance import waveform
from models.circuit.implicit_run import stepped
from models.circuit.irregular import REGULAR, STILL, Bursts, Pattern, TwoTones, bursts_of, pattern_of, two_tones
from models.circuit.network import GROUND, Network
from models.circuit.resonance import natural_frequency
from models.circuit.small_signal import SmallSignal, linearised, small_signal
from models.circuit.start_threshold import leading_pair, mode_shape
from models.circuit.steady_state import SteadyState
from models.circuit.switch_on import LINEAR, thermal_swing
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord, crossings, cycle_swings, simulate
from models.circuit.work import TooMuchWorkError
from models.quick_dataclass import dataclass

REACHED = 0.9
"""Share of the final swing that counts as started."""
MORE_CYCLES = 40
"""Cycles integrated in time beyond the first ones where the envelope cannot be followed so early."""
FOLLOWED = 240
"""Cycles in one piece of what is integrated in time."""
MOST_PIECES = 6
"""Most such pieces."""
FOLLOW_TOLERANCE = 1e-5
FEWEST_KEPT = 10
"""Fewer points are dropped when the envelope breaks off: the run goes on from the first cycles."""
SECOND_SHARE = 0.2
"""A second mode that grows is set going with this share of the swing, to save the wait for it."""
PATTERN_CYCLES = 200
"""The last cycles of a piece, in which a pattern is looked for."""
NOISE_EVERY = 40
"""Every so many cycles the thermal swing is added where the tank swings by less."""


@dataclass(frozen=True, slots=True, eq=False)
class StartUp:
    """The start-up of one circuit from switching on, SI units.

    first: the first cycles, integrated in time. points: the envelope from there on. late: what was integrated in time
    after it, or None; times from switching on. state: the steady oscillation it settles into, else None. from_noise:
    whether the swing of switching on fell so low that the thermal noise of the tank is what grows; the starting time is
    then uncertain by a growth time or two. bursts, tones, pattern: what was read where it does not settle. second_mode:
    the frequency, Hz, of a mode that was set going by hand at the beginning of `late`, or None.
    """

    circuit: Drawable
    outcome: Outcome
    first: TransientRecord
    points: tuple[Point, ...]
    late: TransientRecord | None = None
    state: SteadyState | None = None
    from_noise: bool = False
    bursts: Bursts | None = None
    tones: TwoTones | None = None
    pattern: Pattern | None = None
    second_mode: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The states, in the order of their rows."""
        return self.first.names

    @property
    def times(self) -> Floats:
        """Times (m,), s: the points of the envelope, then the middle of every cycle integrated after it."""
        return np.concatenate([[point.time for point in self.points], self._late_cycles()])

    @property
    def frequency(self) -> Floats:
        """Frequency (m,), Hz, of the collector junction's fundamental; of every cycle integrated, of the tank."""
        early = np.array([point.omega for point in self.points]) / (2.0 * math.pi)
        if self.late is None:
            return early
        values, middles = self.late.voltage("tank"), self._late_cycles()
        up = crossings(self.late.times, values, float(values.mean()))
        if up.size < 2:
            return np.concatenate([early, np.full(middles.size, early[-1] if early.size else 0.0)])
        cycles = np.interp(middles, 0.5 * (up[1:] + up[:-1]), 1.0 / np.diff(up))
        return np.concatenate([early, cycles])

    @property
    def means(self) -> Floats:
        """Means (n, m) of every state over a cycle, V and A."""
        rows = np.array([point.states[:, 0].real for point in self.points]).reshape(-1, len(self.names)).T
        if self.late is None:
            return rows
        count = self._late_cycles().size
        cycles = self.late.states[:, : count * POINTS_PER_CYCLE].reshape(len(self.names), count, POINTS_PER_CYCLE)
        return np.concatenate([rows, cycles.mean(axis=2)], axis=1)

    def mean(self, name: str) -> Floats:
        """Mean (m,) of one state over a cycle, V or A."""
        row: Floats = self.means[self.names.index(name)]
        return row

    def swing(self, name: str) -> Floats:
        """Peak-to-peak (m,), V, of a state, of "tank" (hot end over cold end) or of "output" (across the load)."""
        name = self.circuit.drawing().output if name == "output" else name
        early = np.zeros(len(self.points))
        sizes = np.array([point.states.shape[1] for point in self.points], dtype=int)
        for size in sorted(set(sizes.tolist())):
            places = np.flatnonzero(sizes == size)
            spectra = np.stack([self.points[place].states for place in places])
            early[places] = np.ptp(self._swinging(spectra, name, 256), axis=-1)
        late = np.zeros(0) if self.late is None else cycle_swings(self.late, name)
        return np.concatenate([early, late])

    def cycle(self, place: int, name: str, count: int = 256) -> Floats:
        """Return `count` instants of one cycle of a state or "tank" at the envelope's point `place`, mean included."""
        point = self.points[place]
        mean = self._row(name) @ point.states[:, 0].real
        return np.asarray(mean + self._swinging(point.states, name, count))

    @property
    def tank(self) -> Floats:
        """Peak-to-peak (m,) across the tank, V."""
        return self.swing("tank")

    @property
    def output(self) -> Floats:
        """Peak-to-peak (m,) of the output, V."""
        return self.swing("output")

    @property
    def started(self) -> float | None:
        """The time, s, from which the tank swings by REACHED of its last (of an unsteady one: its largest)
        peak-to-peak; None if it dies."""
        return self.started_at("tank")

    def started_at(self, name: str) -> float | None:
        """The same of a state, of "tank" or of "output"."""
        if self.outcome is Outcome.DIES:
            return None
        swings = self.swing(name)
        final = float(swings.max()) if self.state is None else self.state.peak_to_peak(name)
        return _reached(self.times, swings, REACHED * final)

    def _late_cycles(self) -> Floats:
        if self.late is None:
            return np.zeros(0)
        count = (self.late.times.size - 1) // POINTS_PER_CYCLE
        step = self.late.times[1] - self.late.times[0]
        return np.asarray(self.late.times[0] + (np.arange(count) + 0.5) * POINTS_PER_CYCLE * step)

    def _row(self, name: str) -> Floats:
        row = np.zeros(len(self.names))
        for node, sign in zip(self.first.tank if name == "tank" else (name,), (1.0, -1.0), strict=False):
            if node != GROUND:
                row[self.names.index(node)] = sign
        return row

    def _swinging(self, spectra: Complexes, name: str, count: int) -> Floats:
        """At least `count` instants of one cycle, without the mean, of the states (..., n, K + 1)."""
        coefficients: Complexes = self._row(name) @ spectra
        coefficients[..., 0] = 0.0
        finest = 8 * coefficients.shape[-1]
        return waveform(coefficients, max(count, finest))[..., :: max(1, finest // count)]


def start_up(circuit: Drawable, *, longest: float = 1.0, least_swing: float | None = None) -> StartUp:
    """Return the start-up of `circuit` from switching on, everything at 0 and the supply stepping up at t = 0.

    longest: the time, s, after which the envelope is given up as undecided. least_swing: peak of the tank's
    fundamental, V, below which it does not fall; None is that of thermal noise (`thermal_swing`). Raises ValueError for
    a least_swing within the rounding of the supply, and where an integration in time gives up. Where the work allowed
    (models.circuit.work) ends on the way the outcome is undecided; where it ends within the first cycles,
    TooMuchWorkError.
    """
    floor = thermal_swing(circuit) if least_swing is None else finite("least_swing", least_swing)
    if floor < ROUNDING:
        raise ValueError(f"least_swing must be at least {ROUNDING:g} V, above rounding; got {floor:g}")
    _, linear, ports = drawn(circuit)
    signal = small_signal(circuit)
    near = signal.critical_frequency or natural_frequency(circuit)
    first = first_cycles(circuit, linear, ports, near)
    rest = signal.point.states if signal.growth_rate < 0.0 else None
    kept: list[Point] = []
    try:
        march = March(circuit, linear, resolved(circuit, first, linear, ports, near, floor))
        kept = [march.points[-1]]
        outcome, state, from_noise = marched(march, kept, floor, rest, longest, 1.0 / near)
    except TooFastError as error:
        early = len(kept) < FEWEST_KEPT
        later = None if error.orbit or not early else _settling_later(circuit, first, near, floor, rest, longest)
        if later is not None:
            return later
        return _followed(circuit, linear, signal, first, [] if early else kept, near, error.orbit, floor)
    except TooMuchWorkError:
        if not kept:
            return StartUp(circuit, Outcome.UNDECIDED, first, (), late=first)
        outcome, state, from_noise = Outcome.UNDECIDED, None, False
    points = tuple(kept)
    found = StartUp(circuit, outcome, first, points, state=state, from_noise=from_noise)
    if outcome not in (Outcome.SQUEGS, Outcome.WANDERS):
        return found
    late = slice(len(points) // 2, None)
    bursts = bursts_of(found.times[late], found.tank[late])
    return StartUp(circuit, outcome, first, points, from_noise=from_noise, bursts=bursts)


def _settling_later(
    circuit: Drawable, first: TransientRecord, near: float, floor: float, rest: Floats | None, longest: float
) -> StartUp | None:
    """Return the start-up by an envelope that begins MORE_CYCLES after the first cycles, when the supply has risen
    further; None where that does not settle, or has started by then.
    """
    _, linear, ports = drawn(circuit)
    try:
        more = stepped(circuit, MORE_CYCLES, near, first.states[:, -1], coarse=True)
        begun = first.followed_by(replace(more, times=first.times[-1] + more.times))
        march = March(circuit, linear, resolved(circuit, begun, linear, ports, near, floor))
        kept = [march.points[-1]]
        outcome, state, from_noise = marched(march, kept, floor, rest, longest, 1.0 / near)
    except ValueError:  # too fast there as well, or too much work
        return None
    found = StartUp(circuit, outcome, begun, tuple(kept), state=state, from_noise=from_noise)
    if outcome is not Outcome.SETTLES or found.started is None or found.started <= found.times[0]:
        return None
    return found


def _followed(
    circuit: Drawable,
    linear: Network,
    signal: SmallSignal,
    first: TransientRecord,
    kept: list[Point],
    near: float,
    orbit: bool,
    floor: float,
) -> StartUp:
    """Return the start-up whose envelope cannot be followed from the last point on: the rest is integrated in time.

    orbit: the envelope has come to an oscillation away from which disturbances lead. floor: the thermal swing, V.
    """
    if kept:
        spectra = kept[-1].states
        begin, states = kept[-1].time, spectra[:, 0].real + 2.0 * spectra[:, 1:].sum(axis=1).real
        near = kept[-1].omega / (2.0 * math.pi)
    else:
        begin, states = float(first.times[-1]), first.states[:, -1]
    growing = np.array([root for root in signal.roots if root.imag > 0.0 and root.real > 0.0])
    modes = np.array([root.imag for root in signal.roots if root.imag > 0.0]) / (2.0 * math.pi)
    capacitance, conductance = linearised(linear, circuit.drawing().laws(), signal.point.port_voltages)
    tank = linear.unit(*circuit.drawing().tank)

    def mode(root: complex) -> Floats:
        shape = mode_shape(capacitance, conductance, root)
        return np.asarray((shape / (tank @ shape)).real)

    second = None
    if orbit and growing.size > 1:
        other = complex(growing[np.argmax(np.abs(growing.imag - kept[-1].omega))])
        second = other.imag / (2.0 * math.pi)
        states = states + mode(other) * 2.0 * SECOND_SHARE * float(abs(tank @ kept[-1].states[:, 1]))
    leading = leading_pair(signal.roots)
    noise = floor * mode(leading) if leading is not None else np.zeros(states.size)
    outcome, state = Outcome.UNDECIDED, None
    late: TransientRecord | None = None
    bursts: Bursts | None = None
    tones: TwoTones | None = None
    pattern: Pattern | None = None
    pieces = 0
    for piece in range(MOST_PIECES):
        try:
            run = _piece(circuit, states, begin, near, noise)
        except TooMuchWorkError:
            late = first if late is None and not kept else late
            break
        begin, states = float(run.times[-1]), run.states[:, -1]
        late, pieces = run if late is None else late.followed_by(run), piece + 1
        swings = cycle_swings(run, "tank")
        if float(swings.max()) < 2.0 * LINEAR:
            if signal.growth_rate < 0.0 and swings[-1] < swings[0]:
                outcome = Outcome.DIES
                break
            continue
        before = tones
        tones = two_tones(run.times, run.voltage("tank"), modes) if modes.size > 1 else None
        if tones is not None:
            if tones.still(before):
                outcome = Outcome.TWO_TONES
                break
            continue
        if piece == 0:
            continue
        if float(np.ptp(swings)) < STILL * float(swings.max()):
            state = _steady_end(circuit, linear, run, near)
            if state is not None:
                outcome = Outcome.SETTLES
                break
            continue
        outcome, pattern, bursts = _repeating(run, late, near)
        if outcome is not Outcome.UNDECIDED:
            break
    if outcome is Outcome.UNDECIDED and tones is None and late is not None and pieces == 1:
        found = _repeating(late, late, near)  # no more could be paid for; whether bursts last is not seen in so little
        outcome, pattern, bursts = found if found[0] is not Outcome.SQUEGS else (outcome, pattern, bursts)
    if outcome is Outcome.UNDECIDED and bursts is not None and bursts.spread <= REGULAR:
        outcome = Outcome.SQUEGS  # few of them, but alike
    return StartUp(
        circuit,
        outcome,
        first,
        tuple(kept),
        late=late,
        state=state,
        bursts=bursts,
        tones=tones,
        pattern=pattern,
        second_mode=second,
    )


def _repeating(
    run: TransientRecord, late: TransientRecord, near: float
) -> tuple[Outcome, Pattern | None, Bursts | None]:
    """Return whether the last cycles of a run are a pattern, or all that was followed but its beginning comes in bursts
    or in none that are alike; else undecided."""
    last = slice(-PATTERN_CYCLES * POINTS_PER_CYCLE, None)
    pattern = pattern_of(run.times[last], run.voltage("tank")[last], 1.0 / near)
    if pattern is not None and pattern.cycles > 1:
        return Outcome.PATTERN, pattern, None
    every = cycle_swings(late, "tank")[FOLLOWED // 2 :]
    bursts = bursts_of(np.arange(every.size) / near, every)
    if bursts is not None and (bursts.periodic or bursts.irregular):
        return (Outcome.SQUEGS if bursts.periodic else Outcome.WANDERS), pattern, bursts
    return Outcome.UNDECIDED, pattern, bursts


def _piece(circuit: Drawable, states: Floats, begin: float, near: float, noise: Floats) -> TransientRecord:
    """Return FOLLOWED cycles from `states`; where the tank swings by less than by `noise` (n,), that is added."""
    joined: TransientRecord | None = None
    for _ in range(FOLLOWED // NOISE_EVERY):
        if isinstance(circuit, OscillatorCircuit):
            length = NOISE_EVERY / near
            run = simulate(circuit, length, start=states, frequency=near, relative_tolerance=FOLLOW_TOLERANCE)
        else:
            run = stepped(circuit, NOISE_EVERY, near, states, coarse=True)
        run = TransientRecord(begin + run.times, run.states, run.names, run.tank)
        begin, states = float(run.times[-1]), run.states[:, -1]
        joined = run if joined is None else joined.followed_by(run)
        hot, cold = (0.0 if node == GROUND else noise[run.names.index(node)] for node in run.tank)
        floor = 2.0 * abs(hot - cold)
        if float(cycle_swings(run, "tank")[-1]) < floor:
            states = states + noise
    assert joined is not None
    return joined


def _steady_end(circuit: Drawable, linear: Network, run: TransientRecord, near: float) -> SteadyState | None:
    """Return the steady oscillation that a run has come to, or None."""
    try:
        march = March(circuit, linear, resolved(circuit, run, linear, circuit.drawing().laws(), near, ROUNDING))
    except TooFastError:
        return None
    return settled(march, march.points[-1])[0]


def _reached(times: Floats, swings: Floats, goal: float) -> float | None:
    """Return when the swing first rises through `goal` after it was lowest, the logarithm between two points linear."""
    quiet = int(np.argmin(swings))
    above = np.flatnonzero(swings[quiet:] >= goal)
    if above.size == 0:
        return None
    place = quiet + int(above[0])
    if place == 0:
        return float(times[0])
    low, high = np.log(np.maximum(swings[place - 1 : place + 1], ROUNDING))
    return float(times[place - 1] + (math.log(goal) - low) / (high - low) * (times[place] - times[place - 1]))
