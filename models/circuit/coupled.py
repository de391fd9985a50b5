"""Two oscillators that leak into each other: their joint circuit, and the lock range by every path.

Paths between the two circuits (all may act at once):
- the output resistors and the common node behind them (each circuit's `load` is that node with the other's resistor
  to earth; the current that the other's swing then sends into the node is added here: exact, by superposition);
- a resistance of the supply in front of both supply resistors (the decoupling of each circuit counts);
- mutual inductance M = k sqrt(L_1 L_2) of the two coils;
- capacitance from tank to tank (collector to collector; each circuit may hold it, the other's end of it quiet);
- a drawn mixer in place of the common node (`Through`): its load is in each circuit, and what its node does beside that
  at each beat phase (models.circuit.mixing) is what the other sends, whatever its devices make of it.

To first order each oscillator is moved along its own orbit only, by what the other's waveforms send into it. Symbols:
g_1, g_2 projections (models.circuit.adjoint), b_12(psi) what oscillator 2 sends into 1 when it is psi ahead, f the
frequency, d the offset of the free frequencies (second less first), Hz,

    d(psi)/dt / 2 pi = d + f mean(g_2^T b_21(-psi)) - f mean(g_1^T b_12(psi)) = d + D(psi)

and they lock where d + D(psi) = 0 has a solution: the lock range is half of max D - min D. The projections hold the
share of the amplitude (an oscillator whose amplitude gives way shifts its frequency as well), all harmonics, the
bias and everything linear around the two. A reactive leak between equal oscillators whose frequency does not depend
on their amplitude cancels in D; what is left of it comes from that share. What a path does to each circuit alone shifts
the free frequencies and is no part of the lock range: a capacitance to the other tank counts in the circuits that hold
it; a shared supply resistance drops some of the supply (`supply_drop`); the other's coil, when it carries no current,
does nothing (that the two frequencies of two coupled tanks lie k f apart belongs to both swinging together, which is
the leak itself).
A shared supply resistance also lets each rail swing more than its own supply resistor alone does, and what arrives
there moves the oscillator more: waveforms and projections are those of both circuits as it feeds them, the other's rail
standing still (`fed_together`). With those of the circuits apart the lock range would come out at half where the supply
capacitors have as much reactance as the supply resistors, at a fifth and less with small ones of these.

The law stops where the leak itself changes the amplitudes: D then gets a share in sin 2 psi. `second_order` estimates
that share from first-order figures alone: the relative change of an amplitude by the leak, times what the leak does to
both frequencies before anything cancels, over what is left in D. (With output resistors of 100 kohm to 1 Mohm and with
two coils it is 1.0 to 1.6 times the true share.) Where it exceeds SECOND_ORDER_LIMIT, `solve_locked` takes over:
harmonic balance of both circuits as one, locked at every phase psi in turn, with the capacitance that detunes the
second one unknown. The amplitudes are then right for every phase that stands still; a beat as fast as the bias settles
is pulled less (with a settling time of 1.1 to 1.2 ms, by integration in time: by 4 % of the lock range at a beat of 90
Hz; as by 78 Hz at a beat of 128 Hz where a shared supply locks within 96 Hz; as by 123 Hz at a beat of 207 Hz where two
coils lock within 150 Hz, which holds at 143 and beats at 165 Hz of offset). Of two coils and of a capacitance from
tank to tank, whose first order nearly cancels, this may be several times the first-order lock range: up to 1 plus the
estimated share times as wide, in ten pairs with shares of 0.3 to 5. By integration in time both edges are right to 7 %
where that share is 5. A leak that is too strong lets one oscillator put the other out at some phases: then there is no
law, and the first order is a rough figure.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np

from models.arrays import Complexes, Floats
from models.checks import finite, non_negative
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.devices import Devices
from models.circuit.drawing import COUPLED, LOAD, Drawable
from models.circuit.harmonic_balance import NotConvergedError, PartProbe, balance, resized
from models.circuit.network import GROUND, Network
from models.circuit.oscillator import steady_state
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.work import TooMuchWorkError, bounded_work
from models.quick_dataclass import dataclass

PHASES = 96
"""Phases on a cycle at which D is read for its extremes; the parabola through the three nearest places them."""
SECOND_ORDER_LIMIT = 0.15
"""Estimated share of sin 2 psi above which the first-order lock range may be off by more than some 4 %."""
LOCKED_WORK = 3e7
"""Work (models.circuit.work) that `pulling` may take for it; of the usual circuits 1e6 to 6e6."""
LEAST_SWING = 0.5
"""Of its own, below which the swing of one of the two counts as put out by the other, and the solution as none."""
FARTHEST = 20.0
"""Offset of the free frequencies, of the lock range, up to which `pulling` solves both circuits as one."""
NEAR = 1.25
"""Offset, of the farther edge of lock, where `SolvedLock.adler` takes the pulled beat: where pulling is heard most."""


@dataclass(frozen=True, slots=True)
class Coupling:
    """What leaks between the two circuits.

    common_node: their outputs meet behind their output resistors. supply_resistance, ohm, in front of both supply
    resistors. coil_coupling: k of the coils, -1 to 1 (positive: like currents towards the collectors add their
    fields). tank_to_tank_capacitance, F.
    """

    common_node: bool = False
    supply_resistance: float = 0.0
    coil_coupling: float = 0.0
    tank_to_tank_capacitance: float = 0.0

    def __post_init__(self) -> None:
        non_negative("supply resistance", self.supply_resistance)
        non_negative("tank to tank capacitance", self.tank_to_tank_capacitance)
        if not abs(finite("coil coupling", self.coil_coupling)) < 1.0:
            raise ValueError(f"coil coupling must be between -1 and 1 (both excluded); got {self.coil_coupling:g}")

    def paths(self) -> dict[str, Coupling]:
        """Return every path that is there, alone, by the name of its field."""
        none = Coupling()
        present = [part.name for part in fields(self) if getattr(self, part.name)]
        return {name: replace(none, **{name: getattr(self, name)}) for name in present}


SHARED_SUPPLY = "supply_resistance"
MIXER = "mixer"
"""Names of the path through what both supplies share, and of that through a drawn mixer."""


@dataclass(frozen=True, slots=True, eq=False)
class Through:
    """What a drawn mixer sends into both: currents (K + 1, M), A, into the loads at M beat phases, the phase of each
    oscillation 0 where the fundamental at its output has its peak (models.circuit.mixing.Mixed.sent)."""

    into_first: Complexes
    into_second: Complexes

    def pull(self, first: Adjoint, second: Adjoint) -> tuple[Complexes, Complexes]:
        """Return what it does to either frequency, as coefficients in psi, Hz (2 Re sum exp(j k psi)).

        The beat phase is what the second's output is behind by: psi is the difference of both origins less it.
        """
        origins, found = self._origins(first, second), []
        for oscillator, own, current in zip((first, second), origins, (self.into_first, self.into_second), strict=True):
            row = oscillator.projection[oscillator.linear.index(LOAD)]
            keep = min(row.size, current.shape[0])
            turned = current[:keep] * np.exp(1j * own * np.arange(keep))[:, None]
            rates = 2.0 * oscillator.state.frequency * (row[1:keep].conj() @ turned[1:]).real
            lines = np.fft.rfft(rates) / rates.size
            found.append(np.asarray(lines.conj() * np.exp(-1j * (origins[0] - origins[1]) * np.arange(lines.size))))
        return found[0], found[1]

    def fundamentals(self, first: Adjoint, second: Adjoint) -> tuple[Complexes, Complexes]:
        """Return the share of the currents' fundamentals that turns with psi, (n, K + 1) each, but for a phase."""
        made = []
        for oscillator, current, line in ((first, self.into_first, -1), (second, self.into_second, 1)):
            sent = np.zeros_like(oscillator.spectra)
            sent[oscillator.linear.index(LOAD), 1] = np.fft.fft(current[1])[line] / current.shape[1]
            made.append(sent)
        return made[0], made[1]

    @staticmethod
    def _origins(first: Adjoint, second: Adjoint) -> tuple[float, float]:
        """Return the phase of the fundamental at each output, rad."""
        states = first.state, second.state
        rows = (state.coefficients(state.circuit.drawing().output_node) for state in states)
        angles = [float(np.angle(row[1])) for row in rows]
        return angles[0], angles[1]


