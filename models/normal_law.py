"""The normal law, whose mean is 0 and whose standard deviation 1: the share below a value, and the value with a share.

    share(x) = erfc(-x / sqrt 2) / 2
    quantile(share(x)) = x, by algorithm AS 241 (M. J. Wichura, Applied Statistics 37 (1988) 477, its coefficients as in
    Python's own statistics module): quotients of polynomials, one for the middle and two for the tails, to 1e-15

The same as ndtr and ndtri of scipy.special (a test compares them). Written out here since that package takes a tenth of
a second to load, before a command that draws some numbers begins.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats

MIDDLE: Final = 0.425
"""Largest distance of a share from 1/2 in the middle."""
FAR: Final = 5.0
"""sqrt(-log) of the share in a tail, from which the farther quotient stands."""
Quotient = tuple[tuple[float, ...], tuple[float, ...]]
_MIDDLE: Final[Quotient] = (
    (
        2.5090809287301226727e3,
        3.3430575583588128105e4,
        6.7265770927008700853e4,
        4.5921953931549871457e4,
        1.3731693765509461125e4,
        1.9715909503065514427e3,
        1.3314166789178437745e2,
        3.3871328727963666080,
    ),
    (
        5.2264952788528545610e3,
        2.8729085735721942674e4,
        3.9307895800092710610e4,
        2.1213794301586595867e4,
        5.3941960214247511077e3,
        6.8718700749205790830e2,
        4.2313330701600911252e1,
        1.0,
    ),
)
_NEAR: Final[Quotient] = (
    (
        7.74545014278341407640e-4,
        2.27238449892691845833e-2,
        2.41780725177450611770e-1,
        1.27045825245236838258,
        3.64784832476320460504,
        5.76949722146069140550,
        4.63033784615654529590,
        1.42343711074968357734,
    ),
    (
        1.05075007164441684324e-9,
        5.47593808499534494600e-4,
        1.51986665636164571966e-2,
        1.48103976427480074590e-1,
        6.89767334985100004550e-1,
        1.67638483018380384940,
        2.05319162663775882187,
        1.0,
    ),
)
_FAR: Final[Quotient] = (
    (
        2.01033439929228813265e-7,
        2.71155556874348757815e-5,
        1.24266094738807843860e-3,
        2.65321895265761230930e-2,
        2.96560571828504891230e-1,
        1.78482653991729133580,
        5.46378491116411436990,
        6.65790464350110377720,
    ),
    (
        2.04426310338993978564e-15,
        1.42151175831644588870e-7,
        1.84631831751005468180e-5,
        7.86869131145613259100e-4,
        1.48753612908506148525e-2,
        1.36929880922735805310e-1,
        5.99832206555887937690e-1,
        1.0,
    ),
)


def share_below(value: float) -> float:
    """The share of the law below a value."""
    return 0.5 * math.erfc(-value / math.sqrt(2.0))


def quantile(share: ArrayLike) -> Floats:
    """The value with this share of the law below it; any shape. Infinite at 0 and 1, no number outside."""
    shares = np.asarray(share, dtype=np.float64)
    off = shares - 0.5
    found = off * _quotient(_MIDDLE, MIDDLE**2 - off * off)
    in_tail = np.abs(off) > MIDDLE
    if in_tail.any():
        tails = shares[in_tail]
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(-np.log(np.minimum(tails, 1.0 - tails)))
            sizes = np.where(root <= FAR, _quotient(_NEAR, root - 1.6), _quotient(_FAR, root - FAR))
        sizes[np.isinf(root)] = math.inf
        found = np.asarray(found)
        found[in_tail] = np.copysign(sizes, off[in_tail])
    return np.asarray(found)


def _quotient(polynomials: Quotient, at: Floats) -> Floats:
    """Their quotient, each given from its highest power."""
    over, under = (np.full_like(at, row[0]) for row in polynomials)
    for total, row in ((over, polynomials[0]), (under, polynomials[1])):
        for coefficient in row[1:]:
            np.multiply(total, at, out=total)
            np.add(total, coefficient, out=total)
    return np.asarray(over / under)
