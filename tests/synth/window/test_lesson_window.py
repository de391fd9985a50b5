"""The lesson's window: layout over sizes, nothing clipped or overlapping, keys and pointer, what the plots show."""

from __future__ import annotations

import os
from dataclasses import replace
from itertools import combinations, islice

import numpy as np
import pytest
from boxes import contains
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_ones import slow_ones
from small_setup import small_setup

from synth.lessons.table import LESSONS, live_lesson
from synth.window import palette
from synth.window.box import Box
from synth.window.curves import LESSON_FLOOR_DB, RECENT, live_oscillogram, live_spectrum, steps_of
from synth.window.layout import lay_out_lesson, too_small
from synth.window.lesson_state import LessonState, on_click, on_key, with_pointer, without_pointer
from synth.window.lesson_view import PLACES, Heard, LessonView, band_marks, band_place, line_map

pygame = pytest.importorskip("pygame")
SIZES = st.tuples(st.integers(1024, 2560), st.integers(640, 1440))
FAULT = "No sound: the default sound output was not found. Connect one, then look for it with: beatfield devices"


@pytest.fixture(scope="module")
def lessons():
    os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
    pygame.font.init()
    bench = small_setup()
    return {name: live_lesson(name, bench) for name in LESSONS}


@settings(max_examples=50, deadline=None)
@given(SIZES)
def test_parts_neither_overlap_nor_leave_the_window(size):
    layout = lay_out_lesson(size)
    whole = Box(0, 0, *size)
    parts = layout.parts()
    for name, box in parts.items():
        assert contains(whole, box), name
        assert box.width > 0, name
        assert box.height > 0, name
    for (one, first), (two, second) in combinations(parts.items(), 2):
        assert not first.overlaps(second), (one, two)
    assert layout.pad.height > 0.2 * size[1]
    for count in (1, 2, 4):
        boxes = layout.choice_boxes(count)
        assert all(contains(layout.choices, box) for box in boxes)
        assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))


def test_a_small_window_asks_for_room(lessons):
    assert too_small((800, 560))
    with pytest.raises(ValueError, match="at least"):
        lay_out_lesson((800, 560))
    view, surface = LessonView(), pygame.Surface((800, 500))
    view.resize((800, 500))
    view.draw(surface, LessonState(lessons["beats"], 0.5), Heard())
    assert "larger" in " ".join(text.wanted for text in view.canvas.texts)


def states(lessons):
    for lesson in lessons.values():
        for number, stage in enumerate(lesson.stages):
            for choice in range(len(stage.choices)):
                yield LessonState(lesson, 0.5, number, choice, 0.37, 0.5)


def check_texts(view, size):
    texts = view.canvas.texts
    for text in texts:
        assert text.whole, (size, text)
        assert contains(Box(0, 0, *size), text.place), (size, text)
    for one, two in combinations(texts, 2):
        assert not one.place.shrunk(0, 2).overlaps(two.place.shrunk(0, 2)), (size, one.shown, two.shown)


@pytest.mark.slow
@pytest.mark.parametrize("size", [(1024, 640), (1024, 1440), (2560, 640)])
def test_no_text_is_clipped_on_any_page(lessons, size):
    view, surface = LessonView(), pygame.Surface(size)
    view.resize(size)
    for state in states(lessons):
        for shown, fault in ((state, ""), (replace(state, muted=True), FAULT), (replace(state, caution_open=True), "")):
            view.draw(surface, shown, Heard(fault=fault))
            check_texts(view, size)


@settings(max_examples=8, deadline=None)
@given(SIZES, st.integers(0, 100), st.floats(0.0, 1.0))
def test_no_text_is_clipped_at_any_size(lessons, size, pick, place):
    view, surface = LessonView(), pygame.Surface(size)
    view.resize(size)
    all_states = list(states(lessons))
    view.draw(surface, replace(all_states[pick % len(all_states)], place=place), Heard())
    check_texts(view, size)


@pytest.mark.slow
def test_smallest_text_is_legible(lessons):
    view, surface = LessonView(), pygame.Surface((1024, 640))
    view.resize((1024, 640))
    for state in states(lessons):
        view.draw(surface, state, Heard(fault=FAULT))
        assert min(text.place.height for text in view.canvas.texts) >= 13  # a line of 11 pixel text


