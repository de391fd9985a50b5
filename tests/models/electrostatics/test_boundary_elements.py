"""Capacitances by boundary elements against exact solutions and published values; Maxwell-matrix properties; order."""

import functools

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0
from scipy.integrate import dblquad
from slow_ones import slow_ones

from models.electrostatics import mesh
from models.electrostatics.boundary_elements import (
    capacitance_matrix,
    conductor_panels,
    potential_matrix,
)
from models.electrostatics.panel_coupling import coupling, symmetric_coupling, thin_product
from models.electrostatics.panel_potential import inverse_distance_integral, joined, mirrored, panels_of
from models.electrostatics.surfaces import graded_both_ends, rectangle
from models.hand.meshes import straight_capsule

UNIT = 4.0 * np.pi * epsilon_0  # capacitance of a sphere per metre of radius, F/m


def capacitance(triangles, ground_plane=False):
    return float(capacitance_matrix([triangles], ground_plane)[0, 0])


# Potential of one triangle


def test_potential_of_a_triangle_against_adaptive_quadrature():
    rng = np.random.default_rng(7)
    triangles = rng.normal(size=(6, 3, 3))
    panels = panels_of(triangles)
    for k, triangle in enumerate(triangles):
        point = rng.normal(size=3)
        first, second = triangle[1] - triangle[0], triangle[2] - triangle[0]

        def integrand(v, u, corner=triangle[0], first=first, second=second, point=point):
            return 1.0 / np.linalg.norm(corner + u * first + v * second - point)

        expected = dblquad(integrand, 0.0, 1.0, 0.0, lambda u: 1.0 - u, epsabs=1e-10)[0] * 2.0 * panels.areas[k]
        computed = inverse_distance_integral(point[:, None], panels, np.array([k]))
        assert_allclose(computed, expected, rtol=1e-8)


def test_potential_at_the_centre_of_an_equilateral_triangle():
    # Side s: sqrt(3) s ln(2 + sqrt 3), by the same integral in polar coordinates about the centre.
    triangle = 2.0 * np.array([[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.5, np.sqrt(0.75), 0.0]]])
    panels = panels_of(triangle)
    computed = inverse_distance_integral(panels.centroids.T, panels, np.array([0]))
    assert_allclose(computed, 2.0 * np.sqrt(3.0) * np.log(2.0 + np.sqrt(3.0)), rtol=1e-14)


def test_potential_is_finite_and_continuous_on_edges_corners_and_in_the_plane():
    triangle = np.array([[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]])
    panels = panels_of(triangle)
    places = np.array([[0.5, 0.0, 0.0], [0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.5, 0.5, 0.0], [0.3, 0.3, 0.0]])
    for place in places:
        at = inverse_distance_integral(place[:, None], panels, np.array([0]))
        beside = inverse_distance_integral((place + [0.0, 0.0, 1e-9])[:, None], panels, np.array([0]))
        assert np.isfinite(at).all()
        assert_allclose(at, beside, rtol=1e-7)


def test_far_pairs_agree_with_the_analytic_integrals():
    # All pairs analytic instead of near ones only: the capacitance of two unlike bodies moves by less than 1e-5.
    parts = [panels_of(mesh.rod(0.45, 0.02, panels=250)), panels_of(mesh.sphere((0.1, 0, 0.2), 0.05, panels=150))]
    results = []
    for ratio in (2.0, 1e9):
        matrix = np.block([[coupling(a, b, ratio) for b in parts] for a in parts])
        owner = np.repeat(np.eye(2), [part.count for part in parts], axis=0)
        results.append(owner.T @ np.linalg.solve(0.5 * (matrix + matrix.T), owner))
    assert_allclose(results[0], results[1], rtol=1e-4, atol=0)


# One conductor: exact and published capacitances at default density


def test_sphere():
    assert_allclose(capacitance(mesh.sphere((0, 0, 0), 0.3)), UNIT * 0.3, rtol=1e-3, atol=0)
    assert_allclose(capacitance(mesh.sphere(radius=1.0, panels=600)), UNIT, rtol=2e-3, atol=0)


def test_disc_and_its_ratio_to_the_sphere():
    # 8 eps0 a, exact; Cavendish measured sphere/disc 1.541, exactly pi/2: Encyclopaedia Britannica, 11th ed.,
    # "Electrostatics".
    disc = capacitance(mesh.disc(1.0, axis=(1, 2, 3)))
    assert_allclose(disc, 8.0 * epsilon_0, rtol=1e-3, atol=0)
    assert_allclose(capacitance(mesh.sphere()) / disc, 1.541, rtol=2.5e-2, atol=0)


