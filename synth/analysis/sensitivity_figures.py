"""How steep a design's field is for a hand: cents per mm and under tremor at each note, against what the ear hears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from models.pitch import limen_cents
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from synth.analysis.figures import OfDesign, collected, told_apart
from synth.analysis.moves import FELT_CENTS, PitchMoves, pitch_moves
from synth.analysis.suiting import DesignSuits, best, design_suits
from synth.build.workbench import OpenedDesign
from synth.hands.gestures import TREMOR_SIZE
from synth.hands.own_hand import OwnHand
from synth.hands.tune_path import PLACEMENT
from synth.progress_line import ProgressLine
from synth.tunes.zero_beat_advice import zero_beat_for

SEARCHED = 4000  # hand distances looked at
TOO_STEEP = 50.0  # cents per mm: a hand 1 mm off its place sounds nearer to the neighbouring note
VERDICTS = ("steady", "tremor heard", "too steep")


@dataclass(frozen=True, slots=True)
class NoteSensitivity:
    """One note: slope of the pitch, root mean square of its change under the tremor and of what placing the hand misses
    it by, smallest change heard.
    """

    note: str
    frequency_hz: float
    distance_m: float
    cents_per_mm: float
    tremor_cents: float
    placement_cents: float
    limen_cents: float
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensitivityFigures(OfDesign):
    """How steep a field is. The slope is that at the note: a tremor is small beside the field's curvature.

    own_hand: whether tremor, where it was seen, and placement are the user's own; zero_beat_for_reach_m: where zero
    beat is best for that hand's reach (None without one, or where it cannot be). steep_spans_m: (near, far) hand
    distances of every stretch of the playable field that is too steep, nearest first.
    """

    tremor_m: float
    placement_m: float
    own_hand: bool
    zero_beat_m: float | None
    zero_beat_for_reach_m: float | None
    too_steep_cents_per_mm: float = TOO_STEEP
    notes: tuple[NoteSensitivity, ...]
    steep_spans_m: tuple[tuple[float, float], ...]
    moves: PitchMoves
    felt: tuple[str, ...]  # the causes among them that a player hears, the strongest first
    felt_cents: float = FELT_CENTS
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SensitivitiesFigures:
    """Several designs for one hand: each with its figures, how they suit, and which does best."""

    designs: tuple[SensitivityFigures, ...]
    suits: tuple[DesignSuits, ...]
    best: str


def sensitivities_figures(opened: Sequence[OpenedDesign], hand: OwnHand | None) -> SensitivitiesFigures:
    """Collect the figures of several designs for a hand, or for the one that is assumed."""
    names = told_apart([each.design.name for each in opened])
    suits = tuple(design_suits(name, each.field, hand) for name, each in zip(names, opened, strict=True))
    with ProgressLine("solving the notes of the designs") as line:
        named = line.each(list(zip(names, opened, strict=True)))
        figures = tuple(replace(sensitivity_figures(each, hand), design=name) for name, each in named)
    return SensitivitiesFigures(figures, suits, best(suits).design)


def sensitivity_figures(opened: OpenedDesign, hand: OwnHand | None = None) -> SensitivityFigures:
    """Collect the figures for a hand, or for the one that is assumed."""
    tremor = TREMOR_SIZE if hand is None or hand.tremor is None else hand.tremor
    placement = PLACEMENT if hand is None else hand.scatter
    field, moves = opened.field, pitch_moves(opened)
    notes = []
    for line in field.notes():
        slope, limen = float(field.cents_per_mm(line.distance)), float(limen_cents(line.frequency))
        moved, missed = 1e3 * tremor * slope, 1e3 * placement * slope
        verdict = VERDICTS[2] if slope >= TOO_STEEP else VERDICTS[1] if moved > limen else VERDICTS[0]
        notes.append(NoteSensitivity(line.name, line.frequency, line.distance, slope, moved, missed, limen, verdict))
    return collected(
        SensitivityFigures,
        {"design": opened.design},
        tremor_m=tremor,
        placement_m=placement,
        own_hand=hand is not None,
        zero_beat_m=field.zero_beat_distance,
        zero_beat_for_reach_m=None if hand is None else zero_beat_for(field, hand.farthest),
        notes=tuple(notes),
        steep_spans_m=steep_spans(field),
        moves=moves,
        felt=tuple(move.cause for move in moves.moves if move.felt),
        notices=opened.notices,
    )


def steep_spans(field: PitchField) -> tuple[tuple[float, float], ...]:
    """Stretches (near, far), m, in which 1 mm moves the pitch by TOO_STEEP cents or more; to some 0.2 mm."""
    if field.playable_near is None or field.playable_far is None:
        return ()
    places = np.geomspace(field.playable_near, field.playable_far, SEARCHED)
    places[0], places[-1] = field.playable_near, field.playable_far
    steep = np.concatenate([[False], field.cents_per_mm(places) >= TOO_STEEP, [False]])
    edges = np.flatnonzero(steep[1:] != steep[:-1])
    return tuple((float(places[first]), float(places[last - 1])) for first, last in edges.reshape(-1, 2))
