"""A Colpitts oscillator with a triode, drawn by us, against node equations written out here once more: the triode's law
in plain numbers, scipy's DOP853, no part of the program's network or devices."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from models.circuit.drawing import Capacitance, Coil, Drawing, Part, Resistance
from models.circuit.oscillator import steady_state
from models.circuit.triode import Triode

NODES = ("hot", "feed", "anode", "grid", "cathode", "supply")
INDUCTANCE, OHM, BLEEDER = 1e-3, 20.0, 1e6
ANODE_RESISTOR, LEAK, CATHODE_RESISTOR, SUPPLY, FEED = 22e3, 220e3, 1e3, 90.0, 1e3
CAPACITORS = (
    ("hot", "feed", 8e-12),
    ("hot", "ground", 330e-12),
    ("anode", "ground", 680e-12),
    ("anode", "feed", 10e-9),
    ("hot", "grid", 100e-12),
    ("cathode", "ground", 22e-9),
    ("supply", "ground", 0.1e-6),
    ("grid", "anode", 3e-12),
    ("grid", "cathode", 3e-12),
    ("anode", "cathode", 1e-12),
)
"""The coil's own, five drawn, the supply's, and the three of the tube."""
AMPLIFICATION, PERVEANCE, GRID_PERVEANCE, SOFT, KNEE = 20.0, 1.2e-3, 3e-4, 0.2, 5.0
CYCLES = 20


def drawing() -> Drawing:
    parts = (
        Part("coil", Coil(INDUCTANCE, OHM, 8e-12), ("hot", "feed")),
        Part("tuning", Capacitance(330e-12), ("hot", "ground")),
        Part("lower", Capacitance(680e-12), ("anode", "ground")),
        Part("block", Capacitance(10e-9), ("anode", "feed")),
        Part("bleeder", Resistance(BLEEDER), ("hot", "ground")),
        Part("anode resistor", Resistance(ANODE_RESISTOR), ("supply", "anode")),
        Part("grid capacitor", Capacitance(100e-12), ("hot", "grid")),
        Part("grid leak", Resistance(LEAK), ("grid", "ground")),
        Part("cathode resistor", Resistance(CATHODE_RESISTOR), ("cathode", "ground")),
        Part("cathode capacitor", Capacitance(22e-9), ("cathode", "ground")),
        Part("tube", Triode(), ("grid", "anode", "cathode")),
    )
    return Drawing(
        parts,
        amplifier="tube",
        coil="coil",
        capacitor="tuning",
        tank=("hot", "ground"),
        output_node="cathode",
        supply_voltage=SUPPLY,
        supply_resistor=FEED,
        supply_capacitor=0.1e-6,
    )


def capacitance() -> np.ndarray:
    """Node capacitance matrix, F."""
    matrix = np.zeros((6, 6))
    for first, second, farad in CAPACITORS:
        ends = [NODES.index(end) for end in (first, second) if end != "ground"]
        matrix[ends, ends] += farad
        if len(ends) == 2:
            matrix[ends, ends[::-1]] -= farad
    return matrix


INVERSE = np.linalg.inv(capacitance())


def soft(drive: float) -> float:
    """Return d ln(1 + exp(x / d)), V."""
    return max(drive, 0.0) + SOFT * math.log1p(math.exp(-abs(drive) / SOFT))


def slopes(_: float, state: np.ndarray) -> np.ndarray:
    """Of the volts at NODES, and of the coil's current from hot to feed."""
    hot, feed, anode, grid, cathode, supply, coil = state.tolist()
    reached = (max(anode - cathode, 0.0) / KNEE) ** 4
    space = soft(grid - cathode + (anode - cathode) / AMPLIFICATION) ** 1.5
    tube = PERVEANCE * space * reached / (1.0 + reached)
    to_grid = GRID_PERVEANCE * soft(grid - cathode) ** 1.5
    through = (supply - anode) / ANODE_RESISTOR
    into = np.array(
        [
            -coil - hot / BLEEDER,
            coil,
            through - tube,
            -grid / LEAK - to_grid,
            tube + to_grid - cathode / CATHODE_RESISTOR,
            (SUPPLY - supply) / FEED - through,
        ]
    )
    return np.append(INVERSE @ into, (hot - feed - OHM * coil) / INDUCTANCE)


@pytest.mark.slow
def test_triode_equations_of_our_own_go_on_with_the_steady_oscillation() -> None:
    """With 32 harmonics, where the doubling of `steady_state` ends, the frequency is 0.15 ppm off."""
    state = steady_state(drawing(), harmonics=64)
    begin = [2.0 * state.coefficients(node).real.sum() - state.coefficients(node)[0].real for node in (*NODES, "coil")]
    rising = lambda _, state: state[0]  # noqa: E731
    rising.direction = 1.0  # type: ignore[attr-defined]
    span = (0.0, CYCLES / state.frequency)
    found = solve_ivp(slopes, span, begin, "DOP853", rtol=1e-10, atol=1e-10, events=rising)
    crossings = found.t_events[0]
    assert len(crossings) == CYCLES
    assert_allclose((CYCLES - 1) / (crossings[-1] - crossings[0]), state.frequency, rtol=1e-8)
    assert_allclose(found.y[:, -1], begin, rtol=0.0, atol=1e-4)
