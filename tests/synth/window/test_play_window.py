"""The window under SDL's dummy driver: a script of pointer, keys and sizes, and checks of every drawn text."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from boxes import contains
from listener import Listener
from small_instrument import RING, make_instrument
from window_script import Step, check, click, idle, key, post, session_on, shows
from window_script import play as play_session

from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.volume.volume_antenna import VolumeAntenna
from synth.errors import DeviceError
from synth.live.speaker import Speaker
from synth.window import palette
from synth.window.actions import recording_path
from synth.window.canvas import FieldPicture
from synth.window.caution import caution_wanted
from synth.window.layout import Box
from synth.window.painter import DrawnText, font_file
from synth.window.picture import Picture, readouts
from synth.window.play_window import PlayWindow, WindowRun
from synth.window.scale import PLAIN, ring_volume
from synth.window.state import WindowState
from synth.window.view import View

SIZES = [(900, 560), (1024, 640), (1280, 720), (1366, 768), (1000, 1000), (2560, 700), (1920, 1080), (2560, 1440)]
NO_DEVICE = "no output of this name"


pytestmark = pytest.mark.usefixtures("dummy_screen")


def play(steps: list[Step], speaker: Any = None, volume: VolumeAntenna | None = None, **options: Any) -> WindowRun:
    """Run the window with the small instrument."""
    instrument = make_instrument()
    return play_session(session_on(instrument, volume), steps, speaker or Listener(instrument), **options)


def hand_to(distance: float, gain: float) -> Step:
    def step(player: PlayWindow) -> None:
        scale = player.view.scale
        assert scale is not None
        place = (round(scale.x_of(distance)), round(scale.y_of(gain)))
        click(place)

    return step


FADE = [idle] * 20  # longer than a fade


def test_the_pointer_moves_the_hand_to_scale() -> None:
    listener = Listener(make_instrument())
    steps: list[Step] = []
    for distance, gain in ((0.3, 1.0), (0.123, 0.25), (0.09, 0.5), (0.15, 0.04)):
        steps += [
            hand_to(distance, gain),
            *FADE,
            check(lambda player, d=distance: abs(listener.hand[0] - d) < 0.0005),  # one pixel is 0.55 mm
            check(lambda player, g=gain: abs(listener.hand[1] - g) < 0.01),
            check(lambda player: player.state.present),
        ]
    steps += [
        lambda player: post("WINDOWLEAVE"),
        *FADE,
        check(lambda player: listener.hand[1] == 0.0 and abs(listener.hand[0] - 0.15) < 0.0005),
        check(lambda player: any("bring the pointer" in text.shown for text in player.view.texts)),
    ]
    assert play(steps, listener).frames >= len(steps)


def test_keys_reach_the_speaker(tmp_path: Path) -> None:
    listener = Listener(make_instrument())
    first = listener.level
    steps = [
        key("m"),
        check(lambda player: listener.muted),
        check(lambda player: shows(player, "MUTED")),
        key("m"),
        check(lambda player: not listener.muted),
        key("up"),
        check(lambda player: abs(20.0 * np.log10(listener.level / first) - 3.0) < 1e-9),
        key("r"),
        check(lambda player: listener.recording_to is not None and listener.recording_to.parent == tmp_path),
        idle,
        check(lambda player: shows(player, "REC")),
        key("r"),
        check(lambda player: listener.recording_to is None),
        idle,
        idle,
        check(lambda player: shows(player, "Recorded")),
        key("f1"),
        check(lambda player: player.state.help_open and shows(player, "Playing")),
        key("escape"),
        check(lambda player: not player.state.help_open),
        key("q"),
        idle,
    ]
    play(steps, listener, record_folder=tmp_path)


def test_it_stays_silent_until_the_caution_is_answered() -> None:
    listener = Listener(make_instrument())
    assert caution_wanted(None)
    steps = [
        check(lambda player: listener.muted and shows(player, "H.870")),
        key("return"),
        check(lambda player: not listener.muted),
        check(lambda player: not shows(player, "H.870")),
    ]
    play(steps, listener, caution=None)
    assert not caution_wanted(None)
    assert not caution_wanted("no device")
    play([check(lambda player: not listener.muted and not player.state.caution_open)], listener, caution=None)


def test_the_window_follows_its_size() -> None:
    import pygame

    listener = Listener(make_instrument())
    steps: list[Step] = [hand_to(0.2, 1.0), idle]
    for size in ((1024, 640), (2560, 1440), (300, 200), (1280, 720)):
        steps += [
            lambda player, size=size: pygame.display.set_mode(size, pygame.RESIZABLE),
            idle,
            check(lambda player, size=size: player.view.size == size),
            check(lambda player: (player.view.layout is None) == (player.view.size == (300, 200))),
            check(lambda player: not blank(pygame.display.get_surface())),
        ]
    steps += [check(lambda player: listener.hand[0] == player.state.distance)]
    play(steps, listener)


def blank(surface: Any) -> bool:
    import pygame

    pixels = pygame.surfarray.array2d(surface)[::3, ::3]
    return len(np.unique(pixels)) < 10


def test_f11_fills_the_screen_and_goes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a screen of 1600 x 900, stood in for the size that the library finds."""
    import pygame

    asked: list[tuple[tuple[int, int], int]] = []
    real = pygame.display.set_mode

    def set_mode(size: tuple[int, int], flags: int) -> pygame.Surface:
        asked.append((size, flags))
        return real((1600, 900) if size == (0, 0) else size)

    instrument = make_instrument()
    sizes: list[tuple[int, int]] = []
    steps: list[Step] = [
        idle,
        lambda player: monkeypatch.setattr(pygame.display, "set_mode", set_mode),
        key("f11"),
        idle,
        lambda player: sizes.append(player.view.size),
        key("f11"),
        idle,
        lambda player: sizes.append(player.view.size),
    ]
    play_session(session_on(instrument), steps, Listener(instrument))
    assert sizes == [(1600, 900), (1280, 720)]
    assert asked == [((0, 0), pygame.FULLSCREEN), ((1280, 720), pygame.RESIZABLE)]


