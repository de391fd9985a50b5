"""The plan of hand and arm against the meshes whose capacitance is computed."""

from __future__ import annotations

import numpy as np
import pytest

from models.hand import meshes
from models.hand.scene import POSTURES, Posture, Scene
from synth.window.figure_outline import (
    arm_outline,
    body_outline,
    creases,
    figure,
    hand_half_width,
    hand_length,
    hand_outline,
    shoulder,
    wrist,
)

SCENE = Scene()


@pytest.mark.parametrize("posture", POSTURES)
def test_the_hand_is_drawn_as_the_computed_one_is_seen_from_above(posture: Posture) -> None:
    mesh = meshes.hand(posture, fineness=2.0).reshape(-1, 3)
    outline = np.array(hand_outline(posture))
    np.testing.assert_allclose(outline.min(axis=0), mesh[:, :2].min(axis=0), atol=0.0025)
    np.testing.assert_allclose(outline.max(axis=0), mesh[:, :2].max(axis=0), atol=0.0025)
    assert outline[:, 0].min() == pytest.approx(0.0, abs=1e-12)
    assert hand_length(posture) == pytest.approx(np.ptp(outline[:, 0]), rel=1e-9)
    assert 2.0 * hand_half_width(posture) == pytest.approx(np.ptp(outline[:, 1]), rel=1e-9)
    outside = [point for point in mesh[:, :2] if not inside(1.002 * (point - mid(outline)), outline - mid(outline))]
    assert len(outside) < 0.02 * len(mesh)  # a mesh is a little larger than the body it stands for


def mid(outline: np.ndarray) -> np.ndarray:
    return 0.5 * (outline.min(axis=0) + outline.max(axis=0))


def inside(point: np.ndarray, outline: np.ndarray) -> bool:
    """Within a convex outline, to 1 mm."""
    following = np.roll(outline, -1, axis=0) - outline
    to_point = point - outline
    cross = following[:, 0] * to_point[:, 1] - following[:, 1] * to_point[:, 0]
    distance = cross / np.hypot(following[:, 0], following[:, 1])
    return bool((distance >= -0.001).all() or (distance <= 0.001).all())


def test_open_hand_and_fist_differ() -> None:
    assert hand_length("open") > 1.5 * hand_length("fist")
    assert hand_half_width("fist") > 2.0 * hand_half_width("open")
    assert creases("open") != creases("fist")
    for posture in POSTURES:
        outline = np.array(hand_outline(posture))
        for line in creases(posture):
            assert all(inside(np.array(point), outline) for point in line)


@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize("distance", [0.02, 0.2, 0.4])
def test_the_arm_is_the_computed_arm(posture: Posture, distance: float) -> None:
    radius = 0.5 * SCENE.antenna.diameter
    start, end = meshes.shoulder(SCENE), meshes.wrist(SCENE, posture, distance)
    assert wrist(posture, distance) == pytest.approx((end[0] - radius, end[1]))
    assert shoulder(SCENE.player.stand_distance, SCENE.antenna.diameter) == pytest.approx((start[0] - radius, start[1]))
    mesh = meshes.arm(start, end, fineness=2.0).reshape(-1, 3)[:, :2] - (radius, 0.0)
    fixed = shoulder(SCENE.player.stand_distance, SCENE.antenna.diameter)
    outline = np.array(arm_outline(fixed, wrist(posture, distance)))
    np.testing.assert_allclose(outline.min(axis=0), mesh.min(axis=0), atol=0.006)
    np.testing.assert_allclose(outline.max(axis=0), mesh.max(axis=0), atol=0.006)


def test_the_body_stands_where_the_computed_body_does() -> None:
    mesh = meshes.body(SCENE, fineness=1.5)[0].reshape(-1, 3)[:, :2] - (0.5 * SCENE.antenna.diameter, 0.0)
    outline = np.array(body_outline(SCENE.player.stand_distance, SCENE.antenna.diameter))
    np.testing.assert_allclose(mid(outline), mid(mesh), atol=0.004)
    np.testing.assert_allclose(np.ptp(outline, axis=0), np.ptp(mesh, axis=0), rtol=0.05)


