"""The scene of conductors: signs, limits, reciprocity, row sums, scaling of its matrices; common, room, second arm."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.mesh import box
from models.hand.earthing import Earthing
from models.hand.field_solution import ring_alone, still_field, without_player
from models.hand.hand_field import hand_field
from models.hand.meshes import antenna_mesh, wall_mesh
from models.hand.scene import (
    BOARD_HEIGHT,
    Bystander,
    Cabinet,
    LoopAntenna,
    PlayerBody,
    RodAntenna,
    Room,
    Scene,
    Table,
    Wall,
    board,
)

FEW, HEIGHTS = np.array([0.05, 0.2, 0.5]), np.array([0.05, 0.4])
COARSE = 0.8
FULL = Scene(cabinet=Cabinet(), ring=LoopAntenna(), room=Room(Bystander(-0.3, 1.5), Wall(0.8), Table(0.7)))


def solve(scene, distances=FEW, heights=HEIGHTS):
    return hand_field(scene, distances, ["open"], COARSE, heights, range(len(heights)))


def seen(solved, **earthing):
    return solved.pitch("open", solved.ties(Earthing(**earthing))).curve


@pytest.fixture(scope="module")
def full():
    """Every conductor there can be."""
    return solve(FULL)


@pytest.fixture(scope="module")
def boxed():
    """Rod, cabinet, player."""
    return solve(Scene(cabinet=Cabinet()))


@pytest.fixture(scope="module")
def boarded():
    return solve(Scene(cabinet=board()))


def test_every_matrix_is_maxwells(full):
    """Symmetric; diagonal positive, the rest not; rows sum to what goes to earth, which is not negative."""
    assert full.names == ("antenna", "common", "ring", "player", "bystander", "table")
    for matrices in (full.places["open"].reshape(-1, 6, 6), full.ring_places):
        assert_allclose(matrices, matrices.transpose(0, 2, 1), rtol=1e-9, atol=0)
        off = ~np.eye(6, dtype=bool)
        assert (matrices[:, off] < 0.0).all()
        assert (matrices[:, ~off] > 0.0).all()
        assert (matrices.sum(axis=2) > 0.0).all()
        assert (np.linalg.eigvalsh(matrices) > 0.0).all()


def test_without_the_player_its_row_is_nothing(full):
    assert (full.without_player[3] == 0.0).all()
    assert (np.diag(full.without_player)[[0, 1, 2, 4, 5]] < np.diag(full.places["open"][0, 0])[[0, 1, 2, 4, 5]]).all()


def test_as_a_hand_comes_near_the_transfer_capacitance_falls_and_the_own_one_rises(boxed):
    """M. Scher, IJEEE 55 (2018) 367 (abstract): between two electrodes an approaching earthed hand lowers the reading
    of an earthed meter. What falls is the transfer capacitance; the antenna against a bonded common rises.
    """
    matrices = boxed.places["open"][:, 0]  # nearest hand first
    antenna, common = boxed.names.index("antenna"), boxed.names.index("common")
    transfer = -matrices[:, antenna, common]
    assert (np.diff(transfer) > 0.0).all()
    assert transfer[-1] < -boxed.without_player[antenna, common]
    assert (np.diff(matrices[:, antenna, antenna]) < 0.0).all()


def test_the_antenna_sees_less_the_looser_the_common_hangs(boxed):
    added = []
    for common in (np.inf, 1e-3, 1e-9, 100e-12, 20e-12, 0.0):
        curve = seen(boxed, common_to_earth=common)
        added.append(curve.capacitances - curve.empty_capacitance)
    assert_allclose(added[1], added[0], rtol=1e-6, atol=0)  # a large capacitor is a wire
    assert (np.diff(added, axis=0)[1:] < 0.0).all()
    assert (added[-1] > 0.0).all()  # a battery: what is left goes by the player's and the common's own capacitance


def test_a_bonded_common_is_the_field_with_the_cabinet_earthed(boxed):
    """By a dense solution in which the cabinet is a conductor at no potential: what the antenna has there is C11."""
    ties = boxed.ties(Earthing(body_capacitance=np.inf))
    assert_allclose(boxed.pitch("open", ties).curve.capacitances, boxed.places["open"][:, 0, 0, 0], rtol=1e-12, atol=0)


def test_a_ring_far_away_changes_nothing():
    still = still_field(Scene(ring=LoopAntenna(offset=60.0)), COARSE)
    found = without_player(still, ring_alone(still, still.scene.ring))
    assert still.names[1] == "ring"
    assert_allclose(found[0, 0], without_player(still)[0, 0], rtol=1e-6, atol=0)
    assert abs(found[0, 1]) < 1e-6 * found[0, 0]


def test_the_player_far_from_earth_and_common_bonded_is_the_bonded_limit(boxed):
    """A body of huge capacitance to earth is earth itself: the limit of a player bonded to it."""
    huge = seen(boxed, body_capacitance=1.0)
    wired = seen(boxed, body_capacitance=np.inf)
    assert_allclose(huge.capacitances, wired.capacitances, rtol=1e-9, atol=0)


@pytest.mark.slow
def test_a_scene_k_times_as_large_has_k_times_the_capacitances(boarded):
    """Of rod and board, without the player, whose size is given; the ends of the rod's mesh follow its own sizes."""
    room = Room(earth_plane=False)
    small = solve(Scene(RodAntenna(0.3, 0.008), cabinet=board(0.16, 0.10, 0.02), room=room)).without_player
    tall = Cabinet(0.32, 0.20, 2.0 * BOARD_HEIGHT, 0.04)
    large = solve(Scene(RodAntenna(0.6, 0.016), PlayerBody(hand_height=1.3), tall, room=room)).without_player
    keep = [0, 1]
    assert_allclose(large[np.ix_(keep, keep)], 2.0 * small[np.ix_(keep, keep)], rtol=5e-3, atol=0)


