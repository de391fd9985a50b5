"""Conductors that meet: which two are named, and what must be otherwise; where parts stand clear nothing is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from slow_ones import slow_ones

from models.hand.antennas import LoopAntenna
from models.hand.hand_field import DEFAULT_DISTANCES, hand_field
from models.hand.meshes import straight_capsule
from models.hand.overlaps import meet, overlap, winding
from models.hand.scene import Bystander, Cabinet, Room, Scene, Table, Wall

PLACES = DEFAULT_DISTANCES[::10].tolist()
SCENE = Scene(ring=LoopAntenna())
CUBE = np.array(
    [
        [np.roll([side, *corner], axis) for corner in order]
        for axis in range(3)
        for side in (0.0, 1.0)
        for order in (((0, 0), (1, 0), (1, 1)), ((0, 0), (1, 1), (0, 1)))
    ]
)


def test_the_solid_angle_of_a_cubes_side_from_its_middle_is_a_sixth_of_all() -> None:
    """By symmetry; the sign is that of how its corners go round."""
    middle = np.array([[0.5, 0.5, 0.5]])
    for side in range(6):
        assert abs(winding(middle, CUBE[2 * side : 2 * side + 2])[0]) == pytest.approx(1.0 / 6.0, rel=1e-12)
    capsule = straight_capsule(np.zeros(3), np.array([0.0, 0.0, 1.0]), 0.1)
    inside, outside = np.array([[0.0, 0.0, 0.5], [0.05, 0.0, 0.9]]), np.array([[0.2, 0.0, 0.5], [0.0, 0.0, 1.2]])
    np.testing.assert_allclose(np.abs(winding(inside, capsule)), 1.0, rtol=1e-9)
    np.testing.assert_allclose(winding(outside, capsule), 0.0, atol=1e-9)
    assert meet(capsule, capsule + (0.15, 0.0, 0.0))
    assert not meet(capsule, capsule + (0.25, 0.0, 0.0))


@pytest.mark.parametrize(
    ("room", "says"),
    [
        (Room(bystander=Bystander(0.75, 0.0)), "x and y must be larger: the bystander meets the player's body"),
        (Room(bystander=Bystander(0.35, 0.0)), "x and y must be larger: the bystander meets the player's arm"),
        *slow_ones(
            (Room(bystander=Bystander(0.0, 0.0)), "x and y must be larger: the bystander meets the pitch antenna"),
            (Room(bystander=Bystander(0.0, -0.45)), "x and y must be larger: the bystander meets the volume antenna"),
        ),
        (Room(table=Table(0.998)), "top must be smaller: the table meets the volume antenna"),
        (Room(wall=Wall(0.10)), r"distance must be > 0.114 m: the wall meets the volume antenna; got 0.1 m"),
        (Room(wall=Wall(0.5), bystander=Bystander(-0.5, 1.0)), "x and y must be larger: the bystander meets the wall"),
    ],
)
def test_both_conductors_are_named(room: Room, says: str) -> None:
    scene = replace(SCENE, room=room)
    assert overlap(scene, PLACES, [0.02]) == says
    with pytest.raises(ValueError, match=says):
        hand_field(scene)


def test_a_ring_says_what_it_meets() -> None:
    near = replace(SCENE, ring=LoopAntenna(offset=0.11))
    assert overlap(near, PLACES, [0.02]) == "offset must be larger: the volume antenna meets the pitch antenna"
    box = replace(SCENE, cabinet=Cabinet(width=1.0, height=0.2), ring=LoopAntenna(height=0.95))
    assert overlap(box, PLACES, [0.02]) == "offset must be larger: the volume antenna meets the cabinet or board"


@pytest.mark.parametrize("scene", [Scene(), SCENE, replace(SCENE, room=Room(bystander=Bystander(), wall=Wall()))])
def test_what_stands_clear_says_nothing(scene: Scene) -> None:
    assert overlap(scene, PLACES, [0.02]) == ""
