"""From a design to what tolerances and temperature act on: the parts with their limits and the law all builds share."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from models.builds.build_law import BuildLaw
from models.builds.tolerance import ToleratedPart, Trial
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.circuit.drawing import Drawing
from models.circuit.oscillator import steady_state
from models.circuit.resonance import beside_tank
from models.circuit.transistor import Transistor
from synth.build.circuit_assembly import Circuit
from synth.build.workbench import OpenedDesign
from synth.designs.sections import GoalsSection, TolerancesSection
from synth.errors import DesignError

CORRECTION_POINTS = 201
WORDS = {"inductance": "coil", "capacitance": "capacitor", "junction": "transistor"}
LABELS = {"branch_inductance": "series inductor", "branch_self_capacitance": "series inductor's winding"}
SPREADS = frozenset({"stray", "junction", "antenna_stray"})


def goals_of(opened: OpenedDesign) -> GoalsSection:
    """The goals of the design, or what a design without any is read by."""
    return opened.design.goals or GoalsSection()


def trial_of(opened: OpenedDesign) -> Trial:
    """The parts of a design with their limits and the law its builds share.

    Raises DesignError for a design without tuning.zero_beat, whose pitch falls as the hand comes nearer, or whose goals
    lie outside the hand field.
    """
    design, name = opened.design, opened.design.name
    if design.tuning.zero_beat is None:
        raise DesignError(f'{name}: builds are tuned by their zero beat; add zero_beat = "50 cm" or so to [tuning]')
    if opened.field.direction != "rising":
        raise DesignError(f"{name}: its pitch falls as the hand comes nearer; tune it first, see: beatfield field")
    limits = design.tolerances or TolerancesSection()
    nominal = nominal_values(opened)
    parts = []
    for quantity in QUANTITIES:
        key = _tolerance_key(quantity)
        spread = key in SPREADS
        scatter = limits.spreads if spread else limits.parts
        parts.append(
            ToleratedPart(quantity, _label(quantity), nominal[quantity], getattr(limits, key), scatter, not spread)
        )
    try:
        return Trial(_law(opened, design.tuning.zero_beat), tuple(parts))
    except ValueError as error:
        raise DesignError(f"{name}: [goals] do not fit the design: {error}") from error


def variable_trimmer_ends(opened: OpenedDesign) -> tuple[float, float] | None:
    """The variable oscillator's trimmer all out and all in, over its capacitance as set; None where it has none."""
    section = opened.design.variable
    span = section.trimmer_maximum - section.trimmer_minimum
    as_set = section.trimmer_minimum + section.trimmer * span
    if span <= 0.0 or as_set <= 0.0:
        return None
    return section.trimmer_minimum / as_set, section.trimmer_maximum / as_set


def gain_notice(opened: OpenedDesign) -> str:
    """What the spread of the transistors' current gain does to a solved design, one oscillator at a time."""
    design, instrument = opened.design, opened.instrument
    limit = (design.tolerances or TolerancesSection()).gain
    left_out = "the transistors' current gain is left out of the builds (their capacitance is in them)"
    zero_beat = design.tuning.zero_beat
    if limit == 0.0 or zero_beat is None:
        return left_out
    capacitance = float(instrument.antenna_capacitance(zero_beat))
    moved = []
    for which, circuit in (("reference", opened.tuned_reference), ("variable", opened.loaded_variable(capacitance))):
        try:
            cold = steady_state(circuit, near_frequency=instrument.reference_frequency)
            shifts = [
                steady_state(_with_gain(circuit, 1.0 + side * limit), warm_start=cold).frequency - cold.frequency
                for side in (-1.0, 1.0)
            ]
        except ValueError as error:
            return f"{left_out}: at {100.0 * limit:g} % either way the {which} oscillator cannot be solved: {error}"
        moved.append(f"{which} {shifts[0]:+.1f} to {shifts[1]:+.1f} Hz")
    return f"{left_out}: {100.0 * limit:g} % either way alone move the {' and the '.join(moved)}, solved"


def _with_gain(circuit: Circuit, factor: float) -> Circuit:
    if isinstance(circuit, Drawing):
        for part in circuit.devices:
            if isinstance(part.what, Transistor):
                scaled = replace(part.what, forward_gain=part.what.forward_gain * factor)
                circuit = circuit.with_part(part.name, scaled)
        return circuit
    gain = circuit.transistor.forward_gain * factor
    return replace(circuit, transistor=replace(circuit.transistor, forward_gain=gain))


def nominal_values(opened: OpenedDesign) -> dict[str, float]:
    """The value of every part as written, H and F; 0 for one that is not there. The reference's trimmer all in."""
    design, instrument = opened.design, opened.instrument
    values: dict[str, float] = {}
    for which, tank in (("variable", instrument.variable_tank), ("reference", opened.reference_tank)):
        section: Any = getattr(design, which)
        stray = section.stray + section.self_capacitance
        divider = 0.0
        if design.circuit is not None:
            divider = beside_tank(opened.circuits[which])
        if which == "variable":  # at a tap, everything as the branch sees it
            stray, divider = (value / instrument.tap_ratio**2 for value in (stray, divider))
        values |= {
            f"{which}_inductance": tank.inductance,
            f"{which}_capacitance": tank.capacitance,
            f"{which}_stray": stray,
            f"{which}_divider": divider,
            f"{which}_junction": max(0.0, tank.board_stray - stray - divider) if design.circuit is not None else 0.0,
            f"{which}_trimmer": tank.trimmer_capacitance if which == "variable" else tank.trimmer_maximum,
        }
    branch = instrument.branch
    return values | {
        "branch_inductance": branch.inductance,
        "branch_self_capacitance": branch.self_capacitance,
        "antenna_stray": instrument.antenna_stray,
    }


def _label(quantity: str) -> str:
    """What a quantity is called: "reference_junction" the "reference transistor"."""
    which, _, kind = quantity.partition("_")
    return LABELS.get(quantity, f"{which} {WORDS.get(kind, kind)}")


def _tolerance_key(quantity: str) -> str:
    """The key of [tolerances] that limits a quantity."""
    if quantity.startswith(("branch", "antenna")):
        return {"branch_inductance": "branch_inductor", "branch_self_capacitance": "stray"}.get(quantity, quantity)
    kind = quantity.split("_", 1)[1]
    return {"inductance": "inductor", "capacitance": "capacitor", "divider": "capacitor"}.get(kind, kind)


def _law(opened: OpenedDesign, zero_beat: float) -> TunedBuilds:
    instrument, reference, goals = opened.instrument, opened.reference_tank, goals_of(opened)
    curve, solved = instrument.curve, instrument.variable_law is not None
    builds = TunedBuilds(
        law=BuildLaw(curve, instrument.mode, instrument.lock_range, fine=True),
        zero_beat=zero_beat,
        nearest=goals.nearest,
        farthest=goals.farthest,
        trimmer_ratio=reference.trimmer_minimum / reference.trimmer_maximum,
        trimmer_setting=reference.trimmer_setting,
        even_from=goals.even_from,
        even_to=goals.even_to,
        reference_correction=instrument.reference_frequency / reference.frequency if solved else 1.0,
    )
    if not solved:
        return builds
    hand = np.linspace(float(curve.capacitances[-1]), float(curve.capacitances[0]), CORRECTION_POINTS)
    values = nominal_values(opened)
    lossless = builds.variable_frequency(np.array([[values[quantity] for quantity in QUANTITIES]]), hand)[0]
    ratio = instrument.frequency_with(hand + instrument.antenna_stray) / lossless
    return replace(builds, law=replace(builds.law, correction_capacitances=hand, variable_correction=ratio))
