"""From a design to what leaks between its two oscillators: the coupling, and the lock range without circuits."""

from __future__ import annotations

from models.branch.antenna_branch import SeriesInductor
from models.circuit.coupled import Coupling
from models.injection import OutputCoupling, effective_capacitance, lock_range
from models.mutual_inductance import Axes, Coil, coil_coupling
from synth.build.circuit_assembly import TunedPair, same_keys, tap_of
from synth.build.notices import coil_turns_notice, resonances_notice
from synth.designs.sections import Design
from synth.errors import DesignError, at_place

COIL_MISMATCH = 0.2
"""Relative difference between a coil's stated inductance and that of a single layer of its stated turns, above which
it is told."""
STRONG_COUPLING = 0.3  # of half the tanks' bandwidth: beyond, the formula of two resonances is rough


def coupling_of(design: Design) -> Coupling:
    """What leaks between the two circuits of a design."""
    factor = coil_coupling_of(design)
    try:
        node = design.detector.parts is None
        return Coupling(common_node=node, **same_keys(Coupling, design.coupling) | {"coil_coupling": factor})
    except ValueError as error:
        raise at_place(design.place, error, "[coupling]: ") from error


def coils_of(design: Design) -> tuple[Coil, Coil] | None:
    """The reference's and the variable oscillator's coil, with the inductances of their tanks; None without [coils]."""
    part = design.coils
    if part is None:
        return None
    return (
        Coil(part.reference_diameter, part.reference_length, part.reference_turns, design.reference.inductance),
        Coil(part.variable_diameter, part.variable_length, part.variable_turns, design.variable.inductance),
    )


def coil_coupling_of(design: Design) -> float:
    """The coupling factor of the two tank coils, as given or by where they stand. DesignError where they overlap."""
    part, coils = design.coils, coils_of(design)
    if part is None or coils is None:
        return design.coupling.coil_coupling
    try:
        return coil_coupling(*coils, *Axes(part.axes).placed(part.distance))
    except ValueError as error:
        raise DesignError(f"{design.place}: coils.distance: {error}; put the coils farther apart") from error


def coil_notices(design: Design) -> tuple[str, ...]:
    """What to say of coils whose stated turns do not make the inductance of their tank in a single layer."""
    found = []
    for which, coil in zip(("reference", "variable"), coils_of(design) or (), strict=False):
        stated = coil.inductance or 0.0
        if abs(coil.sheet_inductance - stated) > COIL_MISMATCH * stated:
            found.append(coil_turns_notice(which, coil.winding, coil.sheet_inductance, stated))
    return tuple(found)


def lossless_lock_range(
    design: Design, pair: TunedPair, branch: SeriesInductor, capacitance: float
) -> tuple[float, tuple[str, ...]]:
    """The lock range of two resonances without circuits, Hz, by their output resistors, with `capacitance` (F) at the
    antenna.

    Second, what to say about it: how far whole circuits are from it, and where the coupling is too strong for it.

    detector.amplitude_ratio is taken as variable over reference at the common node, where each arrives in inverse
    proportion to its resistor; so at the outputs it is that times the ratio of the resistors.
    """
    part = design.coupling
    parts = OutputCoupling(part.reference_resistor, part.variable_resistor, part.node_resistance, part.node_capacitance)
    variable, reference, frequency = pair.variable, pair.reference, pair.reference_frequency
    seen = effective_capacitance(variable, branch, capacitance, pair.mode) * tap_of(design).ratio ** 2
    ratio = design.detector.amplitude_ratio * part.variable_resistor / part.reference_resistor
    found = lock_range(parts, frequency, reference.total_capacitance, seen, ratio)
    bandwidth = 0.5 * frequency / max(variable.quality_factor, reference.quality_factor)
    strong = bandwidth if found > STRONG_COUPLING * bandwidth else None
    return found, (resonances_notice(found, strong, design.circuit is not None),)
