"""Coils against Nagaoka's and Medhurst's tables and a direct integral of Neumann's formula."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import mu_0
from scipy.integrate import quad
from scipy.special import bei, beip, ber, berp, ellipe, ellipk, jv

from models.inductor import (
    copper_resistivity,
    multilayer_inductance,
    nagaoka_coefficient,
    proximity_factor,
    self_capacitance,
    series_resistance,
    skin_factor,
    solenoid_inductance,
)


def wheeler_inductance(turns, diameter, length):
    """H. A. Wheeler, Proc. IRE 16 (1928) 1398: r^2 N^2 / (9 r + 10 l), inches, uH; 1 % for l > 0.8 r (from memory)."""
    radius = 0.5 * diameter / 0.0254
    return 1e-6 * radius**2 * turns**2 / (9.0 * radius + 10.0 * length / 0.0254)


def test_nagaoka_table() -> None:
    # H. Nagaoka, J. Coll. Sci. Tokyo 27 (1909) art. 6, table of K against d / l, good to 2e-6
    assert_allclose(
        nagaoka_coefficient([0.5, 1.0, 2.0, 5.0]),
        [0.818135752, 0.688422607, 0.525510024, 0.319825468],
        rtol=0,
        atol=2e-9,
    )


@pytest.mark.parametrize("shape", [0.2, 1.0, 4.0])
def test_against_the_mutual_inductance_of_rings(shape: float) -> None:
    # a current sheet is a pile of rings: L = (N / l)^2 times the double integral of the mutual inductance of coaxial
    # rings (Neumann's formula), reduced to one integral over the angle
    diameter, length = shape, 1.0

    def over_angle(angle: float) -> float:
        chord = diameter * np.sin(0.5 * angle)  # distance in plan between points of two rings
        # integral over both heights of 1 / sqrt(chord^2 + (z1 - z2)^2)
        heights = 2.0 * (length * np.arcsinh(length / chord) + chord - np.hypot(length, chord))
        return np.cos(angle) * heights

    total, _ = quad(over_angle, 0.0, np.pi, epsabs=1e-13, epsrel=1e-12, limit=400)
    inductance = mu_0 / (4.0 * np.pi) * 2.0 * np.pi * 2.0 * (0.5 * diameter) ** 2 * total / length**2
    assert_allclose(solenoid_inductance(1.0, diameter, length), inductance, rtol=1e-9, atol=0)


def test_check_values_of_one_coil() -> None:
    # computed beside this project: d = 38 mm, l = 100 mm, 300 turns
    assert_allclose(solenoid_inductance(300, 0.038, 0.100), 1.098543e-3, rtol=0, atol=5e-10)
    assert_allclose(wheeler_inductance(300, 0.038, 0.100), 1.092343e-3, rtol=0, atol=5e-10)


def test_limits_and_monotony() -> None:
    shapes = np.geomspace(1e-6, 1e4, 400)
    coefficient = nagaoka_coefficient(shapes)
    assert np.all(np.diff(coefficient) < 0.0)
    assert np.all((coefficient > 0.0) & (coefficient < 1.0))
    assert_allclose(1.0 - nagaoka_coefficient(1e-3), 4.0 / (3.0 * np.pi) * 1e-3, rtol=1e-3)  # end correction
    # a hoop of thin tape: mu0 r (ln(8 r / w) - 1/2), from the tape's geometric mean distance w exp(-3/2) (textbook)
    radius, width = 1.0, 1e-4
    hoop = mu_0 * radius * (np.log(8.0 * radius / width) - 0.5)
    assert_allclose(solenoid_inductance(1.0, 2.0 * radius, width), hoop, rtol=1e-7, atol=0)


def test_scaling() -> None:
    one = solenoid_inductance(100, 0.03, 0.05)
    assert_allclose(solenoid_inductance(200, 0.03, 0.05), 4.0 * one, rtol=1e-14, atol=0)
    assert_allclose(solenoid_inductance(100, 0.06, 0.10), 2.0 * one, rtol=1e-14, atol=0)


def test_wheeler_keeps_within_its_stated_percent() -> None:
    lengths = np.geomspace(0.4, 20.0, 60)  # l > 0.8 r for d = 1
    assert_allclose(wheeler_inductance(100, 1.0, lengths), solenoid_inductance(100, 1.0, lengths), rtol=0.01, atol=0)


def test_multilayer_against_the_sum_over_rings() -> None:
    # every pair of 144 rings in a square winding, Maxwell's mutual inductance of coaxial rings by elliptic integrals
    turns, mean, side, cells = 400, 0.040, 0.013, 12
    places = (np.arange(cells) + 0.5) / cells * side
    height, radius = (grid.ravel() for grid in np.meshgrid(places, 0.5 * mean - 0.5 * side + places))
    gap = (height[:, None] - height) ** 2 + np.eye(height.size) * (0.44705 * side / cells) ** 2  # own mean distance
    product = radius[:, None] * radius
    squared = 4.0 * product / ((radius[:, None] + radius) ** 2 + gap)
    modulus = np.sqrt(squared)
    mutual = mu_0 * np.sqrt(product) * ((2.0 / modulus - modulus) * ellipk(squared) - 2.0 / modulus * ellipe(squared))
    assert_allclose(multilayer_inductance(turns, mean, side, side), turns**2 * mutual.mean(), rtol=0.01, atol=0)


def test_medhurst_table() -> None:
    # R. G. Medhurst, Wireless Engineer 1947: H at l / D = 0.5, 1, 2, 5, 10 is 0.50, 0.46, 0.50, 0.81, 1.32 pF per cm
    shapes = np.array([0.5, 1.0, 2.0, 5.0, 10.0])
    assert_allclose(
        self_capacitance(0.04, 0.04 * shapes), 4e-12 * np.array([0.50, 0.46, 0.50, 0.81, 1.32]), rtol=1e-12, atol=0
    )
    assert_allclose(self_capacitance(0.08, 0.08), 2.0 * self_capacitance(0.04, 0.04), rtol=1e-12, atol=0)
    between = self_capacitance(0.04, 0.04 * 7.5)
    assert 4e-12 * 1.01 < between < 4e-12 * 1.12


@pytest.mark.parametrize("shape", [0.09, 51.0])
def test_medhurst_refuses_to_extrapolate(shape: float) -> None:
    with pytest.raises(ValueError, match=r"length / diameter must be between 0\.1 and 50"):
        self_capacitance(0.04, 0.04 * shape)


def test_series_resistance() -> None:
    assert_allclose(series_resistance(1e-3, 100.0, 225e3), 2.0 * np.pi * 225.0 / 100.0, rtol=1e-14)


def test_copper() -> None:
    # handbook: 1.7241 uohm cm at 20 degC (IEC 60028; IACS), +3.93 % in 10 K; 30 AWG (0.2546 mm) 338 ohm/km (ASTM B258)
    assert_allclose(copper_resistivity(), 1.7241e-8, rtol=1e-4, atol=0)
    assert_allclose(copper_resistivity(30.0) / copper_resistivity(20.0), 1.0393, rtol=1e-9)
    assert_allclose(copper_resistivity() * 1000.0 / (0.25 * np.pi * 0.2546e-3**2), 338.6, rtol=2e-3)


def test_skin_effect_of_a_round_wire() -> None:
    wire, resistivity = 1e-3, 1.7241e-8
    of_ratio = [resistivity / (np.pi * mu_0 * (0.5 * wire / ratio) ** 2) for ratio in (0.1, 1.0, 20.0)]  # a / delta
    thin, equal, thick = skin_factor(wire, of_ratio, resistivity)
    # textbook limits: 1 + (a/delta)^4 / 48 for a thin wire, a / (2 delta) + 1/4 for a thick one
    assert_allclose(thin - 1.0, 0.1**4 / 48.0, rtol=1e-3)
    assert_allclose(thick, 10.25, rtol=1e-3)
    # Kelvin functions, by scipy: R/R0 = (q/2) (ber bei' - bei ber') / (ber'^2 + bei'^2), q = sqrt(2) a / delta
    q = np.sqrt(2.0)
    kelvin = ber(q) * beip(q) - bei(q) * berp(q)
    assert_allclose(equal, 0.5 * q * kelvin / (berp(q) ** 2 + beip(q) ** 2), rtol=1e-12)
    # copper at 66.1 mm / sqrt(f / Hz): the handbook's skin depth
    assert_allclose(np.sqrt(copper_resistivity() / (np.pi * mu_0)), 66.1e-3, rtol=1e-3)


@pytest.mark.parametrize("frequency", [1e3, 250e3, 2e6])
def test_proximity_effect_against_the_field_inside_the_wire(frequency: float) -> None:
    # a wire in an even field H0 across it: inside A = D J1(k r) sin(phi) with D = 2 mu0 H0 / (k J0(k a)); the loss is
    # the integral of sigma |omega A|^2 / 2 over the wire. In a single layer H0 = n I / 2, here of 1 A
    wire, resistivity, turns = 0.3e-3, 1.7241e-8, 1.0 / 0.33e-3
    radius, omega = 0.5 * wire, 2.0 * np.pi * frequency
    k = (1.0 - 1.0j) * np.sqrt(np.pi * frequency * mu_0 / resistivity)
    inside = 2.0 * mu_0 * 0.5 * turns / (k * jv(0, k * radius))
    total, _ = quad(lambda r: abs(jv(1, k * r)) ** 2 * r, 0.0, radius, epsabs=0.0, epsrel=1e-10)
    loss = 0.5 / resistivity * omega**2 * abs(inside) ** 2 * np.pi * total
    direct = 0.5 * resistivity / (np.pi * radius**2)
    assert_allclose(proximity_factor(wire, frequency, resistivity, turns), loss / direct, rtol=1e-6)
    # thin against the skin depth: pi sigma omega^2 B^2 d^4 / 128 W per m (textbook eddy-current loss of a round wire)
    thin = np.pi / resistivity * omega**2 * (mu_0 * 0.5 * turns) ** 2 * wire**4 / 128.0
    assert loss < thin
    assert frequency > 1e3 or loss > 0.9999 * thin
    # two layers: the field of half a layer and of one and a half, a quarter of the sum of squares over a mean of 1/4
    single, double = (proximity_factor(wire, frequency, resistivity, turns, m) for m in (1.0, 2.0))
    assert_allclose(double / single, (0.25**2 + 0.75**2) / 2.0 / 0.25, rtol=1e-12)


@pytest.mark.parametrize(("length", "turns", "share"), [(0.019, 58, 0.40), (0.038, 115, 0.50), (0.190, 576, 0.80)])
def test_how_far_the_field_of_a_long_coil_holds_for_short_ones(length: float, turns: int, share: float) -> None:
    # field of every other ring (Maxwell's elliptic integrals) at each turn of a coil of 38 mm: its mean square over
    # that of a long coil, (n I / 2)^2, is what the docstring of proximity_factor states
    radius, heights = 0.019, (np.arange(turns) + 0.5) / turns * length
    gap = heights[:, None] - heights + np.eye(turns)  # the own ring is left out below
    near, far = gap**2, 4.0 * radius**2 + gap**2
    first, second = ellipk(1.0 - near / far), ellipe(1.0 - near / far)
    scale = np.where(np.eye(turns) > 0, 0.0, 1.0 / (2.0 * np.pi * near * np.sqrt(far)))
    along = (scale * (near * first - gap**2 * second)).sum(axis=1)
    across = (scale * gap / radius * ((2.0 * radius**2 + gap**2) * second - near * first)).sum(axis=1)
    assert_allclose(np.mean(along**2 + across**2) / (0.5 * turns / length) ** 2, share, atol=0.01)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf, False])
def test_bad_values_are_refused(bad: float) -> None:
    for values in ((bad, 0.04, 0.1), (100.0, bad, 0.1), (100.0, 0.04, bad)):
        with pytest.raises(ValueError, match="must be"):
            solenoid_inductance(*values)
    with pytest.raises(ValueError, match="depth must be"):
        multilayer_inductance(100, 0.04, 0.01, bad)
    with pytest.raises(ValueError, match="depth must be < the mean diameter"):
        multilayer_inductance(100, 0.04, 0.01, 0.05)
