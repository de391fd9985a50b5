"""Instruments and hands that the voice is measured with: invented, of the size of real ones."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.tank import Tank
from synth.comparisons.radio_rate import RATE

ZERO_BEAT = 0.6  # m
LOCK_RANGE = 40.0  # Hz, of the pulled cases


def example_curve() -> CapacitanceCurve:
    """A curve of a rod's size."""
    distances = np.geomspace(0.01, 0.8, 40)
    return CapacitanceCurve(distances, 8e-12 + 0.09e-12 / (distances + 0.02) ** 1.1, 8e-12)


def example_instrument(detector: Detector | None = None, lock_range: float = 0.0) -> Instrument:
    """A plain instrument about 300 kHz, zero beat at 60 cm, with this detector (default: product)."""
    plain = Instrument(example_curve(), Tank(820e-6, 300e-12), 3e5)
    tuned = replace(plain, reference_frequency=float(plain.variable_frequency(ZERO_BEAT)), lock_range=lock_range)
    return tuned if detector is None else replace(tuned, detector=detector)


def detectors() -> dict[str, Detector]:
    """One detector of each kind."""
    return {
        "product": Detector("product", 0.8),
        "square-law": Detector("square-law", 0.8),
        "envelope": Detector("envelope", 0.95),
        "junction": Detector("junction", 0.8, 4.0),
        "diode": Detector("diode", 0.9, amplitude=1.0, diode=DiodeLoad(radio_frequency=2.85e5)),
    }


def moving_hand(seconds: float, start: float = 0.30, end: float = 0.10) -> NDArray[np.float64]:
    """Distances, m, of a minimum-jerk reach with vibrato: beats from some 60 Hz to 700 Hz."""
    time = np.arange(round(seconds * RATE)) / RATE
    share = time / seconds
    reach = 10.0 * share**3 - 15.0 * share**4 + 6.0 * share**5
    return np.asarray(start + (end - start) * reach + 0.003 * np.sin(2.0 * math.pi * 6.5 * time))
