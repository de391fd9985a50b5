"""From a design to its drift with temperature: coefficients, the law that follows them, the notes followed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.builds.drift import Coefficients, DriftLaw, TransistorDrift
from models.builds.tuned_builds import QUANTITIES
from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.warm_transistor import warmed
from synth.analysis.tolerance import nominal_values, trial_of
from synth.build.circuit_assembly import blaming
from synth.build.workbench import OpenedDesign
from synth.designs.sections import TemperatureSection

Floats = NDArray[np.float64]


def temperature_of(workpiece: OpenedDesign) -> TemperatureSection:
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


def transistor_drift(workpiece: OpenedDesign, note_distances: Floats, rise: float) -> TransistorDrift | None:
    """What transistors `rise` K warmer do to both oscillators of a solved design, both alike, all other parts as they
    are: each is solved as written and warm, hand at zero beat and at the notes (m). None without a [circuit].
    """
    design, instrument = workpiece.design, workpiece.instrument
    zero_beat = design.tuning.zero_beat
    if design.law != "circuit" or zero_beat is None:
        return None
    gain = temperature_of(workpiece).gain

    def slope(circuit: OscillatorCircuit, which: str, near: float) -> float:
        with blaming(design, which):
            cold = steady_state(circuit, near_frequency=near)
            warm = replace(circuit, transistor=warmed(circuit.transistor, rise, gain))
            after = steady_state(warm, warm_start=cold, near_frequency=cold.frequency)
        return (after.frequency - cold.frequency) / rise

    found = []
    for distance in (zero_beat, *note_distances.tolist()):
        capacitance = float(instrument.antenna_capacitance(distance))
        loaded = workpiece.loaded_variable(capacitance)
        found.append(slope(loaded, "variable", float(instrument.frequency_with(capacitance))))
    reference = slope(workpiece.tuned_reference, "reference", instrument.reference_frequency)
    return TransistorDrift(reference, np.array(found))


def drift_law(
    workpiece: OpenedDesign, mismatch: float, note_distances: Floats, transistors: TransistorDrift | None = None
) -> DriftLaw:
    """The law of a design's drift; DesignError as for `trial_of`."""
    values = nominal_values(workpiece)
    row = np.array([values[quantity] for quantity in QUANTITIES])
    coefficients = coefficients_of(temperature_of(workpiece), mismatch)
    return DriftLaw(trial_of(workpiece).law, row, coefficients, note_distances, transistors)
