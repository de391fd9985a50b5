"""A small invented instrument on a plain capacitance curve, for tests that need no solved field, and a ring for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.tank import Tank
from models.volume.volume_antenna import VolumeAntenna

_DISTANCES, _HEIGHTS = np.geomspace(0.01, 0.8, 20), np.geomspace(0.01, 0.6, 20)
_CURVE = CapacitanceCurve(_DISTANCES, 6.3e-12 + 0.35e-12 / (_DISTANCES + 0.01) ** 0.9, 6.3e-12)
_RING_CURVE = CapacitanceCurve(_HEIGHTS, 7.4e-12 + 0.1e-12 / (_HEIGHTS + 0.03), 7.4e-12)
RING = VolumeAntenna(_RING_CURVE, Tank(2.2e-3, 61.58e-12), Tank(2.2e-3, 72e-12), ring_stray=3e-12)  # full at 25 cm


def make_instrument(zero_beat: float = 0.5, **changes: Any) -> Instrument:
    """The instrument with zero beat at a hand distance, m; `changes` to its fields. Some 1.3 kHz at 5 cm by default."""
    tank = Tank(inductance=820e-6, capacitance=400e-12)
    reference = float(Instrument(_CURVE, tank, 1e5).variable_frequency(zero_beat))
    return Instrument(_CURVE, tank, reference, **changes)