def test_only_what_changed_is_drawn_again() -> None:
    """Picture by picture restoring must give the same pixels as a picture drawn from nothing."""
    import pygame

    def compare(player: PlayWindow) -> None:
        shown = player.shown
        assert shown is not None
        surface = pygame.display.get_surface()
        for _ in range(2):  # some parts are drawn for every second picture
            player.view.draw(surface, player.state, shown)
        kept = pygame.surfarray.array3d(surface)
        fresh = surface.copy()
        player.view.renew()
        player.view.draw(fresh, player.state, shown)
        np.testing.assert_array_equal(kept, pygame.surfarray.array3d(fresh))

    steps: list[Step] = []
    for distance, gain in ((0.3, 1.0), (0.02, 0.0), (0.58, 0.6), (0.1, 0.3)):
        steps += [hand_to(distance, gain), *FADE, compare]
    steps += [
        key("h"),
        idle,
        compare,
        key("h"),
        idle,
        compare,
        key("h"),
        idle,
        compare,
        lambda player: post("WINDOWLEAVE"),
        *FADE,
        compare,
    ]
    play(steps)


@pytest.mark.slow
def test_a_real_speaker_sounds_where_the_pointer_is() -> None:
    instrument = make_instrument()
    field = pitch_field(instrument)
    heard: list[tuple[float, float]] = []

    def listen(player: PlayWindow) -> None:
        frequency = speaker.meters().frequency
        heard.append((frequency, float(field.frequency_at(player.state.distance))))

    steps: list[Step] = []
    for distance in (0.3, 0.1, 0.05):
        steps += [hand_to(distance, 0.5), *FADE, listen]
    with Speaker(instrument, device=NO_DEVICE) as speaker:
        play([*steps, check(lambda player: shows(player, "No sound"))], speaker)
    for frequency, expected in heard:
        assert abs(1200.0 * np.log2(frequency / expected)) < 1.0


def test_pygame_leaves_the_sound_device_alone() -> None:
    import pygame

    play([check(lambda player: pygame.mixer.get_init() is None)])
    assert not pygame.display.get_init()


def test_with_a_volume_antenna_the_pointers_height_is_the_other_hands() -> None:
    listener = Listener(make_instrument())
    steps: list[Step] = []
    for height in (0.02, 0.08, 0.15, 0.24):

        def to_height(player: PlayWindow, height: float = height) -> None:
            scale = player.view.scale
            assert scale is not None
            place = (round(scale.x_of(0.2)), round(scale.y_at(height / 0.30)))
            click(place)

        def heard(player: PlayWindow, height: float = height) -> bool:
            scale = player.view.scale
            assert scale is not None
            assert scale.volume.top == pytest.approx(0.30)
            pixel = 0.30 / scale.box.height
            low, high = RING.held_gain(height - pixel), RING.held_gain(height + pixel)
            shown = [text.shown for text in player.view.texts]
            assert "ring" in shown
            assert any(f"{100 * at:.1f} cm" in shown for at in np.linspace(height - pixel, height + pixel, 41))
            return bool(low <= listener.hand[1] <= high)

        steps += [to_height, *FADE, check(heard)]
    steps += [key("h"), idle]
    steps += [check(lambda player: "above the ring" in " ".join(text.shown for text in player.view.texts))]
    assert play(steps, listener, volume=RING).frames >= len(steps)