def test_cube():
    # C.-O. Hwang, M. Mascagni, J. Appl. Phys. 95 (2004) 3798: 0.6606782 for the unit cube.
    assert_allclose(capacitance(mesh.box((0.2, 0.2, 0.2))), 0.6606782 * UNIT * 0.2, rtol=1e-3, atol=0)


def test_square_plate():
    # 0.3667896 for the unit square: the literature value from memory (random-walk and boundary-element papers).
    nodes = graded_both_ends(22, 2.5)
    assert_allclose(capacitance(rectangle(nodes, nodes, 0.0)), 0.36679 * UNIT, rtol=1e-3, atol=0)


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [(1, 0.963943), *slow_ones((2, 1.191498), (10, 2.507702), (20, 3.812776)), (90, 10.962681)],
)
def test_solid_cylinder(ratio, expected):
    # Length/radius against C / (4 pi eps0 a): computed beside this project by an independent method, to 3e-6.
    assert_allclose(capacitance(mesh.rod(ratio, 2.0)), expected * UNIT, rtol=1e-3, atol=0)


@pytest.mark.parametrize("ratio", [*slow_ones(1.0, 3.0, 8.0), 20.0])
def test_solid_cylinder_against_smythe(ratio):
    # W. R. Smythe, J. Appl. Phys. 33 (1962) 2966 (citation from memory): eps0 a (8 + 4.1 (L/a)^0.76), within 0.3 %.
    fit = epsilon_0 * (8.0 + 4.1 * ratio**0.76)
    assert_allclose(capacitance(mesh.rod(ratio, 2.0)), fit, rtol=4e-3, atol=0)


@pytest.mark.parametrize(("base", "expected"), [*slow_ones((None, 6.0988e-12), (1.0, 6.239e-12)), (0.2, 6.549e-12)])
def test_rod_alone_and_above_the_earth_plane(base, expected):
    # 450 mm x 10 mm rod: computed beside this project, to 1e-3; `base` is its height above the plane.
    rod = mesh.rod(0.45, 0.010, base=(0.3, -0.2, base or 0.0))
    assert_allclose(capacitance(rod, ground_plane=base is not None), expected, rtol=1.5e-3, atol=0)


def test_rod_within_the_coarse_bounds_of_the_handbook_form():
    # C = 2 pi eps0 L / (ln(2 L / D) - k) with 0 < k < 1: form used by K. Skeldon et al., Am. J. Phys. 66 (1998) 945.
    length, diameter = 0.45, 0.01
    low, high = (2.0 * np.pi * epsilon_0 * length / (np.log(2.0 * length / diameter) - k) for k in (0.0, 1.0))
    assert low < capacitance(mesh.rod(length, diameter)) < high


def toroid_exact(ratio):
    """C / (4 pi eps0 R) by toroidal functions (from memory): (2/pi) sqrt(1 - 1/u^2) (Q0/P0 + 2 sum Qn/Pn)."""
    import mpmath

    def quotient(n):
        degree = n - mpmath.mpf(1) / 2
        return mpmath.re(mpmath.legenq(degree, 0, ratio, type=3) / mpmath.legenp(degree, 0, ratio, type=3))

    total = quotient(0) + 2 * sum(quotient(n) for n in range(1, 25))
    return float(2 / mpmath.pi * mpmath.sqrt(1 - 1 / mpmath.mpf(ratio) ** 2) * total)


def test_exact_torus_formula_against_check_values():
    # R/a = 3 and 10: computed beside this project.
    assert_allclose([toroid_exact(3.0), toroid_exact(10.0)], [1.030591456, 0.721689880], rtol=1e-9, atol=0)


@pytest.mark.parametrize("ratio", [1.5, *slow_ones(3.0, 10.0, 50.0)])
def test_torus(ratio):
    ring = mesh.torus(ratio, 1.0, axis=(0, 1, 0))
    assert_allclose(capacitance(ring), toroid_exact(ratio) * UNIT * ratio, rtol=1e-3, atol=0)


def spheroid(radius, half_height):
    """A sphere stretched along z: each triangle of the even sphere then carries nearly equal charge."""
    return mesh.sphere() * (radius, radius, half_height)