@dataclass(frozen=True, slots=True)
class LockRange:
    """Lock range, Hz, of all paths together, of each alone, and of all but one; second_order: see above."""

    total: float
    alone: dict[str, float]
    without: dict[str, float]
    second_order: float

    @property
    def trusted(self) -> bool:
        """Whether the first-order law holds."""
        return self.second_order <= SECOND_ORDER_LIMIT


def coupled_network(first: Drawable, second: Drawable, coupling: Coupling) -> Network:
    """Return both circuits as one network: states "first ..." and "second ...", the ports of both.

    With a supply resistance the supply voltage of the first feeds both. Raises ValueError for a common node without
    loads.
    """
    drawings = first.drawing(), second.drawing()
    one, two = (drawing.network() for drawing in drawings)
    size, split = len(one.names) + len(two.names), len(one.names)
    capacitance, conductance = np.zeros((size, size)), np.zeros((size, size))
    capacitance[:split, :split], capacitance[split:, split:] = one.capacitance, two.capacitance
    conductance[:split, :split], conductance[split:, split:] = one.conductance, two.conductance
    source = np.concatenate([one.source, two.source])

    def place(own: str, other: str) -> tuple[int, int]:
        return one.index(own), split + two.index(other)

    if coupling.common_node:
        if first.load is None or second.load is None:
            raise ValueError("coupling: a common node needs a load on both circuits")
        nodes, swings = place(LOAD, LOAD), place(COUPLED, COUPLED)
        conductance[nodes[0], swings[1]] -= 1.0 / drawings[1].output_resistor
        conductance[nodes[1], swings[0]] -= 1.0 / drawings[0].output_resistor
    if coupling.supply_resistance > 0.0:
        feeds = np.zeros(size)
        rails = place(drawings[0].rail, drawings[1].rail)
        feeds[list(rails)] = 1.0 / drawings[0].supply_resistor, 1.0 / drawings[1].supply_resistor
        at_node = 1.0 / coupling.supply_resistance + float(feeds.sum())
        conductance -= np.outer(feeds, feeds) / at_node
        source -= feeds * first.supply_voltage * (1.0 - 1.0 / (coupling.supply_resistance * at_node))
    if coupling.coil_coupling != 0.0:
        tanks = place(drawings[0].coil, drawings[1].coil)
        mutual = coupling.coil_coupling * math.sqrt(capacitance[tanks[0], tanks[0]] * capacitance[tanks[1], tanks[1]])
        capacitance[tanks[0], tanks[1]] += mutual
        capacitance[tanks[1], tanks[0]] += mutual
    if coupling.tank_to_tank_capacitance > 0.0:
        tanks = place(drawings[0].hot, drawings[1].hot)
        for tank, drawing in zip(tanks, drawings, strict=True):
            capacitance[tank, tank] += coupling.tank_to_tank_capacitance - drawing.tank_to_tank_capacitance
        capacitance[tanks, tanks[::-1]] -= coupling.tank_to_tank_capacitance
    own = one.ports.shape[1]
    ports = np.zeros((size, own + two.ports.shape[1]))
    ports[:split, :own], ports[split:, own:] = one.ports, two.ports
    names = (*(f"first {name}" for name in one.names), *(f"second {name}" for name in two.names))
    coils = (*(f"first {name}" for name in one.coils), *(f"second {name}" for name in two.coils))
    return Network(names, capacitance, conductance, source, ports, (), coils)


