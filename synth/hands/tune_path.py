"""A melody played by a hand: the inverse pitch field gives the places, a person's movement the way between them.

The hand rests at the distance that sounds each note, moves on along the minimum-jerk course (T. Flash and N. Hogan,
J. Neurosci. 5 (1985) 1688), adds vibrato, misses each new place by an error of its own and trembles all the time. All
of this is in metres and comes from the seed and the tune alone, so that the same person plays every design.

Sources: tremor and the rate of vibrato as in `synth.hands.gestures`. Placement: without looking, shoulder and elbow are
known to 0.6 to 1.1 degrees (R. van Beers, A. Sittig, J. Denier van der Gon, Exp. Brain Res. 122 (1998) 367). Of an
upper arm and a forearm with the hand of L = 0.3 m each, bent to the elbow's angle e, the hand's distance from the
shoulder is 2 L sin(e/2), and changes by L cos(e/2) with e: at a right angle 0.21 m, that is 2.2 to 4.1 mm. PLACEMENT is
the round figure between them: a place found unseen, before the ear has corrected it.
Neglected: that the ear corrects a note while it sounds, errors that grow with the length of the reach, sway.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from models.arrays import Floats
from models.checks import finite, non_negative
from models.pitch import cents, frequency_of_note
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.hands.gestures import DIP, TREMOR_SIZE, VIBRATO_RATE, dip, minimum_jerk, playable_range, stamps, tremor
from synth.hands.hand_path import HandPath
from synth.tunes.melody import TOUCHING, Tune, TuneNote

PLACEMENT = 3e-3  # m, standard deviation
PORTAMENTO = 0.12  # s
LEAD, TAIL = 0.2, 0.2  # s of silence before the first note and after the last
EDGE = 0.04  # s in which the volume hand opens or closes
VIBRATO_GROWTH = 0.3  # s in which the vibrato grows and at most the time in which it leaves off
LARGEST = {"tremor": 0.05, "placement": 0.05, "vibrato": 0.05, "portamento": 2.0}  # m, m, m, s
SOURCES = (
    "tremor 0.03 to 0.15 mm, 6 to 12 Hz: doi:10.1001/archneur.1982.00510180036009",
    f"placement {1e3 * PLACEMENT:g} mm: unseen, an elbow is known to 0.6 to 1.1 degrees (van Beers 1998), 2 to 4 mm",
)


@dataclass(frozen=True, slots=True)
class Manner:
    """How a person plays: root mean square of the tremor and standard deviation of the placement (m), vibrato each way
    (m), time of a slide (s, at most half of the shorter of the two notes), and the seed of the chance in it.
    """

    tremor: float = TREMOR_SIZE
    placement: float = PLACEMENT
    vibrato: float = 0.0
    portamento: float = PORTAMENTO
    seed: int = 1

    def __post_init__(self) -> None:
        for name, most in LARGEST.items():
            if non_negative(name, finite(name, getattr(self, name))) > most:
                raise ValueError(f"{name} must be at most {most:g}; got {getattr(self, name):g}")
        if isinstance(self.seed, bool) or not isinstance(self.seed, int) or not 0 <= self.seed < 2**63:
            raise ValueError(f"seed must be a whole number >= 0; got {self.seed!r}")


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """What became of one note; the last five are None where it is out of reach and left silent.

    distance: where the field sounds it (m); placed: where the hand was put; sounded: median pitch over the held part
    (Hz), cents: how far that is above the wanted one; wobble_cents: standard deviation of the pitch there.
    """

    note: TuneNote
    frequency: float
    distance: float | None
    placed: float | None
    sounded: float | None
    cents: float | None
    wobble_cents: float | None


@dataclass(frozen=True, slots=True)
class Performance:
    """The path of the hands (the tune begins LEAD s into it) and the outcome of every note."""

    path: HandPath
    notes: tuple[PlayedNote, ...]
    held_at_border: int  # stamps of the path at which an error would have left the playable distances


def perform(tune: Tune, field: PitchField, manner: Manner) -> Performance:
    """Play the tune; notes out of reach are silent. DesignError where none is in reach."""
    numbers = np.array([note.number for note in tune.notes], dtype=np.float64)
    wanted = frequency_of_note(numbers, field.reference_a)
    within = field.reaches(wanted)
    near, far = playable_range(field)
    if not within.any():
        raise DesignError(f"{tune.name}: no note of it is in reach of this design; `beatfield tune` says what would do")
    notes = [note for note, inside in zip(tune.notes, within, strict=True) if inside]
    places = field.distance_at(wanted[within])
    placed = places + _placement_errors(tune, manner)[within]
    times = stamps(tune.seconds + LEAD + TAIL)
    moves = _moves(notes, manner.portamento)
    held = _held(notes, moves)
    distances = _ways(times, placed, moves)
    _add_vibrato(times, distances, held, manner.vibrato)
    distances += tremor(times, manner.seed, manner.tremor)
    inside = np.clip(distances, near, far)
    path = HandPath(times, inside, _volumes(times, notes, moves))
    pitches = iter([_pitch(field, times, inside, span) for span in held])
    spots = iter(zip(places.tolist(), placed.tolist(), strict=True))
    outcome = []
    for note, frequency, reached in zip(tune.notes, wanted.tolist(), within, strict=True):
        if not reached:
            outcome.append(PlayedNote(note, frequency, None, None, None, None, None))
            continue
        (sounded, wobble), (place, spot) = next(pitches), next(spots)
        outcome.append(PlayedNote(note, frequency, place, spot, sounded, float(cents(sounded, frequency)), wobble))
    return Performance(path, tuple(outcome), int((inside != distances).sum()))


def _placement_errors(tune: Tune, manner: Manner) -> Floats:
    """By how much the hand misses the place of every note, m; a repeated note keeps its place."""
    errors = manner.placement * np.random.default_rng([manner.seed, 1]).standard_normal(len(tune.notes))
    for index in range(1, len(tune.notes)):
        if tune.notes[index].number == tune.notes[index - 1].number:
            errors[index] = errors[index - 1]
    return np.asarray(errors)


def _moves(notes: list[TuneNote], portamento: float) -> list[tuple[float, float]]:
    """Begin and end of the way to each note but the first, s on the path: before it where it is silent for long
    enough, else half before and half after its start.
    """
    moves = []
    for before, note in pairwise(notes):
        time = min(portamento, 0.5 * before.seconds, 0.5 * note.seconds)
        lead = time if note.start - before.end >= time + EDGE else 0.5 * time
        moves.append((LEAD + note.start - lead, LEAD + note.start - lead + time))
    return moves


def _held(notes: list[TuneNote], moves: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Begin and end of the part of each note in which the hand rests, s on the path."""
    rest = (max(move[1], LEAD + note.start) for move, note in zip(moves, notes[1:], strict=True))
    begins = [LEAD + notes[0].start, *rest]
    ends = [*(min(move[0], LEAD + note.end) for move, note in zip(moves, notes, strict=False)), LEAD + notes[-1].end]
    return list(zip(begins, ends, strict=True))


