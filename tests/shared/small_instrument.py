"""Invented capacitance curves and a small instrument, for tests that need no solved field.

Each curve holds 30 distances from 1 to 80 cm (the ring's to 60 cm) and falls evenly to what the antenna has alone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.tank import Tank
from models.volume.volume_antenna import VolumeAntenna

_DISTANCES, _HEIGHTS = np.geomspace(0.01, 0.8, 30), np.geomspace(0.01, 0.6, 30)
# As solved fields of a rod of half a metre run: the hand adds 0.5 pF at 5 cm.
ROD = CapacitanceCurve(_DISTANCES, 6.24e-12 + 0.033e-12 / (_DISTANCES + 0.015), 6.24e-12)
# Steeper than a rod: 1.7 pF at 5 cm, so that one plain tank sounds over several octaves.
STEEP = CapacitanceCurve(_DISTANCES, 8e-12 + 0.09e-12 / (_DISTANCES + 0.02) ** 1.1, 8e-12)
# A ring of some 25 cm under the other hand: 1.25 pF at 5 cm.
RING_CURVE = CapacitanceCurve(_HEIGHTS, 7.4e-12 + 0.1e-12 / (_HEIGHTS + 0.03), 7.4e-12)
RING = VolumeAntenna(RING_CURVE, Tank(2.2e-3, 61.58e-12), Tank(2.2e-3, 72e-12), ring_stray=3e-12)  # full at 25 cm


def make_instrument(zero_beat: float = 0.6, **changes: Any) -> Instrument:
    """The instrument with zero beat at a hand distance, m; `changes` to its fields. Some 0.8 kHz at 5 cm by default."""
    made = replace(Instrument(STEEP, Tank(820e-6, 300e-12), 3e5), **changes)
    if "reference_frequency" in changes:
        return made
    return replace(made, reference_frequency=float(made.variable_frequency(zero_beat)))


def tuned(zero_beat: float, branch: SeriesInductor = DIRECT, mode: str = "low", **values: float) -> Instrument:
    """A lower one, of 1 mH and 400 pF with 1 pF of stray at the antenna, tuned to zero beat at a hand distance, m."""
    loose = Instrument(STEEP, Tank(1e-3, 400e-12), 1.0, branch, antenna_stray=1e-12, mode=mode, **values)
    return replace(loose, reference_frequency=float(loose.variable_frequency(zero_beat)))
