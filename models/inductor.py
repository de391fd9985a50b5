"""Coils: inductance of a winding, its self-capacitance, its wire, and its loss as a series resistance.

Lengths in m, inductance in H. `diameter` is that of the current sheet, wire centre to wire centre. Neglected
in all: the gaps between round wires (they matter more the wider the winding is spaced), the
skin and proximity effects on the inductance, nearby metal, and a magnetic core.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes, Floats
from models.checks import finite, non_negative_array, positive_array
from models.constants import VACUUM_PERMEABILITY

INCH = 0.0254  # m, exact
FLAT = 100.0  # diameter over length from which a coil is taken as flat

# l / D and H (pF per cm of diameter) for single-layer coils with one end earthed: R. G. Medhurst, Wireless
# Engineer 24 (1947). The values at 0.5, 1, 2, 5 and 10 are confirmed; the others are from memory.
MEDHURST_TABLE = (
    (0.10, 0.96),
    (0.15, 0.79),
    (0.20, 0.70),
    (0.25, 0.64),
    (0.30, 0.60),
    (0.35, 0.57),
    (0.40, 0.54),
    (0.45, 0.52),
    (0.50, 0.50),
    (0.60, 0.48),
    (0.70, 0.47),
    (0.80, 0.46),
    (0.90, 0.46),
    (1.0, 0.46),
    (1.5, 0.47),
    (2.0, 0.50),
    (2.5, 0.56),
    (3.0, 0.61),
    (3.5, 0.67),
    (4.0, 0.72),
    (4.5, 0.77),
    (5.0, 0.81),
    (6.0, 0.92),
    (7.0, 1.01),
    (8.0, 1.12),
    (9.0, 1.22),
    (10.0, 1.32),
    (15.0, 1.86),
    (20.0, 2.36),
    (25.0, 2.9),
    (30.0, 3.4),
    (35.0, 3.9),
    (40.0, 4.4),
    (45.0, 4.9),
    (50.0, 5.4),
)


def nagaoka_coefficient(diameter_over_length: ArrayLike) -> Floats:
    """Inductance of a current sheet over that of a length cut from an endless one (0 to 1); broadcasts.

    K = 4 / (3 pi k') (k'^2 / k^2 (F - E) + E - k), with k = d / sqrt(d^2 + l^2), k' = l / sqrt(d^2 + l^2) and
    the complete elliptic integrals F, E of modulus k: L. Lorenz 1879, H. Nagaoka, J. Coll. Sci. Tokyo 27
    (1909) art. 6 (formula from memory). Carlson's forms (F - E) / k^2 = R_D(0, k'^2, 1) / 3 and E = 2 R_G(0,
    k'^2, 1) keep the digits of long coils; of short ones E - k loses them, so beyond d / l = FLAT the logarithmic
    series of E for k' -> 0 is taken (from memory). Against the formula in 50 digits, over d / l = 1e-8 to 1e8, the
    relative error measured was below 5e-13.
    """
    from scipy.special import elliprd, elliprg  # here and below: heavy, and seldom needed

    shape = positive_array("diameter_over_length", diameter_over_length)
    size = np.hypot(1.0, shape)
    modulus, complement = shape / size, 1.0 / size
    squared = complement**2
    first = elliprd(0.0, squared, 1.0) / 3.0
    second = np.where(
        shape > FLAT, _flat_part(modulus, complement), (2.0 * elliprg(0.0, squared, 1.0) - modulus) / squared
    )
    return np.asarray(4.0 * complement / (3.0 * math.pi) * (first + second))


def _flat_part(modulus: Floats, complement: Floats) -> Floats:
    """(E - k) / k'^2 for small k': (E - 1) / k'^2 by its series, L = ln(4 / k'), and (1 - k) / k'^2 = 1 / (1 + k)."""
    squared, log = complement**2, np.log(4.0 / complement)
    series = 0.5 * (log - 0.5) + 3.0 / 16.0 * squared * (log - 13.0 / 12.0)
    series += 15.0 / 128.0 * squared**2 * (log - 1.2)
    return np.asarray(series + 1.0 / (1.0 + modulus))


def solenoid_inductance(turns: ArrayLike, diameter: ArrayLike, length: ArrayLike) -> Floats:
    """Inductance of a single-layer coil, H: mu0 pi d^2 N^2 K(d / l) / (4 l), exact for a current sheet."""
    count, width, extent = _winding(turns, diameter, length)
    endless = 0.25 * math.pi * VACUUM_PERMEABILITY * width**2 * count**2 / extent
    return np.asarray(endless * nagaoka_coefficient(width / extent))


def multilayer_inductance(turns: ArrayLike, diameter: ArrayLike, length: ArrayLike, depth: ArrayLike) -> Floats:
    """Inductance of a coil of many layers, H, after H. A. Wheeler, Proc. IRE 16 (1928) 1398 (from memory).

    0.8 r^2 N^2 / (6 r + 9 l + 10 c), inches, uH. `diameter` is the mean one, `depth` c that of the winding,
    radially. Good to about 1 % where the three terms of the denominator are about equal, less elsewhere.
    """
    count, width, extent = _winding(turns, diameter, length)
    radial = positive_array("depth", depth)
    if np.any(radial >= width):
        raise ValueError(f"depth must be < the mean diameter; got {radial.max():g}")
    radius = 0.5 * width
    bottom = 6.0 * radius + 9.0 * extent + 10.0 * radial
    return np.asarray(0.8e-6 / INCH * radius**2 * count**2 / bottom)


