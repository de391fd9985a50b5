"""From switching on to rest: how much an oscillation can grow on the way, and from what.

Where the current at rest is so high that the emitter shorts the feedback (or the transistor saturates), an oscillation
may still be there: while the bias comes up the circuit passes through a window in which it grows, and a large
oscillation then holds itself. `rising_bias` follows the slow states after the supply steps up at t = 0, each
decoupling with its own time constant, by the implicit Euler rule in steps from a fraction of a cycle to many (it damps
the tank), and sums up the growth of the fastest growing pair of roots along it. What grows is the tank's thermal noise
or, where that is larger, what is left of the ringing of the supply's step. A swing that stays small beside the thermal
voltage can hold nothing; whether a larger one lasts is told by its envelope (models.circuit.envelope).
Neglected on the slow way: the charges of the junctions, and that the growing oscillation shifts the bias.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.circuit.drawing import Drawable, drawn
from models.circuit.operating_point import solve
from models.circuit.resonance import natural_frequency, ringing_capacitance
from models.circuit.small_signal import linearised
from models.circuit.start_threshold import characteristic_roots, leading_pair, mode_shape
from models.constants import BOLTZMANN
from models.quick_dataclass import dataclass

FIRST_STEP = 1e-6
LENGTHENING = 1.08
"""Each step is longer than the one before by this: some 30 steps a decade of time."""
LONGEST = 1.0
"""The slow way is followed for at most so long, s."""
SETTLED = 1e-6
"""At rest when no state moves by more than this of the supply in a decade of steps."""
LINEAR = 1e-3
"""Peak of the tank's fundamental, V, below which the oscillation is small beside the thermal voltage."""
LOW_NOISE, HIGH_NOISE = 0.1, 2.146
"""Thermal noise is smaller than the one of these times its root mean square in 1 % of all cases, larger than the other
in 1 %: the peak of a narrow band of noise exceeds x times it with the probability exp(-x^2) (Rayleigh's distribution).
"""


def thermal_swing(circuit: Drawable) -> float:
    """Return the peak voltage, V, of the tank's thermal noise (root mean square of the slowly wandering peak).

    Its energy is k T (equipartition, two halves of it).  C V^2 / 2 = k T
    """
    return math.sqrt(2.0 * BOLTZMANN * circuit.drawing().temperature / ringing_capacitance(circuit))


def step_swing(circuit: Drawable) -> float:
    """Return the largest peak voltage, V, that the supply's step can leave ringing in the tank.

    Symbols: U supply, w tank's angular frequency, t time constant of supply resistor and capacitor: the tank is driven
    by a voltage that rises as U (1 - exp(-time / t)), and rings with U / sqrt(1 + (w t)^2).
    """
    omega, drawing = 2.0 * math.pi * natural_frequency(circuit), circuit.drawing()
    return circuit.supply_voltage / math.hypot(1.0, omega * drawing.supply_resistor * drawing.supply_capacitor)


@dataclass(frozen=True, slots=True, eq=False)
class RisingBias:
    """The way from switching on to rest: times (m,), s, and growth rate (m,), 1/s, of the leading pair of roots.

    states (m, n): the slow states there, V and A.
    """

    times: Floats
    growth: Floats
    states: Floats

    @property
    def growth_times(self) -> float:
        """The largest number of growth times gathered in one piece (what decays in between is taken off)."""
        return float(self._gathered(0.0).max())

    def largest_swing(self, step: float, floor: float) -> float:
        """Return the largest peak, V, while it grows, linearly, from a ringing of `step`, V, never below `floor`, V."""
        grown = self._gathered(max(0.0, math.log(step / floor)))[self.growth > 0.0]
        return floor * math.exp(min(700.0, float(grown.max()))) if grown.size else floor

    def opening(self) -> int | None:
        """Return the place from which most growth is gathered in one piece; None where it never grows."""
        gathered = self._gathered(0.0)
        if gathered.max() <= 0.0:
            return None
        quiet = np.flatnonzero(gathered[: int(np.argmax(gathered))] == 0.0)
        return int(quiet[-1]) + 1 if quiet.size else 0

    def gathers(self, growth_times: float) -> float:
        """Return the time, s, at which so many growth times are gathered in one piece, the last growth going on beyond
        the end of the way: infinite where that is none."""
        gathered = self._gathered(0.0)
        if gathered.max() >= growth_times:
            return float(self.times[int(np.argmax(gathered >= growth_times))])
        last = float(self.growth[-1])
        return float(self.times[-1]) + (growth_times - float(gathered[-1])) / last if last > 0.0 else math.inf

    def _gathered(self, begin: float) -> Floats:
        total, row = begin, []
        for rate, step in zip(self.growth, np.diff(self.times, prepend=0.0), strict=True):
            total = max(0.0, total + float(rate) * float(step))
            row.append(total)
        return np.array(row)


def rising_bias(circuit: Drawable, longest: float = LONGEST) -> RisingBias:
    """Return the way of the bias from switching on to rest, or for `longest`, s.

    Raises ValueError where a step does not settle.
    """
    _, linear, ports = drawn(circuit)
    states, now, step = np.zeros(len(linear.names)), 0.0, FIRST_STEP
    times: list[float] = []
    rates: list[float] = []
    row: list[Floats] = []
    while now < longest:
        held = linear.capacitance / step
        companion = replace(linear, conductance=linear.conductance + held, source=linear.source + held @ states)
        states = solve(companion, ports, circuit.supply_voltage, states)
        now += step
        pair = leading_pair(characteristic_roots(*linearised(linear, ports, linear.ports.T @ states)))
        times.append(now)
        rates.append(-np.inf if pair is None else pair.real)
        row.append(states)
        if len(times) % 30 == 0:
            before = row[-31] if len(row) > 30 else np.zeros_like(states)
            if float(np.max(np.abs(states - before))) < SETTLED * circuit.supply_voltage:
                break
        step *= LENGTHENING
    return RisingBias(np.array(times), np.array(rates), np.array(row))


def thermal_kick(circuit: Drawable, longest: float) -> tuple[float, Floats] | None:
    """Return the time, s, at which the window of growth opens, and the states (n,) of the tank's thermal swing there.

    None where no window opens within `longest`, s. The mode that grows most is taken, at the moment of its peak.
    """
    way = rising_bias(circuit, longest)
    place = way.opening()
    if place is None:
        return None
    drawing, linear, ports = drawn(circuit)
    capacitance, conductance = linearised(linear, ports, linear.ports.T @ way.states[place])
    pair = leading_pair(characteristic_roots(capacitance, conductance))
    if pair is None:
        return None
    shape = mode_shape(capacitance, conductance, pair)
    across = linear.unit(*drawing.tank) @ shape
    return float(way.times[place]), np.asarray((shape / across).real * thermal_swing(circuit))
