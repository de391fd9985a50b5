"""From switching on to rest: does an oscillation grow on the way although it would not grow from rest?

Where the current at rest is so high that the emitter shorts the feedback (or the transistor saturates), the oscillation
may still be there: while the bias comes up the circuit passes through a window in which it grows, and a large
oscillation then holds itself. `rising_bias` follows the slow states after the supply steps up at t = 0, each
decoupling with its own time constant, by the implicit Euler rule in steps from a fraction of a cycle to many (it damps
the tank), and sums up the growth of the fastest growing pair of roots along it. `followed_on` then solves the
oscillation where it does grow, with a lower supply or a lower base, and follows it up to the circuit itself.
Neglected on the slow way: the charges of the junctions, and that the growing oscillation shifts the bias.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from models.arrays import Floats
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import Drawable, Drawing, drawn
from models.circuit.operating_point import solve
from models.circuit.start_threshold import characteristic_roots, leading_pair
from models.circuit.steady_state import SteadyState

Solver = Callable[[Drawable, SteadyState | None], SteadyState]
"""Solves a circuit from rest (None) or from a neighbour's steady state; ValueError where it cannot."""

NEEDED_GROWTH_TIMES = 15.7
"""Growth times that must be gathered for a swing large enough to hold itself when the window closes: of circuits that
were integrated from switching on, those with 12.7, 13.9 and 15.1 died away, those with 16.4 and 17.6 lasted.
"""
FIRST_STEP = 1e-6
LENGTHENING = 1.08
"""Each step is longer than the one before by this: some 30 steps a decade of time."""
LONGEST = 1.0
"""The slow way is followed for at most so long, s."""
SETTLED = 1e-6
"""At rest when no state moves by more than this of the supply in a decade of steps."""
SHARES = (0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
MOST_SOLUTIONS = 40


@dataclass(frozen=True, slots=True)
class RisingBias:
    """The way from switching on to rest: times (m,), s, and growth rate (m,), 1/s, of the leading pair of roots."""

    times: Floats
    growth: Floats

    @property
    def growth_times(self) -> float:
        """The largest number of growth times gathered in one piece (what decays in between is taken off)."""
        return float(self._gathered().max())

    @property
    def caught(self) -> float | None:
        """The time, s, at which NEEDED_GROWTH_TIMES are gathered; None where they never are."""
        reached = np.flatnonzero(self._gathered() >= NEEDED_GROWTH_TIMES)
        return float(self.times[reached[0]]) if reached.size else None

    def _gathered(self) -> Floats:
        total, row = 0.0, []
        for rate, step in zip(self.growth, np.diff(self.times, prepend=0.0), strict=True):
            total = max(0.0, total + float(rate) * float(step))
            row.append(total)
        return np.array(row)


def rising_bias(circuit: Drawable) -> RisingBias:
    """Return the way of the bias from switching on to rest. Raises ValueError where a step does not settle."""
    _, linear, ports = drawn(circuit)
    states, now, step = np.zeros(len(linear.names)), 0.0, FIRST_STEP
    times: list[float] = []
    rates: list[float] = []
    earlier = states
    while now < LONGEST:
        held = linear.capacitance / step
        companion = replace(linear, conductance=linear.conductance + held, source=linear.source + held @ states)
        states = solve(companion, ports, circuit.supply_voltage, states)
        now += step
        device = ports.evaluate(linear.ports.T @ states)
        capacitance = linear.capacitance + linear.ports @ device.capacitances[:, :, 0] @ linear.ports.T
        conductance = linear.conductance + linear.ports @ device.conductances[:, :, 0] @ linear.ports.T
        pair = leading_pair(characteristic_roots(capacitance, conductance))
        times.append(now)
        rates.append(-np.inf if pair is None else pair.real)
        if len(times) % 30 == 0:
            if float(np.max(np.abs(states - earlier))) < SETTLED * circuit.supply_voltage:
                break
            earlier = states
        step *= LENGTHENING
    return RisingBias(np.array(times), np.array(rates))


def catching_time(circuit: Drawable) -> float:
    """Return the time, s, at which an oscillation that does not grow from rest is large enough to hold itself.

    Raises ValueError where it never is.
    """
    caught = rising_bias(circuit).caught
    if caught is None:
        raise ValueError("start-up: the oscillation grows neither from rest nor while the supply rises")
    return caught


def followed_on(circuit: Drawable, solver: Solver) -> SteadyState:
    """Return the oscillation of a circuit that does not grow from rest, followed from a lower supply or base.

    Raises ValueError where the oscillation breaks off on the way.
    """
    last = ValueError("no oscillation is found with a lower supply or base")
    for lowered in (_lower_supply, _lower_base) if isinstance(circuit, OscillatorCircuit) else (_lower_supply,):
        for share in SHARES:
            try:
                state = solver(lowered(circuit, share), None)
            except ValueError as error:
                last = error
                continue
            try:
                return _raised(circuit, lowered, share, state, solver)
            except ValueError as error:
                last = error
                break
    raise last


def _lower_supply(circuit: Drawable, share: float) -> Drawable:
    assert isinstance(circuit, OscillatorCircuit | Drawing)
    return replace(circuit, supply_voltage=share * circuit.supply_voltage)


def _lower_base(circuit: Drawable, share: float) -> Drawable:
    assert isinstance(circuit, OscillatorCircuit)
    return replace(circuit, bias=replace(circuit.bias, upper_resistor=circuit.bias.upper_resistor / share))


def _raised(
    circuit: Drawable,
    lowered: Callable[[Drawable, float], Drawable],
    share: float,
    state: SteadyState,
    solver: Solver,
) -> SteadyState:
    """Return the oscillation followed from `share` to 1; a step that fails is halved."""
    step = 1.0 - share
    for _ in range(MOST_SOLUTIONS):
        target = min(1.0, share + step)
        try:
            state = solver(lowered(circuit, target) if target < 1.0 else circuit, state)
        except ValueError:
            step *= 0.5
            if step < 1e-3:
                raise
            continue
        if target == 1.0:
            return state
        share, step = target, 1.5 * step
    raise ValueError("the oscillation cannot be followed while the supply rises")
