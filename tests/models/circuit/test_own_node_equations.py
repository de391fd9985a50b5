"""A Clapp oscillator with a junction field-effect transistor, drawn by us, against node equations written out here once
more: device equations of their own in plain numbers, scipy's LSODA, no part of the program's network or devices."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from models.circuit.drawing import Capacitance, Coil, Drawing, Part, Resistance
from models.circuit.field_effect import FieldEffect
from models.circuit.oscillator import steady_state

INDUCTANCE, OHM, TANK = 1e-3, 20.0, 280e-12
SERIES, UPPER, LOWER = 150e-12, 680e-12, 560e-12
LEAK, SOURCE = 330e3, 3.3e3
SUPPLY, FEED, DECOUPLED = 12.0, 100.0, 0.1e-6
PINCH_OFF, FACTOR, SLOPE, GATE, POTENTIAL, GRADING, SATURATION = 2.0, 1.3e-3, 0.01, 4e-12, 0.8, 0.45, 1e-14
THERMAL = 1.380649e-23 * 300.0 / 1.602176634e-19  # V, constants of the SI
CYCLES, POINTS = 30, 256


def drawing() -> Drawing:
    parts = (
        Part("coil", Coil(INDUCTANCE, OHM), ("ground", "hot")),
        Part("tuning", Capacitance(TANK), ("hot", "ground")),
        Part("series", Capacitance(SERIES), ("hot", "gate")),
        Part("leak", Resistance(LEAK), ("gate", "ground")),
        Part("upper", Capacitance(UPPER), ("gate", "source")),
        Part("lower", Capacitance(LOWER), ("source", "ground")),
        Part("source resistor", Resistance(SOURCE), ("source", "ground")),
        Part("transistor", FieldEffect(), ("gate", "supply", "source")),
    )
    return Drawing(
        parts,
        amplifier="transistor",
        coil="coil",
        capacitor="tuning",
        tank=("hot", "ground"),
        output_node="source",
        supply_voltage=SUPPLY,
        supply_resistor=FEED,
        supply_capacitor=DECOUPLED,
    )


def junction(voltage: float) -> tuple[float, float]:
    """Current, A, and capacitance, F, of a gate junction: exponential; a tangent beyond half the potential."""
    current = SATURATION * math.expm1(voltage / THERMAL)
    ratio = voltage / POTENTIAL
    below = min(ratio, 0.5)
    return current, GATE * (1.0 - below) ** -GRADING * (1.0 + GRADING * (ratio - below) / (1.0 - below))


def slopes(_: float, state: np.ndarray) -> np.ndarray:
    """Of the volts at hot, gate, source and supply, and of the coil's current from ground to hot."""
    hot, gate, source, supply, coil = state.tolist()
    soft = 2.0 * THERMAL
    open_source, open_drain = (soft * np.logaddexp(0.0, (gate - end + PINCH_OFF) / soft) for end in (source, supply))
    drain = FACTOR * (open_source**2 - open_drain**2) * (1.0 + SLOPE * abs(supply - source))
    (to_source, at_source), (to_drain, at_drain) = junction(gate - source), junction(gate - supply)
    into = np.array(
        [
            coil,
            -gate / LEAK - to_source - to_drain,
            drain + to_source - source / SOURCE,
            (SUPPLY - supply) / FEED - drain + to_drain,
        ]
    )
    held = UPPER + at_source
    capacitance = np.array(
        [
            [TANK + SERIES, -SERIES, 0.0, 0.0],
            [-SERIES, SERIES + held + at_drain, -held, -at_drain],
            [0.0, -held, held + LOWER, 0.0],
            [0.0, -at_drain, 0.0, at_drain + DECOUPLED],
        ]
    )
    return np.append(np.linalg.solve(capacitance, into), (-hot - OHM * coil) / INDUCTANCE)


@pytest.mark.slow
def test_node_equations_of_our_own_go_on_with_the_steady_oscillation() -> None:
    """20 ppm in frequency and 1 % in amplitude are asked for; both meet far closer."""
    state = steady_state(drawing())
    rows = {node: state.coefficients(node) for node in ("hot", "gate", "source", "supply")}
    order = np.arange(rows["hot"].size)
    rows["coil"] = -rows["hot"] / (OHM + 2j * math.pi * state.frequency * order * INDUCTANCE)
    begin = [row[0].real + 2.0 * row[1:].sum().real for row in rows.values()]
    times = np.linspace(0.0, CYCLES / state.frequency, CYCLES * POINTS + 1)
    found = solve_ivp(slopes, (0.0, times[-1]), begin, "LSODA", times, rtol=1e-9, atol=1e-11, max_step=times[8])
    hot = found.y[0]
    upward = np.flatnonzero((hot[:-1] < 0.0) & (hot[1:] >= 0.0))
    crossings = times[upward] - hot[upward] * np.diff(times)[0] / (hot[upward + 1] - hot[upward])
    frequency = (len(crossings) - 1) / (crossings[-1] - crossings[0])
    assert_allclose(frequency, state.frequency, rtol=1e-6)
    for place, node in enumerate(("hot", "gate", "source")):
        assert_allclose(np.ptp(found.y[place, -5 * POINTS :]), state.peak_to_peak(node), rtol=1e-3)
