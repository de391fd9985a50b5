"""Stray capacitance of the board: what the stated kind of board explains, and what readings say.

All ranges are of the hot end of a tank with its wiring, against everything else, and are from memory of common
practice: orders of magnitude, no measurements of ours.
"""

from __future__ import annotations

import math

from models.checks import non_negative, one_of, positive
from models.quick_dataclass import dataclass

BOARDS: dict[str, tuple[float, float]] = {
    "solderless breadboard": (10e-12, 60e-12),
    "perfboard": (4e-12, 25e-12),
    "etched board": (2e-12, 15e-12),
}
"""Lowest and highest stray, F, of each kind of board (from memory)."""


@dataclass(frozen=True, slots=True)
class TankReading:
    """Two readings reduced: inductance, H, and the capacitance, F, that the tank has beside the fitted capacitor."""

    inductance: float
    elsewhere: float


def stray_range(board: str) -> tuple[float, float]:
    """Return the lowest and highest stray, F, of a kind of board (a key of BOARDS)."""
    return BOARDS[one_of("board", board, tuple(BOARDS))]


def tank_from_readings(
    first_capacitor: float, first_frequency: float, second_capacitor: float, second_frequency: float
) -> TankReading:
    """Return inductance and capacitance elsewhere from two fitted capacitors, F, and the frequencies, Hz, they gave.

    Symbols: L, C_x unknown; C_1, C_2 fitted; f_1, f_2 read.
    L = (1/f_2^2 - 1/f_1^2) / (4 pi^2 (C_2 - C_1)),   C_x = 1 / (4 pi^2 f_1^2 L) - C_1   (from f = 1 / (2 pi sqrt(L C)))
    Lossless tank; everything else must have stayed as it was. C_x holds stray, transistor, divider, trimmers and the
    inductor's own capacitance. Raises ValueError when the readings contradict a tank.
    """
    c1, c2 = non_negative("first_capacitor", first_capacitor), non_negative("second_capacitor", second_capacitor)
    f1, f2 = positive("first_frequency", first_frequency), positive("second_frequency", second_frequency)
    if c1 == c2:
        raise ValueError("the two fitted capacitors must differ")
    inductance = (f2**-2.0 - f1**-2.0) / (4.0 * math.pi**2 * (c2 - c1))
    if inductance <= 0.0:
        raise ValueError("the larger capacitor must give the lower frequency; check the readings")
    elsewhere = 1.0 / (4.0 * math.pi**2 * f1**2 * inductance) - c1
    if elsewhere < 0.0:
        raise ValueError(f"the readings leave {elsewhere * 1e12:.4g} pF beside the fitted capacitor; check both")
    return TankReading(inductance, elsewhere)
