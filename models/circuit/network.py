"""A linear network with ports: C dx/dt + G x + A (i + dq/dt) = s, stamped part by part.

x holds node voltages, V, and inductor currents, A. A maps port currents to nodes; the port voltages are A^T x.
"""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from models.quick_dataclass import dataclass

GROUND = "ground"
SOURCE = "ideal supply"
"""The two nodes of known voltage: 0 V and the ideal supply."""


@dataclass(frozen=True, slots=True, eq=False)
class Resistor:
    """One loss: power = weight * (coefficients . x + offset)^2, W: weight in S of a voltage, or in ohm of a current."""

    name: str
    coefficients: Floats
    offset: float
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """The stamped matrices: capacitance (n, n), conductance (n, n), source (n,), ports (n, p).

    coils: the names of the states that are currents of inductors.
    """

    names: tuple[str, ...]
    capacitance: Floats
    conductance: Floats
    source: Floats
    ports: Floats
    resistors: tuple[Resistor, ...]
    coils: tuple[str, ...] = ()

    def index(self, name: str) -> int:
        """Return the position of a state in x."""
        return self.names.index(name)

    def unit(self, positive: str, negative: str = GROUND) -> Floats:
        """Return the row that takes the voltage of one node over another out of x."""
        row = np.zeros(len(self.names))
        for name, sign in ((positive, 1.0), (negative, -1.0)):
            if name != GROUND:
                row[self.index(name)] += sign
        return row


class NetworkBuilder:
    """Stamps parts into matrices; nodes are created when first named."""

    def __init__(self, source_voltage: float = 0.0) -> None:
        self._source_voltage = source_voltage
        self._names: list[str] = []
        self._resistors: list[tuple[str, str, str, float]] = []
        self._capacitors: list[tuple[str, str, float]] = []
        self._inductors: list[tuple[str, str, str, float, float]] = []
        self._ports: list[tuple[str, str]] = []
        self._conductances: list[tuple[str, str, float]] = []
        self._mutuals: list[tuple[str, str, float]] = []

    def _see(self, *nodes: str) -> None:
        for node in nodes:
            if node not in (GROUND, SOURCE) and node not in self._names:
                self._names.append(node)

    def resistor(self, name: str, first: str, second: str, resistance: float) -> None:
        """Add a resistor, ohm, between two nodes."""
        self._see(first, second)
        self._resistors.append((name, first, second, 1.0 / resistance))

    def conductance(self, first: str, second: str, conductance: float) -> None:
        """Add a conductance, S, between two nodes that is no part and counts as no loss."""
        self._see(first, second)
        self._conductances.append((first, second, conductance))

    def capacitor(self, first: str, second: str, capacitance: float) -> None:
        """Add a capacitor, F, between two nodes (neither of them the source)."""
        self._see(first, second)
        self._capacitors.append((first, second, capacitance))

    def inductor(self, name: str, first: str, second: str, inductance: float, resistance: float) -> None:
        """Add an inductor, H, with a series resistance, ohm; its current is the state `name` (first to second)."""
        self._see(first, second)
        self._inductors.append((name, first, second, inductance, resistance))

    def mutual(self, first: str, second: str, inductance: float) -> None:
        """Add a mutual inductance, H, between two inductors by the names of their currents."""
        self._mutuals.append((first, second, inductance))

    def port(self, first: str, second: str) -> None:
        """Add a port whose device current flows from the first node to the second."""
        self._see(first, second)
        self._ports.append((first, second))

    def build(self) -> Network:
        """Return the finished network."""
        names = (*self._names, *(part[0] for part in self._inductors))
        size = len(names)
        place = {name: position for position, name in enumerate(names)}
        capacitance, conductance, source = np.zeros((size, size)), np.zeros((size, size)), np.zeros(size)

        def row(first: str, second: str) -> tuple[Floats, float]:
            vector, offset = np.zeros(size), 0.0
            for node, sign in ((first, 1.0), (second, -1.0)):
                if node == SOURCE:
                    offset += sign * self._source_voltage
                elif node != GROUND:
                    vector[place[node]] += sign
            return vector, offset

        def stamp(matrix: Floats, first: str, second: str, value: float) -> None:
            if first == second:
                return
            ends = [(place[node], sign) for node, sign in ((first, 1.0), (second, -1.0)) if node in place]
            for one, sign in ends:
                for other, turned in ends:
                    matrix[one, other] += sign * turned * value

        losses = []
        for name, first, second, value in self._resistors:
            vector, offset = row(first, second)
            stamp(conductance, first, second, value)
            if offset:
                source -= value * offset * vector
            losses.append(Resistor(name, vector, offset, value))
        for first, second, value in self._conductances:
            stamp(conductance, first, second, value)
        for first, second, value in self._capacitors:
            stamp(capacitance, first, second, value)
        for name, first, second, inductance, resistance in self._inductors:
            vector, offset = row(first, second)
            current = place[name]
            capacitance[current, current] = inductance
            conductance[current, current] = resistance
            conductance[current] -= vector
            conductance[:, current] += vector
            source[current] += offset
            own = np.zeros(size)
            own[current] = 1.0
            losses.append(Resistor(name, own, 0.0, resistance))
        for one, other, inductance in self._mutuals:
            capacitance[place[one], place[other]] += inductance
            capacitance[place[other], place[one]] += inductance
        ports = np.zeros((size, len(self._ports)))
        for column, (first, second) in enumerate(self._ports):
            ports[:, column] = row(first, second)[0]
        return Network(
            names, capacitance, conductance, source, ports, tuple(losses), tuple(part[0] for part in self._inductors)
        )
