"""Generated hand paths: the movements a player makes, placed by the pitch field of the instrument they play.

Sources: minimum-jerk course 10 t^3 - 15 t^4 + 6 t^5 of a reach, T. Flash and N. Hogan, J. Neurosci. 5
(1985) 1688; vibrato of 5.5 to 8 Hz, R. Timmers and P. Desain, Proc. ICMPC 2000; hand tremor of 6 to 12 Hz
and some 0.03 to 0.15 mm, doi:10.1001/archneur.1982.00510180036009. Neglected: breathing, sway of the
body, and that the hand turns and opens as it plays.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.errors import DesignError, at_place
from synth.hands.hand_path import HandPath

if TYPE_CHECKING:
    from models.pitch_field import NoteLine, PitchField

STAMPS_PER_SECOND = 500.0  # Hz; linear pieces of 2 ms miss a 6.5 Hz vibrato by less than a thousandth of its depth
SHORTEST, LONGEST = 1.0, 600.0  # s
TREMOR_BAND = (6.0, 12.0)  # Hz
TREMOR_PARTIALS = 24
TREMOR_SIZE = 0.05e-3  # m, root mean square
VIBRATO_RATE = 6.5  # Hz
DIP = 0.85  # share of the volume taken away between separate notes
VIBRATO_DEPTH_CENTS = 25.0  # each way
HIGHEST_SWEPT = 2093.0  # Hz, C7: a sweep turns round there, for the listener's ears
CHOSEN_NOTE = 64  # E4: where a gesture of one note goes if it is in reach
MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11, 12)  # semitones


def minimum_jerk(share: ArrayLike) -> Floats:
    """Share of a reach covered after a share t of its time: 10 t^3 - 15 t^4 + 6 t^5, at rest outside 0..1."""
    t = np.clip(share, 0.0, 1.0)
    return np.asarray(t**3 * (10.0 + t * (6.0 * t - 15.0)))


def dip(share: ArrayLike) -> Floats:
    """From 0 to 1 and back while a share of 0 to 1 goes by, smooth at its ends; 0 outside."""
    t = np.clip(share, 0.0, 1.0)
    return np.asarray(16.0 * (t * (1.0 - t)) ** 2)


def tremor(times: Floats, seed: int, size: float = TREMOR_SIZE) -> Floats:
    """Displacement of a trembling hand, m, at `times` (s): sines of random frequencies in TREMOR_BAND.

    `size` is the expected root mean square; the same seed gives the same tremor.
    """
    rates, phases = tremor_partials(seed)
    total = np.zeros_like(times)
    for rate, phase in zip(rates, phases, strict=True):
        total += np.sin(2.0 * np.pi * rate * times + phase)
    return np.asarray(size * total / np.sqrt(0.5 * TREMOR_PARTIALS))


def tremor_partials(seed: int) -> tuple[Floats, Floats]:
    """(frequencies, Hz, phases, rad) of the sines of a tremor, each (TREMOR_PARTIALS,)."""
    random = np.random.default_rng(seed)
    rates = random.uniform(*TREMOR_BAND, TREMOR_PARTIALS)
    return rates, random.uniform(0.0, 2.0 * np.pi, TREMOR_PARTIALS)


def sweep(field: PitchField, seconds: float, seed: int) -> HandPath:
    """From the far end of the playable range to the near end and back, without the shrill top of the field."""
    near, far = playable_range(field)
    if field.reaches(HIGHEST_SWEPT):
        shrill = float(field.distance_at(HIGHEST_SWEPT))
        near, far = (shrill, far) if field.direction == "rising" else (near, shrill)
    times = stamps(seconds)
    return _finish(times, far + (near - far) * _out_and_back(times / seconds), field, seed)


def scale(field: PitchField, seconds: float, seed: int) -> HandPath:
    """A major scale up and down, the volume lowered while the hand moves from note to note."""
    tonic = _tonic(field)
    by_number = {note.number: note.distance for note in field.notes()}
    numbers = [tonic + step for step in (*MAJOR_STEPS, *MAJOR_STEPS[-2::-1])]
    places = [by_number[number] for number in numbers]
    times = stamps(seconds)
    step = seconds / len(places)
    reach = min(0.3 * step, 0.25)
    distances, volumes = np.full_like(times, places[0]), np.ones_like(times)
    for index, (here, there) in enumerate(pairwise(places), start=1):
        share = (times - index * step) / reach + 0.5
        distances += (there - here) * minimum_jerk(share)
        volumes -= DIP * dip(share)
    return _finish(times, distances, field, seed, volumes)


def vibrato(field: PitchField, seconds: float, seed: int) -> HandPath:
    """One note: straight at first, then a vibrato that grows over the middle of the gesture."""
    place = _chosen_note(field).distance
    times = stamps(seconds)
    cents_per_metre = 1000.0 * abs(float(field.cents_per_mm(place)))
    depth = VIBRATO_DEPTH_CENTS / cents_per_metre * minimum_jerk(2.0 * times / seconds - 0.5)
    return _finish(times, place + depth * np.sin(2.0 * np.pi * VIBRATO_RATE * times), field, seed)


def still(field: PitchField, seconds: float, seed: int) -> HandPath:
    """One note held as still as a hand can: only its tremor."""
    times = stamps(seconds)
    return _finish(times, np.full_like(times, _chosen_note(field).distance), field, seed)


@dataclass(frozen=True, slots=True)
class Gesture:
    """A gesture on offer: its maker (field, seconds, seed) -> HandPath, usual length in s, a line of help."""

    make: Callable[[PitchField, float, int], HandPath]
    seconds: float
    help: str


GESTURES = {
    "sweep": Gesture(sweep, 8.0, "over the whole playable range, up to C7 at most, and back"),
    "scale": Gesture(scale, 10.0, "a major scale up and down"),
    "vibrato": Gesture(vibrato, 6.0, "one note, straight and then with vibrato"),
    "still": Gesture(still, 4.0, "one note held as still as a hand can"),
}


def gesture(
    name: str, field: PitchField, seconds: float | None = None, seed: int = 1, place: str = "the design"
) -> HandPath:
    """The named gesture for the instrument whose pitch field is given; the same arguments give the same path.

    `place`: what a message about the instrument begins with.

    Raises DesignError for an unknown name, a length outside 1..600 s, or a field that cannot hold the
    gesture.
    """
    if name not in GESTURES:
        raise DesignError(f"no gesture {name!r}; gestures are {', '.join(GESTURES)}")
    chosen = GESTURES[name]
    length = float(chosen.seconds if seconds is None else seconds)
    if not SHORTEST <= length <= LONGEST:
        raise DesignError(f"--seconds {length:g}: a gesture lasts from {SHORTEST:g} to {LONGEST:g} s")
    if seed < 0:
        raise DesignError(f"the seed of a gesture must be a whole number >= 0; got {seed}")
    try:
        return chosen.make(field, length, seed)
    except DesignError as error:
        raise at_place(place, error) from None


def stamps(seconds: float) -> Floats:
    """The time stamps of a path of this length, s."""
    return np.linspace(0.0, seconds, max(2, round(seconds * STAMPS_PER_SECOND) + 1))


def _out_and_back(share: Floats) -> Floats:
    """0 to 1 in the first half of the time, back to 0 in the second."""
    return minimum_jerk(2.0 * share) - minimum_jerk(2.0 * share - 1.0)


def _finish(times: Floats, distances: Floats, field: PitchField, seed: int, volumes: Floats | None = None) -> HandPath:
    """Add the tremor, stay inside the playable range, and let the sound begin and end softly (0.1 s)."""
    near, far = playable_range(field)
    seconds = times[-1]
    edges = minimum_jerk(times / 0.1) * minimum_jerk((seconds - times) / 0.1)
    gain = np.clip(edges if volumes is None else edges * volumes, 0.0, 1.0)  # rounding may pass 1 by a last digit
    return HandPath(times, np.clip(distances + tremor(times, seed), near, far), gain)


def playable_range(field: PitchField) -> tuple[float, float]:
    """Nearest and farthest playable distance, m; raise DesignError where the instrument never sounds."""
    near, far = field.playable_near, field.playable_far
    if near is None or far is None or not far > near:
        raise DesignError("the design has no playable distance; see its notices: beatfield field DESIGN")
    return float(near), float(far)


def _chosen_note(field: PitchField) -> NoteLine:
    """The note in reach that is nearest to CHOSEN_NOTE."""
    playable_range(field)
    notes = field.notes()
    if not notes:
        raise DesignError("no note is in reach of this design; see its notices: beatfield field DESIGN")
    return min(notes, key=lambda note: abs(note.number - CHOSEN_NOTE))


def _tonic(field: PitchField) -> int:
    """Lowest note of the scale: an octave in reach whose middle is nearest to CHOSEN_NOTE."""
    playable_range(field)
    numbers = {note.number for note in field.notes()}
    tonics = [number for number in numbers if all(number + step in numbers for step in MAJOR_STEPS)]
    if not tonics:
        raise DesignError("less than an octave is in reach of this design; try the gesture sweep or still")
    return min(tonics, key=lambda number: (abs(number + 6 - CHOSEN_NOTE), number))


if TYPE_CHECKING:
    from synth.build.workbench import OpenedDesign


def shared_path(
    name: str, workpieces: Sequence[OpenedDesign], seconds: float | None = None, seed: int = 1
) -> tuple[HandPath, str | None]:
    """The named gesture placed by the first design that plays, held where no design becomes shrill; and a notice."""
    playable = [piece for piece in workpieces if piece.field.playable_near is not None]
    if not playable:
        raise DesignError("none of the designs has a playable distance; see their notices: beatfield field DESIGN")
    path = gesture(name, playable[0].field, seconds, seed, playable[0].design.place)
    near = max(_nearest(piece) for piece in workpieces)
    far = min(piece.instrument.curve.farthest for piece in workpieces)
    if near >= far:
        raise DesignError("the designs share no hand distance that is safe to sound; compare fewer of them")
    held, notice = path.held_within(near, far)
    if notice is None:
        return held, None
    return held, (
        f"the movement is that of {playable[0].design.name}, held between {100 * near:.1f} and {100 * far:.1f} cm so "
        "that no design sounds above C7 or leaves its field"
    )


def _nearest(workpiece: OpenedDesign) -> float:
    """Nearest distance at which the design is not above C7, m."""
    field = workpiece.field
    if field.playable_near is None or field.direction != "rising" or not field.reaches(HIGHEST_SWEPT):
        return workpiece.instrument.curve.nearest
    return float(field.distance_at(HIGHEST_SWEPT))