def self_capacitance(diameter: ArrayLike, length: ArrayLike) -> Floats:
    """Self-capacitance of a single-layer coil with one end earthed, F; broadcasts.

    C = H D with Medhurst's H; linear between the table's points in log(l / D) and log H. Raises ValueError
    outside l / D = 0.1 to 50.
    """
    width, extent = positive_array("diameter", diameter), positive_array("length", length)
    shape = extent / width
    shapes, factors = np.array(MEDHURST_TABLE).T
    outside = (shape < shapes[0]) | (shape > shapes[-1])
    if np.any(outside):
        raise ValueError(f"length / diameter must be between 0.1 and 50; got {shape[outside].flat[0]:g}")
    factor = np.exp(np.interp(np.log(shape), np.log(shapes), np.log(factors)))
    return np.asarray(factor * width * 1e-10)  # pF per cm = 1e-10 F per m


def copper_resistivity(temperature: float = 20.0) -> float:
    """Resistivity of annealed copper, ohm m, at `temperature`, degC.

    1 / (58 MS/m) at 20 degC, changing by 0.393 % of that per kelvin (IEC 60028, from memory); good near room
    temperature.
    """
    return (1.0 + 3.93e-3 * (finite("temperature", temperature) - 20.0)) / 58e6


def skin_factor(wire: ArrayLike, frequency: ArrayLike, resistivity: float) -> Floats:
    """Resistance of a straight round wire of diameter `wire`, m, at `frequency`, Hz, over that for direct current.

    Re(z J0(z) / (2 J1(z))) with z = (1 - j) a / delta, a the radius, delta = sqrt(rho / (pi f mu0)): exact for a wire
    alone (Kelvin; any textbook on skin effect). Broadcasts. The neighbours' field adds `proximity_factor`.
    """
    from scipy.special import jve

    z = _wave(wire, frequency, resistivity)
    return np.asarray((0.5 * z * jve(0, z) / jve(1, z)).real)


def proximity_factor(
    wire: ArrayLike, frequency: ArrayLike, resistivity: float, turns_per_length: ArrayLike, layers: ArrayLike = 1.0
) -> Floats:
    """What the field of the other turns adds to a wire's resistance, over that for direct current; broadcasts.

    With I the peak current, n turns per m of winding (of all layers), m layers, h^2 the mean square of the field across
    a wire over n I:
        h^2 = (1 - 1 / (4 m^2)) / 3          (it grows evenly from nothing outside to n I inside a long coil)
        P = 2 pi |h n I|^2 Re(j J1(z) (z J0(z) - J1(z))*) / (sigma |J0(z)|^2)     W per m, z as in `skin_factor`
    P is exact for a round wire across an even field (from A = D J1(k r) sin(phi) inside, derived here) and is added to
    the skin effect's (J. A. Ferreira, IEEE Trans. Power Electron. 9 (1994) 127, from memory). The field is the
    estimate: of a long coil whose turns do not disturb each other's field. A sum over rings gives a smaller mean
    square: 0.80, 0.67, 0.50 and 0.40 of this one for a single layer 5, 2.3, 1 and 0.5 diameters long, 0.31 for many
    layers as long and deep as half their diameter. Too large as well where wire far thicker than the skin depth almost
    touches.
    """
    from scipy.special import jve

    z, across = _wave(wire, frequency, resistivity), positive_array("turns_per_length", turns_per_length)
    share = (1.0 - 0.25 / positive_array("layers", layers) ** 2) / 3.0
    zero, one = jve(0, z), jve(1, z)
    loss = (1j * one * (z * zero - one).conj()).real / np.abs(zero) ** 2
    return np.asarray(share * (math.pi * across * np.asarray(wire, dtype=np.float64)) ** 2 * loss)


def _wave(wire: ArrayLike, frequency: ArrayLike, resistivity: float) -> Complexes:
    depth = np.sqrt(resistivity / (math.pi * VACUUM_PERMEABILITY * positive_array("frequency", frequency)))
    return np.asarray((1.0 - 1.0j) * 0.5 * positive_array("wire", wire) / depth)


def series_resistance(inductance: ArrayLike, quality_factor: ArrayLike, frequency: ArrayLike) -> Floats:
    """Loss of a coil as a resistance in series with it, ohm: 2 pi f L / Q (definition of Q); broadcasts."""
    angular_frequency = 2.0 * math.pi * positive_array("frequency", frequency)
    reactance = angular_frequency * non_negative_array("inductance", inductance)
    return np.asarray(reactance / positive_array("quality_factor", quality_factor))


def _winding(turns: ArrayLike, diameter: ArrayLike, length: ArrayLike) -> tuple[Floats, Floats, Floats]:
    return (
        positive_array("turns", turns),
        positive_array("diameter", diameter),
        positive_array("length", length),
    )
