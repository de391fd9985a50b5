"""Products of a large matrix with a thin one, kept on one thread, and the solver made of them.

Above a size, linear algebra libraries share a product among threads and wait for the last of them. Blocks of at most
2^18 multiplications stay below that size in OpenBLAS, so that many small solutions in a row do not depend on how many
threads the library finds free. tests/benchmarks/hand_field.py times both; on an idle machine they differ little.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MULTIPLICATIONS: Final = 1 << 18


def thin_product(matrix: Floats, columns: Floats) -> Floats:
    """matrix @ columns, (p, q) by (q, k), cut into blocks of rows."""
    rows, inner = matrix.shape
    block = max(1, _MULTIPLICATIONS // (inner * columns.shape[1]))
    whole = rows - rows % block
    stacked = matrix[:whole].reshape(-1, block, inner) @ columns
    return np.concatenate([stacked.reshape(whole, columns.shape[1]), matrix[whole:] @ columns])


def conjugate_gradients(
    product: Callable[[Floats], Floats],
    precondition: Callable[[Floats], Floats],
    right: Floats,
    tolerance: float = 1e-10,
    most_steps: int = 200,
) -> Floats:
    """x with product(x) = right, columns independent, for a symmetric positive definite `product`.

    Stops when the estimated energy of the error, r . M r with residual r and preconditioner M, has fallen to
    `tolerance` of its first value in every column. Raises ValueError where the matrix proves not positive definite.
    Source: M. R. Hestenes, E. Stiefel, J. Res. Natl. Bur. Stand. 49 (1952) 409 (from memory).
    """
    solution, residual = np.zeros_like(right), right.copy()
    direction = precondition(residual)
    energy = (residual * direction).sum(axis=0)
    goal = tolerance * energy
    for _ in range(most_steps):
        image = product(direction)
        curvature = (direction * image).sum(axis=0)
        if not (curvature > 0.0).all():
            raise ValueError("conductors must not overlap: the energy of their charges is not positive")
        step = energy / curvature
        solution += step * direction
        residual -= step * image
        corrected = precondition(residual)
        fresh = (residual * corrected).sum(axis=0)
        if (fresh <= goal).all():
            return solution
        direction = corrected + (fresh / energy) * direction
        energy = fresh
    raise ValueError(f"conductors must not overlap: no solution of their charges in {most_steps} steps")
