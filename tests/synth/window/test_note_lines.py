"""Which note lines are drawn and which names fit."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from models.pitch_field import NoteLine
from synth.window.note_lines import chosen_labels, drawn_lines, weight_of


def lines(low: int = 36, high: int = 96) -> list[NoteLine]:
    names = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
    return [
        NoteLine(
            number,
            f"{names[number % 12]}{number // 12 - 1}",
            440.0 * 2.0 ** ((number - 69) / 12.0),
            0.5 * 0.97 ** (number - low),
        )
        for number in range(low, high + 1)
    ]


@given(st.floats(100.0, 4000.0), st.floats(5.0, 40.0))
def test_note_names_never_touch_and_cs_come_first(pixels: float, width: float) -> None:
    def x_of(distance: float) -> float:
        return 20.0 + pixels * (0.5 - distance) / 0.5

    labels = chosen_labels(lines(), x_of, lambda name: width, 0.0, pixels + 40.0, 2.0, reserved=((0.0, 30.0),))
    for one, other in itertools.pairwise(labels):
        assert other.x - one.x >= width + 2.0 - 1e-9
    assert all(label.x - 0.5 * width - 1.0 >= 30.0 - 1e-9 for label in labels)
    if any(label.weight == "accidental" for label in labels):
        assert sum(label.weight == "octave" for label in labels) >= 4


@given(st.floats(100.0, 6000.0))
def test_octaves_thin_out_by_one_pattern(pixels: float) -> None:
    """Of an octave all twelve lines are drawn, its white keys, or its C alone; lines are never closer than asked."""
    kept = drawn_lines(lines(), lambda distance: pixels * distance, 6.0)
    places = sorted(pixels * line.distance for line in kept)
    assert all(b - a >= 6.0 for a, b in itertools.pairwise(places))
    for octave in range(3, 8):
        steps = {line.number % 12 for line in kept if line.number // 12 == octave}
        assert steps - {0} in (set(), {2, 4, 5, 7, 9, 11}, set(range(1, 12)))


def test_crowded_lines_thin_out_to_the_cs() -> None:
    every = drawn_lines(lines(), lambda distance: 4000.0 * distance, 3.0)
    few = drawn_lines(lines(), lambda distance: 100.0 * distance, 3.0)
    assert len(every) == 61
    assert {weight_of(line.number) for line in few} >= {"octave"}
    assert len(few) < 30
    assert [line.distance for line in few] == sorted(line.distance for line in few)
