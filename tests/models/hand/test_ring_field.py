"""The ring antenna's capacitance: exact tori and rings, limits without hand and near it, refinement, bad scenes."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import epsilon_0
from slow_ones import slow_ones

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.mesh import torus
from models.electrostatics.surfaces import enclosed_volume
from models.hand.antenna_meshes import volume_antenna_mesh
from models.hand.earthing import Earthing
from models.hand.hand_field import RING_HEIGHTS, hand_field
from models.hand.meshes import (
    HAND_HALF_SIZES,
    SHOULDER_SIDE,
    TYPICAL,
    antenna_mesh,
    bystander,
    cabinet_mesh,
    other_shoulder,
    other_wrist,
    palm,
    player_meshes,
)
from models.hand.scene import Bystander, Cabinet, LoopAntenna, PlayerBody, RodAntenna, Room, Scene
from tests.models.electrostatics.test_boundary_elements import toroid_exact

FEW = np.array([0.012, 0.03, 0.10, 0.30, 0.60])
HEIGHTS = {"few": FEW, "table": RING_HEIGHTS[1::2]}  # of the table every second one, its last among them
RING = LoopAntenna()
BOXED = Scene(cabinet=Cabinet(), ring=RING)


def ring_curve(scene, heights=FEW, fineness=1.0, earthing=None):
    """The ring's curve with the pitch hand far away; few places of that hand."""
    solved = hand_field(scene, [0.3, 0.8], ["open"], fineness, heights, [0, len(heights) - 1])
    return solved.ring("open", solved.ties(earthing or Earthing())).curve


@functools.cache
def plain_curve(heights):
    """The default scene."""
    return ring_curve(Scene(ring=RING), HEIGHTS[heights])


@pytest.fixture(scope="module")
def plain():
    """The default scene, the whole table."""
    return plain_curve("table")


@pytest.fixture(scope="module")
def boxed():
    """With a cabinet, few heights."""
    return ring_curve(BOXED)


def exact_torus(ring_radius: float, tube_radius: float) -> float:
    """C, F, of a torus in free space."""
    return 4.0 * np.pi * epsilon_0 * ring_radius * toroid_exact(ring_radius / tube_radius)


@pytest.mark.parametrize("ratio", [5.0, 27.5, 100.0])
def test_ring_alone_far_from_everything_is_the_exact_torus(ratio):
    high = LoopAntenna(diameter=0.22, tube_diameter=0.22 / ratio, height=1e4)
    found = capacitance_matrix([volume_antenna_mesh(high)], ground_plane=True)[0, 0]
    assert_allclose(found, exact_torus(0.11, 0.11 / ratio), rtol=4e-3, atol=0)


def test_thin_ring():
    """C = 4 pi^2 eps0 R / ln(8 R / a) for a << R; J. C. Maxwell and many handbooks (from memory)."""
    thin = 4.0 * np.pi**2 * epsilon_0 * 0.11 / np.log(8.0 * 1100.0)
    assert_allclose(exact_torus(0.11, 1e-4), thin, rtol=1e-3, atol=0)


@pytest.mark.slow
def test_without_player_it_is_ring_rod_and_plane(plain):
    meshes = [torus(0.11, 0.004, (0.0, -0.45, 1.0), panels=1000), antenna_mesh(Scene())]
    fine = capacitance_matrix(meshes, ground_plane=True)[0, 0]
    assert_allclose(plain.empty_capacitance, fine, rtol=3e-3, atol=0)
    assert plain.empty_capacitance > exact_torus(0.11, 0.004)  # the plane adds to it


@pytest.mark.parametrize("heights", ["few", *slow_ones("table")])
def test_the_hand_adds_less_the_higher_it_is(heights):
    curve = plain_curve(heights)
    added = curve.capacitances - curve.empty_capacitance
    assert (np.diff(added) < 0.0).all()
    assert added[0] > 20.0 * added[-1] > 0.0
    assert_allclose(curve.distances, HEIGHTS[heights])


@pytest.mark.slow
def test_an_earthed_cabinet_beside_it_adds_to_the_ring_and_shields_it_from_the_hand(plain, boxed):
    assert boxed.empty_capacitance > plain.empty_capacitance
    assert (boxed.capacitances - boxed.empty_capacitance < plain.capacitance(FEW) - plain.empty_capacitance).all()


@pytest.mark.slow
def test_a_larger_ring_feels_the_hand_from_farther(plain):
    large = ring_curve(Scene(ring=LoopAntenna(diameter=0.30)), np.array([0.1, 0.3, 0.6]))
    assert large.empty_capacitance > plain.empty_capacitance
    assert large.capacitance(0.3) - large.empty_capacitance > plain.capacitance(0.3) - plain.empty_capacitance


@pytest.mark.slow
def test_between_the_points_it_is_what_the_field_gives():
    """The table is fine enough: solved anew half way between its heights. The last height is the same in both."""
    whole = ring_curve(Scene(ring=RING), RING_HEIGHTS)
    between = np.sqrt(RING_HEIGHTS[1:] * RING_HEIGHTS[:-1])[[0, 5, 12, 20, -2]]
    fresh = ring_curve(Scene(ring=RING), np.append(between, 0.6))
    assert_allclose(whole.capacitance(between), fresh.capacitances[:-1], rtol=2e-4, atol=0)


