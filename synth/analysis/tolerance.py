"""From a design to what tolerances and temperature act on: the parts with their limits and the law all builds share."""

from __future__ import annotations

from typing import Any

import numpy as np

from models.arrays import Floats
from models.builds.build_law import BuildLaw
from models.builds.tolerance import ToleratedPart, Trial
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.circuit.resonance import beside_tank
from models.preferred_values import values_in_range
from synth.analysis.adjoint_figures import value_words
from synth.analysis.circuit_builds import SHARED, kind_of_column, with_circuits
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import GoalsSection, TolerancesSection
from synth.errors import DesignError, at_place

WORDS = {"inductance": "coil", "capacitance": "capacitor", "junction": "transistor"}
LABELS = {"branch_inductance": "series inductor", "branch_self_capacitance": "series inductor's winding"}
OF_CIRCUIT = {
    "transistor.forward_gain": "transistor's current gain",
    "transistor.collector_junction.zero_bias_capacitance": "transistor's collector junction",
    "transistor.emitter_junction.zero_bias_capacitance": "transistor's emitter junction",
    "bias.potentiometer": "pot, whole track",
    "temperature": "transistors' temperature",
}  # all others as in the oscillator's report
SELECTED = 1.5  # factor either way, within which a capacitor is selected on test
SPREADS = frozenset({"stray", "junction", "antenna_stray", "gain", "supply", "temperature"})


def goals_of(opened: OpenedDesign) -> GoalsSection:
    """The goals of the design, or what a design without any is read by."""
    return opened.design.goals or GoalsSection()


def trial_of(opened: OpenedDesign) -> Trial:
    """The parts of a design with their limits and the law its builds share.

    Raises DesignError for a design without tuning.zero_beat, whose pitch falls as the hand comes nearer, or whose goals
    lie outside the hand field.
    """
    design, place = opened.design, opened.design.place
    if design.tuning.zero_beat is None:
        raise DesignError(f'{place}: builds are tuned by their zero beat; add zero_beat = "50 cm" or so to [tuning]')
    if opened.field.direction != "rising":
        raise DesignError(f"{place}: its pitch falls as the hand comes nearer; move zero_beat in [tuning] farther away")
    try:
        law = tuned_builds(opened, design.tuning.zero_beat)
        row = zip(law.quantities, nominal_row(opened, law).tolist(), strict=True)
        limits = design.tolerances or TolerancesSection()
        return Trial(law, tuple(_part(limits, quantity, nominal) for quantity, nominal in row), limits.reel)
    except ValueError as error:
        raise at_place(place, error, "[goals] do not fit the design: ") from error


def _part(limits: TolerancesSection, quantity: str, nominal: float) -> ToleratedPart:
    """One part with its limit and the way it scatters."""
    if quantity in QUANTITIES:
        key, label = _tolerance_key(quantity), _label(quantity)
    else:
        which, _, value = quantity.rpartition(".") if quantity in SHARED else quantity.partition(".")
        key, label = kind_of_column(quantity) or "", f"{which} {OF_CIRCUIT.get(value, value_words(value))}".strip()
    limit = getattr(limits, key)
    if key == "temperature":
        limit /= nominal
    spread = key in SPREADS
    return ToleratedPart(quantity, label, nominal, limit, limits.spreads if spread else limits.parts, not spread)


def selection_factors(opened: OpenedDesign, series: str) -> tuple[float, ...]:
    """The preferred values within a factor SELECTED of the reference's fixed capacitor, over it."""
    fitted = opened.design.reference.capacitance
    return tuple(value / fitted for value in values_in_range(series, fitted / SELECTED, fitted * SELECTED))


def variable_trimmer_ends(opened: OpenedDesign) -> tuple[float, float] | None:
    """The variable oscillator's trimmer all out and all in, over its capacitance as set; None where it has none."""
    section = opened.design.variable
    span = section.trimmer_maximum - section.trimmer_minimum
    as_set = section.trimmer_minimum + section.trimmer * span
    if span <= 0.0 or as_set <= 0.0:
        return None
    return section.trimmer_minimum / as_set, section.trimmer_maximum / as_set


def nominal_values(opened: OpenedDesign) -> dict[str, float]:
    """The value of every part that the resonance knows as written, H and F; 0 for one that is not there. The
    reference's trimmer all in. Of solved circuits the divider and the transistor's capacitance are not among them.
    """
    design, instrument = opened.design, opened.instrument
    solved = instrument.variable_law is not None
    values: dict[str, float] = {}
    for which, tank in (("variable", instrument.variable_tank), ("reference", opened.reference_tank)):
        section: Any = getattr(opened.wired, which)
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
            f"{which}_divider": 0.0 if solved else divider,
            f"{which}_junction": 0.0
            if solved or design.circuit is None
            else max(0.0, tank.board_stray - stray - divider),
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


def nominal_row(opened: OpenedDesign, law: TunedBuilds) -> Floats:
    """The nominal value of every column of the law."""
    if law.circuit is not None:
        return law.circuit.nominal
    values = nominal_values(opened)
    return np.array([values[quantity] for quantity in QUANTITIES])


def tuned_builds(opened: OpenedDesign, zero_beat: float) -> TunedBuilds:
    """The law that all builds of a design share; of solved circuits with every derivative by the adjoint."""
    instrument, reference, goals = opened.instrument, opened.reference_tank, goals_of(opened)
    builds = TunedBuilds(
        law=BuildLaw(instrument.curve, instrument.mode, instrument.lock_range, fine=True),
        zero_beat=zero_beat,
        nearest=goals.nearest,
        farthest=goals.farthest,
        trimmer_ratio=reference.trimmer_minimum / reference.trimmer_maximum,
        trimmer_setting=reference.trimmer_setting,
        even_from=goals.even_from,
        even_to=goals.even_to,
    )
    if instrument.variable_law is None:
        return builds
    return with_circuits(opened, builds, nominal_values(opened))
