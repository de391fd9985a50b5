"""Where the fit of bench readings starts: the linear equations that a tank obeys, solved directly."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from models.arrays import Floats
from models.branch.modes import branch_load
from models.readings.tank_model import PICO, UNKNOWNS, ReadingModel, ReadingSet

ANTENNA_STRAYS: Final = np.concatenate([np.linspace(0.0, 10.0, 41), np.linspace(11.0, 50.0, 40)])
"""pF."""


def search_start(given: ReadingSet, model: ReadingModel, free: tuple[str, ...]) -> Floats:
    """Where the search starts: behind a branch, the best of a row of values of the antenna's stray."""
    values = np.zeros(len(UNKNOWNS))
    for name, known in given.known.items():
        values[UNKNOWNS.index(name)] = math.log(known.value) if name == "inductance" else known.value / PICO
    if "antenna_stray" not in free or given.surroundings.branch_inductance == 0.0 or "antenna_stray" in given.known:
        return _linear_start(given, model, free, values)[1]
    rest, tried = tuple(name for name in free if name != "antenna_stray"), []
    for stray in ANTENNA_STRAYS:
        values[-1] = stray
        try:
            tried.append(_linear_start(given, model, rest, values.copy()))
        except ValueError as error:
            refused = error
    if not tried:
        raise refused
    return min(tried, key=lambda attempt: attempt[0])[1]


def _linear_start(
    given: ReadingSet, model: ReadingModel, free: tuple[str, ...], values: Floats
) -> tuple[float, Floats]:
    """Misfit and solution of the linear equations that a tank obeys whose antenna is known or straight across it.

    1 / omega^2 = L C_known + (L stray) + (L T0) (1 - s) + ...: linear in L and the products; a known antenna behind
    its branch counts with the capacitance it shows at the frequency read. Each row is divided by its left side.
    """
    around = given.surroundings
    squared = (2.0 * math.pi * np.array([reading.frequency for reading in given.readings], dtype=np.float64)) ** 2
    antenna = model.antenna + (values[-1] if around.branch_inductance else 0.0)
    farads, own = antenna * model.plugged * PICO, around.branch_self_capacitance
    load = branch_load(squared, around.branch_inductance * model.plugged, farads, own) / PICO
    beside = np.zeros_like(model.plugged) if around.branch_inductance else model.plugged
    shares = np.column_stack([model.shares, beside])
    certain = model.fitted + load + shares @ values[1:]
    sought = [UNKNOWNS.index(name) for name in free if name not in ("inductance", *given.known)]
    columns = shares[:, [index - 1 for index in sought]]
    if "inductance" in given.known:
        missing = 1.0 / squared / math.exp(values[0]) / PICO - certain
        values[sought] = np.linalg.lstsq(columns, missing, rcond=1e-9)[0]
        return float(np.sum((missing - columns @ values[sought]) ** 2)), values
    rows = np.column_stack([certain, columns]) * (squared * 1e-15)[:, None]
    if np.linalg.matrix_rank(rows[:, 1:], 1e-9) == np.linalg.matrix_rank(rows, 1e-9):  # any inductance does: 1 mH
        rest = np.ones(len(squared)) - rows[:, 0]
        values[0], found = math.log(1e-3), np.linalg.lstsq(rows[:, 1:], rest, rcond=1e-9)[0]
        values[sought] = found
        return float(np.sum((rest - rows[:, 1:] @ found) ** 2)), values
    found = np.linalg.lstsq(rows, np.ones(len(squared)), rcond=1e-9)[0]
    if found[0] <= 0.0:
        raise ValueError("the larger capacitance must give the lower frequency; check the readings")
    values[0] = math.log(found[0] * 1e-15 / PICO)
    values[sought] = found[1:] / found[0]
    return float(np.sum((rows @ found - 1.0) ** 2)), values
