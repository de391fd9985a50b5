"""Antenna capacitance against the distance of the playing hand, from the electrostatic field of the whole scene.

Rod antenna, optional earthed cabinet, earth plane, and the player (trunk, head, arm, hand: one conductor, joined to
earth through a body capacitance or bonded to it) are solved by boundary elements. The distance is the shortest from
the skin of the hand to the surface of the rod, of the ideal shapes.

Skin and tissue count as a perfect conductor: at some 100 kHz their conductivity (about 0.1-0.5 S/m, from memory of C.
Gabriel's tables) makes sigma / (omega eps0) some 10^4 to 10^5, so charge settles on the surface and the
field inside is negligible; the player's resistance (some kilohm) is small beside the reactance of a picofarad
(hundreds of kilohm and more).
Neglected: that resistance and the loss it brings, dry skin's thin insulating layer, clothes, walls and furniture, the
other arm, separate fingers, the bend of the elbow (the arm is a straight capsule that stretches), the antenna's lead
and mount (`antenna_stray` of the instrument), radiation.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import one_of, positive
from models.hand.capacitance_curve import CapacitanceCurve, distance_table
from models.hand.scene import POSTURES, Posture, Scene

#: Hand distances of a curve, m: 40 from 1 cm to 80 cm in equal ratios.
DEFAULT_DISTANCES: Final[Floats] = np.geomspace(0.01, 0.80, 40)
DEFAULT_DISTANCES.setflags(write=False)


def capacitance_curves(
    scene: Scene,
    distances: ArrayLike = DEFAULT_DISTANCES,
    postures: Sequence[Posture] = POSTURES,
    fineness: float = 1.0,
) -> dict[Posture, CapacitanceCurve]:
    """Capacitance of the antenna against hand distance for each posture.

    distances: (n,) m, at least two, strictly increasing. fineness: panels per length against the default mesh (about
    0.8 or more).
    Raises ValueError for a bad table of distances, an unknown posture, and scenes whose parts meet or whose hand the
    player cannot bring there.
    """
    from models.hand.field_solution import (  # meshes and scipy.linalg: only when solving
        antenna_capacitances,
        still_field,
    )

    table = distance_table(distances)
    for posture in postures:
        one_of("posture", posture, POSTURES)
    still = still_field(scene, positive("fineness", fineness))
    return {
        posture: CapacitanceCurve(table, antenna_capacitances(still, posture, table), still.empty_capacitance)
        for posture in postures
    }