def joint_name(which: str, node: str) -> str:
    """Return the name of a node of the "first" or "second" circuit in the joint network."""
    return node if node == GROUND else f"{which} {node}"


def lock_range(first: Adjoint, second: Adjoint, coupling: Coupling, through: Through | None = None) -> LockRange:
    """Return the lock range of two solved oscillators of (nearly) the same frequency, to first order.

    through: a drawn mixer in place of the common node.
    """
    circuits, shared = (first.state.circuit, second.state.circuit), coupling.supply_resistance > 0.0
    apart = _Paths(first, second, circuits, coupling, through)
    fed = fed_together(first, second, coupling) if shared else (first, second)
    together = apart if fed is None or not shared else _Paths(*fed, circuits, coupling, through)

    def spread(names: list[str]) -> float:
        return (together if SHARED_SUPPLY in names else apart).spread(names)

    every = list(apart.leaks)
    return LockRange(
        total=spread(every),
        alone={name: spread([name]) for name in every},
        without={name: spread([other for other in every if other != name]) for name in every},
        second_order=math.inf if fed is None else max(together.second_order(), _returning(fed, circuits, coupling)),
    )


def _returning(both: tuple[Adjoint, Adjoint], circuits: tuple[Drawable, Drawable], coupling: Coupling) -> float:
    """Return twice the share of a rail's swing that a shared supply resistance sends over the other rail back to it: at
    0.15 the lock range by the first order is some 4 % off, at 0.6 a quarter.
    """
    if coupling.supply_resistance == 0.0:
        return 0.0
    split = len(both[0].linear.names)
    sent = coupled_network(*circuits, Coupling(supply_resistance=coupling.supply_resistance)).conductance
    one, two = (
        np.linalg.inv(each.linear.conductance + 1j * each.angular_frequency * each.linear.capacitance) for each in both
    )
    there = two @ sent[split:, :split]
    return 2.0 * float(np.abs(np.linalg.eigvals(one @ sent[:split, split:] @ there)).max())


