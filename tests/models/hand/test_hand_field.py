"""The hand field: against finer meshes and solutions from scratch, its physics, its geometry, bad scenes."""

import functools

import numpy as np
import pytest
from numpy.testing import assert_allclose
from slow_ones import slow_ones

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.surfaces import enclosed_volume
from models.hand.earthing import Earthing
from models.hand.field_solution import still_field, without_player
from models.hand.hand_field import DEFAULT_DISTANCES, capacitance_curves, hand_field
from models.hand.meshes import HAND_HALF_SIZES, antenna_mesh, arm, body, cabinet_mesh, hand, shoulder, wrist
from models.hand.scene import POSTURES, Cabinet, PlayerBody, RodAntenna, Scene

FEW = np.array([0.01, 0.02, 0.05, 0.15, 0.4, 0.8])
SCENES = {
    "bare": Scene(),
    "cabinet": Scene(RodAntenna(0.5, 0.02, 1.0), PlayerBody(0.7), Cabinet(0.4, 0.25, 0.15, 0.02)),
}


def empty(scene):
    """Capacitance of the antenna with no player, all else at earth."""
    return without_player(still_field(scene))[0, 0]


@functools.cache
def curves_of(name):
    return capacitance_curves(SCENES[name], FEW)


def added(curve):
    return curve.capacitances - curve.empty_capacitance


# Accuracy


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENES)
def test_added_capacitance_is_within_one_percent_of_a_mesh_of_three_times_the_panels(name):
    chosen, curves = [0, 5], curves_of(name)
    fine = capacitance_curves(SCENES[name], FEW[chosen], fineness=1.75)
    for posture in POSTURES:
        assert_allclose(added(curves[posture])[chosen], added(fine[posture]), rtol=0.01, atol=0)
        assert_allclose(curves[posture].empty_capacitance, fine[posture].empty_capacitance, rtol=2e-3, atol=0)


@pytest.mark.slow
@pytest.mark.parametrize("posture", POSTURES)
def test_reuse_gives_what_solving_each_position_from_scratch_gives(posture):
    scene = SCENES["cabinet"]
    distances = np.array([0.01, 0.3])
    solved = hand_field(scene, distances, [posture])
    start = shoulder(scene)
    box = cabinet_mesh(scene.antenna, scene.cabinet)
    for distance, matrix in zip(distances, solved.places[posture][:, 0], strict=True):
        nose = (0.5 * scene.antenna.diameter + distance, 0.0, scene.hand_height)
        moving = [hand(posture) + nose, arm(start, wrist(scene, posture, distance))]
        player = np.concatenate([*body(scene), *moving])
        scratch = capacitance_matrix([antenna_mesh(scene), box, player], ground_plane=True)
        assert_allclose(matrix, scratch, rtol=2e-4, atol=0)
    alone = capacitance_matrix([antenna_mesh(scene), box], ground_plane=True)[0, 0]
    assert_allclose(solved.without_player[0, 0], alone, rtol=1e-6, atol=0)


def test_empty_capacitance_is_that_of_the_rod_above_the_plane():
    # 6.239 pF, base 1 m above the plane: computed beside this project, to 1e-3.
    assert_allclose(empty(Scene()), 6.239e-12, rtol=5e-4, atol=0)


# Physics


@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize("name", ["bare", *slow_ones("cabinet")])
def test_capacitance_rises_as_the_hand_comes_nearer_and_stays_above_the_empty_one(name, posture):
    curve = curves_of(name)[posture]
    assert (np.diff(curve.capacitances) < 0.0).all()
    assert added(curve)[-1] > 0.0


def test_a_better_connection_to_earth_adds_capacitance_up_to_the_bonded_limit():
    solved = hand_field(Scene(), [0.05, 0.3], ["fist"])
    results = []
    for total in (0.0, 100e-12, 1e-9, 1e-3, np.inf):
        ties = solved.ties(Earthing(body_capacitance=solved.body_share + total))
        results.append(solved.pitch("fist", ties).curve.capacitances)
    floating, usual, strong, nearly, bonded = results
    assert (solved.without_player[0, 0] < floating).all()
    assert (floating < usual).all()
    assert (usual < strong).all()
    assert (strong < bonded).all()
    assert_allclose(nearly, bonded, rtol=1e-6, atol=0)
    assert_allclose(usual, solved.pitch("fist", solved.ties(Earthing())).curve.capacitances, rtol=1e-12, atol=0)


def test_the_player_has_a_plausible_capacitance_of_his_own():
    # Without soles and floor the field alone finds some tens of pF: an AC bridge measures 100-150 pF with them
    # (N. Jonassen, human-body capacitance), and a sphere as high as a person (radius 0.9 m) has 100 pF.
    solved = hand_field(Scene(), [0.5, 0.6], ["open"])
    matrix = solved.places["open"][0, 0]
    assert 40e-12 < matrix[1, 1] < 100e-12
    assert matrix[0, 1] < 0.0
    assert 40e-12 < solved.body_share < matrix[1, 1]


