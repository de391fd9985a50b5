"""Tour 2: what the hand adds. Femtofarads against distance, for an open hand and a fist.

The whole scene is solved: rod, earthed cabinet, earth plane and a player of body, arm and hand. The capacitance rises
ever more steeply as the hand comes nearer: a millimetre counts hundreds of times more near the rod than far from it.
"""

import numpy as np

from models.hand.hand_field import capacitance_curves
from models.hand.scene import Cabinet, Scene

NAMES = {"open": "open hand", "fist": "fist"}
DISTANCES = np.array([0.05, 0.1, 0.2, 0.3, 0.4, 0.6])  # m, skin of the hand to the rod


def main() -> None:
    """Print the added capacitance and its slope."""
    curves = capacitance_curves(Scene(cabinet=Cabinet()), DISTANCES)
    for posture, curve in curves.items():
        print(f"{NAMES[posture]}: {1e12 * curve.empty_capacitance:.3f} pF with no player")
        print("  distance     added      a millimetre nearer adds")
        for distance in DISTANCES:
            added = float(curve.capacitance(distance)) - curve.empty_capacitance
            steepness = -1e-3 * float(curve.slope(distance))
            print(f"  {100 * distance:5.0f} cm {1e15 * added:8.1f} fF {1e15 * steepness:12.3f} fF")


if __name__ == "__main__":
    main()
