"""Meshes: closed, wound outward, of the true volume, where and as large as asked; bad input refused."""

from collections import Counter

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import gamma

from models.electrostatics import mesh
from models.electrostatics.surfaces import (
    enclosed_volume,
    equal_area_factor,
    even_charge_factor,
    graded,
    grading_for,
    lifted,
    unit_sphere,
)
from models.hand.meshes import straight_capsule

PI = np.pi
# name: (mesh function of `panels`, true volume, relative tolerance of the volume)
CLOSED = {
    "sphere": (lambda **k: mesh.sphere((1.0, 2.0, 3.0), 0.7, **k), 4.0 / 3.0 * PI * 0.7**3, 1e-12),
    "facing": (lambda **k: mesh.sphere((1.0, 2.0, 3.0), 0.7, facing=(1, 2, 4), **k), 4.0 / 3.0 * PI * 0.7**3, 1e-3),
    "rod": (lambda **k: mesh.rod(0.45, 0.01, **k), 0.45 * PI * 0.005**2, 2e-3),
    "coin": (lambda **k: mesh.rod(0.1, 2.0, **k), 0.1 * PI, 1e-12),
    "box": (lambda **k: mesh.box((1.0, 0.5, 0.2), (3.0, 0.0, 0.0), **k), 0.1, 1e-12),
    "torus": (lambda **k: mesh.torus(3.0, 1.0, **k), 2.0 * PI**2 * 3.0, 1e-2),
}


def area_vectors(triangles):
    return 0.5 * np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])


@pytest.mark.parametrize("name", CLOSED)
def test_closed_shapes_have_the_true_volume_and_outward_faces(name):
    make, volume, tolerance = CLOSED[name]
    assert_allclose(enclosed_volume(make()), volume, rtol=tolerance, atol=0)


@pytest.mark.parametrize("name", CLOSED)
def test_every_edge_of_a_closed_shape_is_shared_by_two_opposite_faces(name):
    triangles = CLOSED[name][0](panels=300)
    scale = np.ptp(triangles.reshape(-1, 3), axis=0).max()
    _, index = np.unique(np.round(triangles.reshape(-1, 3) / scale, 9), axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    edges = Counter((int(f[k]), int(f[(k + 1) % 3])) for f in faces for k in range(3))
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)


@pytest.mark.parametrize("panels", [200, 600, 2000])
@pytest.mark.parametrize("name", [*CLOSED, "disc"])
def test_the_panel_target_is_met(name, panels):
    make = CLOSED[name][0] if name in CLOSED else lambda **k: mesh.disc(1.0, **k)
    triangles = make(panels=panels)
    assert triangles.shape[1:] == (3, 3)
    assert triangles.dtype == np.float64
    assert 0.55 * panels <= len(triangles) <= 1.2 * panels


def test_a_disc_has_the_true_area_facing_its_axis():
    total = area_vectors(mesh.disc(0.3, axis=(0, 1, 1))).sum(axis=0)
    assert_allclose(total, PI * 0.09 * np.array([0.0, 1.0, 1.0]) / np.sqrt(2.0), rtol=1e-12, atol=1e-15)


def test_the_calls_in_common_use():
    assert_allclose(mesh.sphere((0, 0, 0), 1.0), mesh.sphere(radius=1.0), rtol=0, atol=0)
    rod = mesh.rod(0.45, 0.01, (0.0, 0.0, 1.0)).reshape(-1, 3)
    assert_allclose([rod[:, 2].min(), rod[:, 2].max()], [1.0, 1.45], rtol=1e-12, atol=0)
    lying = mesh.rod(2.0, 0.1, axis=(1.0, 0.0, 0.0)).reshape(-1, 3)
    assert_allclose([lying[:, 0].min(), lying[:, 0].max()], [0.0, 2.0], rtol=0, atol=1e-12)
    ring = mesh.torus(3.0, 1.0, axis=(1, 0, 0)).reshape(-1, 3)
    assert np.ptp(ring[:, 0]) < 2.1
    assert np.ptp(ring[:, 1]) > 7.9
    block = mesh.box((1, 2, 3), (1, 1, 1)).reshape(-1, 3)
    assert_allclose(block.min(axis=0), [0.5, 0.0, -0.5], rtol=0, atol=1e-12)
    assert_allclose(block.max(axis=0), [1.5, 2.0, 2.5], rtol=0, atol=1e-12)


def test_capsule_and_torus_corners_lie_just_outside_the_true_surface():
    # Capsule: distance from the axis segment; torus: from the ring. The correction moves corners out by second order.
    for panels, bound in ((400, 0.04), (3000, 0.006)):
        fineness = float(np.sqrt(panels / 100.0))
        corners = straight_capsule(np.zeros(3), np.array([0, 0, 2.0]), 0.5, fineness).reshape(-1, 3)
        nearest = np.clip(corners[:, 2], 0.0, 2.0)
        offset = np.hypot(np.hypot(corners[:, 0], corners[:, 1]), corners[:, 2] - nearest) / 0.5 - 1.0
        assert offset.min() > 0.0
        assert offset.max() < bound
        corners = mesh.torus(3.0, 1.0, panels=panels).reshape(-1, 3)
        offset = np.hypot(np.hypot(corners[:, 0], corners[:, 1]) - 3.0, corners[:, 2]) - 1.0
        assert offset.max() < 2.5 * bound


