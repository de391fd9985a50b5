"""Both hands on one instrument: what each does to the other's antenna, for laws that know of one hand alone.

A place of both hands is told to the pitch as the distance that, with the volume hand at rest, gives the pitch antenna
the same capacitance; and to the volume as the height that, with the pitch hand at rest, gives the ring the same. The
fingers of the pitch hand count likewise in the pitch (see `models.hand.both_hands`); what they do to the volume ring is
left out: closing them changes what the volume hand adds to a ring by 1 % at most, where the whole pitch hand changes it
by 11 % (the default scene with a cabinet; ln of what is added, 0.0106 and 0.107).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.hand.both_hands import HandCurve
from models.quick_dataclass import dataclass
from models.volume.volume_antenna import VolumeAntenna


@dataclass(frozen=True, slots=True, eq=False)
class BothHands:
    """Pitch and volume antenna under both hands."""

    pitch: HandCurve
    ring: HandCurve
    volume: VolumeAntenna

    def pitch_distance(self, distance: ArrayLike, height: ArrayLike, opening: ArrayLike | None = None) -> Floats:
        """The distance, m, of equal pitch with the volume hand at rest and the fingers as designed (broadcast; held
        within the curve). opening: of the fingers, 0 to 1; None: as designed.
        """
        return self.pitch.equal_distance(distance, height, opening)

    def gain(self, distance: ArrayLike, height: ArrayLike) -> Floats:
        """Gain, 0 to 1, with the hands at these places, m (broadcast; held within the computed places)."""
        near, far = self.ring.curve.nearest, self.ring.curve.farthest
        held = np.clip(np.asarray(height, dtype=np.float64), near, far)
        return self.volume.held_gain(self.ring.equal_distance(held, distance))
