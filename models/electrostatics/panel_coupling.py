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

from models.electrostatics.panel_potential import (
    GAUSS_POINTS,
    Floats,
    Indices,
    Panels,
    inverse_distance_integral,
)
from models.electrostatics.thin_products import thin_product

#: Pairs whose centroids lie closer than this many longest edges (of the larger triangle) count as near.
NEAR_RATIO: Final = 2.0
_PAIRS_AT_ONCE: Final = 4096
_ENTRIES_AT_ONCE: Final = 1 << 17
_ROWS, _COLUMNS = [0, 0, 0, 1, 1, 2], [0, 1, 2, 1, 2, 2]
_MULTIPLICITY: Final = np.array([1.0, 2.0, 2.0, 1.0, 2.0, 1.0])


def coupling(field: Panels, source: Panels, near_ratio: float = NEAR_RATIO) -> Floats:
    """G (field.count, source.count), 1/m. Row i, column j: mean of 1/distance over field panel i and source panel j.

    Not exactly symmetric for near pairs: the two triangles are integrated by different rules.
    """
    result = np.empty((field.count, source.count))
    origin = source.centroids.mean(axis=0)
    field_moments, field_powers = _quadratic_features(field, origin)
    source_moments, source_powers = _quadratic_features(source, origin)
    left = np.concatenate([field_moments, field_powers], axis=1)
    right = np.concatenate([source_powers, source_moments], axis=1).T
    rows = max(1, _ENTRIES_AT_ONCE // source.count)
    for first in range(0, field.count, rows):
        part = slice(first, first + rows)
        distances = cdist(field.centroids[part], source.centroids)
        reach = near_ratio * np.maximum(field.longest_edges[part, None], source.longest_edges)
        near_row, near_column = np.nonzero(distances < reach)
        distances[near_row, near_column] = np.inf
        result[part] = _far_coupling(distances, thin_product(left[part], right))
        result[first + near_row, near_column] = _near_coupling(field, source, first + near_row, near_column)
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


def _far_coupling(distances: Floats, quadratic: Floats) -> Floats:
    """1/D + q / (2 D^5), with q = D^2 u (Qi + Qj) u; `quadratic` is overwritten."""
    inverse = 1.0 / distances
    square = inverse * inverse
    quadratic *= square
    quadratic *= square
    quadratic *= 0.5
    quadratic += 1.0
    quadratic *= inverse
    return quadratic


def _quadratic_features(panels: Panels, origin: Floats) -> tuple[Floats, Floats]:
    """Coefficients and powers (n, 10 each) so that coefficients_i . powers_j = (ci - cj) Qi (ci - cj)."""
    centers = panels.centroids - origin
    spokes = panels.corners - panels.centroids.T
    moment = np.einsum("ban,bcn->nac", spokes, spokes) / 12.0
    traceless = 3.0 * moment - np.einsum("naa->n", moment)[:, None, None] * np.eye(3)
    linear = np.einsum("nab,nb->na", traceless, centers)
    constant = (linear * centers).sum(axis=1, keepdims=True)
    coefficients = np.concatenate(
        [traceless[:, _ROWS, _COLUMNS] * _MULTIPLICITY, -2.0 * linear, constant], axis=1
    )
    powers = np.concatenate(
        [centers[:, _ROWS] * centers[:, _COLUMNS], centers, np.ones((panels.count, 1))], axis=1
    )
    return coefficients, powers
