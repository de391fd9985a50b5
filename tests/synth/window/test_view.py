"""What the window draws, at every size, text size and for both hands: texts whole and apart, contrast, true scale."""

from __future__ import annotations

import functools
import itertools
import os
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from boxes import contains
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from slow_ones import slow_ones
from small_instrument import RING, make_instrument

from models.hand.antennas import (
    AnyAntenna,
    LoopAntenna,
    PlateAntenna,
    RingAntenna,
    RodAntenna,
    TelescopicAntenna,
    VolumePlate,
    WireAntenna,
)
from models.hand.meshes import TYPICAL, hand_shape
from models.hand.scene import Approach, Cabinet, PlayerBody, Scene
from models.pitch_field import pitch_field
from synth.practice.judgement import Heard, judged
from synth.practice.progress import Run
from synth.practice.score import Score, in_turn
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import FieldPicture
from synth.window.controls import CONTROL_NAMES, CONTROLS, Settings
from synth.window.curves import spectrum
from synth.window.draw_practice_pages import FoundPage, PracticePage
from synth.window.draw_room import CAPTION, room_scale
from synth.window.draw_settings import SettingRow
from synth.window.draw_stage import shown_name
from synth.window.drawer import control_rows
from synth.window.figure_outline import Sight, way_of
from synth.window.layout import SMALLEST, too_small
from synth.window.note_lines import drawn_lines, weight_of
from synth.window.painter import DrawnText, font_file
from synth.window.picture import Picture, notice_line, readouts
from synth.window.practice import Practice, Result
from synth.window.scale import PLAIN, VolumeAxis, ring_volume
from synth.window.state import WindowState, on_key, rescaled, with_pointer
from synth.window.view import View

LISTED = [(900, 560), (1024, 640), (1280, 720), (1000, 1000), (2560, 700), (1920, 1080), (2560, 1440)]
QUICK = [LISTED[0], LISTED[2]]
TEXT_SCALES = (0.8, 1.0, 1.3, 1.6)
STATUS = (
    "hand to sound 24 ms",
    "4:32 in memory, K saves",
    "dropouts 10",
    "latency 10.7 ms",
    "48 kHz",
    "block time 12 % (worst 85 %)",
    "late blocks 9",
)
DISABLED = {"pot": "the reference of this design has no trimmer, and its oscillators have no bias pot to turn"}


@pytest.fixture(autouse=True, scope="module")
def dummy_screen() -> Iterator[None]:
    before = os.environ.get("SDL_VIDEODRIVER")
    os.environ["SDL_VIDEODRIVER"] = "dummy"
    import pygame

    pygame.font.init()
    yield
    pygame.font.quit()
    if before is None:
        del os.environ["SDL_VIDEODRIVER"]
    else:
        os.environ["SDL_VIDEODRIVER"] = before


RING_VOLUME = ring_volume(RING)
SIGHT = Sight(Scene(cabinet=Cabinet(), ring=LoopAntenna()))
ENDS = (0.01, 0.8)  # m
INSTRUMENTS = {lock: make_instrument(0.5, lock_range=lock) for lock in (0.0, 25.0)}
FIELDS = {lock: pitch_field(instrument) for lock, instrument in INSTRUMENTS.items()}
NOTES = {lock: field.notes() for lock, field in FIELDS.items()}
SOUND = 0.2 * np.sin(0.05 * np.arange(9000))
BEFORE = Picture(
    readouts(INSTRUMENTS[0.0], 0.2, 442.0),
    flags=("● REC 12:34", "MUTED", "FINE", "LEFT-HANDED", "REPLAY"),
    status=STATUS,
    notice="▲ No sound: the default sound output was not found. Look for it with: beatfield devices",
    listening="Level \N{MINUS SIGN}20 dB",
    remarks=("The lowest notes are drawn but cannot be told apart by ear: the field is flat there.",),
    peak=0.5,
    rms=0.3,
    oscillogram=np.sin(np.linspace(0.0, 25.0, 220)),
    oscillogram_span=0.0123,
    rows=control_rows(Settings(), "pot", DISABLED),
    sides=("A Meadow", "B A design with a longer name"),
    active_side=1,
    spectrum=spectrum(SOUND, 48000.0),
    guide=frozenset(number for number in range(128) if number % 12 in (0, 2, 4, 5, 7, 9, 11)),
    drone=57,
    settings=tuple(SettingRow(letter, "1234", "27.7 cm", "50.0 cm", letter == "B") for letter in "ABCDEF"),
)
STATE = WindowState(distance=0.2, level=0.2, volume=0.5, present=True)
TUNE = Score("own", "A tune with a longer name than most", in_turn([(60, 0.6), (64, 0.6), (67, 0.6), (72, 0.6)] * 4))
RUNS = tuple(
    Run(f"2026-03-{day:02d}T10:00:00", "own", "Meadow", 1.0, False, 8, 60.0 - 3.0 * day, 6.0, -30.0, 1.0)
    for day in range(1, 12)
)