def test_pointer_is_the_hand():
    pad = Box(10, 20, 101, 51)
    state = LessonState(live_beats(), 0.5)
    assert with_pointer(state, (10, 70), pad).place == 0.0
    top_right = with_pointer(state, (110, 20), pad)
    assert (top_right.place, top_right.volume) == (1.0, 1.0)
    assert with_pointer(state, (60, 45), pad).volume == pytest.approx(0.25)
    assert with_pointer(top_right, (500, 500), pad) == top_right  # on its way to a button
    assert without_pointer(top_right).volume == 0.0
    assert without_pointer(top_right).place == 1.0


def live_beats():
    return live_lesson("beats", None)  # type: ignore[arg-type]  # beats need no instrument


def test_keys():
    state = LessonState(live_beats(), 0.5)
    assert on_key(state, "q")[1] == "quit"
    later, action = on_key(state, "n")
    assert (later.stage_number, action) == (1, "source")
    assert on_key(later, "n") == (later, None)
    assert on_key(later, "page up")[0].stage_number == 0
    chosen, action = on_key(state, "2")
    assert (chosen.choice.name, action) == ("weaker", "source")
    assert on_key(chosen, "9") == (chosen, None)
    assert on_key(chosen, "n")[0].choice_number == 0
    assert on_key(state, "right")[0].place == pytest.approx(0.51)
    assert on_key(state, "w")[0].volume == pytest.approx(0.1**2)  # a tenth of the way up, as for the pointer
    assert on_key(state, "v")[0].waves_shown is False
    assert (on_key(state, ",")[1], on_key(state, ".")[1]) == ("slower", "faster")
    assert on_key(state, "up")[0].level == pytest.approx(0.5 * 10 ** (3 / 20))
    assert on_key(replace(state, level=1.0), "up")[0].level == 1.0
    assert on_key(state, "m")[0].silenced


def test_text_size_keys():
    state = LessonState(live_beats(), 0.5)
    larger, action = on_key(state, "=", ctrl=True)
    assert (larger.text_scale, action) == (1.15, "text")
    assert on_key(larger, "-", ctrl=True)[0].text_scale == 1.0
    assert on_key(larger, "0", ctrl=True)[0].text_scale == 1.0
    assert on_key(state, "n", ctrl=True) == (state, None)
    assert on_key(replace(state, text_scale=1.6), "=", ctrl=True)[0].text_scale == 1.6


@pytest.mark.parametrize(
    ("size", "text_scale", "step"),
    [
        ((1024, 640), 1.6, 7),
        *slow_ones(((1024, 640), 1.6, 1), ((1280, 720), 0.8, 1), ((2560, 1440), 1.6, 1)),
    ],
)
def test_large_text_is_whole_and_parts_stay_apart(lessons, size, text_scale, step):
    parts = lay_out_lesson(size, text_scale).parts()
    assert all(contains(Box(0, 0, *size), box) for box in parts.values())
    assert not any(one.overlaps(two) for one, two in combinations(parts.values(), 2))
    assert parts["pad"].height > 0.2 * size[1]
    view, surface = LessonView(), pygame.Surface(size)
    view.resize(size)
    for state in islice(states(lessons), 0, None, step):
        for fault in ("", FAULT):
            view.draw(surface, replace(state, text_scale=text_scale), Heard(fault=fault))
            check_texts(view, size)