def _part(times: Floats, begin: float, end: float) -> slice:
    """Where the stamps from `begin` up to `end` (s) stand."""
    return slice(*np.searchsorted(times, [begin, end]).tolist())


def _ways(times: Floats, placed: Floats, moves: list[tuple[float, float]]) -> Floats:
    """Distance at every stamp: at rest on the places, minimum jerk between them."""
    distances = np.full_like(times, placed[-1])
    rest = 0
    for (begin, end), here, there in zip(moves, placed, placed[1:], strict=False):
        moving = _part(times, begin, end)
        distances[rest : moving.start] = here
        share = (times[moving] - begin) / max(end - begin, 1e-9)
        distances[moving] = here + (there - here) * minimum_jerk(share)
        rest = moving.stop
    return distances


def _add_vibrato(times: Floats, distances: Floats, held: list[tuple[float, float]], depth: float) -> None:
    """A vibrato that grows on every held part and leaves off before its end, in place."""
    if depth == 0.0:
        return
    for begin, end in held:
        resting = _part(times, begin, end)
        since, left = times[resting] - begin, end - times[resting]
        size = minimum_jerk(since / VIBRATO_GROWTH) * minimum_jerk(left / min(VIBRATO_GROWTH, 0.25 * (end - begin)))
        distances[resting] += depth * size * np.sin(2.0 * np.pi * VIBRATO_RATE * since)


def _volumes(times: Floats, notes: list[TuneNote], moves: list[tuple[float, float]]) -> Floats:
    """The volume hand: up with each note, down at its end, a dip between notes that touch but are not legato."""
    volumes = np.zeros_like(times)
    for note in notes:
        begin, end = LEAD + note.start, LEAD + note.end
        heard = _part(times, begin - EDGE, end + EDGE)
        gate = minimum_jerk((times[heard] - begin) / EDGE + 0.5) - minimum_jerk((times[heard] - end) / EDGE + 0.5)
        volumes[heard] += note.loudness * gate
    for (before, note), move in zip(pairwise(notes), moves, strict=True):
        if note.legato or note.start - before.end > TOUCHING:
            continue
        middle, half = LEAD + note.start, 0.5 * max(move[1] - move[0], EDGE)
        parting = _part(times, middle - half, middle + half)
        volumes[parting] *= 1.0 - DIP * dip(0.5 * (times[parting] - middle) / half + 0.5)
    return np.asarray(np.clip(volumes, 0.0, 1.0))


def _pitch(field: PitchField, times: Floats, distances: Floats, span: tuple[float, float]) -> tuple[float, float]:
    """Median pitch (Hz) over a span of time, and the standard deviation in cents."""
    held = _part(times, *span)
    frequency = field.frequency_at(distances[held.start : max(held.stop, held.start + 1)])
    return float(np.median(frequency)), float(np.std(cents(frequency, float(np.median(frequency)))))
