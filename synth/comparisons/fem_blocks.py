"""Capacitance of blocks in space by general finite elements (scikit-fem): quadratic tetrahedra on a graded grid.

The energy eps0 integral of |grad u|^2 is least for the potential u; with u = 1 V on the first block and 0 on the others
(and on the plane z = 0, if earthed), the capacitance is that integral. Open space ends at a far boundary with
du/dn = -(order) u (x . n) / |x|^2 as in `fem_axisymmetric`. The equations are solved by conjugate gradients with the
diagonal as preconditioner: a direct solution takes longer and more memory in three dimensions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from scipy.sparse.linalg import LinearOperator, cg

from models.arrays import Floats
from models.constants import VACUUM_PERMITTIVITY
from models.quick_dataclass import dataclass
from synth.comparisons.fem_axisymmetric import NEAR, PURPOSE, Found, NotSolvedError, along, assembled, outward
from synth.libraries import require

TOLERANCE = 1e-6  # of the residual
MOST_STEPS = 20_000


@dataclass(frozen=True, slots=True)
class Block:
    """A block with faces square to the axes, from corner `low` to corner `high`, m."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]

    @property
    def size(self) -> Floats:
        """Lengths of the edges (3,), m."""
        return np.subtract(self.high, self.low)

    @property
    def center(self) -> Floats:
        """Middle (3,), m."""
        return 0.5 * np.add(self.low, self.high)


def capacitance(
    blocks: Sequence[Block],
    first: float,
    growth: float,
    far: float,
    mirrored: tuple[bool, bool, bool] = (False, False, False),
    earthed_plane: bool = False,
) -> Found:
    """Capacitance of the first block, the others earthed.

    first: smallest cells at the edges of a block, over its shortest edge; growth: of the cells away from them; far:
    half the size, m, of the space. mirrored: axes in which all is symmetric about 0: only the positive half is solved.
    earthed_plane: the plane z = 0 is earthed, all blocks above it. Raises NotSolvedError.
    """
    fem = require("skfem", PURPOSE)
    on_plane = (False, False, earthed_plane)
    nodes = [_nodes(blocks, axis, first, growth, far, mirrored[axis], on_plane[axis]) for axis in range(3)]
    whole = fem.MeshTet.init_tensor(*nodes)
    middle = whole.p[:, whole.t].mean(axis=1)
    filled = np.zeros(middle.shape[1], dtype=bool)
    for block in blocks:
        filled |= _within(block, middle)
    mesh = whole.restrict(np.nonzero(~filled)[0])
    outside = [mesh.p[axis].max() for axis in range(3)]
    lowest = [mesh.p[axis].min() for axis in range(3)]
    natural = [mirrored[axis] or on_plane[axis] for axis in range(3)]

    def at_edge(x: Any) -> Any:
        reached = np.zeros(x.shape[1:], dtype=bool)
        for axis in range(3):
            reached |= x[axis] >= outside[axis] * (1.0 - NEAR)
            if not natural[axis]:
                reached |= x[axis] <= lowest[axis] * (1.0 - NEAR)
        return reached

    edge, order = mesh.facets_satisfying(at_edge, boundaries_only=True), 2 if earthed_plane else 1
    basis, whole_matrix = assembled(mesh, fem.ElementTetP2(), edge, order, lambda _: 1.0, intorder=2)
    matrix, places = whole_matrix.tocsr(), basis.doflocs
    live = _within(blocks[0], places)
    fixed = live.copy()
    for block in blocks[1:]:
        fixed |= _within(block, places)
    if earthed_plane:
        fixed |= places[2] <= NEAR
    potential = _potential(matrix, live.astype(np.float64), np.nonzero(~fixed)[0])
    copies = 2.0 ** sum(mirrored)
    return Found(copies * VACUUM_PERMITTIVITY * float(potential @ (matrix @ potential)), int(matrix.shape[0]))


def _nodes(
    blocks: Sequence[Block], axis: int, first: float, growth: float, far: float, mirrored: bool, plane: bool
) -> Floats:
    """Nodes along one axis, fine at every face of every block."""
    cells = {
        float(corner[axis]): first * float(block.size.min()) for block in blocks for corner in (block.low, block.high)
    }
    if not mirrored:
        return along(cells, 0.0 if plane else -far, far, growth)
    beyond = {edge: cell for edge, cell in cells.items() if edge > 0.0}
    inner = outward(min(beyond), 0.0, beyond[min(beyond)], growth)[::-1]
    inner[0] = 0.0
    return np.concatenate([inner, along(beyond, None, far, growth)[1:]])


def _within(block: Block, places: Any) -> Any:
    """Which of `places` (3, n) lie in the block or on its skin."""
    slack = NEAR * max(1.0, float(np.abs(block.high).max()))
    inside = np.ones(places.shape[1:], dtype=bool)
    for axis in range(3):
        inside &= (places[axis] >= block.low[axis] - slack) & (places[axis] <= block.high[axis] + slack)
    return inside


def _potential(matrix: Any, given: Floats, free: Any) -> Floats:
    """The potential with its fixed values `given` and the `free` unknowns solved for, or NotSolvedError."""
    own = matrix[free][:, free]
    right = -(matrix[free] @ given)
    diagonal = 1.0 / own.diagonal()
    smoother = LinearOperator(own.shape, lambda x: diagonal * x)
    found, failed = cg(own, right, rtol=TOLERANCE, maxiter=MOST_STEPS, M=smoother)
    if failed:
        raise NotSolvedError(f"the conjugate gradients did not converge in {MOST_STEPS} steps")
    potential = given.copy()
    potential[free] = found
    return potential