@pytest.mark.slow
def test_curves_have_no_kinks_at_the_default_distances():
    curve = capacitance_curves(Scene(), postures=["open"])["open"]
    assert_allclose(curve.distances, DEFAULT_DISTANCES, rtol=0)
    # The slope in logarithms (from -0.3 near the rod to about -1.2) changes by little from step to step, evenly.
    slope = np.diff(np.log(added(curve))) / np.diff(np.log(curve.distances))
    assert np.abs(np.diff(slope)).max() < 0.25
    assert np.abs(np.diff(slope, 3)).max() < 0.05
    between = np.sqrt(curve.distances[3:30:9] * curve.distances[4:31:9])
    assert_allclose(
        curve.capacitance(between) - curve.empty_capacitance,
        added(capacitance_curves(Scene(), between, ["open"])["open"]),
        rtol=2e-4,
        atol=0,
    )


def test_a_cabinet_screens_and_a_higher_plane_loads_the_antenna():
    plain = empty(Scene())
    assert empty(Scene(cabinet=Cabinet())) > plain
    assert empty(Scene(RodAntenna(base_height=0.2))) > plain


# Geometry


@pytest.mark.parametrize("posture", POSTURES)
def test_the_hand_is_of_the_stated_size_and_its_nose_is_nearest(posture):
    # Volume of the full shape: 4 pi abc / 3 for the ellipsoid; 4 pi abc B(2/p, 1 + 1/p) / p in general (p = 3).
    half = np.array(HAND_HALF_SIZES[posture])
    factor = {"open": 5.065, "fist": 4.0 * np.pi / 3.0}[posture]
    mesh = hand(posture, 4.0)
    assert_allclose(enclosed_volume(mesh), factor * half.prod(), rtol=2e-3, atol=0)
    points = mesh.reshape(-1, 3)
    assert_allclose(np.ptp(points, axis=0), 2.0 * half, rtol=5e-3, atol=0)
    assert abs(points[:, 0].min()) < 2e-4
    assert_allclose(points[points[:, 0].argmin(), 1:], [0.0, 0.0], rtol=0, atol=1e-3)


@pytest.mark.parametrize("distance", [0.01, 0.2, 0.8])
@pytest.mark.parametrize("posture", POSTURES)
def test_parts_of_the_player_keep_clear_of_each_other(posture, distance):
    scene = Scene()
    end = wrist(scene, posture, distance)
    sleeve = arm(shoulder(scene), end)
    assert enclosed_volume(sleeve) > 0.0
    assert len(sleeve) == len(arm(shoulder(scene), wrist(scene, posture, 0.5)))
    trunk, head = body(scene)
    assert sleeve[..., 1].min() > trunk[..., 1].max()
    assert head[..., 2].min() > trunk[..., 2].max()
    palm = hand(posture)[..., 0].max() + 0.005 + distance
    assert sleeve.reshape(-1, 3)[:, 0].min() < shoulder(scene)[0]
    assert end[0] - 0.042 > palm


# Bad scenes


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: RodAntenna(length=0.0), "length"),
        (lambda: RodAntenna(diameter=float("nan")), "diameter"),
        (lambda: RodAntenna(base_height=0.0), "base_height"),
        (lambda: RodAntenna(base_height=True), "base_height"),
        (lambda: Cabinet(gap=0.0), "gap"),
        (lambda: Cabinet(width=-1.0), "width"),
        (lambda: PlayerBody(lean=0.8), "lean"),
        (lambda: PlayerBody(stand_distance=0.0), "stand_distance"),
        (lambda: PlayerBody(hand_height=float("inf")), "hand_height"),
        (lambda: Scene(RodAntenna(base_height=0.1), cabinet=Cabinet()), "base_height must be > 0.14 m"),
        (lambda: capacitance_curves(Scene(), [0.1]), "distances"),
        (lambda: capacitance_curves(Scene(), [0.2, 0.1]), "distances"),
        (lambda: capacitance_curves(Scene(), [0.0, 0.1]), "distances"),
        (lambda: capacitance_curves(Scene(), [0.1, 0.2], ["flat"]), "posture"),
        (lambda: capacitance_curves(Scene(), [0.1, 0.2], fineness=0.0), "fineness"),
        (lambda: capacitance_curves(Scene(player=PlayerBody(stand_distance=2.0)), [0.01, 0.1]), "stand_distance"),
        (lambda: capacitance_curves(Scene(player=PlayerBody(hand_height=0.03)), [0.01, 0.1]), "ground plane"),
        (
            lambda: capacitance_curves(
                Scene(player=PlayerBody(hand_height=0.93), cabinet=Cabinet(depth=0.4)), [0.01, 0.1], ["fist"]
            ),
            "stand_distance must be larger, or the cabinet smaller",
        ),
    ],
)
def test_bad_scenes_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()