def practised() -> Result:
    """A run that was a few cents off, later and later."""
    at = np.arange(0.0, TUNE.seconds, 0.02)
    pitch = np.array([TUNE.goals[TUNE.index_at(moment)].number for moment in at]) + 0.2 * np.sin(0.9 * at)
    heard = Heard(at, at + 0.05, pitch, np.full(at.size, 0.5), np.zeros(at.size))
    return Result(TUNE, judged(TUNE, heard), RUNS)


def practising() -> Practice:
    """The first note of a run."""
    practice = Practice((TUNE,))
    practice.follow(NOTES[0.0], 440.0)
    practice.start()
    practice.advance(0.0, 2.6, 262.0, 0.5)
    return practice


PRACTICE_PAGES = {
    "before": PracticePage(
        Practice((TUNE,)).rows("C4"), 0, "Find the place, then rest: listen, correct once.", RUNS, TUNE, (0, 15)
    ),
    "after": practised(),
    "found": FoundPage(
        ("Your hand reaches from 8 to 50 cm before the antenna.", "It comes back to a place within 3.2 mm.")
    ),
}


def drawn(
    size: tuple[int, int], state: WindowState, shown: Picture = BEFORE, lock: float = 0.0, axis: VolumeAxis = PLAIN
) -> tuple[View, Any]:
    import pygame

    instrument, field = INSTRUMENTS[lock], FIELDS[lock]
    ends = instrument.curve.nearest, instrument.curve.farthest
    title = "A design with a longer name"
    notes, zero_beat, span = NOTES[lock], field.zero_beat_distance, field.locked_span
    view = View(FieldPicture(notes, zero_beat, span, ends, SIGHT, volume=axis, title=title))
    view.practice_page = PRACTICE_PAGES.get(state.practice_page)
    surface = pygame.Surface(size)
    view.resize(size, state.text_scale, state.mirrored)
    beat = float(instrument.beat_frequency(state.distance))
    view.draw(surface, state, replace(shown, readouts=readouts(instrument, state.distance, beat)))
    return view, surface


def check_texts(size: tuple[int, int], texts: tuple[DrawnText, ...]) -> None:
    window = Box(0, 0, *size)
    assert len(texts) > 5
    for text in texts:
        assert text.whole, text
        assert contains(text.room, text.place), text
        assert contains(window, text.place), text
        assert text.colour in palette.text_colours(), text
    for one, other in itertools.combinations(texts, 2):
        assert not one.place.overlaps(other.place), (one, other)


LEAVING = ("1:15 of playing are in memory and not saved.", "A recording is running; it would end here, in take.wav.")
PAGES: dict[str, dict[str, Any]] = {
    "playing": {},
    "help": {"help_open": True},
    "more help": {"help_open": True, "help_page": 1},
    "caution": {"caution_open": True},
    "drawer": {"drawer_open": True},
    "leaving": {"leaving": LEAVING},
    **{page: {"practice_page": page} for page in PRACTICE_PAGES},
}


FEWER = ("more help", "caution", "leaving", "found")  # plain pages: looked at less often


ANYTHING = given(
    size=st.tuples(st.integers(SMALLEST[0], 2560), st.integers(SMALLEST[1], 1440)),
    text_scale=st.floats(0.8, 1.6),
    mirrored=st.booleans(),
    distance=st.floats(0.01, 0.8),
    volume=st.floats(0.0, 1.0),
    present=st.booleans(),
    lock=st.sampled_from([0.0, 25.0]),
    ring=st.booleans(),
    opening=st.floats(0.0, 1.0),
    page=st.sampled_from(sorted(PAGES)),
    selected=st.sampled_from(CONTROL_NAMES),
)


