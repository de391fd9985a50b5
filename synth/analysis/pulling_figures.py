"""How the two oscillators of a design pull each other: by which path, down to which note, and what helps."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from enum import StrEnum

from models.circuit.coupled import Coupling, Pulling, pulling
from models.pitch_field import LOWEST_AUDIBLE
from models.preferred_values import next_above
from models.pulling import bent_below
from models.quick_dataclass import dataclass
from synth.analysis.adjoint_figures import HEARD_CENTS
from synth.build.circuit_assembly import blaming
from synth.build.pulling_assembly import coil_coupling_of, coupling_of
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design
from synth.errors import DesignError
from synth.hands.gestures import TREMOR_SIZE

TREMOR = 2.0 * TREMOR_SIZE
"""m: how far the assumed hand sways at the peaks of its tremor: twice its root mean square (a sum
of many sines is nearly normal: it is beyond that 5 % of the time)."""
SERIES = "E12"
LEAST_GAIN = 0.05
"""A path without which the lock range falls by a smaller share is not worth a change."""
MODEST_SHARE = 0.1
"""What is to be left of a path that resistors weaken, where the other paths keep the goal out of reach."""
MOST_TIMES = 10.0
"""A resistor is not raised by more than this factor: the detector, or the supply, would get too little."""


class LawOfPulling(StrEnum):
    """Where a lock range comes from: the design file; both circuits, weakly coupled; both solved as one; both, but
    beyond every law; two resonances without circuits."""

    GIVEN = "given"
    WEAK = "circuits, weakly coupled"
    SOLVED = "circuits, solved as one"
    ROUGH = "circuits, too strongly coupled"
    RESONANCES = "resonances alone"


class Change(StrEnum):
    """What weakens a path; the value that goes with it is told in SI units."""

    OUTPUT_RESISTORS = "output resistors of this value"
    STAGE_RESISTORS = "this much more resistance in the supply of each stage"
    CROSSED = "one coil turned by 90 degrees"
    APART = "the coils' middles this far apart"
    SCREEN = "an earthed screen between the tanks"


PATH_WORDS = {
    "common_node": "the output resistors and their node",
    "mixer": "the output resistors and the mixer",
    "supply_resistance": "the shared supply",
    "coil_coupling": "the coils' fields",
    "tank_to_tank_capacitance": "the capacitance from tank to tank",
}


@dataclass(frozen=True, slots=True)
class LockPath:
    """One way by which the oscillators pull each other: the lock range by it alone, and without it."""

    path: str
    alone_hz: float
    without_hz: float


@dataclass(frozen=True, slots=True)
class LowNotes:
    """What a lock range does to the lowest notes.

    bent_below_hz: notes below it sound more than HEARD_CENTS lower than they would without pulling. held_from_hz: the
    lowest note that a tremor of TREMOR moves by no more than HEARD_CENTS, None where there is none. lowest_playable_hz:
    the same, not below the lowest that the field has (the bound of hearing, or where the field ends); None without one.
    """

    bent_below_hz: float
    held_from_hz: float | None
    lowest_playable_hz: float | None


@dataclass(frozen=True, slots=True)
class LockAdvice:
    """A change that weakens one path, the lock range that it leaves, computed with everything else as it is, and what
    that does to the lowest notes; value: see `Change`."""

    path: str
    change: str
    value: float | None
    lock_range_hz: float
    low_notes: LowNotes


@dataclass(frozen=True, slots=True, kw_only=True)
class PullingFigures:
    """How two oscillators pull each other. advice: strongest path first, and only where pulling bends a note that is
    wanted (lowest_wanted_hz: goals.lowest, or the bound of hearing)."""

    law: str
    coil_coupling: float
    low_notes: LowNotes
    lowest_wanted_hz: float
    advice: tuple[LockAdvice, ...]

    @property
    def matters(self) -> bool:
        """Whether a note that is wanted is bent."""
        return self.low_notes.bent_below_hz > self.lowest_wanted_hz


def lock_paths(pulling: Pulling | None) -> tuple[LockPath, ...]:
    """The ways by which they pull each other, strongest first (to first order); none without solved circuits."""
    if pulling is None:
        return ()
    found = pulling.first_order
    paths = (LockPath(name, alone, found.without[name]) for name, alone in found.alone.items())
    return tuple(sorted(paths, key=lambda path: -path.alone_hz))


def low_notes(opened: OpenedDesign, lock_range: float) -> LowNotes:
    """What a lock range, Hz, does to the lowest notes."""
    held, end = opened.field.lowest_held(TREMOR, HEARD_CENTS, lock_range), opened.field.lowest_frequency
    playable = None if held is None or end is None else max(held, end)
    return LowNotes(bent_below(lock_range, HEARD_CENTS), held, playable)


def pulling_figures(opened: OpenedDesign) -> PullingFigures:
    """Collect what there is to know of the pulling of a design."""
    lock = opened.instrument.lock_range
    notes, goals = low_notes(opened, lock), opened.design.goals
    wanted = LOWEST_AUDIBLE if goals is None or goals.lowest is None else goals.lowest
    advice = tuple(_advice(opened, wanted)) if notes.bent_below_hz > wanted else ()
    factor = coil_coupling_of(opened.design)
    return PullingFigures(
        law=_law(opened), coil_coupling=factor, low_notes=notes, lowest_wanted_hz=wanted, advice=advice
    )


def _law(opened: OpenedDesign) -> str:
    found = opened.pulling
    if opened.design.coupling.lock_range is not None:
        return LawOfPulling.GIVEN
    if found is None:
        return LawOfPulling.RESONANCES
    if found.solved is not None:
        return LawOfPulling.SOLVED
    return LawOfPulling.WEAK if found.first_order.trusted else LawOfPulling.ROUGH


def _advice(opened: OpenedDesign, wanted: float) -> Iterator[LockAdvice]:
    """Each change with the lock range that it leaves: the changed design, or coupling, taken through the same law."""
    if opened.pulling is None:
        return
    enough, found = wanted / bent_below(1.0, HEARD_CENTS), opened.pulling.first_order
    for path in lock_paths(opened.pulling):
        if path.without_hz > (1.0 - LEAST_GAIN) * found.total:
            continue
        for change, value, left in _changes(opened, path.path, _wanted_share(path, enough)):
            if left <= (1.0 - LEAST_GAIN) * opened.pulling.lock_range:
                yield LockAdvice(path.path, change, value, left, low_notes(opened, left))


def _changes(opened: OpenedDesign, path: str, share: float) -> Iterator[tuple[Change, float | None, float]]:
    """What weakens a path, for resistors to this share of what it sends, and the lock range, Hz, that it leaves."""
    design, coupling = opened.design, coupling_of(opened.design)
    match path:
        case "common_node" | "mixer":
            part = design.coupling
            value = _raised(max(part.reference_resistor, part.variable_resistor), share**-0.5)
            changed = replace(part, reference_resistor=value, variable_resistor=value)
            left = _left(opened, replace(design, coupling=changed))
            yield from () if left is None else ((Change.OUTPUT_RESISTORS, value, left),)
        case "supply_resistance" if design.circuit is not None:
            own, shared = design.circuit.supply_resistor, design.coupling.supply_resistance
            # each sends shared / (own^2 + 2 own shared), S, per volt at the other's capacitor
            enough = math.sqrt(shared**2 + own * (own + 2.0 * shared) / share) - shared
            more = _raised(own, min(enough / own, MOST_TIMES) - 1.0)
            left = _left(opened, replace(design, circuit=replace(design.circuit, supply_resistor=own + more)))
            yield from () if left is None else ((Change.STAGE_RESISTORS, more, left),)
        case "coil_coupling":
            yield Change.CROSSED, None, _leaked(opened, replace(coupling, coil_coupling=0.0))
            if design.coils is not None:
                twice = 2.0 * design.coils.distance
                farther = coil_coupling_of(replace(design, coils=replace(design.coils, distance=twice)))
                yield Change.APART, twice, _leaked(opened, replace(coupling, coil_coupling=farther))
        case "tank_to_tank_capacitance":
            yield Change.SCREEN, None, _leaked(opened, replace(coupling, tank_to_tank_capacitance=0.0))


def _wanted_share(path: LockPath, enough: float) -> float:
    """What is to be left of a path, of 1, so that all together lock within `enough`, Hz, where that can be."""
    room = enough - path.without_hz
    return MODEST_SHARE if room <= 0.0 else min(max(room / path.alone_hz, MOST_TIMES**-2), 1.0)


def _raised(value: float, factor: float) -> float:
    """The preferred value next above `factor` times `value`."""
    return next_above(SERIES, factor * value * (1.0 - 1e-6))


def _left(opened: OpenedDesign, changed: Design) -> float | None:
    """The lock range of the changed design, Hz, solved and tuned anew; None where it does not oscillate."""
    assert opened.leaking is not None
    reference, variable = (adjoint.state for adjoint in opened.leaking)
    try:
        other = OpenedDesign(changed, (opened.curve, None))
        both = other.at_zero_beat(variable.frequency, (reference, variable))
        with blaming(changed, "variable"):
            return pulling(*both, coupling_of(changed), other.through_between(both)).lock_range
    except DesignError:
        return None


def _leaked(opened: OpenedDesign, coupling: Coupling) -> float:
    """The lock range of the same two circuits with less of a leak, Hz."""
    assert opened.leaking is not None
    return pulling(*opened.leaking, coupling, opened.through).lock_range