def test_the_map_behind_the_pad_is_the_recipes_own_lines(lessons):
    """One tone at 440 Hz stays, the other follows the axis: heights in the band as the frequencies are."""
    stage = lessons["beats"].stages[0]
    curves = line_map(stage.choices[0], stage.band)
    assert len(curves) == 2
    for number in (0, PLACES // 4, PLACES - 1):
        frequencies = sorted((440.0, 430.0 + 40.0 * number / (PLACES - 1)))
        heights = sorted(line.heights[number] for line in curves)
        assert heights == pytest.approx(band_place(np.array(frequencies), stage.band))


def test_lines_of_the_map_run_on_to_its_edge_where_they_lock(lessons):
    """Below 120 Hz apart nothing sounds: beside the edge of lock every line lies below the pad, drawn as beside it."""
    stage = lessons["locking"].stages[0]
    edge = int(120.0 / 400.0 * (PLACES - 1))
    for line in line_map(stage.choices[2], stage.band)[:3]:
        assert max(line.heights[: edge + 1]) < 0.0
        assert line.strengths[edge] == line.strengths[edge + 1] > 0.5
        assert max(line.strengths[:edge]) == 0.0
        assert 0.0 < line.heights[edge + 2] < line.heights[-1] < 1.0


def test_the_marker_stays_whole_and_names_the_result(lessons):
    """At the pad's corners the ring stands inside; beats, note and picofarads are told."""
    view, size = LessonView(), (1280, 720)
    view.resize(size)
    state = LessonState(lessons["hand"], 0.5)
    for place, volume in ((0.0, 0.0), (1.0, 1.0)):
        surface = pygame.Surface(size)
        view.draw(surface, replace(state, place=place, volume=volume), Heard())
        pad, ring = view.layout.pad, 15
        x = pad.left + ring if place == 0.0 else pad.right - ring
        y = pad.bottom - ring if volume == 0.0 else pad.top + ring
        assert sum(surface.get_at((x + dx, y + dy))[:3] == palette.YELLOW for dx in (-2, 2) for dy in (-2, 2)) == 4
    told = " ".join(text.shown for text in view.canvas.texts)
    assert "beats a second" in told
    assert "pF" in told
    assert "♯" in told or " ct" in told


def test_caution_is_silent_until_answered():
    state = LessonState(live_beats(), 0.5, caution_open=True)
    assert state.silenced
    assert on_key(state, "2") == (state, None)
    assert on_key(state, "m")[0].silenced
    assert on_key(state, "return") == (replace(state, caution_open=False), "mute")
    assert on_click(state, (0, 0), ()) == (replace(state, caution_open=False), "mute")


def test_click_chooses_a_sound():
    boxes = (Box(0, 0, 10, 10), Box(20, 0, 10, 10))
    state = LessonState(live_beats(), 0.5)
    assert on_click(state, (25, 5), boxes)[0].choice_number == 1
    assert on_click(state, (15, 5), boxes) == (state, None)


def test_live_spectrum_tells_four_hertz_apart():
    """440 and 444 Hz in what the speaker keeps: two tops at the right places, a dip of at least 3 dB between."""
    time = np.arange(RECENT) / 48_000.0
    sound = (0.1 * (np.cos(2 * np.pi * 440 * time) + np.cos(2 * np.pi * 444 * time + 1.0))).astype(np.float32)
    frequency, level = live_spectrum(sound, 48_000.0, (400.0, 500.0))
    low, high = frequency < 442.0, frequency > 442.0
    assert frequency[low][level[low].argmax()] == pytest.approx(440.0, abs=1.0)
    assert frequency[high][level[high].argmax()] == pytest.approx(444.0, abs=1.0)
    assert level[np.abs(frequency - 442.0) < 0.8].min() < -3.0


def test_silence_draws_the_floor():
    frequency, level = live_spectrum(np.zeros(4096, np.float32), 48_000.0, (20.0, 20_000.0))
    assert (level == LESSON_FLOOR_DB).all()
    assert (live_oscillogram(np.zeros(48_000, np.float32), 48_000.0, 0.5, 300) == 0.0).all()
    assert (steps_of(np.zeros(0), np.zeros(0), np.zeros(0), 5) == LESSON_FLOOR_DB).all()
    assert frequency.size == level.size > 0


def test_long_trace_shows_the_swelling():
    time = np.arange(RECENT) / 48_000.0
    sound = (0.2 * np.cos(2 * np.pi * 4 * time) * np.cos(2 * np.pi * 441 * time)).astype(np.float32)
    low, high = live_oscillogram(sound, 48_000.0, 0.5, 300)
    assert high.max() == pytest.approx(1.0, abs=0.02)
    assert (high >= low).all()
    assert high.min() < 0.1


@pytest.mark.parametrize("band", [(400.0, 500.0), (20.0, 22_000.0), (0.5, 22_000.0), (300.0, 1000.0)])
def test_band_marks_lie_in_the_band(band):
    marks = np.array(band_marks(band))
    assert 2 <= marks.size <= 7
    places = band_place(marks, band)
    assert ((places >= 0.0) & (places <= 1.0 + 1e-9)).all()


def test_keys_of_slow_motion_wait_for_the_first_waves():
    """A window too small to draw the waves hears them all the same; one that was not drawn yet, too."""
    view = LessonView()
    view.resize((300, 200))
    view.waves.slow_by(1.25)
    view.draw(pygame.Surface((300, 200)), LessonState(live_beats(), 0.5), Heard())
    view.waves.slow_by(0.8)
    assert view.waves.slow == 1.0
