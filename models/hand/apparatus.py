"""Meshes of the instrument itself: the rod antenna, finer at its ends and before the hand, and the earthed cabinet."""

from __future__ import annotations

from typing import Final

import numpy as np

from models.electrostatics.surfaces import (
    Floats,
    between,
    block_faces,
    even_charge_factor,
    graded,
    graded_both_ends,
    grading_for,
    rectangle,
    revolved,
)
from models.hand.scene import Cabinet, RodAntenna, Scene

#: Smallest cells at fineness 1: at the ends of the rod (of its radius) and before the hand (m).
_END_CELL: Final = 0.3
_HAND_CELL: Final = 0.006


def antenna_mesh(scene: Scene, fineness: float = 1.0) -> Floats:
    """Triangles of the rod, its polygon as capacitive as the circle, cells crowding at the ends and before the hand."""
    antenna = scene.antenna
    radius, sectors = 0.5 * antenna.diameter, round(8 * fineness)
    heights = _heights(antenna, scene.hand_height - antenna.base_height, fineness)
    inner = round(2 * fineness)
    cap = list(radius * graded(inner + 1, 2.0)[:-1])
    radii = [*cap, *[radius * even_charge_factor(sectors)] * len(heights), *cap[::-1]]
    levels = [0.0] * (inner + 1) + list(heights) + [antenna.length] * (inner + 1)
    vertices, faces = revolved(radii, levels, [1] + [sectors] * (len(radii) - 2) + [1])
    return np.asarray(vertices[faces] + (0.0, 0.0, antenna.base_height))


def _heights(antenna: RodAntenna, hand_level: float, fineness: float) -> Floats:
    """Nodes along the rod, from 0 to its length."""
    at_end, at_hand = _END_CELL * 0.5 * antenna.diameter / fineness, _HAND_CELL / fineness
    if not 0.0 < hand_level < antenna.length:
        return between(antenna.length, round(18 * fineness), at_end, at_end)
    lower = between(hand_level, round(9 * fineness), at_end, at_hand)
    upper = between(antenna.length - hand_level, round(9 * fineness), at_hand, at_end)
    return np.concatenate([lower, hand_level + upper[1:]])


def cabinet_mesh(antenna: RodAntenna, cabinet: Cabinet, fineness: float = 1.0) -> Floats:
    """Triangles of the cabinet's box; the cells of its top crowd under the antenna as well as at the edges."""
    size, center = cabinet_box(antenna, cabinet)
    edge = 0.08 * float(size.min()) / fineness
    cells = (round(4 * fineness), round(5 * fineness), round(3 * fineness))
    coarse = [span * _even_ends(count, span, edge) for span, count in zip(size, cells, strict=True)]
    _, *others = block_faces(*[nodes - 0.5 * span for nodes, span in zip(coarse, size, strict=True)])
    under = 0.7 * (cabinet.gap + 0.5 * antenna.diameter) / fineness
    halves = [between(0.5 * span, round(4 * fineness), under, edge) for span in size[:2]]
    x, y = (np.concatenate([-half[:0:-1], half]) for half in halves)
    return np.asarray(np.concatenate([rectangle(x, y, 0.5 * float(size[2])), *others]) + center)


def _even_ends(cells: int, span: float, edge: float) -> Floats:
    """Nodes from 0 to 1 crowding at both ends to steps of `edge` / `span`."""
    return graded_both_ends(cells, grading_for(0.5 * span, 0.5 * cells, edge))


def cabinet_box(antenna: RodAntenna, cabinet: Cabinet) -> tuple[Floats, Floats]:
    """Size (3,) and middle (3,) of the cabinet, m, along x (towards the player), y, z."""
    middle = antenna.base_height - cabinet.gap - 0.5 * cabinet.height
    return np.array([cabinet.depth, cabinet.width, cabinet.height]), np.array([0.0, 0.0, middle])
