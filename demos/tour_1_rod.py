"""Tour 1: the capacitance of a rod antenna, from the charge on its surface.

The boundary-element solution of a 45 cm rod is set beside the classical estimate that takes the charge as evenly
spread along the rod, C = 2 pi eps0 l / (ln(2 l / a) - 1) with a the radius (from memory). Real charge crowds at the
ends, so the estimate comes out low. An earth plane below adds to the capacitance.
"""

import math

from scipy.constants import epsilon_0

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.mesh import rod

LENGTH, DIAMETER = 0.45, 0.010  # m


def main() -> None:
    """Print the capacitances in picofarads."""
    estimate = 2.0 * math.pi * epsilon_0 * LENGTH / (math.log(4.0 * LENGTH / DIAMETER) - 1.0)
    print(f"rod of {LENGTH} m and {1e3 * DIAMETER:g} mm")
    print(f"  charge spread evenly          {1e12 * estimate:.3f} pF")
    for panels in (300, 1200):
        solved = capacitance_matrix([rod(LENGTH, DIAMETER, panels=panels)])[0, 0]
        print(f"  solved, about {panels:4d} panels     {1e12 * solved:.3f} pF")
    for height in (1.0, 0.1):
        raised = rod(LENGTH, DIAMETER, base=(0.0, 0.0, height))
        solved = capacitance_matrix([raised], ground_plane=True)[0, 0]
        print(f"  {height:.1f} m above an earth plane    {1e12 * solved:.3f} pF")


if __name__ == "__main__":
    main()
