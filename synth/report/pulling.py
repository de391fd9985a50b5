"""How two oscillators pull each other, as lines of a report for a person."""

from __future__ import annotations

from synth.analysis.adjoint_figures import HEARD_CENTS
from synth.analysis.pulling_figures import (
    PATH_WORDS,
    TREMOR,
    Change,
    LawOfPulling,
    LockAdvice,
    LockPath,
    LowNotes,
    PullingFigures,
)
from synth.designs.quantity import format_quantity


def pulling_facts(lock_range: float, paths: tuple[LockPath, ...], pulling: PullingFigures) -> list[tuple[str, str]]:
    """Names and values: lock range, Hz, with what makes it, the lowest notes, and what would help."""
    facts = [
        ("locks within", _lock(lock_range, paths, pulling)),
        ("lowest steady note", _lowest(pulling.low_notes)),
        ("pulling", _bent(pulling)),
    ]
    return facts + [("" if place else "to pull less", _advice(one)) for place, one in enumerate(pulling.advice)]


def _lock(lock_range: float, paths: tuple[LockPath, ...], pulling: PullingFigures) -> str:
    text = format_quantity(lock_range, "Hz", 3)
    if pulling.law == LawOfPulling.RESONANCES:
        return f"{text}, in order of magnitude: by two resonances, not by circuits"
    if not paths:
        return text
    most, *others = paths
    if not others:
        return f"{text}, by {PATH_WORDS[most.path]}"
    rest = ", ".join(f"{PATH_WORDS[one.path]} {format_quantity(one.alone_hz, 'Hz', 2)}" for one in others)
    left = format_quantity(most.without_hz, "Hz", 3)
    return f"{text}, most of it by {PATH_WORDS[most.path]} (without: {left}; alone: {rest})"


def _lowest(notes: LowNotes) -> str:
    tremor = f"{1e3 * TREMOR:.1f} mm"
    if notes.lowest_playable_hz is None or notes.held_from_hz is None:
        return f"none that a hand whose tremor reaches {tremor} holds within {HEARD_CENTS:.0f} cents"
    held = _hertz(notes.held_from_hz)
    if notes.held_from_hz < notes.lowest_playable_hz:
        return (
            f"{_hertz(notes.lowest_playable_hz)}, where hearing or the field ends; "
            f"a hand whose tremor reaches {tremor} could hold {held} within {HEARD_CENTS:.0f} cents"
        )
    return f"{held}: below it a tremor that reaches {tremor} moves the note by more than {HEARD_CENTS:.0f} cents"


def _bent(pulling: PullingFigures) -> str:
    text = f"makes notes below {_hertz(pulling.low_notes.bent_below_hz)} more than {HEARD_CENTS:.0f} cents flat"
    return text if pulling.matters else f"{text}: none that is wanted (from {_hertz(pulling.lowest_wanted_hz)})"


def _advice(one: LockAdvice) -> str:
    value = 0.0 if one.value is None else one.value
    match one.change:
        case Change.OUTPUT_RESISTORS:
            change = f"output resistors of {format_quantity(value, 'ohm')}"
        case Change.STAGE_RESISTORS:
            change = f"{format_quantity(value, 'ohm')} more in front of each stage's supply capacitor"
        case Change.APART:
            change = f"the coils {format_quantity(value, 'm')} apart"
        case _:
            change = one.change
    left, lowest = format_quantity(one.lock_range_hz, "Hz", 2), one.low_notes.lowest_playable_hz
    held = "" if lowest is None else f", lowest steady note {_hertz(lowest)}"
    return f"{change} would leave {left} (notes flat below {_hertz(one.low_notes.bent_below_hz)}{held})"


def _hertz(frequency: float) -> str:
    return format_quantity(frequency, "Hz", 3)