def fed_together(first: Adjoint, second: Adjoint, coupling: Coupling) -> tuple[Adjoint, Adjoint] | None:
    """Return both oscillators behind what the shared supply resistance is to each, by Thevenin's theorem, while the
    other's rail stands still; None where one does not oscillate there.

    Symbols: R shared, R_1, R_2 supply resistors, I_1, I_2 the mean currents as solved apart, V supply. The rail of the
    first is fed through R_1 + R R_2 / (R + R_2), by V - R (I_1 + I_2) + I_1 R R_2 / (R + R_2): the mean is then right.
    """
    both, shared = (first, second), coupling.supply_resistance
    drawings = [one.state.circuit.drawing() for one in both]
    drop = _dropped(first, second, coupling)
    found = []
    for one, own, other in zip(both, drawings, drawings[::-1], strict=True):
        beside = 1.0 / (1.0 / shared + 1.0 / other.supply_resistor)
        voltage = drawings[0].supply_voltage - drop + beside * one.state.supply_current
        try:
            circuit = replace(own, supply_resistor=own.supply_resistor + beside, supply_voltage=voltage)
            found.append(oscillator_adjoint(steady_state(circuit, warm_start=one.state)))
        except ValueError:
            return None
    return found[0], found[1]


class _Paths:
    """What each path between two `circuits` sends into both oscillators, and what that does to their frequencies, with
    the waveforms and projections of the two as solved, with the same nodes."""

    def __init__(
        self,
        first: Adjoint,
        second: Adjoint,
        circuits: tuple[Drawable, Drawable],
        coupling: Coupling,
        through: Through | None,
    ) -> None:
        self.both = first, second
        self.leaks = {name: _leak(first, second, circuits, path) for name, path in coupling.paths().items()}
        self.pulls = {name: _pull(first, second, *leak) for name, leak in self.leaks.items()}
        if through is not None:
            self.leaks[MIXER], self.pulls[MIXER] = through.fundamentals(first, second), through.pull(first, second)

    def pulled(self, names: list[str], way: int) -> Complexes:
        """Return what these paths together do to the frequency of one of the two."""
        total = np.zeros(max((pull[way].size for pull in self.pulls.values()), default=2), dtype=np.complex128)
        for name in names:
            total[: self.pulls[name][way].size] += self.pulls[name][way]
        return total

    def spread(self, names: list[str]) -> float:
        """Return the lock range by these paths, Hz."""
        return _half_spread(self.pulled(names, 1) - self.pulled(names, 0))

    def second_order(self) -> float:
        """Return the estimated share in sin 2 psi of all paths together."""
        every = list(self.leaks)
        into = [_sum(one, self.leaks, every, way) for way, one in enumerate(self.both)]
        strength = 2.0 * sum(float(abs(self.pulled(every, way)[1])) for way in (0, 1))
        swing = max(_swing(one, leak) for one, leak in zip(self.both, into, strict=True))
        return 0.0 if swing == 0.0 else swing * strength / max(self.spread(every), 1e-300)


def _sum(oscillator: Adjoint, leaks: dict[str, tuple[Complexes, Complexes]], names: list[str], way: int) -> Complexes:
    """Return what these paths together send into one of the two, (n, K + 1)."""
    total = np.zeros_like(oscillator.spectra)
    for name in names:
        leak = leaks[name][way]
        total[:, : leak.shape[1]] += leak
    return total