def _every_text_is_whole_in_its_room_and_none_overlaps_another(
    size: tuple[int, int],
    text_scale: float,
    mirrored: bool,
    distance: float,
    volume: float,
    present: bool,
    lock: float,
    ring: bool,
    opening: float,
    page: str,
    selected: str,
) -> None:
    assume(not too_small(size, text_scale))
    state = WindowState(
        distance=distance,
        level=0.2,
        volume=volume,
        opening=opening,
        present=present,
        mirrored=mirrored,
        text_scale=text_scale,
        **PAGES[page],
    )
    rows = control_rows(Settings(), selected, DISABLED)
    view, _ = drawn(size, state, replace(BEFORE, rows=rows), lock, RING_VOLUME if ring else PLAIN)
    check_texts(size, view.texts)


def examples(count: int) -> settings:
    return settings(max_examples=count, deadline=None, suppress_health_check=[HealthCheck.too_slow])


test_every_text_is_whole_in_its_room_and_none_overlaps_another = examples(8)(
    ANYTHING(_every_text_is_whole_in_its_room_and_none_overlaps_another)
)
test_every_text_is_whole_in_many_windows = pytest.mark.slow(
    examples(60)(ANYTHING(_every_text_is_whole_in_its_room_and_none_overlaps_another))
)


@pytest.mark.parametrize(
    "size", [pytest.param(size, marks=[] if size == LISTED[0] else [pytest.mark.slow]) for size in LISTED], ids=str
)
def test_the_usual_sizes_hold_every_page_at_every_text_size(size: tuple[int, int]) -> None:
    for text_scale, (page, opened) in itertools.product(TEXT_SCALES, PAGES.items()):
        if too_small(size, text_scale) or (page in FEWER and text_scale in TEXT_SCALES[1:3]):
            continue
        for mirrored in (False, True) if page == "playing" else (False,):
            state = replace(STATE, text_scale=text_scale, mirrored=mirrored, **opened)
            view, _ = drawn(size, state)
            check_texts(size, view.texts)


@pytest.mark.parametrize("size", [QUICK[0], pytest.param(LISTED[1], marks=pytest.mark.slow), QUICK[1]], ids=str)
def test_a_run_is_shown_beside_the_hand_and_apart_from_it(size: tuple[int, int]) -> None:
    shown = practising().shown()
    assert shown is not None
    for text_scale, mirrored in ((0.8, False), (1.0, True), (1.6, False)):
        if not too_small(size, text_scale):
            state = replace(STATE, text_scale=text_scale, mirrored=mirrored)
            view, _ = drawn(size, state, replace(BEFORE, practice=shown))
            check_texts(size, view.texts)
            assert any(" of 16" in text.wanted for text in view.texts)


def below(view: View) -> Box:
    """Where the controls stand: the drawer and the footer under it."""
    assert view.layout is not None
    drawer, size = view.layout.drawer, view.layout.size
    return Box(0, drawer.top, size[0], size[1] - drawer.top)


@pytest.mark.slow
def test_every_value_of_every_control_fits() -> None:
    shown, windows = replace(BEFORE, readouts=readouts(INSTRUMENTS[0.0], STATE.distance, 442.0)), []
    for size, text_scale, opened in (((900, 560), 1.0, False), ((1024, 640), 1.6, True)):
        state = replace(STATE, text_scale=text_scale, drawer_open=opened)
        windows.append((size, state, *drawn(size, state)))
    for control in CONTROLS:
        longest = tuple(sorted(control.choices, key=len)[-1:])
        for value in longest or (control.low, control.high):
            rows = control_rows(Settings({control.name: value}), control.name, {})
            for size, state, view, surface in windows:
                view.draw(surface, state, replace(shown, rows=rows))
                texts = tuple(text for text in view.texts if contains(below(view), text.place))
                check_texts(size, texts)
                assert any(control.label in text.shown for text in texts)


