"""Mutual inductance of rings and coils against published formulas, the self-inductance of whole coils, and far away."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import mu_0
from scipy.special import elliprd, elliprf

from models.inductor import solenoid_inductance
from models.mutual_inductance import Axes, Coil, coil_coupling, mutual_inductance, ring_inductance

COIL = Coil(0.04, 0.03, 120.0)


@pytest.mark.parametrize(
    ("a", "b", "h"),
    [(0.2, 0.25, 0.1), (0.01, 0.02, 0.005), (0.03, 0.03, 0.001), (0.1, 0.001, 1.0), (0.1, 1e-4, 1.0), (1e-4, 5.0, 3.0)],
)
def test_coaxial_rings_by_symmetric_integrals(a, b, h):
    # NIST Digital Library of Mathematical Functions, equation 19.34.5 (there in Gaussian units)
    near, far = h**2 + (a - b) ** 2, h**2 + (a + b) ** 2
    shape = 3.0 * elliprf(0.0, far, near) - 2.0 * near * elliprd(0.0, far, near)
    assert_allclose(ring_inductance(a, b, h), mu_0 * 2.0 * a * b / 3.0 * shape, rtol=1e-7)


def test_a_worked_example_of_two_rings():
    # radii 20 and 25 cm, planes 10 cm apart: 248.79 nH (S. Babic and C. Akyel, from memory)
    assert_allclose(ring_inductance(0.20, 0.25, 0.10), 248.79e-9, rtol=2e-5)


@pytest.mark.parametrize("length", [0.01, 0.03, 0.1])
def test_two_halves_make_a_whole_coil(length):
    # L of the whole = L of both halves + 2 M; the self-inductances by Nagaoka 1909
    half = Coil(0.04, length, 100.0)
    whole = float(solenoid_inductance(200.0, 0.04, 2.0 * length))
    own = float(solenoid_inductance(100.0, 0.04, length))
    assert_allclose(mutual_inductance(half, half, (0.0, 0.0, length)), 0.5 * whole - own, rtol=1e-3)


@pytest.mark.parametrize(
    ("offset", "factor"),
    [((0.0, 0.0, 2.0), 2.0), ((2.0, 0.0, 0.0), -1.0), ((0.0, math.sqrt(2.0), math.sqrt(2.0)), 0.5)],
)
def test_far_apart_they_are_two_dipoles(offset, factor):
    # M = mu0 m1 m2 (3 cos^2 - 1) / (4 pi r^3) with m = turns x area
    moment = COIL.turns * math.pi * 0.02**2
    assert_allclose(mutual_inductance(COIL, COIL, offset), factor * mu_0 * moment**2 / (4 * math.pi * 8.0), rtol=2e-3)


def test_either_coil_may_be_the_first_and_scaling():
    other = Coil(0.03, 0.05, 80.0)
    there = mutual_inductance(COIL, other, (0.05, 0.0, 0.02))
    assert_allclose(mutual_inductance(other, COIL, (-0.05, 0.0, -0.02)), there, rtol=1e-6)
    big = [Coil(2 * coil.diameter, 2 * coil.length, coil.turns) for coil in (COIL, other)]
    assert_allclose(mutual_inductance(*big, (0.1, 0.0, 0.04)), 2 * there, rtol=1e-9)
    assert_allclose(mutual_inductance(COIL, other, (0.05, 0.0, 0.02), (0.0, 0.0, -3.0)), -there, rtol=1e-9)


def test_axes_at_right_angles_in_one_plane_do_not_couple():
    assert abs(coil_coupling(COIL, COIL, (0.1, 0.0, 0.0), (1.0, 0.0, 0.0))) < 1e-12


def test_coupling_falls_with_distance_and_does_not_depend_on_the_turns():
    near, mid, far = (coil_coupling(COIL, COIL, (distance, 0.0, 0.0)) for distance in (0.06, 0.1, 0.2))
    assert -0.2 < near < mid < far < 0.0  # side by side, like turns oppose each other
    more = Coil(COIL.diameter, COIL.length, 300.0)
    assert_allclose(coil_coupling(COIL, more, (0.1, 0.0, 0.0)), mid, rtol=1e-9)


def test_three_ways_to_stand():
    # far apart as two dipoles: on one axis twice as much as side by side, and of the other sign; crossed nothing
    found = {axes: coil_coupling(COIL, COIL, *axes.placed(0.5)) for axes in Axes}
    assert_allclose(found[Axes.COAXIAL], -2.0 * found[Axes.PARALLEL], rtol=0.02)
    assert abs(found[Axes.CROSSED]) < 1e-12 < found[Axes.COAXIAL]
    twice = [coil_coupling(COIL, COIL, *Axes.PARALLEL.placed(distance)) for distance in (0.3, 0.6)]
    assert_allclose(twice[0] / twice[1], 8.0, rtol=0.02)


def test_turns_follow_from_the_inductance():
    # 38 mm across, 100 mm long, 300 turns: 1.098543 mH (by Nagaoka's formula, computed beside this project)
    assert_allclose(Coil(0.038, 0.1, inductance=1.098543e-3).winding, 300.0, rtol=1e-6)
    assert_allclose(Coil(0.038, 0.1, 300.0).sheet_inductance, 1.098543e-3, rtol=1e-6)
    plain, stated = Coil(0.04, 0.03, 120.0), Coil(0.04, 0.03, 120.0, 4.0 * COIL.sheet_inductance)
    # a core that makes four times the inductance of the same turns, and does not reach to the other coil
    assert_allclose(coil_coupling(stated, plain, (0.1, 0.0, 0.0)), 0.5 * coil_coupling(plain, plain, (0.1, 0.0, 0.0)))


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="turns or its inductance"):
        Coil(0.1, 0.1)
    with pytest.raises(ValueError, match="coil distance must be > 0"):
        Axes.COAXIAL.placed(0.0)
    with pytest.raises(ValueError, match="overlap"):
        mutual_inductance(COIL, COIL, (0.02, 0.0, 0.0))
    with pytest.raises(ValueError, match="three numbers"):
        mutual_inductance(COIL, COIL, (0.1, 0.0, 0.0), (0.0, 0.0, 0.0))
    with pytest.raises(ValueError, match="touch"):
        ring_inductance(0.1, 0.1, 0.0)
    with pytest.raises(ValueError, match="coil length"):
        Coil(0.1, 0.0, 10.0)
    assert np.isfinite(ring_inductance(0.1, 0.1, 1e-4))
