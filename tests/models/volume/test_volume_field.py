"""The ring antenna's capacitance: exact tori and rings, limits without hand and near it, refinement, bad scenes."""

from __future__ import annotations

from dataclasses import replace

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.mesh import torus
from models.electrostatics.surfaces import enclosed_volume
from models.hand.meshes import ARM_RADIUS, BODY_SIDE, HAND_HALF_SIZES, SHOULDER_SIDE, arm, body, cabinet_mesh
from models.hand.scene import Cabinet, PlayerBody, RodAntenna, Scene
from models.volume.field import loop_curve, loop_matrices, loop_mesh, other_shoulder, other_wrist, palm, still_loop
from models.volume.scene import VOLUME_DISTANCES, LoopAntenna, VolumeScene

FEW = np.array([0.01, 0.03, 0.10, 0.30, 0.60])


@pytest.fixture(scope="module")
def plain():
    """The default scene, the whole table."""
    return loop_curve(VolumeScene())


def exact_torus(ring_radius: float, tube_radius: float) -> float:
    """C, F, in free space: toroidal functions, C = 8 eps0 b sum e_n Q_{n-1/2}(x) / P_{n-1/2}(x), x = R/a,
    b^2 = R^2 - a^2, e_0 = 1, else 2 (from memory; e.g. N. N. Lebedev, Special Functions, ch. 8)."""
    x = mpmath.mpf(ring_radius) / mpmath.mpf(tube_radius)
    total = mpmath.mpf(0)
    for n in range(12):
        first, second = mpmath.legenp(n - 0.5, 0, x, type=3), mpmath.legenq(n - 0.5, 0, x, type=3)
        total += (1.0 if n == 0 else 2.0) * mpmath.re(second) / mpmath.re(first)
    return float(8.0 * epsilon_0 * mpmath.sqrt(ring_radius**2 - tube_radius**2) * total)


@pytest.mark.parametrize(("ratio", "units"), [(3.0, 1.030591456), (10.0, 0.721689880)])
def test_the_exact_formula_gives_the_known_values(ratio, units):
    """C / (4 pi eps0 R) computed independently beforehand to nine digits."""
    assert_allclose(exact_torus(ratio, 1.0), units * 4.0 * np.pi * epsilon_0 * ratio, rtol=1e-8, atol=0)


@pytest.mark.parametrize("ratio", [5.0, 27.5, 100.0])
def test_ring_alone_far_from_everything_is_the_exact_torus(ratio):
    high = VolumeScene(loop=LoopAntenna(diameter=0.22, tube_diameter=0.22 / ratio, height=1e4))
    found = capacitance_matrix([loop_mesh(high)], ground_plane=True)[0, 0]
    assert_allclose(found, exact_torus(0.11, 0.11 / ratio), rtol=4e-3, atol=0)


def test_thin_ring():
    """C = 4 pi^2 eps0 R / ln(8 R / a) for a << R; J. C. Maxwell and many handbooks (from memory)."""
    thin = 4.0 * np.pi**2 * epsilon_0 * 0.11 / np.log(8.0 * 1100.0)
    assert_allclose(exact_torus(0.11, 1e-4), thin, rtol=1e-3, atol=0)


def test_without_player_it_is_ring_and_plane(plain):
    fine = capacitance_matrix([torus(0.11, 0.004, (0.0, 0.0, 1.0), panels=3000)], ground_plane=True)[0, 0]
    assert_allclose(plain.empty_capacitance, fine, rtol=3e-3, atol=0)
    assert plain.empty_capacitance > exact_torus(0.11, 0.004)  # the plane adds to it


def test_the_hand_adds_less_the_higher_it_is(plain):
    added = plain.capacitances - plain.empty_capacitance
    assert (np.diff(added) < 0.0).all()
    assert added[0] > 20.0 * added[-1] > 0.0
    assert plain.distances is not VOLUME_DISTANCES
    assert_allclose(plain.distances, VOLUME_DISTANCES)


def test_bonding_the_player_adds_capacitance():
    capacitances = [
        loop_curve(VolumeScene(Scene(player=PlayerBody(body_capacitance=bond))), FEW).capacitances
        for bond in (0.0, 100e-12, None)
    ]
    assert (capacitances[0] < capacitances[1]).all()
    assert (capacitances[1] < capacitances[2]).all()


def test_an_earthed_cabinet_beside_it_adds_to_the_ring_and_shields_it_from_the_hand(plain):
    boxed = loop_curve(VolumeScene(Scene(cabinet=Cabinet())), FEW)
    assert boxed.empty_capacitance > plain.empty_capacitance
    assert (boxed.capacitances - boxed.empty_capacitance < plain.capacitance(FEW) - plain.empty_capacitance).all()


def test_a_larger_ring_feels_the_hand_from_farther(plain):
    large = loop_curve(VolumeScene(loop=LoopAntenna(diameter=0.30)), FEW)
    assert large.empty_capacitance > plain.empty_capacitance
    assert large.capacitance(0.3) - large.empty_capacitance > plain.capacitance(0.3) - plain.empty_capacitance


