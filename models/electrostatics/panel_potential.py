"""Potential of flat triangles with an even surface charge: the integral of dS / distance, exact at any point.

Symbols, one triangle and one field point: a, b the ends of an edge; L its length; Ra, Rb the distances of the point
from them; P signed distance of the point's foot in the triangle's plane from the edge, positive inside; d height of
the point over that plane; W solid angle of the triangle seen from the point.
    integral of dS / distance = sum over edges of P ln((Ra + Rb + L) / (Ra + Rb - L)) - |d| |W|
Source: D. R. Wilton, S. M. Rao, A. W. Glisson et al., IEEE Trans. Antennas Propag. 32 (1984) 276, the uniform case
(from memory; the three arctangents joined to the solid angle of A. van Oosterom, J. Strackee, IEEE Trans. Biomed.
Eng. 30 (1983) 125, also from memory). Tested against adaptive quadrature.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.quick_dataclass import dataclass

Indices = NDArray[np.intp]

#: Interior points of the three-point rule for triangles (barycentric, equal weights), exact to degree 2.
#: Source: A. H. Stroud, Approximate Calculation of Multiple Integrals, 1971, T2:2-1 (from memory).
GAUSS_POINTS: Final = np.array([[4.0, 1.0, 1.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]) / 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Panels:
    """n triangles and what the integrals need of them; lengths in m. Components run before panels: (..., 3, n)."""

    corners: Floats  # (3 corners, 3 components, n)
    centroids: Floats  # (n, 3)
    areas: Floats  # (n,)
    normals: Floats  # (3, n)
    edge_lengths: Floats  # (3 edges, n)
    edge_normals: Floats  # (3 edges, 3 components, n): in the plane, outward
    longest_edges: Floats  # (n,)
    moments: Floats  # (n, 10), of the areas, and
    powers: Floats  # (n, 10), of the centroids: see `quadratic_features`

    @property
    def count(self) -> int:
        """Number of triangles."""
        return int(self.areas.size)


def panels_of(triangles: Floats) -> Panels:
    """Geometry of `triangles` (n, 3 corners, 3 components), m, none of zero area."""
    corners = np.ascontiguousarray(triangles.transpose(1, 2, 0))
    edges = np.roll(corners, -1, axis=0) - corners
    cross = np.cross(edges[0], edges[1], axis=0)
    twice_area = np.sqrt((cross**2).sum(axis=0))
    normals = cross / twice_area
    lengths = np.sqrt((edges**2).sum(axis=1))
    edge_normals = np.stack([np.cross(edge, normals, axis=0) for edge in edges]) / lengths[:, None, :]
    centroids = triangles.mean(axis=1)
    moments, powers = quadratic_features(corners, centroids)
    return Panels(
        corners=corners,
        centroids=centroids,
        areas=0.5 * twice_area,
        normals=normals,
        edge_lengths=lengths,
        edge_normals=edge_normals,
        longest_edges=lengths.max(axis=0),
        moments=moments,
        powers=powers,
    )


_ROWS, _COLUMNS = [0, 0, 0, 1, 1, 2], [0, 1, 2, 1, 2, 2]
_MULTIPLICITY: Final = np.array([1.0, 2.0, 2.0, 1.0, 2.0, 1.0])


def quadratic_features(corners: Floats, centroids: Floats) -> tuple[Floats, Floats]:
    """Moments and powers (n, 10 each) so that moments_i . powers_j = (ci - cj) Qi (ci - cj).

    ci: centroid. Qi = 3 M - tr(M) I, M the second moment of area per area, m^2.
    """
    spokes = corners - centroids.T
    moment = np.einsum("ban,bcn->nac", spokes, spokes) / 12.0
    traceless = 3.0 * moment - np.einsum("naa->n", moment)[:, None, None] * np.eye(3)
    linear = np.einsum("nab,nb->na", traceless, centroids)
    constant = (linear * centroids).sum(axis=1, keepdims=True)
    moments = np.concatenate([traceless[:, _ROWS, _COLUMNS] * _MULTIPLICITY, -2.0 * linear, constant], axis=1)
    squares = centroids[:, _ROWS] * centroids[:, _COLUMNS]
    return moments, np.concatenate([squares, centroids, np.ones((len(centroids), 1))], axis=1)


#: What the mirror z -> -z does to xx, xy, xz, yy, yz, zz, x, y, z and 1.
_MIRRORED: Final = np.array([1.0, 1.0, -1.0, 1.0, -1.0, 1.0, 1.0, 1.0, -1.0, 1.0])


def mirrored(panels: Panels) -> Panels:
    """The same panels reflected in the plane z = 0."""
    flip = np.array([1.0, 1.0, -1.0])
    return Panels(
        corners=panels.corners * flip[:, None],
        centroids=panels.centroids * flip,
        areas=panels.areas,
        normals=panels.normals * flip[:, None],
        edge_lengths=panels.edge_lengths,
        edge_normals=panels.edge_normals * flip[:, None],
        longest_edges=panels.longest_edges,
        moments=panels.moments * _MIRRORED,
        powers=panels.powers * _MIRRORED,
    )


def joined(parts: list[Panels]) -> Panels:
    """One set of panels from several, in order."""
    return Panels(
        corners=np.concatenate([part.corners for part in parts], axis=-1),
        centroids=np.concatenate([part.centroids for part in parts]),
        areas=np.concatenate([part.areas for part in parts]),
        normals=np.concatenate([part.normals for part in parts], axis=-1),
        edge_lengths=np.concatenate([part.edge_lengths for part in parts], axis=-1),
        edge_normals=np.concatenate([part.edge_normals for part in parts], axis=-1),
        longest_edges=np.concatenate([part.longest_edges for part in parts]),
        moments=np.concatenate([part.moments for part in parts]),
        powers=np.concatenate([part.powers for part in parts]),
    )


def inverse_distance_integral(points: Floats, panels: Panels, source: Indices) -> Floats:
    """Integral of dS / distance, m, over triangle source[k] seen from points[..., :, k]; points (..., 3, k).

    Exact everywhere; on an edge the limit (its logarithm is multiplied by P = 0).
    """
    corners = np.take(panels.corners, source, axis=-1)
    edge_normals = np.take(panels.edge_normals, source, axis=-1)
    lengths = np.take(panels.edge_lengths, source, axis=-1)
    normals = np.take(panels.normals, source, axis=-1)
    twice_area = 2.0 * panels.areas[source]
    flat = points.reshape(-1, 3, source.size)
    result = np.empty((len(flat), source.size))
    spokes = np.empty_like(corners)
    for row, point in zip(result, flat, strict=True):
        np.subtract(corners, point, out=spokes)
        row[:] = _potential(spokes, edge_normals, lengths, normals, twice_area)
    return result.reshape(points.shape[:-2] + (source.size,))


_NEXT: Final = [1, 2, 0]  # of the corners


def _potential(spokes: Floats, edge_normals: Floats, lengths: Floats, normals: Floats, twice_area: Floats) -> Floats:
    """The formula of the module docstring; `spokes` (3 corners, 3 components, k) from the point to the corners."""
    squares = _dot(spokes, spokes)
    radii = np.sqrt(squares)
    first, second, third = radii
    sums = radii + radii[_NEXT]
    gaps = sums - lengths
    np.maximum(gaps, np.finfo(np.float64).tiny, out=gaps)
    sums += lengths
    sums /= gaps
    edge_terms = np.einsum("en,en->n", _dot(spokes, edge_normals), np.log(sums, out=sums))
    height = np.abs(np.einsum("cn,cn->n", spokes[0], normals))
    # Scalar products of neighbouring spokes by the law of cosines.
    twice_dots = squares + squares[_NEXT] - lengths * lengths
    solid = first * second * third + 0.5 * (twice_dots[0] * third + twice_dots[1] * first + twice_dots[2] * second)
    half_solid_angle = np.arctan2(twice_area * height, solid)
    return np.asarray(edge_terms - 2.0 * height * half_solid_angle)


def _dot(first: Floats, second: Floats) -> Floats:
    """Scalar products (edges, n) over the component axis of (edges, 3, n)."""
    return np.asarray(np.einsum("ecn,ecn->en", first, second))