def within(point: np.ndarray, outline: np.ndarray) -> bool:
    """Inside a simple outline of any shape (rays to +x cross it an odd number of times), or within 1.5 mm of it."""
    following = np.roll(outline, -1, axis=0)
    crosses = (outline[:, 1] > point[1]) != (following[:, 1] > point[1])
    one, other = outline[crosses], following[crosses]
    at = one[:, 0] + (point[1] - one[:, 1]) / (other[:, 1] - one[:, 1]) * (other[:, 0] - one[:, 0])
    edge = following - outline
    share = np.clip(((point - outline) * edge).sum(axis=1) / np.maximum((edge**2).sum(axis=1), 1e-30), 0.0, 1.0)
    away = np.hypot(*(outline + share[:, None] * edge - point).T).min()
    return bool((at > point[0]).sum() % 2) or bool(away < 0.0015)


@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize("distance", [0.01, 0.12, 0.3, 0.5, 0.6])
def test_skin_and_sleeve_hold_hand_and_arm_and_the_gap_between_them(posture: Posture, distance: float) -> None:
    person = figure(posture, distance, 0.75, 0.010)
    skin, sleeve = np.array(person.skin), np.array(person.sleeve)
    hand = np.array(hand_outline(posture)) + (distance, 0.0)
    assert all(within(point, skin) for point in hand)
    assert person.sleeve == arm_outline(shoulder(0.75, 0.010), wrist(posture, distance))
    back = distance + hand_length(posture)
    for along in np.linspace(back - 0.002, back + meshes.WRIST_CLEARANCE + 0.002, 5):
        for side in (-0.003, 0.0, 0.003):
            assert within(np.array([along, side]), skin)
    beyond = np.array([point for point in skin if not within(point, sleeve)])
    assert beyond[:, 0].max() < back + meshes.ARM_RADIUS  # nothing but the wrist is added, and it ends in the sleeve
    assert np.array(person.heel)[:, 0].max() == pytest.approx(back, abs=1e-4)


@pytest.mark.parametrize("posture", POSTURES)
@pytest.mark.parametrize("distance", [0.05, 0.2, 0.5])
def test_the_wrist_does_not_flare(posture: Posture, distance: float) -> None:
    """Across its own direction the skin behind the hand's middle is nowhere wider than the hand."""
    skin = np.array(figure(posture, distance, 0.75, 0.010).skin)
    behind = skin[skin[:, 0] > distance + 0.5 * hand_length(posture)]
    middle = np.array(wrist(posture, distance))
    along = np.array(shoulder(0.75, 0.010)) - middle
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    beyond = behind[behind[:, 0] > middle[0]]
    assert np.ptp(beyond @ across) <= 2.0 * hand_half_width(posture)
    straight = behind[behind[:, 0] <= distance + hand_length(posture)]
    assert np.ptp(straight[:, 1]) <= 2.0 * hand_half_width(posture) + 1e-9


@pytest.mark.parametrize("posture", POSTURES)
def test_before_the_wrist_the_outline_is_the_hand(posture: Posture) -> None:
    limit = 0.2 + 0.6 * hand_length(posture)
    front = np.array([point for point in figure(posture, 0.2, 0.75, 0.010).skin if point[0] < limit])
    hand = {tuple(np.round((0.2 + along, side), 9)) for along, side in hand_outline(posture)}
    assert len(front) > 15
    assert all(tuple(np.round(point, 9)) in hand for point in front)
    assert front[:, 0].min() == pytest.approx(0.2)
    assert np.ptp(front[:, 1]) == pytest.approx(2.0 * hand_half_width(posture), rel=0.01)
