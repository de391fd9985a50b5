"""From a design to its drift with temperature: coefficients, the law that follows them, the notes followed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from models.bench.build_law import QUANTITIES
from models.drift import Coefficients, DriftLaw
from synth.bench.tolerance import nominal_values, trial_of
from synth.designs.sections import TemperatureSection
from synth.workbench import Workpiece

Floats = NDArray[np.float64]


def temperature_of(workpiece: Workpiece) -> TemperatureSection:
    """The temperature section of the design, or its defaults."""
    return workpiece.design.temperature or TemperatureSection()


def coefficients_of(part: TemperatureSection, mismatch: float = 1.0) -> Coefficients:
    """Coefficients of a section with `mismatch` times what is stated added to the reference's: 0 is ideal tracking."""
    return Coefficients(
        variable_coil=part.coil,
        variable_capacitor=part.capacitor,
        reference_coil=part.coil + mismatch * part.coil_mismatch,
        reference_capacitor=part.capacitor + mismatch * part.capacitor_mismatch,
        stray=part.stray,
        branch_coil=part.branch_coil,
        antenna_stray=part.antenna_stray,
    )


def drift_law(workpiece: Workpiece, mismatch: float, note_distances: Floats) -> DriftLaw:
    """The law of a design's drift; DesignError as for `trial_of`."""
    values = nominal_values(workpiece)
    row = np.array([values[quantity] for quantity in QUANTITIES])
    coefficients = coefficients_of(temperature_of(workpiece), mismatch)
    return DriftLaw(trial_of(workpiece).law, row, coefficients, note_distances)