@pytest.mark.parametrize("ratio", [0.02, *slow_ones(0.3, 0.9, 2.0), 10.0])
def test_spheroids(ratio):
    # Exact (W. R. Smythe, Static and Dynamic Electricity, ch. 5, from memory): oblate a e / arcsin e,
    # prolate c e / artanh e.
    if ratio < 1.0:
        eccentricity = np.sqrt(1.0 - ratio**2)
        expected = eccentricity / np.arcsin(eccentricity)
    else:
        eccentricity = np.sqrt(1.0 - 1.0 / ratio**2)
        expected = ratio * eccentricity / np.arctanh(eccentricity)
    assert_allclose(capacitance(spheroid(1.0, ratio)), expected * UNIT, rtol=1.5e-3, atol=0)


@pytest.mark.slow
def test_capsule_between_its_inner_and_outer_bodies():
    # A conductor inside another has the smaller capacitance (Dirichlet's principle).
    inner = capacitance(spheroid(0.1, 0.6))
    capsule = capacitance(straight_capsule(np.array([0, 0, -0.5]), np.array([0, 0, 0.5]), 0.1, 3.0))
    outer = capacitance(mesh.rod(1.2, 0.2))
    assert inner < capsule < outer
    nearly_a_sphere = capacitance(straight_capsule(np.zeros(3), np.array([1e-3, 0, 0]), 1.0, 3.0, (4, 1, 7)))
    assert_allclose(nearly_a_sphere, UNIT * (1.0 + 2.5e-4), rtol=5e-4, atol=0)


@pytest.mark.parametrize(
    "make",
    [
        lambda **k: mesh.rod(1.0, 0.001, **k),
        lambda **k: mesh.box((1.0, 0.05, 0.01), **k),
    ],
    ids=["thin rod", "flat bar"],
)
@pytest.mark.slow
def test_slender_bodies_agree_with_finer_meshes_of_themselves(make):
    assert_allclose(capacitance(make()), capacitance(make(panels=2600)), rtol=1e-3, atol=0)


# Two conductors and the plane


def image_series(beta, orders):
    """Sum of sinh(beta) / sinh(n beta) over `orders`, as far as the terms count."""
    kept = orders[orders * beta < 200.0]
    return float((np.sinh(beta) / np.sinh(kept * beta)).sum())


def equal_spheres(separation):
    """C_aa, C_ab / (4 pi eps0 a) of equal spheres, centres `separation` radii apart (Maxwell's images, from memory)."""
    beta, n = np.arccosh(0.5 * separation), np.arange(1, 3000)
    return image_series(beta, 2 * n - 1), -image_series(beta, 2 * n)


def sphere_over_plane(height):
    """C / (4 pi eps0 a) of a sphere, centre `height` radii above an earthed plane (the same images)."""
    return image_series(np.arccosh(height), np.arange(1, 3000))


def test_image_series_against_check_values():
    # Maxwell; Smythe; J. Lekner, Proc. R. Soc. A 2012, doi:10.1098/rspa.2012.0133; 12-digit values computed beside.
    assert_allclose(equal_spheres(2.5), [1.253022738, -0.525373461], rtol=1e-9, atol=0)
    assert_allclose(equal_spheres(4.0), [1.071821452, -0.269238361], rtol=1e-9, atol=0)
    # Sphere above a plane: digits computed beside this project.
    plane = [sphere_over_plane(height) for height in (1.5, 2.0, 5.0)]
    assert_allclose(plane, [1.535370509, 1.341059813, 1.111236084], rtol=1e-9, atol=0)


@pytest.mark.parametrize("separation", [2.2, *slow_ones(2.5, 4.0, 12.0)])
def test_two_spheres(separation):
    matrix = capacitance_matrix([mesh.sphere(), mesh.sphere((0.0, 0.6 * separation, 0.8 * separation), 1.0)]) / UNIT
    own, mutual = equal_spheres(separation)
    assert_allclose([matrix[0, 0], matrix[1, 1]], own, rtol=1e-3, atol=0)
    assert_allclose([matrix[0, 1], matrix[1, 0]], mutual, rtol=1e-3, atol=0)


@pytest.mark.parametrize("height", [1.05, 1.5, 2.0, 5.0])
def test_sphere_above_the_earth_plane(height):
    ball = mesh.sphere((2.0, 0.0, height))
    assert_allclose(capacitance(ball, True), sphere_over_plane(height) * UNIT, rtol=1e-3, atol=0)


@pytest.mark.parametrize("gap", [0.01, 0.05, 0.2, 0.5, 1.0, 3.0])
def test_sphere_whose_panels_crowd_before_the_plane(gap):
    ball = mesh.sphere((0.0, 0.0, 1.0 + gap), panels=400, facing=(0.0, 0.0, 0.0))
    assert_allclose(capacitance(ball, True), sphere_over_plane(1.0 + gap) * UNIT, rtol=3e-4, atol=0)


