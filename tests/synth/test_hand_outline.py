"""The plan of hand and arm against the meshes whose capacitance is computed."""

from __future__ import annotations

import numpy as np
import pytest

from models.hand import player
from models.hand.scene import POSTURES, Posture, Scene
from synth.window.hand_outline import (
    arm_outline,
    body_outline,
    creases,
    cuff,
    hand_half_width,
    hand_length,
    hand_outline,
    shoulder,
    wrist,
)

SCENE = Scene()


@pytest.mark.parametrize("posture", POSTURES)
def test_the_hand_is_drawn_as_the_computed_one_is_seen_from_above(posture: Posture) -> None:
    mesh = player.hand(posture, fineness=2.0).reshape(-1, 3)
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
    start, end = player.shoulder(SCENE), player.wrist(SCENE, posture, distance)
    assert wrist(posture, distance) == pytest.approx((end[0] - radius, end[1]))
    assert shoulder(SCENE.player.stand_distance, SCENE.antenna.diameter) == pytest.approx((start[0] - radius, start[1]))
    mesh = player.arm(start, end, fineness=2.0).reshape(-1, 3)[:, :2] - (radius, 0.0)
    fixed = shoulder(SCENE.player.stand_distance, SCENE.antenna.diameter)
    outline = np.array(arm_outline(fixed, wrist(posture, distance)))
    np.testing.assert_allclose(outline.min(axis=0), mesh.min(axis=0), atol=0.006)
    np.testing.assert_allclose(outline.max(axis=0), mesh.max(axis=0), atol=0.006)


def test_the_cuff_runs_across_the_arm() -> None:
    start, end = (0.745, -0.18), (0.3, 0.0)
    line = np.array(cuff(start, end, 0.06))
    assert np.hypot(*(line[0] - line[-1])) == pytest.approx(2.0 * player.ARM_RADIUS)
    outline = np.array(arm_outline(start, end))
    assert all(inside(point, outline) for point in line)


def test_the_body_stands_where_the_computed_body_does() -> None:
    mesh = player.body(SCENE, fineness=1.5)[0].reshape(-1, 3)[:, :2] - (0.5 * SCENE.antenna.diameter, 0.0)
    outline = np.array(body_outline(SCENE.player.stand_distance, SCENE.antenna.diameter))
    np.testing.assert_allclose(mid(outline), mid(mesh), atol=0.004)
    np.testing.assert_allclose(np.ptp(outline, axis=0), np.ptp(mesh, axis=0), rtol=0.05)
