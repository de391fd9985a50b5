"""Building blocks of triangle meshes: graded steps, rings, grids, correction of curved surfaces, placement in space.

A surface is a pair: vertices (v, 3) m and faces (f, 3) indices, counter-clockwise seen from outside.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from models.arrays import Complexes, Floats

Faces = NDArray[np.intp]
Surface = tuple[Floats, Faces]


def graded(cells: int, grading: float) -> Floats:
    """cells + 1 nodes from 0 to 1, crowding at 1 as 1 - (1 - t)^grading; grading 1: even steps."""
    return np.asarray(1.0 - (1.0 - np.linspace(0.0, 1.0, cells + 1)) ** grading)


def graded_both_ends(cells: int, grading: float) -> Floats:
    """cells + 1 nodes from 0 to 1, crowding alike at both ends."""
    even = np.linspace(-1.0, 1.0, cells + 1)
    return np.asarray(0.5 + 0.5 * np.sign(even) * (1.0 - (1.0 - np.abs(even)) ** grading))


def grading_for(length: float, cells: float, finest: float, least: float = 1.0, most: float = 6.0) -> float:
    """Grading at which `cells` steps along `length`, crowding at one end, end in a step of `finest`.

    finest = length (1 / cells)^grading, kept to least..most: an even mesh where `finest` needs no crowding.
    """
    if cells <= 1.0:
        return least
    return float(min(max(np.log(length / finest) / np.log(cells), least), most))


def ring(radius: float, height: float, count: int) -> Floats:
    """`count` points (count, 3) evenly on a horizontal circle about the z axis, the first at azimuth 0."""
    azimuth = 2.0 * np.pi * np.arange(count) / count
    return np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), np.full(count, height)], axis=1)


def equal_area_factor(sides: int) -> float:
    """Radius of the corners of a regular polygon of the area of the unit circle."""
    return float(np.sqrt((2.0 * np.pi / sides) / np.sin(2.0 * np.pi / sides)))


def even_charge_factor(sides: int) -> float:
    """Radius of the corners of a regular polygon whose sides, evenly charged, have the potential of the unit circle.

    For the cross-section of a long rod, where a line charge q has the mean potential -q ln(s) / (2 pi eps0):
        ln s = mean of ln|z - w| over z and w on the sides, corners on the unit circle;  factor 1 / s
    exact for two sides from a to b and from c to d: ln|m| - Re[F(b-d) - F(b-c) - F(a-d) + F(a-c)] / [(b-a) (d-c)],
    F(x) = x^2 (ln(x) / 2 - 3/4), all differences over that of the middles, m; ln(length) - 3/2 for a side and itself.
    (A polygon of the circle's area acts as a wider circle: with eight sides, evenly charged, by 0.3 % of the radius.)
    Neglected: that the charge of a side is not even, and crowds at the true polygon's corners, which the circle lacks.
    """
    corners = np.exp(2.0j * np.pi * np.arange(sides + 1) / sides)
    a, b, c, d = corners[0], corners[1], corners[1:-1], corners[2:]
    middle = 0.5 * (a + b - c - d)
    second = sum(
        sign * _log_antiderivative(ends / middle) for sign, ends in ((1, b - d), (-1, b - c), (-1, a - d), (1, a - c))
    )
    others = np.log(np.abs(middle)) - np.real(second * middle**2 / ((b - a) * (d - c)))
    return float(np.exp(-(np.log(np.abs(b - a)) - 1.5 + others.sum()) / sides))


def _log_antiderivative(x: Complexes) -> Complexes:
    """F(x) of `even_charge_factor`, whose second derivative is ln(x); 0 at 0."""
    return np.asarray(x**2 * (0.5 * np.log(np.where(x == 0.0, 1.0, x)) - 0.75))


def revolved(radii: Sequence[float] | Floats, heights: Sequence[float] | Floats, counts: Sequence[int]) -> Surface:
    """Surface of revolution about z through rings of `counts` points; a count of 1 is a pole. Rings run upwards
    on the outside (normals outward); neighbouring rings may have different counts."""
    vertices = np.concatenate([ring(r, z, n) for r, z, n in zip(radii, heights, counts, strict=True)])
    return vertices, ring_faces(tuple(counts))


@functools.lru_cache(maxsize=64)
def ring_faces(counts: tuple[int, ...]) -> Faces:
    """Faces (not to be changed) between rings of so many points, one after another."""
    starts = np.concatenate([[0], np.cumsum(counts)])
    strips = [strip(int(starts[k]), counts[k], int(starts[k + 1]), counts[k + 1]) for k in range(len(counts) - 1)]
    faces = np.concatenate(strips)
    faces.setflags(write=False)
    return faces


def strip(lower: int, lower_count: int, upper: int, upper_count: int) -> Faces:
    """Triangles between two rings of points whose indices start at `lower` and `upper`.

    Every edge of either ring is the base of one triangle; its apex on the other ring is found by merging the
    edges of both in the order of their middle azimuths.
    """
    lower_middles = (np.arange(lower_count) + 0.5) / lower_count
    upper_middles = (np.arange(upper_count) + 0.5) / upper_count
    tie = 0.25 / (lower_count * upper_count)
    faces = []
    if lower_count > 1:
        base = np.arange(lower_count)
        apex = np.searchsorted(upper_middles, lower_middles - tie) % upper_count if upper_count > 1 else 0 * base
        faces.append(np.stack([lower + base, lower + (base + 1) % lower_count, upper + apex], axis=1))
    if upper_count > 1:
        base = np.arange(upper_count)
        apex = np.searchsorted(lower_middles, upper_middles + tie) % lower_count if lower_count > 1 else 0 * base
        faces.append(np.stack([upper + (base + 1) % upper_count, upper + base, lower + apex], axis=1))
    return np.concatenate(faces)


def grid(points: Floats) -> Floats:
    """Triangles (n, 3, 3) of a grid of points (p, q, 3), each cell halved by a diagonal.

    Diagonals are mirrored in the middle lines so that the mesh has the symmetry of the grid. Normals point along
    (direction of the first index) x (direction of the second).
    """
    p00, p10, p01, p11 = points[:-1, :-1], points[1:, :-1], points[:-1, 1:], points[1:, 1:]
    first, second = np.indices(p00.shape[:2])
    flipped = ((2 * first >= p00.shape[0]) ^ (2 * second >= p00.shape[1]))[..., None, None]
    lower = np.where(flipped, np.stack([p00, p10, p01], axis=2), np.stack([p00, p10, p11], axis=2))
    upper = np.where(flipped, np.stack([p10, p11, p01], axis=2), np.stack([p00, p11, p01], axis=2))
    return np.concatenate([lower.reshape(-1, 3, 3), upper.reshape(-1, 3, 3)])


def rectangle(x: Floats, y: Floats, height: float) -> Floats:
    """Triangles of the rectangle of nodes `x` by `y` at `height`, normals up."""
    first, second = np.meshgrid(x, y, indexing="ij")
    return grid(np.stack([first, second, np.full_like(first, height)], axis=-1))


def block_faces(x: Floats, y: Floats, z: Floats) -> list[Floats]:
    """The six faces of a block with these nodes along its edges: top, bottom, then those square to y and to x."""
    faces = []
    for turn, (first, second, third) in (([0, 1, 2], (x, y, z)), ([1, 2, 0], (z, x, y)), ([2, 0, 1], (y, z, x))):
        upper = rectangle(first, second, float(third[-1]))
        lower = rectangle(first, second, float(third[0]))[:, ::-1]
        faces += [upper[:, :, turn], lower[:, :, turn]]
    return faces


def between(length: float, cells: int, first: float, last: float) -> Floats:
    """Nodes from 0 to `length` whose steps start near `first`, end near `last` and are widest in the middle."""
    lower = cells // 2
    upper = cells - lower
    start = 1.0 - graded(lower, grading_for(0.5 * length, lower, first))[::-1]
    end = graded(upper, grading_for(0.5 * length, upper, last))
    return np.asarray(0.5 * length * np.concatenate([start, 1.0 + end[1:]]))


def wrapped_grid_faces(rows: int, columns: int) -> Faces:
    """Faces of a grid of rows x columns points closed in both directions (point index = row * columns + column)."""
    row, column = (index.ravel() for index in np.indices((rows, columns)))
    next_row, next_column = (row + 1) % rows, (column + 1) % columns
    p00, p10 = row * columns + column, next_row * columns + column
    p01, p11 = row * columns + next_column, next_row * columns + next_column
    return np.concatenate([np.stack([p00, p10, p11], axis=1), np.stack([p00, p11, p01], axis=1)])


def lifted(surface: Surface, normals: Floats) -> Floats:
    """Triangles of a smooth closed surface, moved outward so that their mean offset from it vanishes.

    A flat triangle with corners v on the surface and outward normals n there lies on average
        (1/24) sum over its edges of (n_j - n_i) . (v_j - v_i)
    inside it (second order in the edge). Each vertex moves along its normal by the area-weighted mean of that
    offset over its triangles. Where the surface charge s at potential V is even, the first-order error of the
    capacitance of the inscribed polyhedron then cancels, since dC = integral of s^2 x (offset) dS / (eps0 V^2)
    (Hadamard's variation formula, from memory).
    """
    vertices, faces = surface
    triangles = vertices[faces]
    edges = np.roll(triangles, -1, axis=1) - triangles
    corner_normals = normals[faces]
    turns = np.roll(corner_normals, -1, axis=1) - corner_normals
    offsets = (edges * turns).sum(axis=(1, 2)) / 24.0
    areas = np.sqrt((np.cross(edges[:, 0], edges[:, 1]) ** 2).sum(axis=1))
    weights = np.bincount(faces.ravel(), np.repeat(areas, 3), minlength=len(vertices))
    moments = np.bincount(faces.ravel(), np.repeat(areas * offsets, 3), minlength=len(vertices))
    return np.asarray((vertices + normals * (moments / weights)[:, None])[faces])


def capsule_triangles(counts: Sequence[int], nodes: Floats, length: float, radius: float) -> Floats:
    """Triangles of a cylinder from z = 0 to `length` with `nodes` (0 to 1) along it, half spheres on its ends.

    `counts`: points of the rings of a half sphere at even angles, from its pole to its rim.
    """
    angles, middle = np.linspace(0.0, 0.5 * np.pi, len(counts)), np.ones(len(nodes))
    tilt = np.concatenate([-np.cos(angles[:-1]), 0.0 * middle, np.cos(angles[-2::-1])])
    across = np.concatenate([np.sin(angles[:-1]), middle, np.sin(angles[-2::-1])])
    shift = np.concatenate([0.0 * angles[:-1], length * nodes, 0.0 * angles[:-1] + length])
    sizes = [*counts[:-1], *[counts[-1]] * len(nodes), *counts[-2::-1]]
    return lifted(revolved(radius * across, shift + radius * tilt, sizes), revolved(across, tilt, sizes)[0])


def enclosed_volume(triangles: Floats) -> float:
    """Volume inside a closed mesh, positive when its faces wind outward (divergence theorem), m^3."""
    return float(np.einsum("ni,ni->", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2])) / 6.0)


def unit_sphere(bands: int, polar_angles: Floats | None = None) -> Surface:
    """Triangulated unit sphere of rings between the poles; by default `bands` even bands (about 2.2 bands^2 faces).

    Rings hold sqrt(3) bands sin(polar angle) points, so that triangles are nearly equilateral.
    """
    angles = np.linspace(np.pi, 0.0, bands + 1) if polar_angles is None else polar_angles
    counts = [max(3, round(np.sqrt(3.0) * bands * np.sin(angle))) for angle in angles]
    counts[0] = counts[-1] = 1
    return revolved(np.sin(angles), np.cos(angles), counts)


def equal_volume_sphere(bands: int) -> Floats:
    """Triangles of the unit sphere scaled to enclose exactly its volume: the offset averages to nothing."""
    vertices, faces = unit_sphere(bands)
    triangles = vertices[faces]
    return np.asarray(triangles * (4.0 * np.pi / 3.0 / enclosed_volume(triangles)) ** (1.0 / 3.0))


def facing_sphere(panels: int, clearance: float) -> Surface:
    """Unit sphere of at most `panels` faces, crowding before its upper pole, where a conductor lies at `clearance`."""
    bands = 3
    while 2 * sum(_facing_rings(bands + 1, clearance)[1][1:-1]) <= panels:
        bands += 1
    angles, counts = _facing_rings(bands, clearance)
    return revolved(np.sin(angles), np.cos(angles), counts)


def _facing_rings(bands: int, clearance: float) -> tuple[Floats, list[int]]:
    """Polar angles and points of the rings of `facing_sphere`.

    The gap widens as clearance + angle^2 / 2, so the charge varies over angles of some sqrt(2 clearance). Rings lie at
        angle = w sinh(t), t in even steps, w = 2 sqrt(2 clearance)
    (w by trial on spheres 0.05 and 0.5 radii before a plane); triangles between them are nearly equilateral.
    """
    width = 2.0 * np.sqrt(2.0 * clearance)
    angles = width * np.sinh(np.linspace(np.arcsinh(np.pi / width), 0.0, bands + 1))
    around = np.sqrt(3.0) * np.pi * np.sin(angles) / np.abs(np.gradient(angles))
    return angles, [1] + [max(4, round(float(points))) for points in around[1:-1]] + [1]


def placed(triangles: Floats, axis: Floats, center: Floats) -> Floats:
    """Triangles turned so that their z axis points along the unit vector `axis`, then moved to `center`."""
    return np.asarray(triangles @ frame(axis) + center)


def frame(axis: Floats) -> Floats:
    """Rows: two unit vectors square to `axis` and each other, then `axis`; right-handed. Identity for z."""
    if np.allclose(axis, (0.0, 0.0, 1.0), rtol=0.0, atol=1e-15):
        return np.eye(3)
    helper = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = np.cross(helper, axis)
    first /= np.sqrt((first**2).sum())
    return np.stack([first, np.cross(axis, first), axis])


def finest_level(panels: int, count: Callable[[float], int], coarsest: float = 2.0) -> float:
    """Largest level = coarsest, + 1/4, + 1/2, ... at which a layout of `count(level)` triangles keeps to `panels`."""
    steps = 0
    while count(coarsest + 0.25 * (steps + 1)) <= panels:
        steps += 1
    return coarsest + 0.25 * steps