def test_two_spheres_whose_panels_crowd_towards_each_other():
    first = mesh.sphere(panels=300, facing=(0.0, 0.0, 1.05))
    matrix = capacitance_matrix([first, mesh.sphere((0.0, 0.0, 2.05), panels=300, facing=(0.0, 0.0, 1.0))]) / UNIT
    own, mutual = equal_spheres(2.05)
    assert_allclose([matrix[0, 0], matrix[0, 1]], [own, mutual], rtol=1e-3, atol=0)


@pytest.mark.parametrize(
    ("distance", "added", "tolerance"),
    [
        (0.08, 1.136e-12, 1e-2),
        *slow_ones((0.20, 0.2876e-12, 3e-3), (0.40, 0.0863e-12, 3e-3), (0.60, 0.0401e-12, 3e-3)),
    ],
)
def test_earthed_sphere_beside_the_rod(distance, added, tolerance):
    # Radius 45 mm, at mid-height, `distance` from the rod's axis: computed beside this project.
    rod = mesh.rod(0.45, 0.01)
    both = capacitance_matrix([rod, mesh.sphere((distance, 0.0, 0.225), 0.045)])
    assert_allclose(both[0, 0] - capacitance(rod), added, rtol=tolerance, atol=0)


# Properties of Maxwell's matrix


def crowd():
    return [
        mesh.rod(0.5, 0.02, (0, 0, 0.5), panels=250),
        mesh.sphere((0.2, 0.1, 0.8), 0.06, panels=150),
        mesh.box((0.3, 0.3, 0.1), (0.0, 0.0, 0.35), panels=250),
        mesh.torus(0.2, 0.02, (-0.3, 0.0, 0.6), panels=250),
    ]


@functools.cache
def crowd_matrix(ground_plane=False):
    return capacitance_matrix(crowd(), ground_plane)


@pytest.mark.parametrize("ground_plane", [False, True])
def test_signs_row_sums_and_passivity(ground_plane):
    matrix = crowd_matrix(ground_plane)
    assert matrix.shape == (4, 4)
    assert (np.diag(matrix) > 0.0).all()
    assert (matrix[~np.eye(4, dtype=bool)] < 0.0).all()
    assert (matrix.sum(axis=1) > 0.0).all()
    assert (np.linalg.eigvalsh(matrix) > 0.0).all()


def test_reciprocity_of_the_quadrature_before_it_is_averaged():
    # The field triangle is averaged by a Gauss rule, the source triangle integrated exactly: P_ij and P_ji are found by
    # different sums. Their difference shows the error of the rule; the capacitances from the raw matrix hardly differ.
    panels = [conductor_panels(part) for part in crowd()]
    raw = np.block([[potential_matrix(a, b) for b in panels] for a in panels])
    difference = np.abs(raw - raw.T) / np.sqrt(np.outer(np.diag(raw), np.diag(raw)))
    assert 0.0 < difference.max() < 0.05
    owner = np.repeat(np.eye(4), [part.count for part in panels], axis=0)
    unsymmetric = owner.T @ np.linalg.solve(raw, owner)
    asymmetry = np.abs(unsymmetric / unsymmetric.T - 1.0).max()
    assert 0.0 < asymmetry < 2e-3
    assert_allclose(crowd_matrix(), unsymmetric, rtol=2e-3, atol=0)


@pytest.mark.parametrize("images", [False, True])
def test_symmetric_coupling_is_the_mean_of_both_orders(images):
    panels = joined([conductor_panels(part) for part in crowd()[:2]])
    source = mirrored(panels) if images else panels
    both = coupling(panels, source)
    assert_allclose(symmetric_coupling(panels, source), 0.5 * (both + both.T), rtol=1e-12, atol=0)


@pytest.mark.parametrize("scale", [1e-6, *slow_ones(1e3)])
def test_capacitance_is_proportional_to_size(scale):
    here = crowd_matrix(True)
    there = capacitance_matrix([part * scale for part in crowd()], True)
    assert_allclose(there, here * scale, rtol=1e-9, atol=0)


def test_capacitance_does_not_depend_on_place_and_orientation():
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    moved = [part @ turn.T + (10.0, -20.0, 5.0) for part in crowd()]
    assert_allclose(capacitance_matrix(moved), crowd_matrix(), rtol=1e-9, atol=0)