def _leak(
    first: Adjoint, second: Adjoint, circuits: tuple[Drawable, Drawable], path: Coupling
) -> tuple[Complexes, Complexes]:
    """Return b_12 (n_1, K + 1) and b_21 (n_2, K + 1) of one path, without the share at k = 0, which has no phase."""
    split = len(first.linear.names)
    with_path, without = coupled_network(*circuits, path), coupled_network(*circuits, Coupling())
    keep = min(first.order.size, second.order.size)
    turn = 1j * math.pi * (first.state.frequency + second.state.frequency) * np.arange(keep)
    changes = with_path.conductance - without.conductance, with_path.capacitance - without.capacitance

    def sent(rows: slice, columns: slice, spectra: Complexes) -> Complexes:
        sending = spectra[:, :keep]
        result = -changes[0][rows, columns] @ sending - turn * (changes[1][rows, columns] @ sending)
        result[:, 0] = 0.0
        return np.asarray(result)

    one, two = slice(0, split), slice(split, None)
    return sent(one, two, second.spectra), sent(two, one, first.spectra)


def _pull(
    first: Adjoint, second: Adjoint, into_first: Complexes, into_second: Complexes
) -> tuple[Complexes, Complexes]:
    """Return what the leak does to either frequency, as coefficients (K + 1,) in psi, Hz (2 Re sum exp(j k psi))."""
    keep = min(into_first.shape[1], into_second.shape[1])
    ahead = np.sum(first.projection[:, :keep].conj() * into_first[:, :keep], axis=0)
    behind = np.sum(second.projection[:, :keep].conj() * into_second[:, :keep], axis=0)
    return np.asarray(first.state.frequency * ahead), np.asarray(second.state.frequency * behind.conj())


def _half_spread(coefficients: Complexes) -> float:
    """Return half the difference of the extremes of a real function with these one-sided coefficients."""
    count = max(PHASES, 4 * coefficients.size)
    values = np.fft.irfft(coefficients * count, n=count)

    def peak(row: Floats) -> float:
        top = int(np.argmax(row))
        before, here, after = row[top - 1], row[top], row[(top + 1) % count]
        curve = 2.0 * here - before - after
        return float(here if curve <= 0.0 else here + (after - before) ** 2 / (8.0 * curve))

    return 0.5 * (peak(values) + peak(-values))


def _swing(oscillator: Adjoint, leak: Complexes) -> float:
    """Return the largest relative change of the tank's fundamental, over all phases of the leak's fundamental."""
    row = oscillator.tank
    present = complex(row @ oscillator.spectra[:, 1])
    alone = np.zeros_like(oscillator.spectra)
    parts = []
    for turned in (1.0, 1j):
        alone[:, 1] = turned * leak[:, 1]
        parts.append((complex(row @ oscillator.response(alone).spectra[:, 1]) / present).real)
    return math.hypot(*parts)


@dataclass(frozen=True, slots=True, eq=False)
class SolvedLock:
    """Two circuits locked at phases (m,), rad, all the way round: the offset of their free frequencies, Hz (second less
    first), that holds each phase."""

    phases: Floats
    offsets: Floats

    def _fine(self) -> Floats:
        """Return the offsets at 4096 phases (they are smooth: a short Fourier row)."""
        return np.asarray(np.fft.irfft(np.fft.rfft(self.offsets) * (4096 / self.offsets.size), n=4096))

    @property
    def edges(self) -> tuple[float, float]:
        """The lowest and the highest offset at which they lock, Hz."""
        fine = self._fine()
        return float(fine.min()), float(fine.max())

    def beat(self, offset: float) -> float:
        """Return the pulled beat at a free offset d, Hz, signed: 1 / mean(1 / (d - d_locked(psi))); 0 if they lock."""
        low, high = self.edges
        if low <= offset <= high:
            return 0.0
        return float(1.0 / np.mean(1.0 / (offset - self._fine())))

    def adler_at(self, offset: float) -> float:
        """Return the lock range of Adler's law that gives the true beat at this offset, Hz: sqrt(d^2 - beat^2)."""
        return math.sqrt(max(offset**2 - self.beat(offset) ** 2, 0.0))

    @property
    def adler(self) -> float:
        """One lock range for Adler's law: right at NEAR times the farther edge, Hz."""
        low, high = self.edges
        return self.adler_at(NEAR * (high if high >= -low else low))


