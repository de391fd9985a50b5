"""Pitch: ISO 16 and equal temperament, names and numbers back and forth; the smallest difference heard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from models.pitch import (
    cents,
    frequency_limen,
    frequency_of_note,
    limen_cents,
    nearest_note,
    note_name,
    note_number,
    parse_note,
    rms_from_line,
)


def test_a4_is_440_and_middle_c_follows() -> None:
    # ISO 16: A4 = 440 Hz; the twelfth root of two gives C4 = 261.6255653 Hz
    assert frequency_of_note(69) == 440.0
    assert_allclose(frequency_of_note(60), 261.6255653, rtol=2e-10)
    assert_allclose(frequency_of_note([57, 81], reference_a=442.0), [221.0, 884.0], rtol=1e-15)


def test_intervals() -> None:
    assert_allclose(cents(880.0, 440.0), 1200.0)
    assert_allclose(cents(1.5, 1.0), 701.955001, atol=1e-6)  # the just fifth, common practice
    assert_allclose(cents(440.0, 880.0), -1200.0)


@given(st.floats(-20.0, 140.0), st.floats(400.0, 480.0))
def test_number_and_frequency_are_inverse(number: float, reference_a: float) -> None:
    assert_allclose(note_number(frequency_of_note(number, reference_a), reference_a), number, atol=1e-9)


@given(st.integers(0, 127))
def test_names_and_numbers_are_inverse(number: int) -> None:
    assert parse_note(note_name(number)) == number


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("A4", 69),
        ("c4", 60),
        ("C#4", 61),
        ("D\N{MUSIC FLAT SIGN}4", 61),
        ("F\N{MUSIC SHARP SIGN}3", 54),
        ("Cb4", 59),
        ("B#3", 60),
        ("C-1", 0),
        (" Bb2 ", 46),
    ],
)
def test_spellings(name: str, number: int) -> None:
    assert parse_note(name) == number


@pytest.mark.parametrize("name", ["", "H4", "A", "4", "A#b4", "A4.", "A 4", "A400", 69])
def test_bad_names_are_refused(name: object) -> None:
    with pytest.raises(ValueError, match="note must be"):
        parse_note(name)  # type: ignore[arg-type]


def test_nearest_note_and_its_cents() -> None:
    assert nearest_note(440.0) == ("A4", 0.0)
    name, off = nearest_note(261.6255653 * 2 ** (-20 / 1200))
    assert name == "C4"
    assert_allclose(off, -20.0, atol=1e-6)
    assert note_name(69.5) == "A#4"
    assert note_name(69.49) == "A4"


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf, True])
def test_bad_frequencies_are_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="frequency must be"):
        note_number(bad)
    with pytest.raises(ValueError, match="reference_a must be"):
        frequency_of_note(60, bad)


def test_straight_rows_are_straight_and_a_bow_is_known() -> None:
    """Closed form: the best line through y = x^2 over an interval of length h leaves h^2 / sqrt(180) RMS."""
    steps = np.linspace(0.0, 1.0, 4001)
    assert_allclose(rms_from_line([3.0 - 700.0 * steps, 2.0 + steps]), 0.0, atol=1e-9)
    assert_allclose(rms_from_line(steps**2), np.sqrt(1.0 / 180.0), rtol=1e-3)
    nodes, weights = np.polynomial.legendre.leggauss(6)
    assert_allclose(rms_from_line((3.0 * nodes + 5.0) ** 2, nodes, weights), 36.0 / np.sqrt(180.0), rtol=1e-12)
    assert_allclose(rms_from_line(steps**2, 7.0 * steps - 1.0), rms_from_line(steps**2), rtol=1e-12)


def test_limen_near_one_kilohertz():
    """Moore's textbook, from memory: some 2 to 3 Hz at 1 kHz and moderate level; relative limen worse at both ends."""
    assert 1.5 < float(frequency_limen(1000.0)) < 3.0
    # by hand from the published line: 10^(0.026 sqrt(f) - 0.533)
    assert_allclose(frequency_limen([400.0, 1000.0, 8000.0]), [0.9705, 1.946, 62.02], rtol=1e-3)
    assert float(limen_cents(1000.0)) < 5.0 < min(float(limen_cents(150.0)), float(limen_cents(8000.0)))
