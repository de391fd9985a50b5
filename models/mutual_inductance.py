"""How much of one coil's field goes through another: mutual inductance and coupling of two single-layer coils.

Each coil is a current sheet: rings spread evenly over its length. Between two coaxial rings of radii a, b at a distance
d (J. C. Maxwell, Treatise (1873), section 701; F. W. Grover, Inductance Calculations (1946), chapter 11), with the
complete elliptic integrals K, E of modulus k:

    M = mu0 sqrt(a b) ((2/k - k) K - (2/k) E),    k^2 = 4 a b / ((a + b)^2 + d^2)

Coils in any position: Neumann's integral of the vector potential A of every ring of the one round every ring of the
other; at rho and z from a ring's middle A = mu0 / (2 pi rho) sqrt((a + rho)^2 + z^2) ((1 - k^2/2) K - E) with
k^2 = 4 a rho / ((a + rho)^2 + z^2). Lengths in m. Neglected: the pitch of the windings, their layers, metal and ferrite
nearby (a screen round a coil or a metal plate lowers the coupling; a core raises it).
"""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np

from models.arrays import Floats
from models.checks import finite_array, positive
from models.constants import VACUUM_PERMEABILITY
from models.inductor import solenoid_inductance
from models.quick_dataclass import dataclass

Point = tuple[float, float, float]
RINGS, CORNERS = 32, 96
"""Rings along each coil (Gauss points) and points round each ring."""


@dataclass(frozen=True, slots=True)
class Coil:
    """A single-layer coil: diameter and length, m, turns, and inductance, H.

    Without an inductance it has that of a current sheet of these turns; without turns it has those that a current
    sheet needs for this inductance. With both the inductance may be another (a core, many layers). ValueError for
    neither.
    """

    diameter: float
    length: float
    turns: float | None = None
    inductance: float | None = None

    def __post_init__(self) -> None:
        if self.turns is None and self.inductance is None:
            raise ValueError("coil: give its turns or its inductance")
        for name in ("diameter", "length", "turns", "inductance"):
            if getattr(self, name) is not None:
                positive(f"coil {name}", getattr(self, name))

    @property
    def winding(self) -> float:
        """Its turns, stated or those of the current sheet."""
        if self.turns is not None:
            return self.turns
        one = float(solenoid_inductance(1.0, self.diameter, self.length))
        return math.sqrt((self.inductance or 0.0) / one)

    @property
    def sheet_inductance(self) -> float:
        """Inductance of the current sheet of its turns, H."""
        return float(solenoid_inductance(self.winding, self.diameter, self.length))


class Axes(StrEnum):
    """How two coils stand to each other, their middles a distance apart: on one axis; upright side by side; the second
    lying beside the upright first with its axis towards it (then nothing of one's field goes through the other).
    """

    COAXIAL = "coaxial"
    PARALLEL = "parallel"
    CROSSED = "crossed"

    def placed(self, distance: float) -> tuple[Point, Point]:
        """Return the second's middle and direction, for the first as in `mutual_inductance`; distance m."""
        away = positive("coil distance", distance)
        upright, aside = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
        if self is Axes.COAXIAL:
            return (0.0, 0.0, away), upright
        return (away, 0.0, 0.0), upright if self is Axes.PARALLEL else aside


def ring_inductance(first_radius: float, second_radius: float, distance: float) -> float:
    """Return M, H, of two coaxial rings; ValueError where they touch."""
    radius = positive("second radius", second_radius)
    potential = _potential(positive("first radius", first_radius), np.array(radius), np.array(float(distance)))
    if not math.isfinite(float(potential)):
        raise ValueError("the two rings touch")
    return 2.0 * math.pi * radius * float(potential)


def mutual_inductance(first: Coil, second: Coil, offset: Point, axis: Point = (0.0, 0.0, 1.0)) -> float:
    """Return M, H, of two coils; the first is centred on the origin along z.

    offset: centre of the second, m. axis: its direction (any length), z for parallel coils; a turn the other way about
    changes the sign. Good to some 1e-4 where the windings are a tenth of a diameter or more apart. Raises ValueError
    where the second's winding passes through the first's.
    """
    centre, along = finite_array("offset", offset), finite_array("axis", axis)
    size = float(np.linalg.norm(along))
    if centre.shape != (3,) or along.shape != (3,) or size == 0.0:
        raise ValueError(f"offset and axis must be three numbers each, the axis not all zero; got {offset}, {axis}")
    along = along / size
    helper = np.array([1.0, 0.0, 0.0]) if abs(along[0]) < 0.7 else np.array([0.0, 1.0, 0.0])
    across = np.cross(along, helper)
    across /= np.linalg.norm(across)
    up = np.cross(along, across)
    nodes, weights = np.polynomial.legendre.leggauss(RINGS)
    angle = 2.0 * np.pi * np.arange(CORNERS) / CORNERS
    outward = np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * up
    forward = np.cos(angle)[:, None] * up - np.sin(angle)[:, None] * across
    middles = centre + 0.5 * second.length * nodes[:, None] * along
    points = middles[:, None, :] + 0.5 * second.diameter * outward  # (rings, corners, 3)
    radius = 0.5 * first.diameter
    rho, height = np.hypot(points[..., 0], points[..., 1]), points[..., 2]
    beside = np.abs(height) <= 0.5 * first.length
    if beside.any() and (rho[beside] <= radius).any() and (rho[beside] >= radius).any():
        raise ValueError("the two coils overlap: one winding passes through the other")
    # A runs round the first's axis: direction (-y, x, 0) / rho
    turning = (points[..., 0] * forward[:, 1] - points[..., 1] * forward[:, 0]) / np.maximum(rho, 1e-12)
    step = 2.0 * np.pi / CORNERS * 0.5 * second.diameter
    total = 0.0
    for place, weight in zip(0.5 * first.length * nodes, 0.5 * weights, strict=True):
        round_each = np.sum(_potential(radius, rho, height - place) * turning, axis=1) * step
        total += weight * float(0.5 * weights @ round_each)
    return float(first.winding * second.winding * total)


def coil_coupling(first: Coil, second: Coil, offset: Point, axis: Point = (0.0, 0.0, 1.0)) -> float:
    """Return k = M / sqrt(L_1 L_2); arguments as `mutual_inductance`."""
    own = [coil.sheet_inductance if coil.inductance is None else coil.inductance for coil in (first, second)]
    return mutual_inductance(first, second, offset, axis) / math.sqrt(own[0] * own[1])


def _potential(radius: float, rho: Floats, height: Floats) -> Floats:
    """Return A, T m, of a ring with 1 A at rho and height from its middle (0 on its axis)."""
    from scipy.special import ellipe, ellipkm1  # heavy, and seldom needed

    away = np.maximum(rho, 1e-9 * radius)
    far = (radius + away) ** 2 + height**2
    near = ((radius - away) ** 2 + height**2) / far  # 1 - k^2
    with np.errstate(divide="ignore", invalid="ignore"):
        shape = 0.5 * (1.0 + near) * ellipkm1(near) - ellipe(1.0 - near)
    # near the axis and far away the difference cancels: A = mu0 a^2 rho / (4 (a^2 + rho^2 + z^2)^(3/2)), to k^4 / 8
    # (J. D. Jackson, Classical Electrodynamics, equation 5.40, from memory)
    thin = 1.0 - near < 1e-4
    series = VACUUM_PERMEABILITY * radius**2 * away / (4.0 * (radius**2 + away**2 + height**2) ** 1.5)
    return np.asarray(np.where(thin, series, VACUUM_PERMEABILITY / (2.0 * np.pi * away) * np.sqrt(far) * shape))