def solve_locked(first: Adjoint, second: Adjoint, coupling: Coupling, phases: int = 24) -> SolvedLock:
    """Return both circuits solved as one at `phases` phases round the cycle, the second detuned to hold each.

    The two must oscillate at nearly the same frequency (within some times the lock range). Raises NotConvergedError
    where no locked oscillation is found at some phase, or one in which one of the two hardly swings any more.
    """
    states = first.state, second.state
    linear = coupled_network(states[0].circuit, states[1].circuit, coupling)
    drawings = [state.circuit.drawing() for state in states]
    device = Devices([drawing.laws() for drawing in drawings])
    own = len(first.linear.ports.T)
    harmonics = max(state.harmonics for state in states)
    order = np.arange(harmonics + 1)
    values = np.concatenate([resized(state.port_coefficients, harmonics) for state in states])
    nodes = linear.unit(joint_name("second", drawings[1].hot), joint_name("second", drawings[1].tank[1]))
    slope = second.frequency_shift(second.disturbance_across_tank())  # Hz/F
    apart = states[1].frequency - states[0].frequency
    omega, strength = first.angular_frequency, -apart / slope
    angles = 2.0 * np.pi * np.arange(phases) / phases
    strengths = []
    for angle in angles:
        held = PartProbe(nodes, 0.0, own + PHASE_PORT, 1j * np.exp(1j * angle), True)
        now = balance(linear, device, values, omega, phase_port=PHASE_PORT, probe=held, probe_start=strength)
        omega, strength = now.angular_frequency, now.probe
        for place, state in ((PHASE_PORT, states[0]), (own + PHASE_PORT, states[1])):
            if abs(now.coefficients[place, 1]) < LEAST_SWING * abs(state.port_coefficients[PHASE_PORT, 1]):
                raise NotConvergedError("coupling: one oscillator puts the other out")
        strengths.append(strength)
        values = now.coefficients.copy()
        values[own:] *= np.exp(2j * np.pi * order / phases)  # on to the next phase
    return SolvedLock(angles, apart + slope * np.array(strengths))


@dataclass(frozen=True, slots=True)
class SupplyDrop:
    """What a shared supply resistance takes from both: the drop, V, and what that does to either frequency, Hz."""

    voltage: float
    first_shift: float
    second_shift: float


def _dropped(first: Adjoint, second: Adjoint, coupling: Coupling) -> float:
    """Return the drop, V, of both supply currents, as solved apart, over the shared resistance."""
    return coupling.supply_resistance * (first.state.supply_current + second.state.supply_current)


def supply_drop(first: Adjoint, second: Adjoint, coupling: Coupling) -> SupplyDrop:
    """Return what the drop of both supply currents over the shared resistance does, to first order in it."""
    drop = _dropped(first, second, coupling)
    shifts = (-drop * one.frequency_shift(one.disturbance_of("supply_voltage")) for one in (first, second))
    return SupplyDrop(drop, *shifts)


@dataclass(frozen=True, slots=True, eq=False)
class Pulling:
    """One lock range for Adler's law, Hz, and where it comes from: the first-order law with its paths, and, where that
    is not to be trusted, both circuits solved as one (None where that finds no locked oscillation either or takes too
    much work, and where the free frequencies lie more than FARTHEST lock ranges apart)."""

    lock_range: float
    first_order: LockRange
    solved: SolvedLock | None


def pulling(first: Adjoint, second: Adjoint, coupling: Coupling, through: Through | None = None) -> Pulling:
    """Return how two solved oscillators pull each other, by the cheapest law that holds; through a drawn mixer by the
    first-order law alone."""
    found = lock_range(first, second, coupling, through)
    apart = abs(second.state.frequency - first.state.frequency)
    if through is not None or found.trusted or apart > FARTHEST * found.total:
        return Pulling(found.total, found, None)
    try:
        with bounded_work(LOCKED_WORK):
            solved = solve_locked(first, second, coupling)
    except (NotConvergedError, TooMuchWorkError):
        return Pulling(found.total, found, None)
    return Pulling(solved.adler, found, solved)
