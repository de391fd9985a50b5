"""Meshes of both antennas: each form finer at its ends and edges and before the hand. Triangles (n, 3, 3) m."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from models.arrays import Floats
from models.electrostatics.surfaces import (
    between,
    even_charge_factor,
    frame,
    graded,
    grid,
    placed,
    revolved,
    wrapped_grid_faces,
)
from models.hand.antennas import (
    THINNEST_EDGE,
    AnyAntenna,
    AnyVolumeAntenna,
    LoopAntenna,
    PlateAntenna,
    RingAntenna,
    VolumePlate,
)

#: Smallest cells at fineness 1: at the ends of a rod (of its radius), before the hand (m), at the edges of a plate
#: (of its shorter side).
END_CELL: Final = 0.3
HAND_CELL: Final = 0.006
EDGE_CELL: Final = 0.015
#: How much a ring's cells crowd before the hand: 0 not, near 1 much.
RING_CROWDING: Final = 0.65


def pitch_antenna_mesh(antenna: AnyAntenna, hand_height: float, above: bool, fineness: float = 1.0) -> Floats:
    """Triangles of a pitch antenna before a hand that comes level at `hand_height`, m, or down from `above`."""
    aim = antenna.aim_below() if above else antenna.aim(hand_height)
    if isinstance(antenna, PlateAntenna):
        middle = np.array([0.0, 0.0, antenna.middle])
        return np.asarray(_plate(antenna.size, aim - middle, fineness) + middle)
    if isinstance(antenna, RingAntenna):
        return _ring(antenna, aim, fineness)
    hand_along = antenna.whole_length if above and antenna.axis[2] > 0.5 else antenna.along(hand_height)
    return placed(stick_mesh(antenna.sections, hand_along, fineness), antenna.axis, antenna.foot)


def volume_antenna_mesh(antenna: AnyVolumeAntenna, fineness: float = 1.0) -> Floats:
    """Triangles of a volume antenna."""
    middle = np.array([0.0, -antenna.offset, antenna.height])
    if isinstance(antenna, LoopAntenna):
        # its cells crowd towards the player, under the hand
        ring = _thin_torus(0.5 * antenna.diameter, 0.5 * antenna.tube_diameter, 0.9 * fineness)
        return np.asarray(ring + middle, dtype=np.float64)
    if isinstance(antenna, VolumePlate):
        size = np.array([antenna.length, antenna.width, antenna.thickness])
        return np.asarray(_plate(size, np.array([0.0, 0.0, 0.5 * antenna.thickness]), fineness) + middle)
    side = np.array([0.0, 1.0, 0.0])
    mesh = stick_mesh(((antenna.length, antenna.diameter),), 0.5 * antenna.length, fineness)
    return placed(mesh, side, middle - 0.5 * antenna.length * side)


def stick_mesh(sections: Sequence[tuple[float, float]], hand_along: float, fineness: float = 1.0) -> Floats:
    """Triangles of round sections (length, diameter), m, end to end along z from 0, closed by flat ends and shoulders.

    Each polygon is as capacitive as its circle (`even_charge_factor`); cells crowd at the ends, at the shoulders and
    `hand_along` m up, before the hand.
    """
    sectors = round(8 * fineness)
    inner = round(2 * fineness)
    radii: list[float] = []
    levels: list[float] = []
    foot, count, whole = 0.0, len(sections), sum(length for length, _ in sections)
    for number, (length, diameter) in enumerate(sections):
        radius = 0.5 * diameter
        if number == 0:
            radii += list(radius * graded(inner + 1, 2.0)[:-1])
            levels += [foot] * (inner + 1)
        share = max(length / whole, 1.0 / count)
        heights = _heights(length, radius, hand_along - foot, fineness, share)
        radii += [radius * even_charge_factor(sectors)] * len(heights)
        levels += list(foot + heights)
        foot += length
        if number == count - 1:
            radii += list(radius * graded(inner + 1, 2.0)[:-1])[::-1]
            levels += [foot] * (inner + 1)
    vertices, faces = revolved(radii, levels, [1] + [sectors] * (len(radii) - 2) + [1])
    triangles = vertices[faces]
    edges = np.roll(triangles, -1, axis=1) - triangles
    areas = np.sqrt((np.cross(edges[:, 0], edges[:, 1]) ** 2).sum(axis=1))
    return np.asarray(triangles[areas > 1e-9 * (edges**2).sum(axis=2).max(axis=1)])  # none between equal diameters


def _heights(length: float, radius: float, hand_level: float, fineness: float, share: float) -> Floats:
    """Nodes along a section, from 0 to its length; `share` of the cells of a whole rod."""
    at_end, at_hand = END_CELL * radius / fineness, HAND_CELL / fineness
    if not 0.0 < hand_level < length:
        return between(length, max(4, round(18 * fineness * share)), at_end, at_end)
    cells = round(9 * fineness) if share == 1.0 else max(3, round(9 * fineness * share**0.5))
    lower = between(hand_level, cells, at_end, at_hand)
    upper = between(length - hand_level, cells, at_hand, at_end)
    return np.concatenate([lower, hand_level + upper[1:]])


def _plate(size: Floats, aim: Floats, fineness: float) -> Floats:
    """Triangles of a thin block about the origin: its face towards the point `aim` finer before it, the other coarse.

    The faces need not share corners: charge is even over each triangle. A plate thinner than `THINNEST_EDGE` of its
    shorter side is one sheet in the face towards `aim`, wider and longer each by
        0.8 (t / pi) (1 + ln(4 pi s / t))      t thickness, s shorter side
    (the widening of a thin strip, from memory, H. A. Wheeler, IEEE Trans. MTT 13 (1965) 172; 0.8 by solid square plates
    of 0.0025 to 0.01 of their side, whose capacitance it meets within 2e-3).
    """
    thin = int(np.argmin(size))
    first, second = (thin + 1) % 3, (thin + 2) % 3
    edge = max(EDGE_CELL * min(size[first], size[second]), 0.5 * size[thin]) / fineness
    across = float(size[thin])
    if across < THINNEST_EDGE * min(size[first], size[second]):
        shorter = float(min(size[first], size[second]))
        more = 0.8 * across / np.pi * (1.0 + np.log(4.0 * np.pi * shorter / across))
        size = size + more * (np.arange(3) != thin)
        edge = 0.25 * EDGE_CELL * shorter / fineness
        sheet = [_nodes(float(size[k]), float(aim[k]), round(16 * fineness), edge, fineness) for k in (first, second)]
        return _turned(_face(sheet, float(np.clip(aim[thin], -0.5 * across, 0.5 * across))), first, second, thin)
    near = [_nodes(float(size[k]), float(aim[k]), round(12 * fineness), edge, fineness) for k in (first, second)]
    plain = [between(float(size[k]), round(8 * fineness), edge, edge) - 0.5 * size[k] for k in (first, second)]
    facing = 1.0 if aim[thin] >= 0.0 else -1.0
    faces = [
        _face((near if facing > 0.0 else plain), 0.5 * size[thin]),
        _face((plain if facing > 0.0 else near), -0.5 * size[thin])[:, ::-1],
    ]
    rim_nodes = np.linspace(-0.5, 0.5, max(1, round(fineness)) + 1) * size[thin]
    for number, other in ((0, first), (1, second)):
        along, half = near[1 - number], 0.5 * size[other]
        # coordinates of a rim: (along the other side, across the thickness), at plus or minus half of this side
        pair = (along, rim_nodes) if number == 0 else (rim_nodes, along)
        rim = [_face(pair, half), _face(pair, -half)[:, ::-1]]
        # _face's own axes are (u, v, w) with u x v = w: for `first` (second, thin, first), for `second` (thin, first,
        # second): both turn the same way round as (first, second, thin).
        turn = [2, 0, 1] if number == 0 else [1, 2, 0]
        faces += [part[:, :, turn] for part in rim]
    return _turned(np.concatenate(faces), first, second, thin)


def _turned(triangles: Floats, first: int, second: int, third: int) -> Floats:
    """Triangles whose coordinates are along these axes, as x, y, z."""
    result = np.empty_like(triangles)
    result[:, :, [first, second, third]] = triangles
    return result


def _face(nodes: Sequence[Floats], w: float) -> Floats:
    """Triangles of a rectangle of two rows of nodes at `w`, normals along w."""
    first, second = np.meshgrid(*nodes, indexing="ij")
    return grid(np.stack([first, second, np.full_like(first, w)], axis=-1))


def _nodes(span: float, at: float, cells: int, edge: float, fineness: float) -> Floats:
    """Nodes from -span / 2 to span / 2, crowding at both ends and at `at`."""
    at_hand, low, high = HAND_CELL / fineness, at + 0.5 * span, 0.5 * span - at
    if min(low, high) < 4.0 * max(at_hand, edge):
        return between(span, cells, edge, edge) - 0.5 * span
    lower = between(low, max(3, round(cells * low / span)), edge, at_hand)
    upper = between(high, max(3, round(cells * high / span)), at_hand, edge)
    return np.concatenate([lower, low + upper[1:]]) - 0.5 * span


def _ring(antenna: RingAntenna, aim: Floats, fineness: float) -> Floats:
    """Triangles of the ring, finer along it before the hand."""
    normal, towards = antenna.normal, aim - antenna.center
    towards = towards - (towards @ normal) * normal
    length = float(np.sqrt((towards**2).sum()))
    first = towards / length if length > 0.0 else frame(normal)[0]
    flat = _thin_torus(0.5 * antenna.diameter, 0.5 * antenna.tube_diameter, fineness)
    return np.asarray(flat @ np.stack([first, np.cross(normal, first), normal]) + antenna.center)


def _thin_torus(ring_radius: float, tube_radius: float, fineness: float) -> Floats:
    """A thin torus about z, its cells crowding at azimuth 0.

    The tube's polygon is as capacitive as its circle (`even_charge_factor`). The ring's polygon of the chords with half
    angles h has its corners out by the mean of h^2 / 3 of the radius, by which a chord lies inside on average.
    """
    around, along = round(8 * fineness), round(48 * fineness)
    even = 2.0 * np.pi * np.arange(along) / along
    azimuth = even - RING_CROWDING * np.sin(even)
    half = 0.5 * np.diff(np.append(azimuth, azimuth[0] + 2.0 * np.pi))
    outer = ring_radius * (1.0 + (half**2 + np.roll(half, 1) ** 2) / 6.0)
    turn = 2.0 * np.pi * np.arange(around) / around
    tube = tube_radius * even_charge_factor(around)
    radial, rise = outer[:, None] + tube * np.cos(turn), np.broadcast_to(tube * np.sin(turn), (along, around))
    points = np.stack([radial * np.cos(azimuth)[:, None], radial * np.sin(azimuth)[:, None], rise], axis=-1).reshape(
        -1, 3
    )
    return np.asarray(points[wrapped_grid_faces(along, around)])
