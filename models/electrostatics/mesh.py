"""Triangle meshes of simple conductors: arrays (n, 3 corners, 3 components) in metres, wound outward.

Curved bodies are corrected for being polyhedra inside the true surface: corners are moved out until the mean offset
from it is nothing (equal area of a disc's polygon, equal volume of a sphere, `surfaces.lifted` elsewhere). The polygon
of a rod longer than wide has the circle's capacitance instead (`surfaces.even_charge_factor`).
`panels` is the number of triangles aimed at; the count delivered differs by the steps of each layout. `grading`
crowds cells at edges, where charge crowds: a step from the edge inward grows as t^grading (1: even).
All functions raise ValueError for sizes that are not positive and finite, for axes of no length and for too few panels.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, positive, whole
from models.electrostatics.surfaces import (
    block_faces,
    equal_area_factor,
    equal_volume_sphere,
    even_charge_factor,
    facing_sphere,
    finest_level,
    graded,
    graded_both_ends,
    grading_for,
    lifted,
    placed,
    revolved,
    wrapped_grid_faces,
)

ORIGIN: Final = (0.0, 0.0, 0.0)
UP: Final = (0.0, 0.0, 1.0)
EDGE_GRADING: Final = 2.5
#: Cells along a long side grow as (its length / the shortest) to this power.
_STRETCH: Final = 0.35


def sphere(
    center: ArrayLike = ORIGIN, radius: float = 1.0, panels: int = 1000, facing: ArrayLike | None = None
) -> Floats:
    """Sphere about `center` (3,) m, of the true volume.

    `facing` (3,) m: the nearest place of another conductor, outside the sphere. Panels then crowd before it, as the
    charge does, and each is corrected by itself; for gaps of the order of the radius and less.
    """
    radius, middle = positive("radius", radius), _vector("center", center)
    if facing is None:
        return np.asarray(radius * equal_volume_sphere(_sphere_bands(panels)) + middle)
    towards = _vector("facing", facing) - middle
    clearance = float(np.sqrt((towards**2).sum())) / radius - 1.0
    if not clearance > 0.0:
        raise ValueError(f"facing must lie outside the sphere; got {facing!r}")
    surface = facing_sphere(whole("panels", panels, 40), clearance)
    return placed(radius * lifted(surface, surface[0]), _direction(towards), middle)


def rod(
    length: float,
    diameter: float,
    base: ArrayLike = ORIGIN,
    panels: int = 1200,
    grading: float = EDGE_GRADING,
    axis: ArrayLike = UP,
) -> Floats:
    """Round rod with flat ends; `base` is the middle of its lower end, `axis` its direction (vertical by default)."""
    length, radius = positive("length", length), 0.5 * positive("diameter", diameter)
    grading = _edge_grading(grading)
    level = finest_level(whole("panels", panels, 80), lambda level: _rod_count(length, radius, level, grading))
    return placed(_rod(length, radius, level, grading), _direction(axis), _vector("base", base))


def disc(
    radius: float,
    center: ArrayLike = ORIGIN,
    axis: ArrayLike = UP,
    panels: int = 1000,
    grading: float = EDGE_GRADING,
) -> Floats:
    """Disc of no thickness (one layer of panels carries the charge of both faces); normals along `axis`."""
    radius, grading = positive("radius", radius), _edge_grading(grading)
    level = finest_level(whole("panels", panels, 40), lambda level: _disc_count(*_disc_layout(level), grading))
    rings, sectors = _disc_layout(level)
    flat = _flat_disc(radius, rings, sectors, grading, equal_area_factor(sectors))
    return placed(flat, _direction(axis), _vector("center", center))


def box(size: ArrayLike, center: ArrayLike = ORIGIN, panels: int = 1200, grading: float = EDGE_GRADING) -> Floats:
    """Rectangular block with faces square to the axes, `size` (3,) m along x, y, z."""
    lengths = _lengths("size", size)
    grading = _edge_grading(grading)
    level = finest_level(whole("panels", panels, 48), lambda level: _box_count(_cells(lengths, level)))
    nodes = [line - 0.5 * span for line, span in zip(_nodes(lengths, level, grading), lengths, strict=True)]
    return np.asarray(np.concatenate(block_faces(*nodes)) + _vector("center", center))


def torus(
    ring_radius: float, tube_radius: float, center: ArrayLike = ORIGIN, axis: ArrayLike = UP, panels: int = 1600
) -> Floats:
    """Torus about `axis`: `ring_radius` to the middle of the tube, `tube_radius` < ring_radius, m."""
    ring_radius, tube_radius = positive("ring_radius", ring_radius), positive("tube_radius", tube_radius)
    if not tube_radius < ring_radius:
        raise ValueError(f"tube_radius must be < ring_radius = {ring_radius:g}; got {tube_radius:g}")
    around, along = _torus_cells(ring_radius / tube_radius, whole("panels", panels, 72))
    azimuth = 2.0 * np.pi * np.arange(along)[:, None] / along
    turn = 2.0 * np.pi * np.arange(around)[None, :] / around
    outward = np.stack(
        np.broadcast_arrays(np.cos(azimuth) * np.cos(turn), np.sin(azimuth) * np.cos(turn), np.sin(turn)), axis=-1
    ).reshape(-1, 3)
    circle = np.stack([np.cos(azimuth), np.sin(azimuth), 0.0 * azimuth], axis=-1) * ring_radius
    middles = np.repeat(circle[:, 0, :], around, axis=0)
    surface = (middles + tube_radius * outward, wrapped_grid_faces(along, around))
    return placed(lifted(surface, outward), _direction(axis), _vector("center", center))


# Layouts: all counts follow from one level, the fineness.


def _sphere_bands(panels: int) -> int:
    """Bands of a ring sphere of about `panels` triangles: 4 sqrt(3) / pi bands^2."""
    return max(3, round(float(np.sqrt(whole("panels", panels, 20) * np.pi / (4.0 * np.sqrt(3.0))))))


def _rod_layout(length: float, radius: float, level: float, grading: float) -> tuple[int, int, int, float]:
    """Sectors, cells along the side, rings of a cap, and the size of the cells at the edge."""
    shortest = min(length, 2.0 * radius)
    along = round(1.5 * level * (length / shortest) ** _STRETCH)
    rings = max(2, round(0.75 * level * (2.0 * radius / shortest) ** _STRETCH))
    sectors = max(6, round(2.4 * level * (2.0 * radius / shortest) ** _STRETCH))
    finest = 0.5 * shortest * (1.25 / level) ** grading
    return sectors, max(2, along), rings, min(finest, 0.25 * shortest)


def _rod(length: float, radius: float, level: float, grading: float) -> Floats:
    sectors, along, rings, finest = _rod_layout(length, radius, level, grading)
    rim = even_charge_factor(sectors) if length > 2.0 * radius else equal_area_factor(sectors)
    cap = _flat_disc(radius, rings, sectors, grading_for(radius, rings, finest), rim)
    heights = length * graded_both_ends(along, grading_for(0.5 * length, 0.5 * along, finest))
    vertices, faces = revolved([radius * rim] * (along + 1), heights, [sectors] * (along + 1))
    top = cap + (0.0, 0.0, length)
    return np.concatenate([vertices[faces], top, cap[:, ::-1]])


def _rod_count(length: float, radius: float, level: float, grading: float) -> int:
    sectors, along, rings, finest = _rod_layout(length, radius, level, grading)
    return 2 * sectors * along + 2 * _disc_count(rings, sectors, grading_for(radius, rings, finest))


def _disc_rings(rings: int, sectors: int, grading: float) -> tuple[Floats, list[int]]:
    """Radii (rings + 1) for unit radius and points of each ring: as many as keep the cells no slimmer than 1.5:1."""
    radii = graded(rings, grading)
    counts = [1]
    for inner, outer in zip(radii[:-1], radii[1:], strict=True):
        counts.append(int(np.clip(round(2.0 * np.pi * outer / (1.5 * (outer - inner))), 6, sectors)))
    counts[-1] = sectors
    return radii, counts


def _disc_layout(level: float) -> tuple[int, int]:
    """Rings and points on the rim."""
    return round(level), round(3.0 * level) + 6


def _flat_disc(radius: float, rings: int, sectors: int, grading: float, rim: float) -> Floats:
    radii, counts = _disc_rings(rings, sectors, grading)
    radii[-1] = rim
    vertices, faces = revolved(radius * radii[::-1], np.zeros(rings + 1), counts[::-1])
    return np.asarray(vertices[faces])


def _disc_count(rings: int, sectors: int, grading: float) -> int:
    counts = _disc_rings(rings, sectors, grading)[1]
    return 2 * sum(counts[1:-1]) + counts[-1]


def _cells(lengths: Floats, level: float) -> list[int]:
    """Cells along each side: `level` along the shortest, more along longer ones."""
    return [max(2, round(level * (span / lengths.min()) ** _STRETCH)) for span in lengths]


def _nodes(lengths: Floats, level: float, grading: float) -> list[Floats]:
    """Nodes along each side, crowding at both ends to the same smallest cell."""
    finest = 0.5 * lengths.min() * (2.0 / level) ** grading
    return [
        span * graded_both_ends(cells, grading_for(0.5 * span, 0.5 * cells, finest))
        for span, cells in zip(lengths, _cells(lengths, level), strict=True)
    ]


def _box_count(cells: list[int]) -> int:
    a, b, c = cells
    return 4 * (a * b + b * c + c * a)


def _torus_cells(ratio: float, panels: int) -> tuple[int, int]:
    """Cells around the tube and along the ring for ring radius / tube radius = `ratio`, 2 x their product triangles."""
    stretch = min(max(ratio**0.5, 1.0), 4.0)
    around = max(8, round(float(np.sqrt(0.5 * panels * stretch / ratio))))
    return around, max(6, round(0.5 * panels / around))


# Checks of what is given: one ValueError naming the parameter.


def _edge_grading(grading: Any) -> float:
    """Exponent 1..6 by which cells crowd at edges. ValueError otherwise."""
    value = positive("grading", grading)
    if not 1.0 <= value <= 6.0:
        raise ValueError(f"grading must be between 1 and 6; got {value:g}")
    return value


def _vector(name: str, value: ArrayLike) -> Floats:
    """Three finite coordinates, (3,). ValueError otherwise."""
    coordinates = finite_array(name, value)
    if coordinates.shape != (3,):
        raise ValueError(f"{name} must be three coordinates; got {value!r}")
    return coordinates


def _direction(axis: ArrayLike) -> Floats:
    """Unit vector along `axis`. ValueError otherwise."""
    along = _vector("axis", axis)
    norm = float(np.sqrt((along**2).sum()))
    if not norm > 0.0:
        raise ValueError(f"axis must not be of zero length; got {axis!r}")
    return np.asarray(along / norm)


def _lengths(name: str, value: ArrayLike) -> Floats:
    """Three positive lengths, (3,). ValueError otherwise."""
    sizes = _vector(name, value)
    for length in sizes:
        positive(name, float(length))
    return sizes
