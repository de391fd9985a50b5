"""Mean of 1 / distance between two flat triangles, over the areas of both: what couples panel charges to potentials.

Near pairs: the analytic integral over the source triangle, averaged over the field triangle by a three-point rule.
Far pairs: expansion about the centroids up to the second moments of both triangles,
    G = 1/D + u (Qi + Qj) u / (2 D^3),  Q = 3 M - tr(M) I
with D the distance of the centroids, u its direction, M the second moment of area per area (m^2). Source: the
quadrupole term of any multipole expansion, e.g. J. D. Jackson, Classical Electrodynamics, section 4.1 (from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial.distance import cdist

from models.arrays import Floats
from models.electrostatics.panel_potential import (
    GAUSS_POINTS,
    Indices,
    Panels,
    inverse_distance_integral,
)

#: Pairs whose centroids lie closer than this many longest edges (of the larger triangle) count as near.
NEAR_RATIO: Final = 2.0
_PAIRS_AT_ONCE: Final = 4096
_MULTIPLICATIONS: Final = 1 << 18
_ENTRIES_AT_ONCE: Final = 1 << 14  # so that the few arrays of a block stay in a core's own cache
_ROWS_AT_ONCE: Final = 64
_NOBODY: Final[Indices] = np.zeros(0, dtype=np.intp)


def coupling(field: Panels, source: Panels, near_ratio: float = NEAR_RATIO) -> Floats:
    """G (field.count, source.count), 1/m. Row i, column j: mean of 1/distance over field panel i and source panel j.

    Not exactly symmetric for near pairs: the two triangles are integrated by different rules.
    """
    result = np.empty((field.count, source.count))
    left, right = _quadratic_form(field, source)
    height = max(1, _ENTRIES_AT_ONCE // source.count)
    near: list[tuple[Indices, Indices]] = []
    for first in range(0, field.count, height):
        part = slice(first, first + height)
        result[part], row, column = _far_coupling(field, source, part, slice(None), left, right, near_ratio)
        near.append((first + row, column))
    rows, columns = (np.concatenate(indices) for indices in zip(*near, strict=True))
    result[rows, columns] = _near_coupling(field, source, rows, columns)
    return result


def symmetric_coupling(panels: Panels, source: Panels) -> Floats:
    """(G + G^T) / 2 of `coupling` for panels on themselves, or on their mirror images as `source`; 1/m.

    Far pairs are computed once for both orders, near ones in both and averaged.
    """
    result = np.empty((panels.count, panels.count))
    left, right = _quadratic_form(panels, source)
    near: list[tuple[Indices, Indices]] = []
    for first in range(0, panels.count, _ROWS_AT_ONCE):
        part, later = slice(first, first + _ROWS_AT_ONCE), slice(first, None)
        far, row, column = _far_coupling(panels, source, part, later, left, right, NEAR_RATIO)
        result[part, later] = far
        result[later, part] = far.T
        once = row <= column
        near.append((first + row[once], first + column[once]))
    rows, columns = (np.concatenate(indices) for indices in zip(*near, strict=True))
    both = _near_coupling(panels, source, np.concatenate([rows, columns]), np.concatenate([columns, rows]))
    result[rows, columns] = result[columns, rows] = both.reshape(2, -1).mean(axis=0)
    return result


def _near_coupling(field: Panels, source: Panels, rows: Indices, columns: Indices) -> Floats:
    """Mean of the analytic potential of panels `columns` over the three Gauss points of panels `rows`, 1/m."""
    result = np.empty(rows.size)
    for first in range(0, rows.size, _PAIRS_AT_ONCE):
        part = slice(first, first + _PAIRS_AT_ONCE)
        corners = np.take(field.corners, rows[part], axis=-1)
        points = np.tensordot(GAUSS_POINTS, corners, axes=1)
        integrals = inverse_distance_integral(points, source, columns[part])
        result[part] = integrals.mean(axis=0) / source.areas[columns[part]]
    return result


def _far_coupling(
    field: Panels, source: Panels, rows: slice, columns: slice, left: Floats, right: Floats, near_ratio: float
) -> tuple[Floats, Indices, Indices]:
    """A block of 1/D + q / (2 D^5), q = D^2 u (Qi + Qj) u = 2 left . right, and its near pairs, which are left 0.

    Rows and columns of the near pairs are counted within the block.
    """
    squares = cdist(field.centroids[rows], source.centroids[columns], "sqeuclidean")
    own, others = field.longest_edges[rows, None], source.longest_edges[columns]
    near_row = near_column = _NOBODY
    if squares.min() < (near_ratio * max(own.max(), others.max())) ** 2:
        reach = np.maximum(own, others)
        reach *= near_ratio
        reach *= reach
        near_row, near_column = np.nonzero(squares < reach)
        squares[near_row, near_column] = np.inf
    inverse = np.divide(1.0, squares, out=squares)
    result = thin_product(left[rows], right[:, columns])
    result *= inverse
    result *= inverse
    result += 1.0
    result *= np.sqrt(inverse, out=inverse)
    return result, near_row, near_column


def _quadratic_form(field: Panels, source: Panels) -> tuple[Floats, Floats]:
    """left (field.count, 20), right (20, source.count), whose product is (ci - cj) (Qi + Qj) (ci - cj) / 2."""
    left = np.concatenate([0.5 * field.moments, field.powers], axis=1)
    return left, np.concatenate([source.powers, 0.5 * source.moments], axis=1).T


def thin_product(matrix: Floats, columns: Floats) -> Floats:
    """matrix @ columns, (p, q) by (q, k), cut into blocks of rows and so kept on one thread.

    Above a size, linear algebra libraries share a product among threads and wait for the last of them. Blocks of at
    most 2^18 multiplications stay below that size in OpenBLAS, so that many small solutions in a row do not depend on
    how many threads the library finds free. tests/benchmarks/hand_field.py times both; on an idle machine they differ
    little.
    """
    rows, inner = matrix.shape
    block = max(1, _MULTIPLICATIONS // (inner * columns.shape[1]))
    whole = rows - rows % block
    stacked = matrix[:whole].reshape(-1, block, inner) @ columns
    return np.concatenate([stacked.reshape(whole, columns.shape[1]), matrix[whole:] @ columns])
