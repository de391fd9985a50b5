"""The window under SDL's dummy driver with real designs: controls by pointer, wheel and keys, two sides, takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pygame
import pytest
from beside import beside
from listener import Listener
from window_script import Step, check, click, idle, key, point, post, shows
from window_script import play as play_session

from synth.build.workbench import OpenedDesign, open_design
from synth.hands.hand_path import HandPath
from synth.window.actions import NO_TAKE
from synth.window.controls import CONTROL_NAMES, CONTROLS
from synth.window.draw_readouts import panel_rooms
from synth.window.draw_settings import setting_boxes
from synth.window.play_window import Look, PlayWindow
from synth.window.screen import moment_of
from synth.window.session import Session, session_of

DEMOS = Path(__file__).resolve().parents[3] / "demos"
pytestmark = pytest.mark.usefixtures("dummy_screen")


@pytest.fixture(scope="module")
def pieces() -> list[OpenedDesign]:
    return [open_design(DEMOS / f"{name}.toml") for name in ("meadow", "heron")]


def play(session: Session, steps: list[Step], listener: Listener | None = None, **options: Any) -> Listener:
    """Run the window with a listener, which is returned; idle steps let changes take effect."""
    listener = listener or Listener(session.instrument)
    play_session(session, steps, listener, **options)
    return listener


def on_slider(player: PlayWindow, name: str, share: float) -> tuple[int, int]:
    layout = player.view.layout
    assert layout is not None
    row = layout.control_boxes(len(CONTROLS))[[control.name for control in CONTROLS].index(name)]
    slider = layout.slider_box(row)
    return round(slider.left + share * (slider.width - 1)), slider.center[1]


WAIT = [idle] * 6  # longer than from one look at the numbers to the next
FADE = [idle] * 20


def test_dragging_a_slider_retunes_while_the_hand_stays(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    steps: list[Step] = [lambda player: click((600, 250)), *FADE, lambda player: point((200, 250)), *FADE]
    held: list[tuple[float, float]] = []
    steps.append(lambda player: held.append((player.state.distance, player.state.volume)))
    steps.append(lambda player: post("MOUSEBUTTONDOWN", pos=on_slider(player, "zero_beat", 0.9), button=1, touch=False))
    steps += [
        lambda player, share=share: point(on_slider(player, "zero_beat", share), pressed=True)
        for share in (0.8, 0.6, 0.4)
    ]
    steps += [
        lambda player: post("MOUSEBUTTONUP", pos=(0, 0), button=1, touch=False),
        *WAIT,
        check(lambda player: (player.state.distance, player.state.volume) == held[0]),
        check(lambda player: player.session.settings["zero_beat"] == pytest.approx(0.35, abs=0.006)),
        check(lambda player: shows(player, f"zero beat {100 * player.session.settings.number('zero_beat'):.1f} cm")),
        key("z"),
        *WAIT,
        check(lambda player: player.session.settings["zero_beat"] == pytest.approx(0.54)),
        key("y"),
        *WAIT,
    ]
    listener = play(session, steps)
    left = listener.instrument.offset_frequency(session.settings.number("zero_beat"))
    assert abs(float(left)) < 1e-6  # Hz
    assert 2 <= listener.instruments <= 8


def test_the_wheel_closes_the_hand_over_the_stage_and_steps_a_row(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    steps: list[Step] = [
        lambda player: point((600, 250)),
        lambda player: post("MOUSEWHEEL", y=-1, x=0, flipped=False),
        *FADE,
        check(lambda player: player.state.opening == 1.0),
        lambda player: pygame.key.set_mods(pygame.KMOD_LCTRL),
        lambda player: post("MOUSEWHEEL", y=-1, x=0, flipped=False),
        *FADE,
        check(lambda player: player.state.opening == pytest.approx(0.9)),
        lambda player: post("MOUSEWHEEL", y=1, x=0, flipped=False),
        *FADE,
        check(lambda player: player.state.opening == 1.0),
        lambda player: pygame.key.set_mods(pygame.KMOD_NONE),
        lambda player: point(on_slider(player, "tone", 0.5)),
        lambda player: post("MOUSEWHEEL", y=-2, x=0, flipped=False),
        *FADE,
        check(lambda player: player.state.selected == "tone"),
    ]
    listener = play(session, steps)
    assert listener.instrument.tone_low_pass == pytest.approx(6000.0 * 2.0 ** (-1.0 / 3.0), rel=0.07)
    assert listener.instrument.tone_low_pass < 5000.0


def test_closing_fingers_lower_the_pitch_and_hold_the_wrist(pieces: list[OpenedDesign]) -> None:
    """By a key that is held, by one that stays, and back: one distance, and a pitch that glides down and up again."""
    session, places = session_of(pieces[:1], work=beside), []
    listener = Listener(session.instrument)

    def note(player: PlayWindow) -> None:
        places.append((player.state.distance, listener.hand[0]))

    steps: list[Step] = [lambda player: click((700, 200)), *[idle] * 20, note]
    steps += [key("f"), *[idle] * 30, note, key("f", kind="KEYUP"), *[idle] * 30, note]
    steps += [key("p"), *[idle] * 30, note, key("p"), *[idle] * 30, note]
    play(session, steps, listener)
    distances, heard = zip(*places, strict=True)
    assert len(set(distances)) == 1
    assert heard[0] == heard[2] == heard[4] == distances[0]
    expected = float(pieces[0].hands["open"].equal_distance(distances[0], None, 0.0))
    assert heard[1] == pytest.approx(expected, abs=1e-4)
    assert heard[3] == pytest.approx(expected, abs=1e-4)
    assert expected > distances[0] + 0.005
    steps_down = abs(np.diff([distance for _, distance, volume in listener.moves if volume > 0.0]))
    assert steps_down.max() < 0.8 * (expected - distances[0])  # no leap, even of a picture that comes late


def click_on_first(player: PlayWindow) -> None:
    """Click on the first row of the table of settings."""
    layout = player.view.layout
    assert layout is not None
    click(setting_boxes(layout, panel_rooms(layout)["chain"], 2)[0].center)


def test_one_key_changes_sides_with_their_own_controls(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces, work=beside)
    steps: list[Step] = [
        check(lambda player: shows(player, "B Heron")),
        *[key("tab")] * CONTROL_NAMES.index("zero_beat"),
        key("page up"),
        key("o"),
        *WAIT,
        check(lambda player: player.view.texts[0].wanted == "Heron" or shows(player, "Heron")),
        check(lambda player: player.session.active == 1),
        check(lambda player: player.session.settings["zero_beat"] == pytest.approx(0.45)),
        key("o"),
        *WAIT,
        check(lambda player: player.session.settings["zero_beat"] == pytest.approx(0.545)),
        key("2"),
        *WAIT,
        check(lambda player: player.session.active == 1 and shows(player, "ct/cm")),
        key("5"),
        *WAIT,
        check(lambda player: player.session.active == 1 and "no setting E" in player.state.notice),
        click_on_first,
        *WAIT,
        check(lambda player: player.session.active == 0),
        key("o"),
        *WAIT,
    ]
    listener = play(session, steps)
    heron = pieces[1].instrument
    assert replace(listener.instrument, level=heron.level) == heron
    assert listener.instrument.level <= heron.level


def test_with_one_design_there_is_no_other_side(pieces: list[OpenedDesign]) -> None:
    told = check(lambda player: "beatfield play A.toml" in player.state.notice)
    play(session_of(pieces[:1], work=beside), [key("o"), *WAIT, told])


def test_playing_by_keys_alone(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    steps: list[Step] = [key("right"), key("space"), *[idle] * 30]
    seen: list[tuple[float, float]] = []
    steps += [
        lambda player: seen.append((player.state.distance, player.state.volume)),
        key("right", kind="KEYUP"),
        key("space", kind="KEYUP"),
        *[idle] * 40,
    ]
    listener = play(session, steps)
    assert seen[0][0] < 0.79
    assert seen[0][1] > 0.4
    assert listener.hand[1] == 0.0
    distances = [distance for _, distance, _ in listener.moves]
    assert distances == sorted(distances, reverse=True)
    assert max(-np.diff(distances)) < 0.013  # 0.12 m/s, pictures at most 0.1 s apart


@pytest.mark.slow
def test_every_control_can_be_reached_and_changed_by_keys(
    pieces: list[OpenedDesign], monkeypatch: pytest.MonkeyPatch
) -> None:
    session, field = session_of(pieces[:1], work=beside), pieces[0].hand_field
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)  # of another stance: not solved here
    steps: list[Step] = []
    for _ in CONTROLS:
        steps += [key("page up"), idle, key("page down"), key("page down"), idle, key("tab")]
    changed: set[str] = set()

    def watch(player: PlayWindow) -> None:
        now, first = player.session.settings, player.session.settings.reset()
        changed.update(control.name for control in CONTROLS if now[control.name] != first[control.name])

    play(session, [step for one in steps for step in (one, watch)])
    # meadow has no cabinet and does not say how it is fed: its common is no conductor of the field
    assert set(session.disabled) == {"common"}
    assert changed == {control.name for control in CONTROLS} - {"common"}


def test_reset_and_undo_of_reset(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    session.set("tone", 1000.0)
    session.set("jitter", 1.5)
    steps: list[Step] = [
        *WAIT,
        key("backspace"),
        *WAIT,
        check(lambda player: player.session.settings == player.session.settings.reset()),
        key("z", mod=0x40),
        *WAIT,
        check(lambda player: player.session.settings["tone"] == 1000.0),
        key("delete"),
        *WAIT,
    ]
    listener = play(session, steps, look=Look(seed=7))
    assert [value for name, value in listener.told if name == "jitter"] == [(1.5, 7), (0.0, 7), (1.5, 7)]


def test_the_drone_takes_the_note_that_sounds(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    place = float(pieces[0].field.distance_at(220.0))

    def there(player: PlayWindow) -> None:
        scale = player.view.scale
        assert scale is not None
        click((round(scale.x_of(place)), 250))

    listener = play(
        session, [there, *FADE, key("d"), *WAIT, check(lambda player: shows(player, "A3")), key("d"), *WAIT]
    )
    assert [value for name, value in listener.told if name == "drone"] == [pytest.approx(220.0), None]


def test_takes_are_kept_and_played_again(pieces: list[OpenedDesign], tmp_path: Path) -> None:
    session = session_of(pieces[:1], work=beside)
    listener = Listener(session.instrument)
    path = HandPath(np.array([0.0, 1.0]), np.array([0.3, 0.2]), np.ones(2))

    def offer_take(player: PlayWindow) -> None:
        listener.take = path

    steps: list[Step] = [
        key("t"),
        *WAIT,
        check(lambda player: player.state.notice == NO_TAKE),
        offer_take,
        key("t"),
        *WAIT,
        check(lambda player: player.state.replaying and shows(player, "22.0 cm")),
        check(lambda player: shows(player, "Playing the last 1 s again")),
        lambda player: point((600, 250)),
        *WAIT,
        check(lambda player: player.state.replaying and player.state.volume == 0.0),
        lambda player: click((600, 250)),
        *WAIT,
        check(lambda player: not player.state.replaying),
        check(lambda player: not shows(player, "Playing the last 1 s again")),  # the notice ends with its cause
        key("k"),
        *WAIT,
    ]
    play(session, steps, listener=listener, record_folder=tmp_path)
    assert [value for name, value in listener.told if name == "replay"] == [path, None]
    assert [value.startswith("meadow-take-") for name, value in listener.told if name == "keep"] == [True]


def test_a_lost_sound_names_the_key_that_starts_it_again(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)
    listener = Listener(session.instrument)

    def lose(player: PlayWindow) -> None:
        listener.device_error = "Sound lost: the audio process ended."

    told = check(lambda player: shows(player, "B: start the sound again"))
    play(session, [lose, *WAIT, *WAIT, told, key("b"), *WAIT], listener=listener)  # words change every sixth picture
    assert ("restart", False) in listener.told


def test_left_handed_and_large_text_from_the_start(pieces: list[OpenedDesign]) -> None:
    def mirrored(player: PlayWindow) -> bool:
        scale = player.view.scale
        assert scale is not None
        return scale.x_of(0.1) < scale.x_of(0.3) and player.view.text_scale == 1.3

    steps: list[Step] = [idle, check(mirrored), key("l"), *WAIT, check(lambda player: not player.view.mirrored)]
    play(session_of(pieces[:1], work=beside), steps, look=Look(mirrored=True, text_scale=1.3))


def test_fingers_are_two_hands_and_hold_sliders(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces[:1], work=beside)

    def finger(kind: str, number: int, place: Callable[[PlayWindow], tuple[int, int]]) -> Step:
        def step(player: PlayWindow) -> None:
            x, y = place(player)
            width, height = player.view.size
            post(kind, finger_id=number, touch_id=0, x=x / (width - 1), y=y / (height - 1), dx=0.0, dy=0.0)

        return step

    def expected(player: PlayWindow) -> bool:
        scale = player.view.scale
        assert scale is not None
        distance, volume = player.state.distance, player.state.volume
        return distance == scale.distance_at(400) and volume == scale.gain_at(150)

    held: list[tuple[float, float]] = []
    steps: list[Step] = [
        finger("FINGERDOWN", 3, lambda player: (400, 300)),
        finger("FINGERDOWN", 4, lambda player: (600, 150)),
        *FADE,
        check(expected),
        finger("FINGERDOWN", 5, lambda player: on_slider(player, "zero_beat", 0.5)),
        lambda player: held.append((player.state.distance, player.state.volume)),
        finger("FINGERMOTION", 5, lambda player: on_slider(player, "zero_beat", 0.3)),
        *WAIT,
        check(lambda player: (player.state.distance, player.state.volume) == held[0]),
        finger("FINGERUP", 5, lambda player: on_slider(player, "zero_beat", 0.3)),
        finger("FINGERUP", 3, lambda player: (400, 300)),
        *FADE,
        check(lambda player: player.state.volume == 0.0 and not player.state.dragging),
    ]
    play(session, steps)
    assert session.settings["zero_beat"] == pytest.approx(0.05 + 0.3 * 0.75, abs=0.006)


def test_a_finger_beside_the_stage_plays_nothing_but_the_setting_it_taps(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces, work=beside)

    def tap(place: Callable[[PlayWindow], tuple[int, int]]) -> list[Step]:
        def step(kind: str) -> Step:
            def post_it(player: PlayWindow) -> None:
                (x, y), (width, height) = place(player), player.view.size
                post(kind, finger_id=3, touch_id=0, x=x / (width - 1), y=y / (height - 1), dx=0.0, dy=0.0)

            return post_it

        return [step("FINGERDOWN"), *WAIT, check(lambda player: not player.state.held), step("FINGERUP"), *WAIT]

    def second_setting(player: PlayWindow) -> tuple[int, int]:
        layout = player.view.layout
        assert layout is not None
        return setting_boxes(layout, panel_rooms(layout)["chain"], 2)[1].center

    def tuner(player: PlayWindow) -> tuple[int, int]:
        assert player.view.layout is not None
        return panel_rooms(player.view.layout)["tuner"].center

    listener = play(session, [idle, *tap(tuner), *tap(second_setting)])
    assert listener.hand[1] == 0.0
    assert session.active == 1


def test_a_gamepad_moves_the_hand_and_switches(pieces: list[OpenedDesign]) -> None:
    session = session_of(pieces, work=beside)
    steps: list[Step] = [
        lambda player: post("JOYAXISMOTION", instance_id=0, joy=0, axis=0, value=1.0),
        *[idle] * 20,
        lambda player: post("JOYAXISMOTION", instance_id=0, joy=0, axis=0, value=0.0),
        lambda player: post("JOYBUTTONDOWN", instance_id=0, joy=0, button=4),
        *WAIT,
    ]
    listener = play(session, steps)
    assert listener.hand[0] < 0.79
    assert session.active == 1


@pytest.mark.parametrize("count", [1, 2, 7])
def test_waiting_events_are_spread_over_the_time_they_waited(count: int) -> None:
    moments = [moment_of(place, count, 10.0, 10.007) for place in range(1, count + 1)]
    assert moments[-1] == 10.007
    assert moments[0] > 10.0
    np.testing.assert_allclose(np.diff([10.0, *moments]), 0.007 / count)