@pytest.mark.slow
def test_the_board_has_the_capacitance_of_its_block(boarded):
    """Far above the floor and the rod it would have that of the block alone; near both it has more."""
    alone = capacitance_matrix([box((0.10, 0.16, BOARD_HEIGHT))])[0, 0]
    found = boarded.without_player[1, 1]
    assert alone < found < 1.8 * alone
    assert_allclose(seen(boarded).empty_capacitance, boarded.without_player[0, 0], rtol=1e-12, atol=0)


def test_without_the_floor_everything_has_less(boxed):
    free = solve(Scene(cabinet=Cabinet(), room=Room(earth_plane=False)))
    assert (np.diag(free.places["open"][1, 0]) < np.diag(boxed.places["open"][1, 0])).all()
    assert free.body_share < boxed.body_share


def test_a_wall_acts_as_the_image_of_the_rod_in_it():
    """Method of images: before an endless earthed plane the rod has C11 - C12 of itself and its mirror image.

    The wall of 4 m by 2.5 m, 0.5 m behind the middle of the rod, far from any floor, has 1.5 % less than that.
    """
    rod = antenna_mesh(Scene(RodAntenna(base_height=4.0)), COARSE)
    alone = capacitance_matrix([rod])[0, 0]
    image = (rod * (-1.0, 1.0, 1.0) - (1.0, 0.0, 0.0))[:, ::-1]
    mutual = capacitance_matrix([rod, image])
    wall = wall_mesh(Wall(0.5, clearance=4.225 - 1.25), COARSE)
    found = capacitance_matrix([rod, wall])[0, 0]
    assert_allclose(found - alone, mutual[0, 0] - mutual[0, 1] - alone, rtol=0.03, atol=0)


@pytest.mark.slow
def test_a_wall_takes_from_the_hand_and_a_bystander_and_an_arm_add_little(boxed):
    hand = seen(boxed)
    plain = hand.capacitances - hand.empty_capacitance
    walled = seen(solve(Scene(cabinet=Cabinet(), room=Room(wall=Wall(0.5)))))
    assert walled.empty_capacitance > hand.empty_capacitance
    assert (walled.capacitances - walled.empty_capacitance < plain).all()
    other = seen(solve(Scene(cabinet=Cabinet(), room=Room(bystander=Bystander()))))
    assert 0.0 < other.empty_capacitance - hand.empty_capacitance < 0.02e-12
    arm = seen(solve(Scene(cabinet=Cabinet(), player=PlayerBody(hanging_arm=True))))
    assert_allclose(arm.empty_capacitance, hand.empty_capacitance, rtol=1e-12, atol=0)
    assert_allclose(arm.capacitances, hand.capacitances, rtol=2e-3, atol=0)
    assert not np.allclose(arm.capacitances, hand.capacitances, rtol=1e-6, atol=0)


def test_a_lean_brings_the_body_nearer_and_leaves_the_hand(boxed):
    leaning = seen(solve(Scene(cabinet=Cabinet(), player=PlayerBody(lean=0.05))))
    assert (leaning.capacitances > seen(boxed).capacitances).all()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Bystander(np.nan), "x must be a finite"),
        (lambda: Wall(0.0), "distance must be > 0"),
        (lambda: Table(top=-1.0), "top must be > 0"),
        (lambda: Scene(cabinet=Cabinet(), room=Room(table=Table(top=0.93))), "top must be < 0.86 m"),
    ],
)
def test_bad_rooms_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()


def test_a_field_without_a_ring_has_no_curve_of_it(boxed):
    with pytest.raises(ValueError, match="no ring"):
        boxed.ring("open", boxed.ties(Earthing()))