def views() -> list[tuple[str, View, PitchField, Instrument]]:
    result = []
    for name, instrument in (("free", make_instrument()), ("locked", make_instrument(lock_range=25.0))):
        field = pitch_field(instrument)
        axis, title = ring_volume(RING) if name == "locked" else PLAIN, "A design with a longer name"
        notes, zero_beat, span = field.notes(), field.zero_beat_distance, field.locked_span
        picture = FieldPicture(notes, zero_beat, span, (0.01, 0.8), volume=axis, title=title)
        result.append((name, View(picture), field, instrument))
    return result


def drawn(size: tuple[int, int], view: View, instrument: Instrument, state: WindowState) -> tuple[DrawnText, ...]:
    import pygame

    pygame.display.init()
    pygame.font.init()
    surface = pygame.display.set_mode(size)
    view.resize(size)
    status = ("48 kHz", "latency 10.7 ms", "block time 12 % (worst 85 %)", "dropouts 10", "late blocks 123")
    shown = Picture(
        readouts(instrument, state.distance, float(instrument.beat_frequency(state.distance))),
        flags=("● REC 12:34", "MUTED"),
        status=status,
        notice="▲ No sound: the default sound output was not found. Look for it with: beatfield devices",
        listening="Level \N{MINUS SIGN}20 dB",
        peak=0.5,
        rms=0.3,
        oscillogram=np.sin(np.linspace(0.0, 25.0, 220)),
        oscillogram_span=0.0123,
    )
    view.draw(surface, state, shown)
    assert not blank(surface)
    return view.texts


STATES = {
    "away": WindowState(distance=0.8, level=0.2),
    "far": WindowState(distance=0.57, volume=1.0, level=0.2, present=True),
    "zero beat": WindowState(distance=0.5, volume=0.3, level=0.2, present=True),
    "middle": WindowState(distance=0.21, volume=0.5, level=0.2, present=True),
    "near": WindowState(distance=0.01, volume=0.0, level=0.2, present=True),
    "hand low": WindowState(distance=0.2, volume=0.1, level=0.2, present=True, row=300.0),
    "hand at the ring": WindowState(distance=0.2, volume=0.0, level=0.2, present=True, row=5000.0),
    "help": WindowState(distance=0.2, level=0.2, help_open=True),
    "leaving": WindowState(distance=0.2, level=0.2, leaving=("0:42 of playing are in memory and not saved.",)),
    "caution": WindowState(distance=0.2, level=0.2, caution_open=True),
}


@pytest.mark.parametrize(
    "size", [pytest.param(size, marks=[] if size == SIZES[0] else [pytest.mark.slow]) for size in SIZES], ids=str
)
def test_every_text_fits_and_none_overlaps_another(size: tuple[int, int]) -> None:
    window = Box(0, 0, *size)
    for (name, view, _, instrument), (situation, state) in itertools.product(views(), STATES.items()):
        texts = drawn(size, view, instrument, state)
        where = f"{name}, {situation}"
        for text in texts:
            assert text.whole, (where, text)
            assert contains(text.room, text.place), (where, text)
            assert contains(window, text.place), (where, text)
            assert text.colour in palette.text_colours(), (where, text)
        if situation in ("help", "caution", "leaving"):
            continue
        for one, other in itertools.combinations(texts, 2):
            assert not one.place.overlaps(other.place), (where, one, other)
    import pygame

    pygame.font.quit()
    pygame.display.quit()


def test_the_typeface_has_every_sign_that_is_shown() -> None:
    import pygame.freetype

    pygame.freetype.init()
    for bold in (False, True):
        path = font_file(bold)
        assert path is not None
        font = pygame.freetype.Font(path, 20)
        for sign in "♯♭↑↓●▲…·\N{MINUS SIGN}\N{EN DASH}":
            assert font.get_metrics(sign)[0] is not None, sign
    pygame.freetype.quit()


def test_recordings_get_names_of_their_own(tmp_path: Path) -> None:
    now = datetime(2024, 5, 6, 7, 8, 9)
    path = recording_path(tmp_path, "Örchard rod / 2", now)
    assert path == tmp_path / "rchard-rod-2-20240506-070809.wav"
    path.touch()
    assert recording_path(tmp_path, "Örchard rod / 2", now) == tmp_path / "rchard-rod-2-20240506-070809-2.wav"
    assert recording_path(tmp_path, "♯♯", now).name.startswith("beatfield-")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="screens of other systems need no DISPLAY")
def test_without_a_screen_it_says_so() -> None:
    hidden = ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")
    environment = {name: value for name, value in os.environ.items() if name not in hidden}
    code = (
        "from synth.errors import DeviceError\nfrom synth.window.screen import open_screen\n"
        "try:\n    open_screen('Trial')\nexcept DeviceError as error:\n    print(error)"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True)
    assert "no screen" in result.stdout
    assert "beatfield render" in result.stdout


def test_without_pygame_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    from synth.window.screen import open_screen

    monkeypatch.setitem(sys.modules, "pygame", None)
    with pytest.raises(DeviceError, match="pip install pygame-ce"):
        open_screen("Trial")
