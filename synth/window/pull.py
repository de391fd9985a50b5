"""A pull towards the notes of a scale: an aid for the first steps, not the instrument's physics.

Between two neighbouring notes of the scale let x be the share of the way, in cents, from the lower to the upper one.
The pitch that is heard lies at

    (1 - p) x + p j((x - 1/2) / w + 1/2)

with p the pull, 0 to 1, j the minimum-jerk course from 0 to 1 and w the share of the way, GLIDE, in which the pitch
goes over from one note to the other. So the notes stay where they are, the pitch never leaps, and p = 1 leaves a glide
between steady notes. Beyond the outermost notes nothing is pulled.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from models.arrays import Floats
from models.pitch import frequency_of_note, note_number
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from synth.hands.gestures import minimum_jerk

GLIDE = 0.3
POINTS = 40  # of the table from one note of the scale to the next


def pulled_share(share: Floats, pull: float) -> Floats:
    """The course above at shares x of the way (n,), for a pull p."""
    return np.asarray((1.0 - pull) * share + pull * minimum_jerk((share - 0.5) / GLIDE + 0.5))


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """Where a hand sounds from: distances `places` (n,), m, increasing, and what they sound like, `pulled` (n,)."""

    places: Floats
    pulled: Floats

    def at(self, distance: float) -> float:
        """The distance, m, that sounds as a hand at `distance` does when it is pulled."""
        if not self.places[0] <= distance <= self.places[-1]:
            return distance
        return float(np.interp(distance, self.places, self.pulled))


def pull_of(field: PitchField, scale: Collection[int] | None, pull: float) -> Pull | None:
    """The pull of a field towards the note numbers of a scale (None: every semitone); None for no pull."""
    notes = [line for line in field.notes() if scale is None or line.number in scale] if pull > 0.0 else []
    if len(notes) < 2:
        return None
    numbers = np.array(sorted(line.number for line in notes), dtype=np.float64)
    at = np.arange((numbers.size - 1) * POINTS + 1) / POINTS
    index = np.minimum(at.astype(np.intp), numbers.size - 2)
    lower, step = numbers[index], np.diff(numbers)[index]
    share = at - index
    ends = note_number([field.lowest_frequency or 20.0, field.highest_frequency or 20e3], field.reference_a)
    wanted = np.clip(np.stack([lower + step * share, lower + step * pulled_share(share, pull)]), *ends)
    frequencies = np.clip(
        frequency_of_note(wanted, field.reference_a), field.lowest_frequency or 20.0, field.highest_frequency or 20e3
    )
    places, pulled = field.distance_at(frequencies)
    order = np.argsort(places)
    return Pull(places[order], pulled[order])
