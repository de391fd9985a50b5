"""Capacitances of conductors from the surface charge on their triangles (boundary elements, Galerkin's method).

Charge is even over each triangle; the mean potential over each triangle is prescribed. With P the symmetric matrix of
mean potentials per charge, 1/F, and B the 0/1 matrix saying which triangle belongs to which conductor,
    C = B^T P^-1 B      (Maxwell's capacitance matrix, F)
The energy of the charge is minimised, so errors of the charge enter the capacitance squared.
Source: R. F. Harrington, Field Computation by Moment Methods, 1968, ch. 2 (from memory).
Neglected: dielectrics, everything not meshed, retardation (sizes far below a wavelength).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import LinAlgError, cho_factor, cho_solve

from models.arrays import Floats
from models.checks import finite_array
from models.constants import VACUUM_PERMITTIVITY
from models.electrostatics.panel_coupling import coupling, symmetric_coupling
from models.electrostatics.panel_potential import Panels, joined, mirrored, panels_of

#: Smallest area of a triangle against the square of its longest edge.
_SLIMMEST = 1e-12


def capacitance_matrix(conductors: Sequence[ArrayLike], ground_plane: bool = False) -> Floats:
    """Maxwell capacitance matrix (k, k), F, of k conductors, each a mesh (n, 3, 3) of triangles in metres.

    Charges q_i = sum_j C[i, j] v_j for potentials v against infinity or, with `ground_plane`, against the earthed
    plane z = 0 (by image charges; every conductor must then stay above it, z > 0).
    Diagonal positive, others not; rows sum to >= 0; symmetric; proportional to size. One factorisation serves all
    columns. Conductors must not touch or overlap (not detected in general: only where no solution remains).
    Raises ValueError for an empty list, for malformed or degenerate meshes and for meshes not above the plane.
    Measured at default meshes: tests/models/electrostatics/test_boundary_elements.py.
    """
    if len(conductors) == 0:
        raise ValueError("conductors must name at least one mesh; got an empty list")
    parts = [conductor_panels(mesh, f"conductor {k}", ground_plane) for k, mesh in enumerate(conductors)]
    panels = joined(parts)
    matrix = symmetric_potential_matrix(panels, ground_plane)
    owner = np.repeat(np.arange(len(parts)), [part.count for part in parts])
    incidence = (owner[:, None] == np.arange(len(parts))).astype(np.float64)
    capacitances = incidence.T @ solve_positive(matrix, incidence)
    return np.asarray(0.5 * (capacitances + capacitances.T))


def conductor_panels(mesh: ArrayLike, name: str = "mesh", ground_plane: bool = False) -> Panels:
    """Panels of a triangle mesh (n, 3, 3) m, checked: shape, finite, no degenerate triangle, above the plane."""
    triangles = finite_array(name, mesh)
    if triangles.ndim != 3 or triangles.shape[1:] != (3, 3) or len(triangles) == 0:
        raise ValueError(f"{name} must be a mesh of shape (n, 3, 3), n > 0; got shape {triangles.shape}")
    edges = np.roll(triangles, -1, axis=1) - triangles
    longest_square = (edges**2).sum(axis=2).max(axis=1)
    areas = 0.5 * np.sqrt((np.cross(edges[:, 0], edges[:, 1]) ** 2).sum(axis=1))
    slim = ~(areas > _SLIMMEST * longest_square)
    if slim.any():
        raise ValueError(f"{name} must have no degenerate triangle; got one of no area at index {slim.argmax()}")
    lowest = float(triangles[:, :, 2].min())
    if ground_plane and lowest <= 0.0:
        raise ValueError(f"{name} must stay above the ground plane (z > 0); got z = {lowest:g} m")
    return panels_of(triangles)


def potential_matrix(field: Panels, source: Panels, ground_plane: bool = False) -> Floats:
    """Mean potential over each field panel per charge on each source panel, V/C; with images in z = 0 if asked."""
    matrix = coupling(field, source)
    if ground_plane:
        matrix -= coupling(field, mirrored(source))
    matrix /= 4.0 * np.pi * VACUUM_PERMITTIVITY
    return matrix


def symmetric_potential_matrix(panels: Panels, ground_plane: bool = False) -> Floats:
    """`potential_matrix` of panels on themselves, the two quadratures of each pair averaged (reciprocity), V/C."""
    matrix = symmetric_coupling(panels, panels)
    if ground_plane:
        matrix -= symmetric_coupling(panels, mirrored(panels))
    matrix /= 4.0 * np.pi * VACUUM_PERMITTIVITY
    return matrix


def solve_positive(matrix: Floats, right: Floats) -> Floats:
    """Solution of matrix x = right for a symmetric positive definite matrix (overwritten); one factorisation."""
    try:
        factor = cho_factor(matrix, lower=True, overwrite_a=True, check_finite=False)
    except LinAlgError:
        raise ValueError("conductors must not overlap or touch: the energy of their charges is not positive") from None
    return np.asarray(cho_solve(factor, right, check_finite=False))
