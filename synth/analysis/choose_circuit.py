"""What a solved circuit has across its tank on a target frequency, so that values chosen for it land there.

For a given coil everything across the capacitor acts alike: fixed capacitor, trimmer and stray; where the coil does not
lie across it too, the inductance is that which the capacitor sees. So one solution of the circuit
with as much across the coil as brings it to the target serves every choice of values, and some solved from it, with
less and more across the coil, serve the ends of every trimmer. Its adjoint says what the other parts' tolerances come
to, as farads across the tank.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

from models.branch.modes import branch_load
from models.builds.choose_values import TankAntenna
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import Drawing
from models.circuit.oscillator import steady_state
from models.circuit.part_values import part_values
from models.circuit.resonance import beside_tank, natural_frequency, resonance
from models.circuit.steady_state import SteadyState
from models.quick_dataclass import dataclass
from synth.analysis.circuit_builds import kind_of
from synth.build.circuit_assembly import Circuit

SETTLED = 1e-9
"""The target is met within this, relative."""
MOST_SOLUTIONS = 40
LESS, MORE = (-0.1, -0.2, -0.3, -0.45, -0.6), (0.1, 0.2, 0.35, 0.5, 0.75)
"""Shares of what lies across the coil on the target, by which it is solved with less and with more as well."""


@dataclass(frozen=True, slots=True)
class CircuitTank:
    """A circuit on its target, all F: `added` beside what lies straight across its coil, and `spread` of it either way
    by the parts named. With `across` more across the coil it adds `more`: a table. equal: the inductance, over the
    coil's, that the capacitor of the tank sees (models.circuit.resonance).
    """

    equal: float
    added: float
    spread: float
    across: tuple[float, ...]
    more: tuple[float, ...]


def with_other_coil(circuit: Circuit, inductance: float) -> Circuit:
    """The circuit with another coil, H, in its tank, whose Q holds at the resonance that it then has."""
    changed = circuit.with_coil(inductance)
    if isinstance(changed, OscillatorCircuit):
        return changed
    return changed.with_coil(inductance, natural_frequency(changed) / natural_frequency(circuit))


def circuit_tank(
    circuit: Circuit, target: float, antenna: TankAntenna | None, limits: Mapping[str, float]
) -> CircuitTank:
    """Solve `circuit` (with its antenna, if any, whose load on the tank is `antenna`'s) on `target`, Hz.

    limits: of each kind of part, relative (`synth.analysis.circuit_builds.KINDS`); what has none there is as it is.
    Raises ValueError where it does not oscillate there, and where there is no room for a capacitor.
    """
    load, equal = _load_of(antenna), _equal(circuit, target)
    squared, inductance = (2.0 * math.pi * target) ** 2, equal * circuit.inductance
    needed = 1.0 / (squared * inductance) - load(squared)
    added, state = beside_tank(circuit), None
    for _ in range(MOST_SOLUTIONS):
        state = _solved(circuit, needed - added, target, state)
        found = (2.0 * math.pi * state.frequency) ** 2
        added = 1.0 / (found * inductance) - load(found) - _of(state).across_tank
        if abs(state.frequency / target - 1.0) < SETTLED:
            adjoint = oscillator_adjoint(state)
            by_farad = adjoint.frequency_shift(adjoint.disturbance_of("fixed_capacitor"))
            spread = _spread(adjoint, by_farad, limits)
            return CircuitTank(equal, added, spread, *_off_target(state, load, inductance, added))
    raise ValueError(f"the circuit does not settle on {target:g} Hz")


def _equal(circuit: Circuit, target: float) -> float:
    """The inductance that the capacitor of the tank sees on `target`, Hz, over the coil's; 1 where it lies across it.

    Raises ValueError where the antenna hangs elsewhere than at the tank, whose load is then not across it.
    """
    if isinstance(circuit, OscillatorCircuit):
        return 1.0
    if circuit.antenna is not None and circuit.antenna_node != circuit.hot:
        raise ValueError(
            f"the antenna hangs at {circuit.antenna_node!r} and not at the hot end of the tank, {circuit.hot!r}: what "
            "it adds there cannot be chosen for; change the values in the design and read `beatfield oscillator`"
        )
    if circuit.coil_across_tank:
        return 1.0
    bare, squared = replace(circuit.without_trimmers(), antenna=None), (2.0 * math.pi * target) ** 2
    seen = resonance(bare)
    for _ in range(MOST_SOLUTIONS):
        fixed = bare.fixed_capacitor + 1.0 / (squared * seen.inductance) - seen.capacitance
        if fixed <= 0.0:
            raise ValueError("the target needs less capacitance than stray and circuit add; lower it")
        bare = bare.with_fixed_capacitor(fixed)
        seen = resonance(bare)
        if abs(seen.frequency / target - 1.0) < SETTLED:
            break
    return seen.inductance / circuit.inductance


def _of(state: SteadyState) -> Circuit:
    """The circuit of a steady state, of the fixed form or drawn."""
    assert isinstance(state.circuit, OscillatorCircuit | Drawing)
    return state.circuit


def _load_of(antenna: TankAntenna | None) -> Callable[[float], float]:
    """What the antenna puts across the tank, F, at omega^2."""
    if antenna is None:
        return lambda squared: 0.0
    values = antenna.branch_inductance.value, antenna.capacitance.value, antenna.self_capacitance
    return lambda squared: float(branch_load(squared, *values))


def _solved(circuit: Circuit, across: float, target: float, near: SteadyState | None) -> SteadyState:
    """The circuit with `across`, F, straight across its coil in all, its Q holding at the resonance as in a design."""
    bare = circuit.without_trimmers()
    fixed = across - (bare.across_tank - bare.fixed_capacitor)
    if fixed <= 0.0:
        raise ValueError("the target needs less capacitance than stray, circuit and antenna add; lower it")
    tuned = bare.with_fixed_capacitor(fixed)
    if isinstance(tuned, OscillatorCircuit):
        resonance = 1.0 / (2.0 * math.pi * math.sqrt(circuit.inductance * (across + beside_tank(circuit))))
        tuned = replace(tuned, inductor_q_frequency=resonance)
    else:
        tuned = tuned.with_coil(circuit.inductance, natural_frequency(tuned) / natural_frequency(circuit))
    return steady_state(tuned, warm_start=near, near_frequency=target)


def _off_target(
    base: SteadyState, load: Callable[[float], float], inductance: float, added: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """A table of farads more across the coil than on the target, and of what the circuit adds more there, F.

    Each solved from its neighbour; it ends where the circuit no longer oscillates.
    """
    across, found = _of(base).across_tank, {0.0: 0.0}
    for shares in (LESS, MORE):
        state = base
        for share in shares:
            fixed = _of(base).fixed_capacitor + share * across
            if fixed <= 0.0:
                break
            try:
                state = steady_state(_of(base).with_fixed_capacitor(fixed), warm_start=state)
            except ValueError:
                break
            squared = (2.0 * math.pi * state.frequency) ** 2
            here = 1.0 / (squared * inductance) - load(squared) - _of(state).across_tank
            found[share * across] = here - added
    more = tuple(sorted(found))
    return more, tuple(found[each] for each in more)


def _spread(adjoint: Adjoint, by_farad: float, limits: Mapping[str, float]) -> float:
    """All parts at their worst ends, as farads across the tank, to first order."""
    values = part_values(adjoint.state.circuit)
    total = 0.0
    for name, value in values.items():
        limit = limits.get(kind_of(name) or "", 0.0)
        if limit:
            total += abs(adjoint.frequency_shift(adjoint.disturbance_of(name)) * value / by_farad) * limit
    return total
