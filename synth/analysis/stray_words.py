"""What a kind of board says of a stray capacitance, in words."""

from __future__ import annotations

from models.stray import stray_range


def explanation(stray: float, board: str) -> str:
    """Say whether a kind of board explains a `stray`, F (a figure inferred from readings)."""
    low, high = stray_range(board)
    value = stray * 1e12
    span = f"{low * 1e12:.0f} to {high * 1e12:.0f} pF (from memory)"
    if stray < 0.0:
        return f"{value:.0f} pF of stray cannot be: a capacitor or the inductance is less than stated"
    if stray > high:
        return (
            f"{value:.0f} pF of stray is larger than the stated {board} explains ({span}): look for "
            "long leads, screened cable, a capacitor above its marking, or another inductance"
        )
    if stray < low:
        return f"{value:.0f} pF of stray is less than usual for the stated {board} ({span})"
    return f"{value:.0f} pF of stray is what the stated {board} explains ({span})"
