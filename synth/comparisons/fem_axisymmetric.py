"""Capacitance of bodies of revolution by general finite elements (scikit-fem) in the half plane (r, z).

The energy 2 pi eps0 integral of r |grad u|^2 dr dz is least for the potential u; with u = 1 V on the body and 0 on what
is earthed, the capacitance is that integral. Quadratic triangles (P2), curved with the body where it is round.

Open space ends at a far boundary with du/dn = -(order) u (x . n) / |x|^2, exact for a potential that falls as
|x|^-order: 1 of a charge, 2 of a dipole (a body above the earthed plane z = 0). What is left out falls faster and is
some (size / far)^3 of the capacitance or less.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import Any

import numpy as np

from models.arrays import Floats
from models.constants import VACUUM_PERMITTIVITY
from models.quick_dataclass import dataclass
from synth.libraries import require

FAR = 50.0  # times the size of the body
NEAR = 1e-9  # relative, in telling on which line a node lies
PURPOSE = "the comparison with finite elements"


class NotSolvedError(Exception):
    """The equations of one case could not be solved: the message says why. The other cases go on."""


@dataclass(frozen=True, slots=True)
class Found:
    """A capacitance, F, and the number of unknowns it took."""

    capacitance: float
    unknowns: int


def rod(length: float, radius: float, first: float, growth: float) -> Found:
    """A rod with flat ends in free space; cells of `first` x radius at its edge, growing by `growth` away from it.

    Its middle plane is a plane of symmetry: only the upper half is solved.
    """
    fem = require("skfem", PURPOSE)
    half, far = 0.5 * length, FAR * length
    cell = first * radius
    z = np.concatenate([outward(half, 0.0, cell, growth)[::-1], outward(half, far, cell, growth)[1:]])
    r = np.concatenate([outward(radius, 0.0, cell, growth)[::-1], outward(radius, far, cell, growth)[1:]])
    r[0] = z[0] = 0.0
    whole = fem.MeshTri.init_tensor(r, z)
    middle = whole.p[:, whole.t].mean(axis=1)
    mesh = whole.restrict(np.nonzero(~((middle[0] < radius) & (middle[1] < half)))[0])
    slack = 1.0 + NEAR
    body = mesh.facets_satisfying(lambda x: (x[0] <= radius * slack) & (x[1] <= half * slack), boundaries_only=True)
    edge = mesh.facets_satisfying(lambda x: (x[0] >= far / slack) | (x[1] >= far / slack), boundaries_only=True)
    found = solved(mesh, body, (), edge, 1)
    return Found(2.0 * found.capacitance, found.unknowns)


def sphere_over_plane(height: float, radial: int, around: int) -> Found:
    """A sphere of radius 1 m, its middle `height` m above the earthed plane z = 0.

    Rays from its middle run to the plane or to the far half circle; `radial` cells along each, `around` in the angle.
    """
    fem = require("skfem", PURPOSE)
    far = FAR * height
    corner = math.atan2(math.sqrt(far**2 - height**2), -height)  # angle from straight up at which the plane begins
    below = max(2, round(around / 3))
    angles = np.concatenate(
        [
            np.linspace(0.0, 0.5 * math.pi, around - below + 1)[:-1],
            np.linspace(0.5 * math.pi, corner, below + 1)[:-1],
            _towards_plane(corner, height, far, around),
        ]
    )
    flat = fem.MeshTri.init_tensor(np.linspace(0.0, 1.0, radial + 1), angles)
    curved = fem.MeshTri2.from_mesh(flat)
    share, angle = curved.doflocs
    reach = _reach(angle, corner, height, far)
    distance = np.exp(share * np.log(reach))  # equal ratios from the skin, 1 m, to the end of the ray
    places = np.stack([distance * np.sin(angle), height + distance * np.cos(angle)])
    places[0] = np.maximum(places[0], 0.0)
    mesh = fem.MeshTri2(places, curved.t)

    def on(name: str) -> Any:
        return flat.facets_satisfying(
            {
                "body": lambda x: x[0] <= NEAR,
                "earth": lambda x: (x[0] >= 1.0 - NEAR) & (x[1] >= corner),
                "edge": lambda x: (x[0] >= 1.0 - NEAR) & (x[1] <= corner),
            }[name],
            boundaries_only=True,
        )

    return solved(mesh, on("body"), on("earth"), on("edge"), 2)


def _towards_plane(corner: float, height: float, far: float, around: int) -> Floats:
    """Angles from the corner to straight down, whose rays meet the plane at places in equal steps of asinh(r)."""
    rim = math.sqrt(far**2 - height**2)
    clear = max(height - 1.0, 1e-3)  # between sphere and plane
    steps = np.sinh(np.linspace(math.asinh(rim / math.sqrt(clear)), 0.0, around + 1)) * math.sqrt(clear)
    angles = math.pi - np.arctan2(steps, height)
    angles[0], angles[-1] = corner, math.pi
    return np.asarray(angles)


def _reach(angle: Floats, corner: float, height: float, far: float) -> Floats:
    """Length of the ray from the middle of the sphere, m, at `angle` from straight up."""
    cosine = np.cos(angle)
    to_plane = height / np.maximum(-cosine, NEAR)
    to_circle = -height * cosine + np.sqrt(far**2 - (height * np.sin(angle)) ** 2)
    return np.where(angle >= corner, to_plane, to_circle)


def solved(mesh: Any, body: Any, earth: Any, edge: Any, order: int) -> Found:
    """Capacitance of the facets `body` against the facets `earth` and open space beyond the facets `edge`."""
    fem = require("skfem", PURPOSE)
    basis, matrix = assembled(mesh, fem.ElementTriP2(), edge, order, lambda w: w.x[0])
    live = basis.get_dofs(body).all()
    fixed = live if len(earth) == 0 else np.union1d(live, basis.get_dofs(earth).all())
    potential = basis.zeros()
    potential[live] = 1.0
    potential = fem.solve(*fem.condense(matrix, x=potential, D=fixed))
    return Found(2.0 * math.pi * VACUUM_PERMITTIVITY * float(potential @ (matrix @ potential)), int(matrix.shape[0]))


def assembled(
    mesh: Any, element: Any, edge: Any, order: int, weight: Callable[[Any], Any], **basis_options: int
) -> tuple[Any, Any]:
    """Basis and matrix of the energy with open space beyond the facets `edge`; `weight`: of a place, such as its r."""
    fem = require("skfem", PURPOSE)

    def energy(u: Any, v: Any, w: Any) -> Any:
        return weight(w) * (u.grad * v.grad).sum(axis=0)

    def open_space(u: Any, v: Any, w: Any) -> Any:
        return order * weight(w) * (w.x * w.n).sum(axis=0) / (w.x**2).sum(axis=0) * u * v

    basis = fem.Basis(mesh, element, **basis_options)
    rim = fem.FacetBasis(mesh, element, facets=edge)
    return basis, fem.BilinearForm(energy).assemble(basis) + fem.BilinearForm(open_space).assemble(rim)


def outward(start: float, stop: float, first: float, growth: float) -> Floats:
    """Nodes from `start` to `stop` (either way), the first step about `first`, each next one `growth` times as long."""
    span = abs(stop - start)
    count = max(1, math.ceil(math.log1p(span * (growth - 1.0) / first) / math.log(growth)))
    steps = growth ** np.arange(count)
    nodes = np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])
    return np.asarray(start + (stop - start) * nodes)


def between(start: float, stop: float, first: float, last: float, growth: float) -> Floats:
    """Nodes from `start` to `stop`, the first step about `first`, the last about `last`, growing towards the middle."""
    middle = 0.5 * (start + stop)
    lower = outward(start, middle, first, growth)
    upper = outward(stop, middle, last, growth)[::-1]
    return np.concatenate([lower, upper[1:]])


def along(cells: Mapping[float, float], low: float | None, high: float, growth: float) -> Floats:
    """Nodes with cells of `cells[edge]` at each edge, down to `low` (None: the lowest edge) and up to `high`."""
    places = sorted(cells)
    parts = [between(a, b, cells[a], cells[b], growth) for a, b in pairwise(places)]
    if low is not None and low < places[0]:
        parts.insert(0, outward(places[0], low, cells[places[0]], growth)[::-1])
    parts.append(outward(places[-1], high, cells[places[-1]], growth))
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