def test_the_polygon_of_a_rod_has_the_capacitance_of_its_circle():
    corners = mesh.rod(0.45, 0.01, panels=400).reshape(-1, 3)
    rim = np.unique(np.round(corners[corners[:, 2] == 0.0] / 0.005, 9), axis=0)
    outermost = np.hypot(rim[:, 0], rim[:, 1])
    sides = int((outermost > outermost.max() - 1e-6).sum())
    assert_allclose(outermost.max(), even_charge_factor(sides), rtol=1e-8)


@pytest.mark.parametrize("sides", [4, 6, 8, 14])
def test_even_charge_on_a_polygon_against_quadrature_and_the_true_capacitance(sides):
    # Mean of ln|z - w| over the polygon's sides, by Gauss-Legendre: on one side with graded panels of order 12.
    nodes, weights = np.polynomial.legendre.leggauss(12)
    ends = np.concatenate([[0.0], 0.5 ** np.arange(12.0, 0.0, -1.0), 1.0 - 0.5 ** np.arange(2.0, 13.0), [1.0]])
    spans = np.diff(ends)[:, None]
    share, weight = (ends[:-1, None] + 0.5 * spans * (nodes + 1.0)).ravel(), (0.5 * spans * weights).ravel()
    corners = np.exp(2j * PI * np.arange(sides + 1) / sides)
    side = corners[0] + (corners[1] - corners[0]) * share
    own = np.log(abs(corners[1] - corners[0])) - 1.5  # a side and itself, exactly
    others = sum(
        weight @ np.log(abs(side[:, None] - (a + (b - a) * share))) @ weight
        for a, b in zip(corners[1:-1], corners[2:], strict=True)
    )
    assert_allclose(even_charge_factor(sides), np.exp(-(own + others) / sides), rtol=1e-8)
    # Logarithmic capacity of a regular polygon of side 1 (G. Polya, G. Szego, Isoperimetric Inequalities in
    # Mathematical Physics, 1951, from memory): no even charge reaches it (Thomson), and a polygon evenly charged
    # still acts as a wider circle than that of its area.
    exact = gamma(1.0 / sides) / (np.sqrt(PI) * 2.0 ** (1.0 + 2.0 / sides) * gamma(0.5 + 1.0 / sides))
    largest = exact * abs(corners[1] - corners[0])
    assert 1.0 / equal_area_factor(sides) < 1.0 / even_charge_factor(sides) < largest
    assert largest * even_charge_factor(sides) < 1.02


def test_the_polygon_factor_tends_to_that_of_the_circle():
    factors = np.array([even_charge_factor(n) for n in (8, 16, 32, 64)]) - 1.0
    assert (factors > 0.0).all()
    assert_allclose(np.log2(factors[:-1] / factors[1:]), 2.0, rtol=0.02)


def test_panels_of_a_facing_sphere_crowd_before_the_place_named():
    triangles = mesh.sphere((1.0, 2.0, 3.0), 0.7, panels=400, facing=(1.0, 2.8, 3.0))
    areas = np.linalg.norm(area_vectors(triangles), axis=1)
    gaps = np.linalg.norm(triangles.mean(axis=1) - (1.0, 2.8, 3.0), axis=1)
    near, far = areas[gaps < 0.15].mean(), areas[gaps > 1.2].mean()
    assert near < 0.2 * far


def test_lifting_takes_out_the_missing_volume_of_a_sphere_to_second_order():
    missing = []
    for bands in (8, 16, 32):
        surface = unit_sphere(bands)
        meshes = (surface[0][surface[1]], lifted(surface, surface[0]))
        missing.append([abs(enclosed_volume(triangles) / (4.0 * PI / 3.0) - 1.0) for triangles in meshes])
    plain, corrected = np.log2(missing).T
    assert_allclose(-np.diff(plain), 2.0, rtol=0.1)
    assert_allclose(-np.diff(corrected), 4.0, rtol=0.1)


def test_grading_reaches_the_finest_step():
    grading = grading_for(1.0, 10.0, 0.004)
    assert_allclose(np.diff(graded(10, grading))[-1], 0.004, rtol=1e-12)
    assert grading_for(1.0, 10.0, 0.5) == 1.0


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: mesh.sphere(radius=0.0), "radius"),
        (lambda: mesh.sphere(radius=float("nan")), "radius"),
        (lambda: mesh.sphere(radius=True), "radius"),
        (lambda: mesh.sphere((0.0, 0.0), 1.0), "center"),
        (lambda: mesh.sphere(panels=600.5), "panels"),
        (lambda: mesh.sphere(panels=True), "panels"),
        (lambda: mesh.sphere(panels=4), "panels"),
        (lambda: mesh.sphere(facing=(0.0, 0.0, 1.0)), "facing"),
        (lambda: mesh.sphere(facing=(0.0, float("nan"), 2.0)), "facing"),
        (lambda: mesh.sphere(facing=(0.0, 0.0, 2.0), panels=30), "panels"),
        (lambda: mesh.rod(-1.0, 0.01), "length"),
        (lambda: mesh.rod(1.0, float("inf")), "diameter"),
        (lambda: mesh.rod(1.0, 0.01, panels=3), "panels"),
        (lambda: mesh.rod(1.0, 0.01, grading=0.5), "grading"),
        (lambda: mesh.rod(1.0, 0.01, axis=(0, 0, 0)), "axis"),
        (lambda: mesh.torus(1.0, 1.0), "tube_radius"),
        (lambda: mesh.torus(1.0, -0.1), "tube_radius"),
        (lambda: mesh.box((1.0, 1.0)), "size"),
        (lambda: mesh.box((1.0, 1.0, 0.0)), "size"),
        (lambda: mesh.disc(0.0), "radius"),
    ],
)
def test_bad_sizes_are_refused_by_name(call, named):
    with pytest.raises(ValueError, match=named):
        call()
