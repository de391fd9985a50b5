"""Two whole circuits that leak into each other, integrated in time: the independent check of the law of pulling.

Several pairs go in step as one array. The equations are those of models.circuit.transient: C(x) dx/dt = s - G x - A i,
where C(x) holds the linear capacitances, inductances and the slopes of the junction charges. They are not stiff beside
the oscillation (junctions and nodes settle no faster than some tenths of a cycle), so an explicit rule of constant step
does: Adams and Bashforth's of fourth order, one evaluation a step. Its phase error is some (2 pi / steps)^4 / 3 of a
phase, the same for both circuits of a pair (E. Hairer, S. P. Norsett, G. Wanner, Solving Ordinary Differential
Equations I, 1993, section III.1, from memory; the tests compare steps).
Not for circuits with a small base resistance, whose inner base settles faster than a step: the run then grows without
bound and is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from models.arrays import Complexes, Floats
from models.checks import positive
from models.circuit.coupled import Coupling, coupled_network, joint_name
from models.circuit.devices import DeviceLaw
from models.circuit.network import Network
from models.circuit.steady_state import SteadyState
from models.circuit.transient import junction_floor

STEPS = 48
"""Steps a cycle."""
RULE = np.array([55.0, -59.0, 37.0, -9.0]) / 24.0
"""Adams and Bashforth's fourth-order weights of the latest slope and the three before it."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two solved oscillators with the same devices, what leaks between them, and a capacitance, F, that is added
    across the second's tank to detune it. phase: how far the second starts ahead, rad."""

    first: SteadyState
    second: SteadyState
    coupling: Coupling
    detuning: float = 0.0
    phase: float = 0.0

    def network(self) -> Network:
        """Return the joint network, detuned."""
        linear = coupled_network(self.first.circuit, self.second.circuit, self.coupling)
        hot, cold = self.second.circuit.drawing().tank
        nodes = linear.unit(joint_name("second", hot), joint_name("second", cold))
        return replace(linear, capacitance=linear.capacitance + self.detuning * np.outer(nodes, nodes))


@dataclass(frozen=True, slots=True, eq=False)
class Envelopes:
    """Times (m,), s, one a cycle, and the complex amplitudes (b, 2, m), V, of both tanks of each pair, against
    `frequency`, Hz."""

    times: Floats
    amplitudes: Complexes
    frequency: float

    def phases(self) -> Floats:
        """Return how far the second is ahead of the first in each pair (b, m), rad, unwrapped."""
        return np.unwrap(np.angle(self.amplitudes[:, 1] * self.amplitudes[:, 0].conj()))

    def beats(self, after: float) -> Floats:
        """Return the pulled beat of each pair (b,), Hz: over the whole turns of the phase after the time `after`, s.

        Zero where the phase makes less than one turn: locked, or too short a run.
        """
        late = self.times >= after
        times, rows = self.times[late], self.phases()[:, late]
        found = np.zeros(len(rows))
        for place, row in enumerate(rows):
            sign = 1.0 if row[-1] > row[0] else -1.0
            turned = sign * (row - row[0])
            turns = int(turned[-1] / (2.0 * np.pi))
            if turns >= 1:
                last = int(np.argmax(turned >= 2.0 * np.pi * turns))
                part = (2.0 * np.pi * turns - turned[last - 1]) / (turned[last] - turned[last - 1])
                found[place] = sign * turns / (times[last - 1] + part * (times[1] - times[0]) - times[0])
        return found


