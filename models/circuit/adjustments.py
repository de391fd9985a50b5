"""What the adjustments and the load do to the oscillator: pot, trimmers, load; each solved from its neighbour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.circuit.common_base import Load, OscillatorCircuit
from models.circuit.operating_point import operating_point
from models.circuit.oscillator import SteadyState, steady_state
from models.junction import depletion_capacitance

POT_POSITIONS = tuple(step / 10.0 for step in range(11))
FROZEN_GRADING = 1e-9


def pot_sweep(
    circuit: OscillatorCircuit, positions: Sequence[float] = POT_POSITIONS
) -> tuple[NDArray[np.float64], tuple[SteadyState, ...]]:
    """Return the positions (n,) and the steady states with the fine-tune pot there.

    The frequency moves for several reasons at once: the collector junction's capacitance follows its reverse voltage
    (higher base: more capacitance, lower frequency), and the current changes drive, pulse shape and the phase at the
    emitter. `constant_collector_junction` takes the first away to tell them apart.
    """
    states: list[SteadyState] = []
    for position in positions:
        turned = replace(circuit, bias=replace(circuit.bias, position=position))
        states.append(steady_state(turned, warm_start=states[-1] if states else None))
    return np.array(positions, dtype=np.float64), tuple(states)


def constant_collector_junction(circuit: OscillatorCircuit) -> OscillatorCircuit:
    """Return the circuit with the collector junction's depletion capacitance fixed at its value at rest."""
    junction = circuit.transistor.collector_junction
    voltage = operating_point(circuit).port_voltages[1]
    fixed = depletion_capacitance(
        voltage, junction.zero_bias_capacitance, junction.potential, junction.grading, junction.knee
    )
    frozen = replace(junction, zero_bias_capacitance=float(fixed), grading=FROZEN_GRADING)
    return replace(circuit, transistor=replace(circuit.transistor, collector_junction=frozen))


def trimmed(circuit: OscillatorCircuit, setting: float) -> OscillatorCircuit:
    """Return the circuit with every trimmer at `setting` (0..1)."""
    return replace(circuit, trimmers=tuple(replace(trimmer, setting=setting) for trimmer in circuit.trimmers))


def trimmer_coverage(circuit: OscillatorCircuit) -> tuple[SteadyState, SteadyState, SteadyState]:
    """Return the steady states with all trimmers at minimum, half and maximum capacitance (falling frequency)."""
    low = steady_state(trimmed(circuit, 0.0))
    middle = steady_state(trimmed(circuit, 0.5), warm_start=low)
    return low, middle, steady_state(trimmed(circuit, 1.0), warm_start=middle)


@dataclass(frozen=True, slots=True)
class LoadEffect:
    """What a load does: frequency shift, Hz (loaded less unloaded), and both states."""

    frequency_shift: float
    unloaded: SteadyState
    loaded: SteadyState


def load_effect(circuit: OscillatorCircuit, load: Load | None = None) -> LoadEffect:
    """Return the effect of `load` (default: the circuit's own, or a default load) at the output resistor."""
    unloaded = steady_state(replace(circuit, load=None))
    loaded = steady_state(replace(circuit, load=load or circuit.load or Load()))
    return LoadEffect(loaded.frequency - unloaded.frequency, unloaded, loaded)
