"""Tour 3: two modes. An antenna straight across the tank, and the same antenna behind a series inductor.

With a series inductor the circuit has two resonances. Near the place where coil and antenna would resonate with the
tank, the sounding one moves much more for the same femtofarads: the coil buys sensitivity.
"""

import numpy as np

from models.branch.antenna_branch import SeriesInductor, preferred_mode
from models.branch.modes import mode_frequencies, mode_slope
from models.tank import Tank

TANK = Tank(inductance=1e-3, capacitance=270e-12, board_stray=25e-12, trimmer_minimum=10e-12, trimmer_maximum=110e-12)
ANTENNA = 10e-12  # F, with its stray


def main() -> None:
    """Print both modes and how far ten femtofarads move them, for some series inductors."""
    print(f"tank alone: {TANK.frequency / 1e3:.2f} kHz; antenna {1e12 * ANTENNA:g} pF")
    print("  series     lower mode    upper mode    10 fF move them by        starts in")
    for inductance in (0.0, 10e-3, 20e-3, 30e-3, 40e-3, 50e-3):
        coil = SeriesInductor(inductance)
        circuit = (TANK.inductance, TANK.total_capacitance, inductance, ANTENNA)
        low, high = mode_frequencies(*circuit)
        low_step, high_step = 10e-15 * np.array(mode_slope(*circuit))
        upper = f"{high / 1e3:8.2f} kHz" if inductance else "          - "
        upper_step = f"{high_step:8.1f} Hz" if inductance else "         - "
        mode = preferred_mode(TANK, coil, ANTENNA)
        print(f"  {1e3 * inductance:3.0f} mH {low / 1e3:10.2f} kHz  {upper} {low_step:10.1f} Hz {upper_step}   {mode}")


if __name__ == "__main__":
    main()