def integrate_pairs(
    pairs: Sequence[Pair], duration: float, steps: int = STEPS, supply: Callable[[float], float] = lambda time: 1.0
) -> Envelopes:
    """Integrate all `pairs` for `duration`, s, each from its two steady oscillations.

    supply: the supply at a time, s, over what the circuits have. Raises ValueError for pairs whose circuits differ in
    their nodes or devices, and for a run that grows beyond all bounds.
    """
    cycles = int(positive("duration", duration) * pairs[0].first.frequency)
    networks = [pair.network() for pair in pairs]
    drawing = pairs[0].first.circuit.drawing()
    devices = [part.what for part in drawing.devices]
    for state in (state for pair in pairs for state in (pair.first, pair.second)):
        if [part.what for part in state.circuit.drawing().devices] != devices:
            raise ValueError("pairs in time: all circuits must have the same devices")
    if any(linear.names != networks[0].names for linear in networks):
        raise ValueError("pairs in time: all pairs must have the same nodes")
    flow, frequency = _Flow(networks, drawing.laws()), pairs[0].first.frequency
    step = 1.0 / (steps * frequency)
    ends = []
    for which, state in (("first", pairs[0].first), ("second", pairs[0].second)):
        hot, cold = state.circuit.drawing().tank
        ends.append(networks[0].unit(joint_name(which, hot), joint_name(which, cold)))
    tanks = np.stack(ends).T
    turning = np.exp(-2j * np.pi * np.arange(steps) / steps) * (2.0 / steps)
    weights = [np.array([step * RULE[(newest - place) % 4] for place in range(4)]) for newest in range(4)]
    states = np.stack([_start(pair) for pair in pairs])
    slopes = np.zeros((4, *states.shape))
    rows = slopes.reshape(4, -1)  # the same numbers: the latest four slopes, the newest at count % 4
    cycle = np.zeros((steps, len(pairs), 2))
    amplitudes = np.zeros((len(pairs), 2, cycles), dtype=np.complex128)
    for count in range(cycles * steps):
        cycle[count % steps] = states @ tanks
        feeds = [supply((count + part) * step) for part in (0.0, 0.5, 1.0)]
        slopes[count % 4] = flow.slope(states, feeds[0])
        if count < 3:
            states = flow.runge_kutta(states, slopes[count % 4], step, feeds)
        else:
            states = states + (weights[count % 4] @ rows).reshape(states.shape)
        if count % steps == steps - 1:
            amplitudes[:, :, count // steps] = np.tensordot(turning, cycle, 1)
            if not np.isfinite(states).all():
                raise ValueError("pairs in time: the run grows beyond all bounds; take more steps a cycle")
    times = np.asarray((np.arange(cycles) + 0.5) / frequency, dtype=np.float64)
    return Envelopes(times, amplitudes, frequency)


class _Flow:
    """The slopes of the states of several joint networks (b, n), as `models.circuit.transient` has them for one."""

    def __init__(self, networks: Sequence[Network], ports: DeviceLaw) -> None:
        self._ports = ports
        self._floor = np.tile(junction_floor(ports), 2)
        incidence = networks[0].ports
        held = incidence @ np.diag(self._floor) @ incidence.T
        inverse = np.stack([np.linalg.inv(linear.capacitance + held) for linear in networks])
        self._entry = inverse @ incidence  # (b, n, 2 p)
        self._seen = incidence.T @ self._entry  # (b, 2 p, 2 p)
        self._both = incidence.shape[1]
        self._one = np.eye(self._both)
        free = -inverse @ np.stack([linear.conductance for linear in networks])
        push = np.einsum("bmn,bn->bm", inverse, np.stack([linear.source for linear in networks]))
        shown = np.broadcast_to(incidence.T, (len(networks), *incidence.T.shape))
        self._stacked = np.concatenate([shown, incidence.T @ free, free], axis=1)
        self._offset = np.concatenate([np.zeros((len(networks), self._both)), push @ incidence, push], axis=1)

    def slope(self, states: Floats, supply: float) -> Floats:
        """Return dx/dt (b, n) at states (b, n), the sources times `supply`."""
        known = (self._stacked @ states[:, :, None])[:, :, 0] + supply * self._offset
        count = len(known)
        both = self._both
        voltages = known[:, :both].reshape(2 * count, both // 2).T
        current, junction = self._ports.currents_and_capacitances(voltages)
        current, more = current.T.reshape(count, both), junction.T.reshape(count, both) - self._floor
        # the port voltages move by u = r - E (i + c u)
        matrix = self._one + self._seen * more[:, None, :]
        right = known[:, both : 2 * both] - (self._seen @ current[:, :, None])[:, :, 0]
        moved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        drawn = self._entry @ (current + more * moved)[:, :, None]
        return np.asarray(known[:, 2 * both :] - drawn[:, :, 0])

    def runge_kutta(self, states: Floats, first: Floats, step: float, supplies: Sequence[float]) -> Floats:
        """Return the states after one step of the classical rule, `first` being their slope; `supplies` at its start,
        middle and end."""
        second = self.slope(states + 0.5 * step * first, supplies[1])
        third = self.slope(states + 0.5 * step * second, supplies[1])
        fourth = self.slope(states + step * third, supplies[2])
        return states + step / 6.0 * (first + 2.0 * (second + third) + fourth)


def _start(pair: Pair) -> Floats:
    """Return the joint states at t = 0: both steady oscillations, the second ahead by the pair's phase."""
    rows = []
    for state, phase in ((pair.first, 0.0), (pair.second, pair.phase)):
        turned = state.spectra * np.exp(1j * phase * np.arange(state.harmonics + 1))
        rows.append(turned[:, 0].real + 2.0 * turned[:, 1:].sum(axis=1).real)
    return np.concatenate(rows)
