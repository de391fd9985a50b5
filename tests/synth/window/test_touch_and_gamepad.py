"""Fingers and gamepads as hands: the pure mappings, and that opening joysticks leaves the sound alone."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.window.held_hands import (
    BUTTONS,
    DEAD_ZONE,
    DIRECTIONS,
    PITCH_SPEED,
    STICK_VOLUME_SPEED,
    Motion,
    Sticks,
    motion,
    moved_by_sticks,
    pushed,
    response,
)
from synth.window.keys import KEY_ROWS
from synth.window.pointer_events import Touch, pointer_of, touched

SIZE = (1001, 501)


def test_one_finger_is_both_hands() -> None:
    touch = touched(Touch(), "down", 7, (0.25, 0.5))
    assert pointer_of(touch, SIZE) == (250, 250)
    touch = touched(touch, "motion", 7, (0.5, 0.1))
    assert pointer_of(touch, SIZE) == (500, 50)
    assert pointer_of(touched(touch, "up", 7, (0.5, 0.1)), SIZE) is None


def test_the_second_finger_is_the_volume_hand() -> None:
    touch = touched(touched(Touch(), "down", 1, (0.25, 0.5)), "down", 2, (0.9, 0.2))
    assert pointer_of(touch, SIZE) == (250, 100)
    touch = touched(touch, "motion", 2, (0.1, 0.4))
    assert pointer_of(touch, SIZE) == (250, 200)
    touch = touched(touch, "up", 2, (0.1, 0.3))
    assert pointer_of(touch, SIZE) == (250, 150)  # it stays where the hand left it
    touch = touched(touch, "motion", 1, (0.3, 0.9))
    assert pointer_of(touch, SIZE) == (300, 150)
    assert pointer_of(touched(touched(touch, "up", 1, (0.3, 0.9)), "down", 5, (0.4, 0.6)), SIZE) == (400, 300)


def test_a_second_finger_beside_the_first_is_of_the_same_hand() -> None:
    touch = touched(touched(Touch(), "down", 1, (0.50, 0.5)), "down", 2, (0.56, 0.5))
    assert (touch.pinch, touch.volume, touch.spread) == (2, None, 0.0)
    assert touched(touch, "motion", 2, (0.52, 0.5)).spread == pytest.approx(-0.04)
    both = touched(touch, "down", 3, (0.9, 0.2))
    assert (both.volume, pointer_of(both, SIZE)) == (3, (500, 100))
    assert touched(touch, "up", 2, (0.52, 0.5)).pinch is None
    assert touched(touch, "up", 1, (0.5, 0.5)).pinch is None


def test_the_trigger_closes_the_fingers_and_rests_at_its_end() -> None:
    assert pushed(Sticks(), 5, -1.0).squeeze == 0.0
    assert pushed(Sticks(), 5, 1.0).squeeze == 1.0
    assert pushed(Sticks(), 5, 0.0).squeeze == 0.5
    assert pushed(Sticks(), 5, 1.0, axes=5) == Sticks()
    assert motion(Sticks(squeeze=1.0), 1.0) is None


def test_the_pitch_finger_may_leave_and_come_back_while_the_volume_finger_stays() -> None:
    touch = touched(touched(Touch(), "down", 1, (0.25, 0.5)), "down", 2, (0.9, 0.2))
    touch = touched(touch, "up", 1, (0.25, 0.5))
    assert pointer_of(touch, SIZE) is None
    assert pointer_of(touched(touch, "down", 3, (0.6, 0.9)), SIZE) == (600, 100)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["down", "motion", "up"]),
            st.integers(0, 3),
            st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
        ),
        max_size=30,
    )
)
def test_whatever_fingers_do_the_hands_stay_in_the_window(events: list) -> None:
    touch, down = Touch(), set()
    for kind, finger, place in events:
        touch = touched(touch, kind, finger, place)
        down = down | {finger} if kind == "down" else down - {finger} if kind == "up" else down
        fingers = [one for one in (touch.pitch, touch.volume, touch.pinch) if one is not None]
        assert len(set(fingers)) == len(fingers)
        assert set(fingers) <= down
        place = pointer_of(touch, SIZE)
        assert place is None or (0 <= place[0] < SIZE[0] and 0 <= place[1] < SIZE[1])


def test_the_sticks_have_a_dead_zone_and_full_speed_at_the_end() -> None:
    assert response(DEAD_ZONE) == response(-DEAD_ZONE) == 0.0
    assert (response(1.0), response(-1.0)) == (1.0, -1.0)
    half = DEAD_ZONE + 0.5 * (1.0 - DEAD_ZONE)
    assert response(half) == pytest.approx(0.25)
    values = [response(-1.0 + 0.01 * step) for step in range(201)]
    assert values == sorted(values)
    assert motion(Sticks(0.1, -0.1), 0.01) is None


def test_the_sticks_move_the_hands() -> None:
    sticks = pushed(pushed(Sticks(), 0, 1.0), 4, -1.0)
    change = motion(sticks, 0.1)
    assert change == Motion(pytest.approx(0.1 * PITCH_SPEED), pytest.approx(0.1 * STICK_VOLUME_SPEED))
    assert motion(sticks, 0.1, fine=True) == Motion(
        pytest.approx(0.1 * PITCH_SPEED / 8.0), pytest.approx(0.1 * STICK_VOLUME_SPEED / 8.0)
    )
    assert moved_by_sticks(0.3, 0.5, Motion(0.1, 0.2)) == (pytest.approx(0.2), pytest.approx(0.7))
    assert moved_by_sticks(0.3, 0.5, Motion(0.1, 0.2), rod_at_right=False) == (pytest.approx(0.4), pytest.approx(0.7))
    assert moved_by_sticks(0.05, 0.9, Motion(0.1, 0.2)) == (0.0, 1.0)


def test_the_axis_of_the_right_stick_depends_on_the_pad() -> None:
    assert pushed(Sticks(), 3, 0.5, axes=4) == Sticks(0.0, 0.5)
    assert pushed(Sticks(), 3, 0.5, axes=6) == Sticks()
    assert pushed(Sticks(), 0, 7.0) == Sticks(1.0, 0.0)


def test_buttons_and_directions_name_actions_of_the_keys() -> None:
    actions = {row.action for row in KEY_ROWS}
    assert {*BUTTONS.values(), *DIRECTIONS.values()} - actions == {"answer"}
    assert DIRECTIONS[0, 1] == "louder"


def test_listening_for_gamepads_leaves_the_sound_alone() -> None:
    code = (
        "import pygame\n"
        "from synth.window.held_hands import Gamepads\n"
        "pads = Gamepads()\n"
        "pads.start(); print(pygame.mixer.get_init(), pygame.joystick.get_init(), pads.add(0))\n"
        "pads.remove(3); print(pads.axes(3))\n"
    )
    environment = os.environ | {"SDL_VIDEODRIVER": "dummy", "PYGAME_HIDE_SUPPORT_PROMPT": "1"}
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)
    assert result.stdout.split()[:2] == ["None", "True"]