def test_between_the_points_it_is_what_the_field_gives(plain):
    """The table is fine enough: solved anew half way between its heights."""
    between = np.sqrt(VOLUME_DISTANCES[1:] * VOLUME_DISTANCES[:-1])[[0, 5, 12, 20, 27]]
    assert_allclose(plain.capacitance(between), loop_curve(VolumeScene(), between).capacitances, rtol=2e-4, atol=0)


@pytest.mark.parametrize("box", [None, Cabinet()], ids=["bare", "cabinet"])
def test_it_is_the_direct_solution_of_all_meshes_together(box):
    """Nothing is lost by keeping what stands still: one dense solution of every part, low enough to feel its images.

    (They differ by some 4e-4: only the direct one averages the two quadratures between still and moving panels.)
    """
    pitch = Scene(antenna=RodAntenna(base_height=0.45), cabinet=box, player=PlayerBody(hand_height=0.6))
    scene = VolumeScene(pitch, LoopAntenna(height=0.4))
    heights, fineness = np.array([0.02, 0.2]), 0.7
    found = loop_matrices(still_loop(scene, fineness), scene, heights)
    for height, matrix in zip(heights, found, strict=True):
        flat = palm(fineness) + (0.5 * scene.loop.diameter, -scene.loop.offset, scene.loop.top + height)
        sleeve = arm(other_shoulder(scene), other_wrist(scene, height), fineness)
        parts = [loop_mesh(scene, fineness), np.concatenate([*body(scene.scene, fineness), flat, sleeve])]
        if box is not None:
            parts.append(cabinet_mesh(scene.scene.antenna, box, fineness))
        assert_allclose(matrix, capacitance_matrix(parts, ground_plane=True)[:2, :2], rtol=5e-4, atol=0)


@pytest.mark.slow
@pytest.mark.parametrize("box", [None, Cabinet()], ids=["bare", "cabinet"])
def test_refinement_changes_little(box):
    """Twice the panels: the ring within 0.3 % and the hand's part within 1 % (finer still: the slow test)."""
    scene = VolumeScene(Scene(cabinet=box))
    _compare(loop_curve(scene, FEW), loop_curve(scene, FEW, fineness=1.4))


@pytest.mark.slow
@pytest.mark.parametrize("box", [None, Cabinet()], ids=["bare", "cabinet"])
def test_four_times_the_panels_change_little(box):
    scene = VolumeScene(Scene(cabinet=box))
    _compare(loop_curve(scene, FEW), loop_curve(scene, FEW, fineness=2.0))


def _compare(coarse, fine):
    assert_allclose(coarse.capacitances, fine.capacitances, rtol=3e-3, atol=0)
    assert_allclose(
        coarse.capacitances - coarse.empty_capacitance, fine.capacitances - fine.empty_capacitance, rtol=1e-2, atol=0
    )


def test_the_palm_lies_flat_with_its_underside_at_the_origin():
    triangles = palm(1.5)
    half = HAND_HALF_SIZES["open"]
    size = np.ptp(triangles.reshape(-1, 3), axis=0)
    assert_allclose(size, [2.0 * half[0], 2.0 * half[2], 2.0 * half[1]], rtol=0.04, atol=0)
    assert_allclose(triangles.reshape(-1, 3)[:, 2].min(), 0.0, rtol=0, atol=6e-4)
    assert enclosed_volume(triangles) > 0.0  # still wound outward


def test_the_arm_comes_from_the_other_shoulder_and_stays_above_the_hand():
    scene = VolumeScene()
    assert other_shoulder(scene)[1] - BODY_SIDE == pytest.approx(BODY_SIDE - SHOULDER_SIDE)
    assert other_shoulder(scene)[1] < BODY_SIDE
    assert other_wrist(scene, 0.05)[2] - ARM_RADIUS == pytest.approx(scene.loop.top + 0.05)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"diameter": 0.0}, "diameter must be > 0"),
        ({"tube_diameter": -0.01}, "tube_diameter must be > 0"),
        ({"tube_diameter": 0.2}, "tube_diameter must be < half"),
        ({"height": 0.003}, "clear of the floor"),
        ({"offset": float("nan")}, "offset must be a finite"),
        ({"height": True}, "height must be a finite"),
    ],
)
def test_a_bad_ring_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        replace(LoopAntenna(), **changes)


@pytest.mark.parametrize(
    ("scene", "message"),
    [
        (VolumeScene(Scene(cabinet=Cabinet()), LoopAntenna(offset=0.25, height=0.95)), "clear the cabinet"),
        (
            VolumeScene(Scene(player=PlayerBody(stand_distance=0.2)), LoopAntenna(diameter=0.3)),
            "clear the player's body",
        ),
        (VolumeScene(loop=LoopAntenna(offset=1.6)), "reach|let the player"),
        (VolumeScene(loop=LoopAntenna(height=0.10)), "let the player"),
    ],
)
def test_a_scene_that_cannot_be_is_refused(scene, message):
    with pytest.raises(ValueError, match=message):
        loop_curve(scene, FEW)


@pytest.mark.parametrize("table", [[0.1], [0.2, 0.1], [0.0, 0.1], [0.1, np.nan], [[0.1, 0.2]]])
def test_a_bad_table_is_refused(table):
    with pytest.raises(ValueError, match="distances must"):
        loop_curve(VolumeScene(), table)
