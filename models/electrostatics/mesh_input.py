"""Checks of what the mesh functions are given: one ValueError naming the parameter."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.checks import finite_array, positive
from models.electrostatics.surfaces import Floats


def panel_target(panels: Any, least: int) -> int:
    """Number of triangles aimed at, a whole number >= `least`. ValueError otherwise."""
    if isinstance(panels, bool | np.bool_) or not isinstance(panels, int | np.integer):
        raise ValueError(f"panels must be a whole number; got {panels!r}")
    if panels < least:
        raise ValueError(f"panels must be at least {least} for this shape; got {panels}")
    return int(panels)


def edge_grading(grading: Any) -> float:
    """Exponent 1..6 by which cells crowd at edges. ValueError otherwise."""
    value = positive("grading", grading)
    if not 1.0 <= value <= 6.0:
        raise ValueError(f"grading must be between 1 and 6; got {value:g}")
    return value


def vector(name: str, value: ArrayLike) -> Floats:
    """Three finite coordinates, (3,). ValueError otherwise."""
    coordinates = finite_array(name, value)
    if coordinates.shape != (3,):
        raise ValueError(f"{name} must be three coordinates; got {value!r}")
    return coordinates


def direction(axis: ArrayLike) -> Floats:
    """Unit vector along `axis`. ValueError otherwise."""
    along = vector("axis", axis)
    norm = float(np.sqrt((along**2).sum()))
    if not norm > 0.0:
        raise ValueError(f"axis must not be of zero length; got {axis!r}")
    return np.asarray(along / norm)


def lengths_of(name: str, value: ArrayLike, count: int) -> Floats:
    """`count` positive lengths. ValueError otherwise."""
    sizes = finite_array(name, value)
    if sizes.shape != (count,):
        raise ValueError(f"{name} must be {count} lengths; got {value!r}")
    for length in sizes:
        positive(name, float(length))
    return sizes
