"""A mixer as it is drawn: named parts between named nodes, fed by two oscillators, and where its tone is taken.

Each oscillator reaches its node through its coupling capacitor and its output resistor. The swing behind them, at the
node where the oscillator's output is taken, is given: what the mixer's load does to it is in the oscillator, which
is solved with that load (models.circuit.drawing.Load). By Norton's theorem the swing u behind a coupling capacitor C
is a current C du/dt into the node behind it, with C from there to ground.
"""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes
from models.checks import positive
from models.circuit.drawing import Capacitance, Drawing, Part, Resistance
from models.circuit.network import GROUND
from models.quick_dataclass import dataclass

REFERENCE, VARIABLE = "reference", "variable"
SOURCES = (REFERENCE, VARIABLE)


@dataclass(frozen=True, slots=True)
class Source:
    """How an oscillator's output reaches the mixer: the node of the mixer, ohm, F."""

    node: str
    output_resistor: float = 47e3
    coupling_capacitor: float = 1e-9

    def __post_init__(self) -> None:
        positive("output resistor", self.output_resistor)
        positive("coupling capacitor", self.coupling_capacitor)

    def admittance(self, angular_frequency: ArrayLike) -> Complexes:
        """Return the admittance, S, of resistor and capacitor in series at rad/s > 0 (any shape)."""
        turning = 1j * np.asarray(angular_frequency, dtype=np.float64)
        return np.asarray(1.0 / (self.output_resistor + 1.0 / (turning * self.coupling_capacitor)))


@dataclass(frozen=True, slots=True)
class Mixer:
    """A whole mixer, SI units: its parts, its two sources, the node of its tone, and what supplies it."""

    parts: tuple[Part, ...]
    reference: Source
    variable: Source
    tone_node: str
    supply_voltage: float = 9.0
    supply_resistor: float = 100.0
    supply_capacitor: float = 1e-6

    def source(self, which: str) -> Source:
        """Return the "reference" or "variable" source."""
        return self.reference if which == REFERENCE else self.variable

    def drawing(self) -> Drawing:
        """Return it as a drawing, with what lies between the oscillators' outputs and its nodes."""
        fed: list[Part] = []
        for which in SOURCES:
            source = self.source(which)
            fed += [
                Part(f"output resistor, {which}", Resistance(source.output_resistor), (entry(which), source.node)),
                Part(f"coupling capacitor, {which}", Capacitance(source.coupling_capacitor), (entry(which), GROUND)),
            ]
        return Drawing(
            parts=(*self.parts, *fed),
            amplifier="",
            coil="",
            tank=(self.tone_node, GROUND),
            output_node=self.tone_node,
            supply_voltage=self.supply_voltage,
            supply_resistor=self.supply_resistor,
            supply_capacitor=self.supply_capacitor,
        )


def entry(which: str) -> str:
    """Return the name of the node between a source's coupling capacitor and its output resistor."""
    return f"coupled, {which}"


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """What both oscillators swing with: Hz of the reference, and the coefficients (K + 1,), V, of the swing where each
    output is taken (one-sided: u(t) = 2 Re sum over k of U_k exp(j k w t); k = 0 does not pass).
    """

    frequency: float
    reference: Complexes
    variable: Complexes = field(repr=False)

    def __post_init__(self) -> None:
        positive("frequency", self.frequency)

    def swing(self, which: str, harmonics: int) -> Complexes:
        """Return the coefficients (harmonics + 1,) of a source, those beyond its own zero."""
        own = self.reference if which == REFERENCE else self.variable
        row = np.zeros(harmonics + 1, dtype=np.complex128)
        kept = min(own.size, harmonics + 1)
        row[1:kept] = own[1:kept]
        return row


def sine(amplitude: float) -> Complexes:
    """Return the coefficients of a cosine of this peak, V, alone."""
    return np.array([0.0, 0.5 * amplitude], dtype=np.complex128)