def test_the_typeface_has_every_sign_that_is_drawn() -> None:
    import pygame.freetype

    pygame.freetype.init()
    signs = set("♯▶◀●▲…·\N{MULTIPLICATION SIGN}\N{MINUS SIGN}\N{EN DASH}")
    for opened in PAGES.values():
        view, _ = drawn((1280, 720), replace(STATE, **opened))
        signs |= {sign for text in view.texts for sign in text.shown}
    for bold in (False, True):
        path = font_file(bold)
        assert path is not None
        font = pygame.freetype.Font(path, 20)
        for sign in signs:
            assert font.get_metrics(sign)[0] is not None, sign
    pygame.freetype.quit()


def luminance(colour: Any) -> float:
    """Relative luminance as W3C, Web Content Accessibility Guidelines (WCAG) 2.1, section "relative luminance"."""
    return luminance_of(*(int(part) for part in colour))


@functools.cache
def luminance_of(red: int, green: int, blue: int) -> float:
    share = np.array([red, green, blue]) / 255.0
    linear = np.where(share <= 0.03928, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(one: Any, other: Any) -> float:
    """Contrast ratio as W3C, WCAG 2.1, section "contrast ratio"."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def colour_numbers(surface: Any) -> np.ndarray:
    import pygame

    pixels = pygame.surfarray.array3d(surface).astype(np.int64)
    return pixels[..., 0] << 16 | pixels[..., 1] << 8 | pixels[..., 2]


def colour_of(number: int) -> tuple[int, int, int]:
    return number >> 16, number >> 8 & 255, number & 255


@pytest.mark.parametrize("page", [pytest.param(page, marks=[pytest.mark.slow] * (page in FEWER)) for page in PAGES])
@pytest.mark.parametrize(
    ("size", "text_scale"),
    [
        pytest.param((1280, 720), 1.0, marks=pytest.mark.slow),
        ((1024, 640), 0.8),
        pytest.param((1920, 1080), 1.6, marks=pytest.mark.slow),
    ],
)
def test_text_pixels_stand_out_by_4_5_to_1(size: tuple[int, int], text_scale: float, page: str) -> None:
    """WCAG 2.1, success criterion 1.4.3 (AA): at least 4.5:1, measured on the pixels around every text."""
    looks = tuple(palette.LOOKS) if size == (1920, 1080) else ("dark",)
    for opening, look in itertools.product((0.0, 1.0), looks):
        state = replace(STATE, text_scale=text_scale, opening=opening, look=look, **PAGES[page])
        view, surface = drawn(size, state, BEFORE, 25.0, RING_VOLUME)
        numbers = colour_numbers(surface)
        for text in view.texts:
            place = text.place
            region = numbers[max(0, place.left) : place.right, max(0, place.top) : place.bottom]
            found, counts = np.unique(region, return_counts=True)
            wanted = text.colour[0] << 16 | text.colour[1] << 8 | text.colour[2]
            others = found != wanted
            ground = colour_of(int(found[others][np.argmax(counts[others])]))
            assert contrast(text.colour, ground) >= 4.5, (text, ground)
            assert max(contrast(colour_of(int(one)), ground) for one in found) >= 4.5, text  # smoothed edges included
    palette.use("dark")


@pytest.mark.parametrize("mirrored", [False, *slow_ones(True)])
def test_graphics_stand_out_by_3_to_1(mirrored: bool) -> None:
    """WCAG 2.1, success criterion 1.4.11 (AA): at least 3:1 between a graphic and the ground it is drawn on.

    Grounds are the colours of at least 0.4 % of the pixels that are no graphic's; a graphic is drawn on a ground where
    many of its pixels lie next to it.
    """
    _, surface = drawn((1920, 1080), replace(STATE, mirrored=mirrored, opening=0.0), BEFORE, 25.0)
    numbers = colour_numbers(surface)
    graphics = {r << 16 | g << 8 | b for r, g, b in (*palette.graphic_colours(), *palette.text_colours())}
    found, counts = np.unique(numbers, return_counts=True)
    grounds = [int(one) for one, count in zip(found, counts, strict=True) if count > 0.004 * numbers.size]
    grounds = [one for one in grounds if one not in graphics]
    assert len(grounds) >= 3  # window, panel, hand
    pairs = 0
    for graphic, ground in itertools.product(graphics & set(found.tolist()), grounds):
        here, there = numbers == graphic, numbers == ground
        touching = int((here[1:] & there[:-1]).sum() + (here[:-1] & there[1:]).sum())
        if touching >= 40:
            pairs += 1
            assert contrast(colour_of(graphic), colour_of(ground)) >= 3.0, (colour_of(graphic), colour_of(ground))
    assert pairs >= 10


@pytest.mark.parametrize("opening", [0.0, *slow_ones(0.5), 1.0])
@pytest.mark.parametrize("mirrored", [False, *slow_ones(True)])
def test_the_hand_is_drawn_to_scale_and_closes_towards_its_wrist(opening: float, mirrored: bool) -> None:
    """The pixels of its outline are where the tip is and as high as the hand."""
    state = replace(STATE, distance=0.15, mirrored=mirrored, opening=opening)
    shown = replace(BEFORE, guide=frozenset(), drone=None)
    view, surface = drawn((1920, 1080), state, shown)
    view.zoom(10.0, 0.15)
    view.draw(surface, state, replace(shown, readouts=readouts(INSTRUMENTS[0.0], 0.15, 442.0)))
    assert view.scale is not None
    numbers, scale = colour_numbers(surface), view.scale
    sky = palette.SKY[0] << 16 | palette.SKY[1] << 8 | palette.SKY[2]
    half_length, _, half_high = hand_shape(TYPICAL, "open", opening).half
    tip = 0.15 + 2.0 * (hand_shape(TYPICAL, "open").half[0] - half_length)
    middle = scale.x_of(tip + half_length)
    column = np.flatnonzero(numbers[round(middle), scale.box.top : scale.box.bottom] == sky) + scale.box.top
    assert (column.max() - column.min()) / scale.pixels_per_metre == pytest.approx(2.0 * half_high, abs=0.003)
    assert 0.5 * (column.max() + column.min()) == pytest.approx(scale.axis_y, abs=2.0)
    row = numbers[scale.box.left : scale.box.right, round(scale.axis_y) + 4]
    at = round(scale.x_of(tip)) - scale.box.left
    assert (row[at - 3 : at + 4] == sky).any()


def test_the_rod_is_drawn_to_scale_and_the_picture_mirrors() -> None:
    for mirrored in (False, True):
        view, surface = drawn((1920, 1080), replace(STATE, mirrored=mirrored, distance=0.4))
        assert view.scale is not None
        assert view.layout is not None
        scale, numbers = view.scale, colour_numbers(surface)
        metal = numbers[:, round(scale.axis_y)]
        strong = palette.STRONG_LINE[0] << 16 | palette.STRONG_LINE[1] << 8 | palette.STRONG_LINE[2]
        room = view.layout.antenna
        places = np.flatnonzero(metal[room.left : room.right] == strong)
        diameter = (places.max() - places.min() + 1) / scale.pixels_per_metre
        assert diameter == pytest.approx(0.01, abs=3.5 / scale.pixels_per_metre)


def test_what_a_view_keeps_never_differs_from_a_fresh_picture() -> None:
    """Settings, sides, guides, pages and hands change; each picture must look as if drawn from nothing."""
    import pygame

    size = (1280, 720)
    view, surface = drawn(size, STATE)
    rows = control_rows(Settings(), "tone", {})
    told = tuple(replace(row, effect="Here A4 +8." if row.selected else "", changed=row.changed) for row in rows)
    changes: list[tuple[WindowState, Picture]] = [
        (STATE, BEFORE),
        (replace(STATE, distance=0.02), replace(BEFORE, rows=rows)),
        (STATE, replace(BEFORE, rows=told, settings=BEFORE.settings[:2])),
        (replace(STATE, distance=0.35, volume=0.0, opening=0.2), replace(BEFORE, rows=rows)),
        (STATE, replace(BEFORE, active_side=0)),
        (STATE, replace(BEFORE, guide=frozenset(), drone=None)),
        (replace(STATE, help_open=True), BEFORE),
        (STATE, replace(BEFORE, sides=(), settings=())),
        (replace(STATE, mirrored=True), BEFORE),
        (replace(STATE, mirrored=True, text_scale=1.6), BEFORE),
        (replace(STATE, mirrored=True, text_scale=1.6, drawer_open=True), BEFORE),
        (replace(STATE, text_scale=1.6), replace(BEFORE, rows=rows)),
        (replace(STATE, present=False), replace(BEFORE, notice="")),
    ]
    for state, shown in changes:
        view.draw(surface, state, shown)
        view.draw(surface, state, shown)
        fresh = surface.copy()
        fresh.fill((9, 9, 9))
        view.renew()
        view.draw(fresh, state, shown)
        np.testing.assert_array_equal(pygame.surfarray.array3d(surface), pygame.surfarray.array3d(fresh))


def test_the_window_asks_for_room_where_large_text_has_none() -> None:
    view, _ = drawn((960, 600), replace(STATE, text_scale=1.6))
    assert "960 \N{MULTIPLICATION SIGN} 600 pixels, and needs 1024" in " ".join(text.shown for text in view.texts)
    view, _ = drawn((960, 600), STATE)
    assert len(view.texts) > 30


def test_postures_sides_guides_and_reasons_are_told_by_more_than_colour() -> None:
    """In shades of grey the states still differ: by shape, by words, or both."""
    import pygame

    def grey(shown: Picture) -> np.ndarray:
        _, surface = drawn((1280, 720), STATE, shown)
        return pygame.surfarray.array3d(surface) @ np.array([0.3, 0.59, 0.11])

    before = grey(BEFORE)
    for other in (
        replace(BEFORE, active_side=0),
        replace(BEFORE, guide=frozenset()),
        replace(BEFORE, drone=None),
        replace(BEFORE, rows=control_rows(Settings(), "tone", DISABLED)),
    ):
        assert (np.abs(grey(other) - before) > 40.0).sum() > 100
    view, _ = drawn((1280, 720), STATE)
    shown = " ".join(text.shown for text in view.texts)
    told = ("▶ Fine tune", "Not here:", "▶ B", "REPLAY", "4:32 in memory", "A = 440 Hz", "drone A3", "your body: 75 cm")
    for words in told:
        assert words in shown, words


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(
    ("size", "text_scale"), [((900, 560), 1.0), ((1280, 720), 0.8), *slow_ones(((2560, 1440), 1.0))]
)
def test_names_stand_only_at_drawn_lines(size: tuple[int, int], text_scale: float, mirrored: bool) -> None:
    """No scale is marked, so every line is one of `drawn_lines`; below a name pixels of its line are seen."""
    state = replace(STATE, text_scale=text_scale, mirrored=mirrored, present=False)
    view, surface = drawn(size, state, replace(BEFORE, guide=frozenset(), drone=None))
    assert view.scale is not None
    assert view.layout is not None
    scale, numbers = view.scale, colour_numbers(surface)
    names = {shown_name(line.name): line for line in NOTES[0.0]}
    kept = drawn_lines(NOTES[0.0], scale.x_of, max(5.0, 6.0 * view.layout.scale))
    labels = [text for text in view.texts if text.shown in names and contains(view.layout.note_band, text.place)]
    assert len(labels) > 5
    for label in labels:
        line = names[label.shown]
        assert line in kept, label.shown
        strong = weight_of(line.number) == "octave"
        colour = palette.STRONG_LINE if strong else palette.LINE
        wanted = colour[0] << 16 | colour[1] << 8 | colour[2]
        x = int(scale.x_of(line.distance))
        assert (numbers[x - 2 : x + 3, scale.box.top + 2] == wanted).any(), label.shown


def test_octaves_that_draw_only_their_c_have_no_other_name() -> None:
    """A narrow stage merges the lines of the lower octaves into their Cs; G and E are then not named either."""
    view, _ = drawn((900, 560), STATE, replace(BEFORE, guide=frozenset(), drone=None))
    assert view.scale is not None
    assert view.layout is not None
    kept = {line.number for line in drawn_lines(NOTES[0.0], view.scale.x_of, 5.0)}
    bare = [number for number in range(128) if number % 12 and number not in kept]
    assert bare
    named = {text.shown for text in view.texts if contains(view.layout.note_band, text.place)}
    assert not named & {shown_name(line.name) for line in NOTES[0.0] if line.number in bare}


def test_the_way_back_to_sound_stands_first_and_no_notice_hides_it() -> None:
    said = notice_line("", "No sound: the default sound output was not found. Look for it with: beatfield devices")
    remedy, fault = said.split("  ·  ")
    assert fault.endswith("beatfield devices")
    assert remedy == "▲ B: start the sound again"
    assert notice_line("Kept the last 3.0 s", "The sound ended.") == f"{remedy}  ·  Kept the last 3.0 s"
    assert notice_line("Kept the last 3.0 s", None) == "Kept the last 3.0 s"
    assert notice_line("", None) == ""


@pytest.mark.parametrize("mirrored", [False, *slow_ones(True)])
def test_the_picture_of_the_room_stands_outside_the_stage(mirrored: bool) -> None:
    for size in ((1024, 640), (1280, 720), (1920, 1080), (2560, 1440)):
        view, _ = drawn(size, replace(STATE, mirrored=mirrored))
        assert view.layout is not None
        assert CAPTION in {text.shown for text in view.texts}
        placed = room_scale(view.layout, SIGHT, 60, view.scale)
        assert placed is not None
        assert contains(view.layout.antenna, placed[0])


FORMS: dict[str, AnyAntenna] = {
    "rod": RodAntenna(),
    "telescopic": TelescopicAntenna(),
    "leaning rod": RodAntenna(lean=0.7),
    "plate": PlateAntenna(),
    "ring": RingAntenna(position="edge"),
    "wire": WireAntenna(end_x=-0.3, end_y=0.4, end_height=1.3),
}


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("approach", ["front", pytest.param("above", marks=pytest.mark.slow)])
def test_every_form_is_drawn_and_named(name: str, approach: Approach) -> None:
    """The metal beside the stage is where the form's own surface is, seen from the side."""
    import pygame

    scene = Scene(FORMS[name], PlayerBody(approach=approach), ring=VolumePlate())
    view = View(FieldPicture((), 0.3, None, ENDS, Sight(scene), way_of(scene, "open", *ENDS)))
    surface = pygame.Surface((1920, 1080))
    view.resize((1920, 1080))
    view.zoom(1.0, 0.15)
    view.draw(surface, STATE, BEFORE)
    assert name in {text.shown for text in view.texts}
    assert view.layout is not None
    assert view.scale is not None
    scale, room = view.scale, view.layout.antenna
    column = room.left + 4  # within a rod of 10 mm, at the edge of the way
    metal = [palette.STRONG_LINE, palette.EDGE]
    if name in ("rod", "telescopic") and approach == "front":
        assert all(
            surface.get_at((column, y))[:3] != palette.GROUND for y in range(round(scale.axis_y), scale.box.bottom - 80)
        )
    found = {
        surface.get_at((x, y))[:3]
        for x in range(room.left, room.right, 2)
        for y in range(scale.box.top, scale.box.bottom, 2)
    }
    assert found & set(metal)


def test_the_inset_is_left_out_where_it_has_no_room() -> None:
    view, _ = drawn((1280, 720), replace(STATE, text_scale=1.6))
    assert CAPTION not in {text.shown for text in view.texts}


def test_the_strip_names_every_control_and_gives_way_to_the_stage() -> None:
    for size, text_scale, opened in (((1280, 1024), 1.6, False), ((1024, 640), 1.6, True), ((1280, 720), 1.6, True)):
        view, _ = drawn(size, replace(STATE, text_scale=text_scale, drawer_open=opened))
        assert view.layout is not None
        assert view.layout.drawer_is_strip != opened
        names = {text.shown.removeprefix("▶ ") for text in view.texts if contains(view.layout.drawer, text.place)}
        assert {control.label for control in CONTROLS} <= names
    view, _ = drawn((1280, 720), replace(STATE, text_scale=1.6))
    assert view.layout is not None
    assert "drawer" not in view.layout.seen
    assert "C controls" in " ".join(text.shown for text in view.texts)
    assert view.layout.stage.height > 0.27 * 720


def test_a_changed_control_tells_its_effect_in_drawer_and_strip() -> None:
    effect = "Here A4 +8, 12 cents a mm; as designed A4 \N{MINUS SIGN}3, 11 cents a mm."
    rows = control_rows(Settings(), "tone", {})
    for size in ((900, 560), (1280, 720)):
        for changed in (False, True):
            told = tuple(replace(row, effect=effect if row.selected else "", changed=changed) for row in rows)
            view, _ = drawn(size, STATE, replace(BEFORE, notice="", rows=told))
            check_texts(size, view.texts)
            said = " ".join(text.wanted for text in view.texts)
            assert ("as designed A4" in said) is changed


def test_the_ring_scale_says_that_it_is_a_side_view() -> None:
    view, _ = drawn((1280, 720), STATE, BEFORE, 0.0, RING_VOLUME)
    assert "side view" in {text.shown for text in view.texts}
    view, _ = drawn((1280, 720), STATE)
    assert "side view" not in {text.shown for text in view.texts}


def test_the_scale_of_the_stage_waits_for_the_end_of_a_drag() -> None:
    """While a slider is held the pixels of a distance stay; then the scale follows, and the hand is where it was."""
    import pygame

    surface = pygame.Surface((1280, 720))
    view, _ = drawn((1280, 720), STATE)
    held = replace(STATE, dragging="zero_beat")
    assert view.scale is not None
    width = view.scale.width
    for zero_beat in (0.41, 0.33, 0.27):
        picture = FieldPicture((), zero_beat, None, ENDS, title="Another")
        view.show(picture)
        view.draw(surface, held, BEFORE)
        assert view.scale.width == width
    view.draw(surface, STATE, BEFORE)
    assert view.scale.width == pytest.approx(0.35)
    aside = rescaled(replace(STATE, held=True, pointer=(600, 300)), view.scale)
    assert with_pointer(aside, (600, 300), view.scale).distance == pytest.approx(STATE.distance)


@pytest.mark.parametrize(
    "size", [QUICK[1], *(pytest.param(size, marks=pytest.mark.slow) for size in ((1366, 768), (2560, 1440)))], ids=str
)
@pytest.mark.parametrize("page", sorted(PAGES))
def test_no_text_is_smaller_when_larger_ones_are_asked_for(size: tuple[int, int], page: str) -> None:
    """Texts that both pictures hold: each is at least as high at 160 % as at 100 %."""
    heights = []
    for text_scale in (1.0, 1.6):
        view, _ = drawn(size, replace(STATE, text_scale=text_scale, **PAGES[page]))
        heights.append({text.wanted: text.place.height for text in view.texts})
    usual, large = heights
    both = usual.keys() & large.keys()
    assert len(both) >= 3
    assert not {text for text in both if large[text] < usual[text]}


def test_every_look_is_drawn_in_its_own_colours() -> None:
    for look in palette.LOOKS:
        view, surface = drawn((1280, 720), replace(STATE, look=look))
        assert tuple(surface.get_at((2, 2)))[:3] == palette.LOOKS[look]["GROUND"]
        assert {text.colour for text in view.texts} <= set(palette.text_colours(look))
    palette.use("dark")


def test_the_help_has_more_pages_where_texts_are_larger() -> None:
    for text_scale, count in ((1.0, 2), (1.6, 4)):
        state = replace(STATE, text_scale=text_scale)
        for page in range(1, count + 1):
            state = on_key(state, "h")[0]
            texts = {text.wanted for text in drawn((1280, 720), state)[0].texts}
            assert any(f"page {page} of {count}" in text for text in texts)
        assert not on_key(state, "h")[0].help_open


def test_the_line_of_the_note_swings_by_what_sounds_and_rests_in_silence() -> None:
    """Columns of its pixels above the hand: more than one while it sounds, one line in silence or with less motion."""

    def columns(state: WindowState) -> int:
        shown = replace(BEFORE, guide=frozenset(), drone=None)
        view, surface = drawn((1280, 720), state, shown)
        assert view.scale is not None
        box, x = view.scale.box, round(view.scale.x_of(state.distance))
        numbers = colour_numbers(surface)[x - 20 : x + 21, box.top + 60 : box.top + 110]
        sky = palette.SKY[0] << 16 | palette.SKY[1] << 8 | palette.SKY[2]
        return int((numbers == sky).any(axis=1).sum())

    still, sounding = columns(replace(STATE, still=True)), columns(STATE)
    assert still == columns(replace(STATE, volume=0.0)) == columns(replace(STATE, muted=True))
    assert 1 <= still < sounding - 4
