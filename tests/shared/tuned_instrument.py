"""An invented instrument tuned to zero beat at a place asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.tank import Tank

DISTANCES = np.geomspace(0.01, 0.80, 40)
CURVE = CapacitanceCurve(DISTANCES, 6.25e-12 + 0.8e-12 * (0.1 / DISTANCES) ** 1.2, 6.2e-12)
TANK = Tank(1e-3, 400e-12)


def tuned(zero_beat: float, branch: SeriesInductor = DIRECT, mode: str = "low", **values: float) -> Instrument:
    """An instrument whose reference equals the variable oscillator with the hand at `zero_beat` m."""
    loose = Instrument(CURVE, TANK, 1.0, branch, antenna_stray=1e-12, mode=mode, **values)
    return replace(loose, reference_frequency=float(loose.variable_frequency(zero_beat)))
