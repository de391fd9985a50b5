"""The volume antenna in its scene: a level ring beside the cabinet, and the other hand, palm down, above it. Metres.

Axes as in `models.hand.scene`. The ring lies to the side y < 0 of the rod, where the player's other shoulder is. The
middle of the hand is above the part of the ring that is nearest to the player, fingers over the ring, pointing towards
-x.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.hand.scene import Scene

#: Heights of the volume hand of a curve, m: 30 from 1 cm to 60 cm in equal ratios.
VOLUME_DISTANCES: Final[Floats] = np.geomspace(0.01, 0.60, 30)
VOLUME_DISTANCES.setflags(write=False)


@dataclass(frozen=True, slots=True)
class LoopAntenna:
    """A level ring of round tube, open or closed: electrically one conductor, a small part of a wavelength.

    diameter: m, of the ring to the middle of its tube. tube_diameter: m. height: m, the middle of the tube above the
    earth plane. offset: m, the ring's axis beside the rod's, towards y < 0.
    """

    diameter: float = 0.22
    tube_diameter: float = 0.008
    height: float = 1.0
    offset: float = 0.45

    def __post_init__(self) -> None:
        for name in ("diameter", "tube_diameter", "height", "offset"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        if not self.tube_diameter < 0.5 * self.diameter:
            raise ValueError(
                f"tube_diameter must be < half the ring's diameter = {0.5 * self.diameter:g}; "
                f"got {self.tube_diameter:g}"
            )
        if not self.height > 0.5 * self.tube_diameter:
            raise ValueError(f"height must be > {0.5 * self.tube_diameter:g}, clear of the floor; got {self.height:g}")

    @property
    def top(self) -> float:
        """Height of the ring's upper surface, from which the hand is measured, m above the earth plane."""
        return self.height + 0.5 * self.tube_diameter


@dataclass(frozen=True, slots=True)
class VolumeScene:
    """Everything the capacitance of the ring depends on but the hand's height: cabinet and player are `scene`'s."""

    scene: Scene = field(default_factory=Scene)
    loop: LoopAntenna = field(default_factory=LoopAntenna)
