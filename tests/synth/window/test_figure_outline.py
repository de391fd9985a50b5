"""What the stage shows of hand, arm and body against the meshes whose capacitance is computed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.hand import meshes
from models.hand.antennas import RodAntenna, WireAntenna
from models.hand.meshes import TYPICAL, hand_shape
from models.hand.player_sizes import adult, build_of
from models.hand.scene import PlayerBody, Scene
from synth.window.figure_outline import Sight, body_outlines, creases, figure, flat, hand_outline, way_of
from synth.window.scale import STRAIGHT, Way

OPENINGS = [0.0, 0.4, 1.0]
MAN = PlayerBody(build=build_of(adult("man")))
SIGHTS = {
    "front": Sight(Scene()),
    "above": Sight(Scene(player=PlayerBody(approach="above"))),
    "elbow": Sight(Scene(player=MAN)),
}


def mid(outline: np.ndarray) -> np.ndarray:
    return 0.5 * (outline.min(axis=0) + outline.max(axis=0))


def within(point: np.ndarray, outline: np.ndarray, slack: float = 0.0015) -> bool:
    """Inside a simple outline of any shape (rays to +x cross it an odd number of times), or within `slack` m of it."""
    following = np.roll(outline, -1, axis=0)
    crosses = (outline[:, 1] > point[1]) != (following[:, 1] > point[1])
    one, other = outline[crosses], following[crosses]
    at = one[:, 0] + (point[1] - one[:, 1]) / (other[:, 1] - one[:, 1]) * (other[:, 0] - one[:, 0])
    edge = following - outline
    share = np.clip(((point - outline) * edge).sum(axis=1) / np.maximum((edge**2).sum(axis=1), 1e-30), 0.0, 1.0)
    away = np.hypot(*(outline + share[:, None] * edge - point).T).min()
    return bool((at > point[0]).sum() % 2) or bool(away < slack)


def with_opening(sight: Sight, opening: float) -> Scene:
    return replace(sight.scene, player=replace(sight.scene.player, opening=opening))


@pytest.mark.parametrize("opening", OPENINGS)
@pytest.mark.parametrize("name", SIGHTS)
def test_hand_and_arm_are_drawn_where_the_computed_ones_are(name: str, opening: float) -> None:
    """With every opening of the fingers the wrist stays, as in the meshes."""
    sight, distance = SIGHTS[name], 0.2
    scene = with_opening(sight, opening)
    person = figure(sight, STRAIGHT, distance, opening)
    hand = sight.seen(meshes.pitch_hand(scene, "open", distance, 1.5).reshape(-1, 3))
    skin, sleeve = flat(person.skin), flat(person.sleeve)
    front = skin[skin[:, 0] < hand[:, 0].max()]
    assert front[:, 0].min() == pytest.approx(hand[:, 0].min(), abs=0.001)
    assert sum(not within(point, skin, 0.003) for point in hand[::7]) <= 0.02 * len(hand[::7])
    end = meshes.wrist(scene, "open", distance)
    mesh = sight.seen(meshes.arm(meshes.shoulder(scene), end, scene.player.build, 2.0).reshape(-1, 3))
    np.testing.assert_allclose(sleeve.min(axis=0), mesh.min(axis=0), atol=0.010)
    np.testing.assert_allclose(sleeve.max(axis=0), mesh.max(axis=0), atol=0.010)


def test_the_wrist_stays_while_the_fingers_close() -> None:
    ends = [figure(SIGHTS["front"], STRAIGHT, 0.2, opening).sleeve for opening in OPENINGS]
    for other in ends[1:]:
        np.testing.assert_allclose(other, ends[0], atol=1e-12)
    tips = [figure(SIGHTS["front"], STRAIGHT, 0.2, opening).skin.real.min() for opening in OPENINGS]
    assert tips[2] == pytest.approx(0.2)
    assert tips[0] - tips[2] == pytest.approx(2.0 * (TYPICAL.open_hand[0] - TYPICAL.fist[0]))
    assert tips[0] > tips[1] > tips[2]


@pytest.mark.parametrize("opening", OPENINGS)
def test_the_outline_is_the_widest_cut_of_the_computed_hand(opening: float) -> None:
    shape = hand_shape(TYPICAL, "open", opening)
    mesh = meshes.shaped_hand(shape, 2.0).reshape(-1, 3)
    outline = hand_outline(shape)
    assert outline.real.min() == pytest.approx(0.0, abs=1e-12)
    assert np.ptp(outline.real) == pytest.approx(np.ptp(mesh[:, 0]), abs=0.002)
    assert np.ptp(outline.imag) == pytest.approx(np.ptp(mesh[:, 2]), abs=0.002)


def test_creases_lie_within_the_hand_and_tell_how_far_it_is_open() -> None:
    reach = []
    for opening in OPENINGS:
        shape = hand_shape(TYPICAL, "open", opening)
        outline = hand_outline(shape)
        flat = np.stack([outline.real, outline.imag], axis=1)
        lines = creases(shape, TYPICAL.open_hand[0])
        assert len(lines) == 5  # four fingers and the thumb
        assert all(within(np.array([at.real, at.imag]), flat) for line in lines for at in line)
        reach.append(max(np.ptp(line.real) for line in lines))
    assert reach == sorted(reach)


def test_the_body_stands_where_the_computed_body_does() -> None:
    sight = SIGHTS["front"]
    for outline, mesh in zip(body_outlines(sight), meshes.body(sight.scene, 1.5), strict=True):
        seen = sight.seen(mesh.reshape(-1, 3))
        np.testing.assert_allclose(mid(outline), mid(seen), atol=0.006)
        np.testing.assert_allclose(np.ptp(outline, axis=0), np.ptp(seen, axis=0), rtol=0.06)


@pytest.mark.parametrize("antenna", [RodAntenna(lean=0.7), WireAntenna(end_x=-0.3, end_y=0.0, end_height=1.3)])
def test_before_a_slanting_antenna_the_tip_is_where_the_meshes_put_it(antenna: RodAntenna | WireAntenna) -> None:
    scene = Scene(antenna)
    way, sight = way_of(scene, "open", 0.01, 0.8), Sight(scene)
    for distance in (0.013, 0.11, 0.37, 0.76):
        wanted = sight.seen(meshes.hand_place(scene, "open", distance))[0]
        assert way.tip(distance) == pytest.approx(wanted, abs=0.0005)
        assert way.distance(way.tip(distance)) == pytest.approx(distance)
    assert way.tip(0.4) - way.tip(0.2) > 0.22  # the shortest way to a slanting rod is not level


def test_before_an_upright_rod_both_are_the_same() -> None:
    assert way_of(Scene(), "open", 0.01, 0.8) == STRAIGHT
    assert STRAIGHT.tip(0.3) == STRAIGHT.distance(0.3) == 0.3
    assert Way((0.1, 0.2), (0.3, 0.5)).tip(0.15) == pytest.approx(0.4)
    assert Way((0.1, 0.2), (0.3, 0.5)).tip(0.25) == pytest.approx(0.55)
