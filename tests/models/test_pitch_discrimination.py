"""The smallest difference of pitch that is heard."""

from __future__ import annotations

from models.pitch_discrimination import frequency_limen, limen_cents


def test_limen_near_one_kilohertz():
    """Moore's textbook, from memory: some 2 to 3 Hz at 1 kHz and moderate level; relative limen worse at both ends."""
    assert 1.5 < float(frequency_limen(1000.0)) < 3.0
    assert float(limen_cents(1000.0)) < 5.0 < min(float(limen_cents(150.0)), float(limen_cents(8000.0)))
