"""Sensitivity steered by a part: which value of it gives so many cents to a centimetre of hand at a note.

A field in which the note of frequency f sounds at the distance d has there, with o the offset of the oscillators, F its
value at the note (f without a lock range, else sqrt(f^2 + lock^2)) and o' its slope along the hand,

    cents per metre = 1200/ln 2 * F |o'(d)| / f^2        (models.pitch_field)

so that for a given note the slope o' alone decides. Zero beat moves the note along the unchanged slope; other parts
change the slope itself and are searched (`models.roots`), with zero beat left where it is. Every look at
another antenna takes a field of its own, seconds, and the sensitivity is nearly a power of the length: two or three
looks and the straight line through the last two, on logarithms, are enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from models.arrays import Floats
from models.pitch import frequency_of_note, parse_note
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from models.roots import root
from synth.errors import DesignError
from synth.window.controls import LEVERS, Settings
from synth.window.retune import Tuned, retuned
from synth.window.tunable import Parts, Tunable, parts_of, towards_parts, with_parts

GRID = 2000  # distances at which the slope is looked at
CLOSE = 2e-3  # of a factor, to which a part is searched
NEAR = 0.02  # of a factor: from so near the straight line through two looks is within `CLOSE`
MOST_LOOKS = 6
STRIDE = math.log(2.0) / 6.0  # of a search outwards: a factor of 1.12


def sensitivity_at(field: PitchField, note: str) -> float | None:
    """Cents to a centimetre of hand where a note sounds; None where the field does not play it."""
    frequency = float(frequency_of_note(parse_note(note), field.reference_a))
    if not bool(field.reaches(frequency)):
        return None
    return 10.0 * float(field.cents_per_mm(float(field.distance_at(frequency))))


@dataclass(frozen=True, slots=True, eq=False)
class ZeroBeats:
    """What a note's sensitivity is, `slopes` in cents to a centimetre (n,), with zero beat at `places`, m (n,), in the
    order of the note's own place, from the antenna on.
    """

    note: str
    places: Floats
    slopes: Floats

    @property
    def reach(self) -> tuple[float, float]:
        """The least and the greatest sensitivity that there is."""
        return float(self.slopes.min()), float(self.slopes.max())

    def place(self, cents_per_cm: float, near: float) -> float:
        """The zero beat, m, for a sensitivity, the nearest to `near`, m. DesignError with what can be had where there
        is none.
        """
        least, most = self.reach
        if not least <= cents_per_cm <= most:
            raise DesignError(f"zero beat gives {least:.0f} to {most:.0f} cents a cm at {self.note}")
        away = self.slopes - cents_per_cm
        turns = np.flatnonzero(away[1:] * away[:-1] <= 0.0)
        first = turns[np.abs(self.places[turns] - near).argmin()]
        slopes, places = self.slopes[first : first + 2], self.places[first : first + 2]
        share = 0.0 if slopes[0] == slopes[1] else (cents_per_cm - slopes[0]) / (slopes[1] - slopes[0])
        return float(places[0] + share * (places[1] - places[0]))


def zero_beats(tuned: Tuned, note: str, ends: tuple[float, float] = (0.0, math.inf)) -> ZeroBeats:
    """The zero beats from one end to the other, m, at which a note sounds. DesignError where there are none."""
    instrument, field = tuned.instrument, tuned.field
    if field.direction != "rising":
        raise DesignError("the pitch falls as the hand comes nearer; tune zero beat farther away first")
    frequency = float(frequency_of_note(parse_note(note), field.reference_a))
    offset = math.hypot(frequency, instrument.lock_range)
    places = np.linspace(instrument.curve.nearest, instrument.curve.farthest, GRID)
    slopes = 12.0 / math.log(2.0) * offset * np.abs(instrument.offset_slope(places)) / frequency**2
    heard = np.asarray(instrument.variable_frequency(places))
    reference = heard + offset
    zero = np.interp(reference, heard, places, left=np.nan, right=np.nan)
    known = np.isfinite(zero) & (zero >= ends[0]) & (zero <= ends[1])
    known &= reference >= 0.5 * (heard[0] + heard[-1])  # below it the field falls: `models.pitch_field.pitch_field`
    if np.count_nonzero(known) < 2:
        raise DesignError(f"no zero beat brings {note} into reach")
    return ZeroBeats(note, zero[known], slopes[known])


def part_for_sensitivity(
    offer: Tunable, settings: Settings, cents_per_cm: float, built: Callable[[Tunable, Settings], Tunable] | None = None
) -> float:
    """The value of the control that the lever of `settings` names, at which the chosen note has this sensitivity.

    Raises DesignError with what can be had where there is none.
    """
    name, note = LEVERS[settings.text("lever")], settings.text("at_note")
    control = settings.control(name)
    build = built or (lambda origin, wanted: with_parts(origin, parts_of(wanted)))

    def given(share: float) -> float:
        wanted = settings.with_value(name, math.exp(share))
        found = sensitivity_at(retuned(build(offer, wanted), wanted).field, note)
        if found is None:
            raise DesignError(f"{note} is out of reach with such a part")
        return math.log(found / cents_per_cm)

    ends = math.log(control.low), math.log(control.high)
    if name == "antenna":
        found, seen = _by_lines(given, math.log(settings.number(name)), ends)
        if found is None:
            raise _out_of_reach(settings, cents_per_cm, seen)
        return math.exp(found)
    bracket, seen = _bracket(given, math.log(settings.number(name)), ends)
    if bracket is None:
        raise _out_of_reach(settings, cents_per_cm, seen)
    return math.exp(root(given, *bracket, xtol=CLOSE))


def part_by_law(near: Tunable, before: Parts, origin: Tunable, settings: Settings, cents_per_cm: float) -> float:
    """The same by the first-order law from `near`, a solved circuit with the parts `before`, in place of solutions."""

    def built(design: Tunable, wanted: Settings) -> Tunable:
        return towards_parts(design, near, before, parts_of(wanted))

    return part_for_sensitivity(origin, settings, cents_per_cm, built)


def _out_of_reach(settings: Settings, cents_per_cm: float, seen: Sequence[float]) -> DesignError:
    """What a lever can give, by the logarithms of what was seen over what is wanted."""
    shown = [cents_per_cm * math.exp(value) for value in seen]
    span = f"{min(shown):.0f} to {max(shown):.0f} cents a cm" if shown else "no sound"
    return DesignError(f"{settings.text('lever')}: {span} at {settings.text('at_note')} is all that it can give")


def _by_lines(
    given: Callable[[float], float], start: float, ends: tuple[float, float]
) -> tuple[float | None, list[float]]:
    """Where a nearly straight course passes 0, by the line through its last two places; None where it does not within
    `ends`; and the values seen.
    """
    first = _value(given, start)
    if first is None:
        return None, []
    looks = [(start, first)]
    place = start + STRIDE if start + STRIDE <= ends[1] else start - STRIDE
    for _ in range(MOST_LOOKS):
        value = _value(given, place)
        if value is None:  # no such part: half-way back
            place = 0.5 * (place + looks[-1][0])
            continue
        looks.append((place, value))
        (before, was), (here, now) = looks[-2:]
        if now == was:
            break
        wanted = here - now * (here - before) / (now - was)
        if abs(wanted - here) <= NEAR and ends[0] <= wanted <= ends[1]:
            return wanted, [value for _, value in looks]
        place = min(max(wanted, ends[0]), ends[1])
        if place == here:  # at an end, and not there
            break
    return None, [value for _, value in looks]


def _bracket(
    given: Callable[[float], float], start: float, ends: tuple[float, float]
) -> tuple[tuple[float, float] | None, list[float]]:
    """Two places between which a value passes 0, searched outwards from `start` until the ends or until there is none
    any more; and the values seen.
    """
    first = _value(given, start)
    seen = [] if first is None else [first]
    for end in ends:
        place, value = start, first
        while value is not None and place != end:
            further = min(place + STRIDE, end) if end > start else max(place - STRIDE, end)
            beyond = _value(given, further)
            if beyond is not None:
                seen.append(beyond)
                if value * beyond <= 0.0:
                    return (min(place, further), max(place, further)), seen
            place, value = further, beyond
    return None, seen


def _value(given: Callable[[float], float], share: float) -> float | None:
    """A value; None where the part cannot be so."""
    try:
        return given(share)
    except ValueError:
        return None
