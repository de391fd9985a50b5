"""Coils against Nagaoka's and Medhurst's tables and a direct integral of Neumann's formula."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import mu_0
from scipy.integrate import quad
from scipy.special import ellipe, ellipk

from models.inductor import (
    multilayer_inductance,
    nagaoka_coefficient,
    required_turns,
    self_capacitance,
    series_resistance,
    solenoid_inductance,
    wheeler_inductance,
)


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
    assert_allclose(required_turns(1.098543e-3, 0.038, 0.100), 300.0, rtol=1e-6)


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


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf, False])
def test_bad_values_are_refused(bad: float) -> None:
    for values in ((bad, 0.04, 0.1), (100.0, bad, 0.1), (100.0, 0.04, bad)):
        for law in (solenoid_inductance, wheeler_inductance, required_turns):
            with pytest.raises(ValueError, match="must be"):
                law(*values)
    with pytest.raises(ValueError, match="depth must be"):
        multilayer_inductance(100, 0.04, 0.01, bad)
    with pytest.raises(ValueError, match="depth must be < the mean diameter"):
        multilayer_inductance(100, 0.04, 0.01, 0.05)