@pytest.mark.slow
@pytest.mark.parametrize("box", [None, Cabinet()], ids=["bare", "cabinet"])
def test_all_places_of_both_hands_are_the_direct_solution_of_all_meshes_together(box):
    """Nothing is lost by eliminating blocks, by few directions and by groups of panels: one dense solution of every
    part, low enough to feel its images.

    (They differ most, by 4e-4 of the diagonal, where a hand is nearest: only the direct one averages the two
    quadratures between still and moving panels. What either antenna feels of the other is small beside both.)
    """
    fineness, distances, heights = 0.7, np.array([0.05, 0.6]), np.array([0.03, 0.2, 0.4])
    scene = Scene(
        RodAntenna(base_height=0.45),
        PlayerBody(hand_height=0.6),
        box,
        LoopAntenna(height=0.4),
        Room(Bystander(0.2, 1.4)),
    )
    ring = scene.ring
    found = hand_field(scene, distances, ["fist"], fineness, heights, [0, 2])
    assert found.names == (("antenna", "ring", "player", "bystander") if box is None else found.names)
    for (row, distance), (column, height) in (((0, 0.05), (0, 0.03)), ((1, 0.6), (1, 0.4))):
        player = player_meshes(scene, "fist", distance, height, fineness)
        parts = [antenna_mesh(scene, fineness), volume_antenna_mesh(ring, fineness), np.concatenate(player)]
        parts.append(np.concatenate(bystander(scene.room.bystander, fineness)))
        if box is not None:
            parts.insert(1, cabinet_mesh(scene.antenna, box, fineness))
        scratch = capacitance_matrix(parts, ground_plane=True)
        matrix = found.places["fist"][row, column]
        assert_allclose(np.diag(matrix), np.diag(scratch), rtol=5e-4, atol=0)
        scale = np.sqrt(np.outer(np.diag(scratch), np.diag(scratch)))
        assert (np.abs(matrix - scratch) < 3e-4 * scale).all()
        assert_allclose(matrix, scratch, rtol=0.02, atol=0)


@pytest.mark.slow
def test_two_and_a_half_times_the_panels_change_little():
    """The ring within 0.1 % and the hand's part within 0.3 %, beside a cabinet."""
    scene = Scene(cabinet=Cabinet(), ring=RING)
    _compare(ring_curve(scene), ring_curve(scene, fineness=1.6))


def _compare(coarse, fine):
    assert_allclose(coarse.capacitances, fine.capacitances, rtol=1e-3, atol=0)
    assert_allclose(
        coarse.capacitances - coarse.empty_capacitance, fine.capacitances - fine.empty_capacitance, rtol=3e-3, atol=0
    )


def test_the_palm_lies_flat_with_its_underside_at_the_origin():
    triangles = palm(fineness=1.5)
    half = HAND_HALF_SIZES["open"]
    size = np.ptp(triangles.reshape(-1, 3), axis=0)
    assert_allclose(size, [2.0 * half[0], 2.0 * half[2], 2.0 * half[1]], rtol=0.04, atol=0)
    assert_allclose(triangles.reshape(-1, 3)[:, 2].min(), 0.0, rtol=0, atol=6e-4)
    assert enclosed_volume(triangles) > 0.0  # still wound outward


def test_the_arm_comes_from_the_other_shoulder_and_stays_above_the_hand():
    scene = Scene(ring=RING)
    assert other_shoulder(scene)[1] == pytest.approx(SHOULDER_SIDE - 2.0 * TYPICAL.shoulder_out)
    assert other_wrist(scene, RING, 0.05)[2] - TYPICAL.arm_radii[2] == pytest.approx(RING.top + 0.05)


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
        (
            Scene(cabinet=Cabinet(), ring=LoopAntenna(offset=0.25, height=0.95)),
            "offset must be larger: the volume antenna meets the cabinet",
        ),
        (Scene(player=PlayerBody(stand_distance=0.2), ring=LoopAntenna(diameter=0.3)), "stand_distance must be larger"),
        (Scene(ring=LoopAntenna(offset=1.6)), "reach|let the player"),
        (Scene(ring=LoopAntenna(height=0.10)), "let the player"),
    ],
)
def test_a_scene_that_cannot_be_is_refused(scene, message):
    with pytest.raises(ValueError, match=message):
        ring_curve(scene)


@pytest.mark.parametrize("table", [[0.2, 0.1], [0.0, 0.1], [0.1, np.nan], [[0.1, 0.2]]])
def test_a_bad_table_is_refused(table):
    with pytest.raises(ValueError, match="distances must"):
        hand_field(Scene(ring=RING), ring_heights=table)


def test_places_are_among_the_heights():
    with pytest.raises(ValueError, match="places must be among the 1 ring_heights"):
        hand_field(Scene(ring=RING), ring_heights=[0.1])
    one = hand_field(Scene(ring=RING), [0.1, 0.4], ["open"], 0.8, [0.2], [0])
    assert one.places["open"].shape == (2, 1, 3, 3)
    assert one.ring_places.shape == (1, 3, 3)