def test_order_of_the_conductors_only_permutes_the_matrix():
    order = [2, 0, 3, 1]
    permuted = capacitance_matrix([crowd()[k] for k in order])
    assert_allclose(permuted, crowd_matrix()[np.ix_(order, order)], rtol=1e-9, atol=0)


@pytest.mark.slow
def test_conductors_far_apart_do_not_see_each_other():
    # To first order in radius/distance: C_ab = -4 pi eps0 a b / d, C_aa = 4 pi eps0 a (1 + a b / d^2).
    a, b, distance = 0.1, 0.3, 50.0
    matrix = capacitance_matrix([mesh.sphere(radius=a), mesh.sphere((distance, 0, 0), b)])
    assert_allclose(matrix[0, 1], -UNIT * a * b / distance, rtol=1e-3, atol=0)
    alone = capacitance(mesh.sphere(radius=a))
    assert_allclose(matrix[0, 0], alone * (1.0 + a * b / distance**2), rtol=1e-7, atol=0)


def test_a_high_plane_changes_nothing():
    rod = mesh.rod(0.45, 0.01, (0.0, 0.0, 1e4))
    assert_allclose(capacitance(rod, True), capacitance(rod), rtol=1e-4, atol=0)


def test_splitting_a_conductor_keeps_its_charge():
    # Two halves of a box at one potential are the box: the sum of all entries of their matrix.
    whole = mesh.box((1.0, 1.0, 1.0), panels=400)
    upper = whole.mean(axis=1)[:, 2] > 0.0
    halves = capacitance_matrix([whole[upper], whole[~upper]])
    assert_allclose(halves.sum(), capacitance(whole), rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("make", "exact", "least"),
    [
        (lambda n: mesh.sphere(panels=n), UNIT, 2.0),
        *slow_ones(
            (lambda n: mesh.disc(1.0, panels=n), 8.0 * epsilon_0, 1.8),
            (lambda n: mesh.box((1, 1, 1), panels=n), 0.6606782 * UNIT, 2.0),
            (lambda n: mesh.rod(10.0, 2.0, panels=n), 2.507702 * UNIT, 2.0),
            (lambda n: mesh.torus(3.0, 1.0, panels=n), 3.0 * 1.030591456 * UNIT, 2.0),
        ),
    ],
    ids=["sphere", "disc", "cube", "cylinder", "torus"],
)
def test_order_of_convergence(make, exact, least):
    # The error falls as (panel edge)^order; measured orders lie between 2.3 (disc) and 4.3 (torus).
    meshes = [make(panels) for panels in (200, 400, 800, 1600)]
    errors = [abs(capacitance(triangles) / exact - 1.0) for triangles in meshes]
    edges = [len(triangles) ** -0.5 for triangles in meshes]
    order = np.polyfit(np.log(edges), np.log(errors), 1)[0]
    assert least < order < 6.0


# Pieces reused by the hand field


def test_thin_product():
    rng = np.random.default_rng(11)
    matrix, right = rng.normal(size=(700, 300)), rng.normal(size=(300, 3))
    assert_allclose(thin_product(matrix, right), matrix @ right, rtol=1e-12, atol=1e-12)
    assert_allclose(thin_product(matrix[:5], right), matrix[:5] @ right, rtol=1e-12, atol=1e-12)


# Bad input


@pytest.mark.parametrize(
    ("conductors", "ground_plane", "message"),
    [
        ([], False, "empty"),
        ([np.zeros((4, 3))], False, "shape"),
        ([np.zeros((0, 3, 3))], False, "shape"),
        ([np.full((1, 3, 3), np.nan)], False, "finite"),
        ([np.zeros((2, 3, 3))], False, "degenerate"),
        ([[[[0, 0, 1], [1, 0, 1], [2, 0, 1]]]], False, "degenerate"),
        ([mesh.sphere()], True, "ground plane"),
        ([mesh.sphere((0, 0, 1.0), 1.0)], True, "ground plane"),
        ([mesh.rod(1.0, 0.1)], True, "ground plane"),
    ],
)
def test_bad_conductors_are_refused(conductors, ground_plane, message):
    with pytest.raises(ValueError, match=message):
        capacitance_matrix(conductors, ground_plane)


def test_the_refused_conductor_is_named():
    with pytest.raises(ValueError, match="conductor 1"):
        capacitance_matrix([mesh.sphere((0, 0, 3), 1.0, panels=60), mesh.sphere(panels=60)], ground_plane=True)


def test_the_same_conductor_twice_has_no_solution():
    ball = mesh.sphere(panels=60)
    with pytest.raises(ValueError, match="overlap"):
        capacitance_matrix([ball, ball])
