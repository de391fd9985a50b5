"""Boxes of the playing window over sizes, text sizes and both hands; no pygame."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from boxes import contains
from hypothesis import assume, given
from hypothesis import strategies as st

from synth.window.box import Box
from synth.window.controls import CONTROLS
from synth.window.draw_readouts import panel_rooms
from synth.window.layout import CONTROL_ROWS, SMALLEST, SMALLEST_FOR_LARGEST, Layout, lay_out, text_sizes, too_small

SIZES = st.tuples(st.integers(SMALLEST[0], 4000), st.integers(SMALLEST[1], 2400))
TEXT_SCALES = st.floats(0.8, 1.6)
NAMES = {
    "title",
    "sides",
    "flags",
    "status",
    "notice",
    "note_band",
    "volume_scale",
    "volume_way",
    "stage",
    "antenna",
    "distance_scale",
    "tuner",
    "oscillogram",
    "spectrum",
    "chain",
    "level",
    "drawer",
    "footer",
    "listening",
}


def check_parts(layout: Layout) -> None:
    window = Box(0, 0, *layout.size)
    parts = layout.seen
    for name, box in parts.items():
        assert contains(window, box), name
        assert box.width > 0, name
        assert box.height > 0, name
    for (one, box), (other, another) in itertools.combinations(parts.items(), 2):
        assert not box.overlaps(another), f"{one} and {other}"
    assert contains(window, layout.page)


@given(SIZES, TEXT_SCALES, st.booleans())
def test_parts_never_overlap_and_stay_inside(size: tuple[int, int], text_scale: float, mirrored: bool) -> None:
    assume(not too_small(size, text_scale))
    layout = lay_out(size, text_scale, mirrored)
    check_parts(layout)
    parts = layout.seen
    assert set(parts) >= NAMES - {"oscillogram", "spectrum", "drawer"}
    assert ("drawer" in parts) == (layout.drawer.height > 0)
    assert set(parts) <= NAMES
    assert layout.stage.width > 0.49 * size[0]
    assert layout.stage.height > 0.22 * size[1]
    check_parts(layout.with_open_drawer())


@given(SIZES, TEXT_SCALES, st.booleans(), st.booleans())
def test_controls_have_rows_of_their_own(
    size: tuple[int, int], text_scale: float, mirrored: bool, opened: bool
) -> None:
    assume(not too_small(size, text_scale))
    layout = lay_out(size, text_scale, mirrored)
    layout = layout.with_open_drawer() if opened else layout
    rows = layout.control_boxes(CONTROL_ROWS)
    assert len(rows) == (CONTROL_ROWS if layout.drawer.height else 0)
    for row in rows:
        slider = layout.slider_box(row)
        assert contains(layout.drawer, row)
        assert contains(row, slider)
        assert slider.width > 40
        assert slider.height >= 4
        assert not row.overlaps(layout.drawer_hint) or layout.drawer_hint.height == 0
        if not layout.drawer_is_strip:
            assert contains(row, layout.row_line(row))
            assert not layout.row_line(row).overlaps(slider)
    for one, other in itertools.combinations(rows, 2):
        assert not one.overlaps(other)


def test_the_drawer_has_room_for_every_control() -> None:
    assert len(CONTROLS) == CONTROL_ROWS
    assert lay_out((1280, 720)).control_boxes(0) == ()


@given(SIZES, TEXT_SCALES)
def test_a_left_hand_has_the_mirror_image(size: tuple[int, int], text_scale: float) -> None:
    assume(not too_small(size, text_scale))
    right, left = lay_out(size, text_scale), lay_out(size, text_scale, mirrored=True)
    for name in ("stage", "antenna", "volume_scale", "tuner", "level", "drawer", "note_band", "distance_scale"):
        assert getattr(left, name) == getattr(right, name).mirrored(size[0])
    for name in ("title", "flags", "status", "notice", "footer", "listening"):
        assert getattr(left, name) == getattr(right, name)
    assert right.antenna.left == right.stage.right
    assert left.antenna.right == left.stage.left


@given(SIZES, TEXT_SCALES)
def test_readouts_keep_their_inner_rooms(size: tuple[int, int], text_scale: float) -> None:
    assume(not too_small(size, text_scale))
    layout = lay_out(size, text_scale)
    for name, room in panel_rooms(layout).items():
        panel = layout.seen[name.split()[0]]
        assert contains(panel, room), name
        assert room.height >= layout.text.small, name


@pytest.mark.parametrize(
    ("size", "text_scale", "hidden", "strip"),
    [
        ((1280, 720), 1.0, set(), False),
        ((1024, 640), 1.0, set(), False),
        ((1024, 640), 0.8, set(), False),
        ((900, 560), 1.0, set(), True),
        ((1280, 720), 1.05, set(), True),
        ((1280, 720), 1.3, {"drawer"}, True),
        ((1280, 720), 1.6, {"drawer"}, True),
        ((1024, 640), 1.3, set(), True),
        ((1024, 640), 1.6, {"drawer"}, True),
        ((2560, 1440), 1.0, set(), False),
        ((2560, 1440), 1.6, {"drawer"}, True),
    ],
)
def test_by_rule_large_text_narrows_the_drawer_and_then_hides_it(
    size: tuple[int, int], text_scale: float, hidden: set[str], strip: bool
) -> None:
    layout = lay_out(size, text_scale)
    assert NAMES - set(layout.seen) == hidden
    assert layout.drawer_is_strip == strip
    assert layout.with_open_drawer().drawer_over_stage == strip


@given(SIZES, TEXT_SCALES)
def test_texts_are_as_large_as_asked_for(size: tuple[int, int], text_scale: float) -> None:
    text = text_sizes(size, text_scale)
    assert text.small >= round(11 * text_scale)
    assert text.small <= text.normal < text.large < text.note
    assert text.small >= text_sizes(size, 0.8).small
    assert text_sizes((1024, 640), 1.0).small == 11


@pytest.mark.parametrize("size", [(SMALLEST[0] - 1, 900), (1600, SMALLEST[1] - 1), (1, 1)])
def test_a_window_that_is_too_small_is_not_laid_out(size: tuple[int, int]) -> None:
    assert too_small(size)
    with pytest.raises(ValueError, match="size"):
        lay_out(size)


def test_large_text_needs_a_larger_window() -> None:
    assert not too_small(SMALLEST)
    assert not too_small(SMALLEST, 0.8)
    assert too_small(SMALLEST, 1.3)
    assert not too_small(SMALLEST_FOR_LARGEST, 1.6)
    assert too_small((SMALLEST_FOR_LARGEST[0] - 1, 2000), 1.6)
    with pytest.raises(ValueError, match="160 %"):
        lay_out((1000, 600), 1.6)


@pytest.mark.parametrize("use", [lay_out, too_small])
@pytest.mark.parametrize("text_scale", [0.5, 1.7, float("nan"), -1.0])
def test_text_scales_out_of_range_are_refused(use: Callable[..., object], text_scale: float) -> None:
    with pytest.raises(ValueError, match="text_scale"):
        use((1280, 720), text_scale)
