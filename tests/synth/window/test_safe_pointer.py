"""The mouse is safe: what leaves the stage rests, nothing leaps, nothing hangs, nothing is dropped unasked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from listener import Listener
from small_instrument import RING, make_instrument
from window_script import Step, check, click, idle, key, play, point, post, session_on, shows

from synth.window.box import Box
from synth.window.controls import CONTROL_NAMES, CONTROLS
from synth.window.layout import lay_out
from synth.window.play_window import PlayWindow
from synth.window.scale import StageScale, ring_volume
from synth.window.state import (
    CATCH,
    FADE_TIME,
    WindowState,
    faded,
    let_go,
    rescaled,
    with_hold,
    with_pointer,
    with_pointer_aside,
)

STAGE = StageScale(Box(100, 100, 1000, 400), 0.5, 0.01, 0.8)
REST = WindowState(distance=0.3, level=0.2)
FADE = [idle] * 20


def settled(state: WindowState, seconds: float = 1.0) -> WindowState:
    """The state after a whole fade."""
    for _ in range(round(60 * seconds)):
        state = faded(state, 1.0 / 60.0, STAGE)
    return state


def held_at(place: tuple[int, int]) -> WindowState:
    return settled(with_hold(REST, place, STAGE))


def test_off_the_stage_the_hand_rests_and_the_sound_fades_out() -> None:
    held = held_at((600, 200))
    assert held.volume == pytest.approx(0.75**2)
    aside = with_pointer_aside(held, (50, 200))
    assert (aside.distance, aside.volume, aside.held) == (held.distance, held.volume, False)
    volumes = [aside.volume]
    for _ in range(8):
        aside = faded(aside, FADE_TIME / 8, STAGE)
        volumes.append(aside.volume)
    assert volumes[-1] == 0.0
    assert max(-np.diff(volumes)) <= 1.0 / 8 + 1e-9


def test_back_on_the_stage_nothing_sounds_until_the_pointer_is_at_the_hand() -> None:
    resting = settled(with_pointer_aside(held_at((600, 200)), (600, 50)))
    for place in ((900, 200), (900, 450), (600 + CATCH + 1, 300)):
        resting = with_pointer(resting, place, STAGE)
        assert (resting.distance, resting.volume, resting.held) == (STAGE.distance_at(600), 0.0, False)
    taken = with_pointer(resting, (600 + CATCH - 1, 300), STAGE)
    assert (taken.held, taken.volume) == (True, 0.0)
    assert settled(taken).volume == STAGE.gain_at(300)


def test_a_window_opens_with_the_silent_hand_in_it_and_no_way_of_the_pointer_plays_it(dummy_screen: None) -> None:
    instrument = make_instrument()
    speaker = Listener(instrument)

    def cross(window: PlayWindow) -> None:
        scale = window.view.scale
        assert scale is not None
        row = scale.box.center[1]
        assert scale.x_of(window.state.distance) == pytest.approx(scale.box.center[0])
        for column in (scale.box.left + 1, scale.box.center[0], scale.box.right - 2):
            point((column, row))

    def ask(window: PlayWindow) -> None:
        assert window.view.scale is not None
        click(window.view.scale.box.center)

    silent = check(lambda window: not window.state.held and not any(volume for _, _, volume in speaker.moves))
    words = check(lambda window: shows(window, "Click here to play") and not shows(window, "bring the pointer"))
    sounds = check(lambda window: window.state.held and speaker.hand[1] > 0.0)
    play(session_on(instrument), [words, cross, *FADE, silent, words, ask, *FADE, sounds], speaker)


def test_a_fast_pointer_that_goes_across_the_hand_takes_it_too() -> None:
    resting = replace(REST, pointer=(300, 200))
    assert with_pointer(resting, (700, 220), STAGE).held
    above = replace(REST, pointer=(300, 20))
    assert not with_pointer(above, (700, 120), STAGE).held  # it came across the hand's column above the stage


def test_a_hand_that_still_fades_out_is_taken_when_it_is_silent() -> None:
    fading = faded(with_pointer_aside(held_at((600, 200)), (600, 50)), 0.02, STAGE)
    caught = with_pointer(fading, (608, 150), STAGE)
    assert (caught.held, caught.distance, caught.volume) == (False, fading.distance, fading.volume)
    taken = settled(caught)
    assert (taken.held, taken.distance, taken.volume) == (True, STAGE.distance_at(608), STAGE.gain_at(150))


def test_the_height_of_the_volume_hand_is_kept_until_the_sound_has_faded_out() -> None:
    """It is heard in the pitch, so that it may not change while anything sounds."""
    scale = replace(STAGE, volume=ring_volume(RING))
    held = with_hold(REST, (600, 200), scale)
    assert held.height == pytest.approx(0.75 * 0.30)
    aside = with_pointer_aside(replace(held, volume=0.5), (50, 200))
    assert aside.height == held.height
    assert faded(aside, 0.03, scale).height == held.height
    assert faded(faded(aside, 1.0, scale), 0.01, scale).height is None


def test_sound_that_is_asked_for_waits_for_silence_and_fades_in_at_the_pointer() -> None:
    fading = with_pointer_aside(held_at((600, 200)), (50, 200))
    state = replace(fading, pointer=(900, 200), asked=True)
    while state.volume > 0.0:
        assert state.distance == STAGE.distance_at(600)
        state = faded(state, 0.01, STAGE)
    assert (state.held, state.distance) == (False, STAGE.distance_at(600))
    state = faded(state, 0.01, STAGE)
    assert (state.held, state.distance, state.volume) == (True, STAGE.distance_at(900), 0.0)
    assert settled(state).volume == STAGE.gain_at(200)


def test_fine_play_is_continuous_and_its_offset_lasts_until_the_stage_is_left() -> None:
    held = held_at((600, 200))
    fine = with_pointer(replace(held, fine=True), (640, 200), STAGE)
    assert held.distance - fine.distance == pytest.approx(40 / 8 / STAGE.pixels_per_metre)
    released = with_pointer(replace(fine, fine=False), (640, 200), STAGE)
    assert released.distance == pytest.approx(fine.distance)
    moved = with_pointer(released, (641, 200), STAGE)
    assert released.distance - moved.distance == pytest.approx(1 / STAGE.pixels_per_metre)
    again = with_hold(settled(let_go(moved)), (641, 200), STAGE)
    assert again.distance == STAGE.distance_at(641)


def test_fine_play_loses_nothing_of_the_way_back_at_the_end_of_the_field() -> None:
    fine = replace(held_at((1080, 300)), fine=True)
    for across in (1100, 1600, 1100, 1092):
        fine = with_pointer(fine, (across, 300), STAGE)
    assert fine.distance == pytest.approx(STAGE.nearest + 508 / 8 / STAGE.pixels_per_metre)


@given(
    st.lists(st.tuples(st.sampled_from(["fine", "on", "aside", "wait", "scale"]), st.integers(0, 1100)), max_size=30)
)
def test_whatever_the_pointer_does_a_sounding_hand_never_leaps(course: list[tuple[str, int]]) -> None:
    """While anything sounds the hand goes no further than the pointer does on the stage; volume goes smoothly."""
    state, scale, at = held_at((600, 200)), STAGE, 600
    for kind, value in course:
        before, travelled = state, 0
        if kind == "fine":
            state = replace(state, fine=not state.fine)
        elif kind == "aside":
            state = with_pointer_aside(state, (20, 50))
            at = 20
        elif kind == "wait":
            state = faded(state, value / 1e4, scale)
        elif kind == "scale":
            scale = replace(STAGE, width=0.3 + value / 2000)
            state = rescaled(state, scale)
        else:
            place = min(max(value, 100), 1099)
            travelled, at = abs(place - at), place
            state = with_pointer(state, (place, 200), scale)
        if before.volume > 0.0 or state.volume > 0.0:
            limit = travelled / scale.pixels_per_metre + 1e-9
            assert abs(state.distance - before.distance) <= limit


def run(steps: list[Step], listener: Any = None, **options: Any) -> Listener:
    instrument = make_instrument()
    heard = listener or Listener(instrument)
    play(session_on(instrument), steps, heard, **options)
    return heard


pytestmark = pytest.mark.usefixtures("dummy_screen")


def test_the_way_to_the_controls_is_silent_and_never_crosses_the_antenna() -> None:
    for mirrored in (False, True):
        layout = lay_out((1280, 720), mirrored=mirrored)
        ways = sorted((layout.drawer.center[0], layout.stage.center[0], layout.antenna.center[0]))
        assert ways[1] == layout.stage.center[0]
    heard: list[float] = []
    steps: list[Step] = [lambda window: click((700, 200)), *FADE]
    steps.append(lambda window: heard.append(listener.hand[0]))
    for across in (500, 360, 200, 150):
        steps.append(lambda window, across=across: point((across, 200)))
    steps += [*FADE, check(lambda window: listener.hand[1] == 0.0 and not window.state.held)]
    steps += [check(lambda window: window.state.distance < 0.8)]
    listener = Listener(make_instrument())
    run(steps, listener)


def test_the_first_sound_has_to_be_asked_for() -> None:
    steps: list[Step] = [
        lambda window: point((900, 150)),
        *FADE,
        lambda window: point((950, 150)),
        *FADE,
        check(lambda window: listener.hand[1] == 0.0 and shows(window, "Click here")),
        lambda window: click((950, 150)),
        *FADE,
        check(lambda window: listener.hand[1] > 0.1),
    ]
    listener = Listener(make_instrument())
    run(steps, listener)
    sounding = [distance for _, distance, volume in listener.moves if volume > 0.0]
    assert max(sounding) == min(sounding)  # it came to its place in silence


def test_space_asks_for_sound_at_the_pointer_but_not_after_the_arrows() -> None:
    def at(window: PlayWindow, column: int) -> bool:
        scale = window.view.scale
        return scale is not None and abs(window.state.distance - scale.distance_at(column)) < 1e-9

    steps: list[Step] = [
        lambda window: point((900, 150)),
        key("space"),
        *FADE,
        check(lambda window: at(window, 900) and listener.hand[1] > 0.1),
        key("space", kind="KEYUP"),
        *[idle] * 40,
        check(lambda window: listener.hand[1] == 0.0 and not window.state.held),
        key("left"),
        *FADE,
        key("left", kind="KEYUP"),
        *[idle] * 40,
        key("space"),
        *FADE,
        check(lambda window: not at(window, 900) and listener.hand[1] > 0.1),
        key("space", kind="KEYUP"),
        *[idle] * 40,
    ]
    listener = Listener(make_instrument())
    run(steps, listener)


def test_losing_the_focus_lets_go_of_keys_and_hands() -> None:
    steps: list[Step] = [
        lambda window: click((700, 200)),
        *FADE,
        key("left shift"),
        idle,
        check(lambda window: window.state.fine),
        lambda window: post("WINDOWFOCUSLOST"),
        *FADE,
        check(lambda window: listener.hand[1] == 0.0 and not window.state.fine and not window.state.held),
        lambda window: point((700, 200)),
        lambda window: point((702, 200)),
        *FADE,
        check(lambda window: listener.hand[1] == 0.0),
        lambda window: post("WINDOWFOCUSGAINED"),
        lambda window: point((704, 200)),
        *FADE,
        check(lambda window: listener.hand[1] > 0.1),
    ]
    listener = Listener(make_instrument())
    run(steps, listener)
    places = [distance for _, distance, volume in listener.moves if volume > 0.0]
    assert max(abs(np.diff(places))) < 0.01


def test_a_resize_and_a_page_never_leap_or_hang() -> None:
    import pygame

    steps: list[Step] = [
        lambda window: click((700, 200)),
        *FADE,
        lambda window: pygame.display.set_mode((1400, 800), pygame.RESIZABLE),
        *FADE,
        check(lambda window: listener.hand[1] == 0.0 and not window.state.held),
        lambda window: click((800, 200)),
        *FADE,
        check(lambda window: listener.hand[1] > 0.1),
        key("h"),
        *FADE,
        check(lambda window: listener.hand[1] == 0.0),
        key("h"),
    ]
    listener = Listener(make_instrument())
    run(steps, listener)
    moves = np.array(listener.moves)
    leaps = abs(np.diff(moves[:, 1])) > 1e-9
    assert not (leaps & ((moves[:-1, 2] > 0.0) | (moves[1:, 2] > 0.0))).any()  # the hand moved in silence alone
    volumes = [volume for _, _, volume in listener.moves]
    assert max(abs(np.diff(volumes))) < 0.9


def test_a_button_that_came_up_elsewhere_ends_the_drag() -> None:
    def slider(window: PlayWindow) -> tuple[int, int]:
        assert window.view.layout is not None
        row = window.view.layout.control_boxes(len(CONTROLS))[CONTROL_NAMES.index("zero_beat")]
        return window.view.layout.slider_box(row).center

    steps: list[Step] = [
        lambda window: post("MOUSEBUTTONDOWN", pos=slider(window), button=1, touch=False),
        check(lambda window: window.state.dragging == "zero_beat"),
        lambda window: point((700, 200)),
        check(lambda window: not window.state.dragging),
    ]
    run([steps[0], idle, *steps[1:3], idle, steps[3]])


def test_b_leaves_a_running_sound_alone() -> None:
    listener = run([key("b"), idle, check(lambda window: "running" in window.state.notice)])
    assert not [value for name, value in listener.told if name == "restart"]


@pytest.mark.parametrize("name", ["q", pytest.param("escape", marks=pytest.mark.slow)])
def test_quitting_asks_before_it_drops_what_was_played(name: str) -> None:
    listener = Listener(make_instrument())
    played: list[Step] = [lambda window: click((700, 150)), *[idle] * 90]
    asked = [key(name), idle, idle, check(lambda window: shows(window, "not saved") and not window.closing)]
    kept = [key("k"), *[idle] * 2, check(lambda window: not window.state.leaving and not window.closing), key(name)]
    run([*played, *asked, key("escape"), idle, check(lambda window: not window.state.leaving), *asked, *kept], listener)
    assert [what for what, _ in listener.told if what == "keep"] == ["keep"]
    assert listener.hand[1] == 0.0


def test_quitting_asks_before_it_ends_a_recording(tmp_path: Path) -> None:
    steps = [key("r"), idle, key("q"), idle, idle, check(lambda window: shows(window, "recording is running"))]
    run([*steps, check(lambda window: not window.closing), key("q"), idle], record_folder=tmp_path)


def test_zoom_and_pan_leave_the_hand_where_it_is() -> None:
    shown: list[tuple[float, float]] = []

    def note(window: PlayWindow) -> None:
        scale = window.view.scale
        assert scale is not None
        shown.append((scale.start, scale.width))

    steps: list[Step] = [lambda window: click((700, 200)), *FADE, note]
    steps += [lambda window: post("MOUSEWHEEL", y=1, x=0, flipped=False), idle, note]
    steps += [key("left", mod=0x40), idle, note, key("down", mod=0x40), key("home"), idle, note]
    steps += [lambda window: point((701, 200)), idle, check(lambda window: listener.hand[1] > 0.1)]
    listener = Listener(make_instrument())
    run(steps, listener)
    assert shown[1][1] < shown[0][1]
    assert shown[2][0] > shown[1][0]
    assert shown[3] == shown[0]
    places = [distance for _, distance, volume in listener.moves if volume > 0.0]
    assert max(places) - min(places) < 0.001  # one pixel at the end


def test_the_wheel_shows_more_of_what_lies_under_a_pointer_that_holds_no_hand() -> None:
    under: list[float] = []

    def note(window: PlayWindow) -> None:
        scale = window.view.scale
        assert scale is not None
        under.extend((scale.distance_at(700), scale.width))

    steps: list[Step] = [lambda window: point((700, 200)), idle, note]
    steps += [lambda window: post("MOUSEWHEEL", y=2, x=0, flipped=False), idle, note]
    run(steps, Listener(make_instrument()))
    assert under[2] == pytest.approx(under[0], abs=1e-3)
    assert under[3] < 0.8 * under[1]
