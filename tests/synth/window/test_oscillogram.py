"""The oscillogram stands still, and silence is flat."""

from __future__ import annotations

import numpy as np
import pytest

from synth.window.curves import LONGEST, SHORTEST, oscillogram_span, synchronised


@pytest.mark.parametrize("frequency", [30.0, 261.63, 1000.0, 3999.0])
def test_the_trace_stands_still(frequency: float) -> None:
    rate, span = 48000.0, oscillogram_span(frequency)
    time = np.arange(24000) / rate
    pictures = [
        synchronised(0.3 * np.sin(2.0 * np.pi * frequency * time[shift : shift + 12000]), rate, span, 200)
        for shift in (0, 37, 1003, 7777)
    ]
    wanted = np.sin(2.0 * np.pi * frequency * span * np.linspace(0.0, 1.0, 200))
    tolerance = 4.0 * (np.pi * frequency / rate) ** 2 + 0.02  # linear interpolation between samples, and the scaling
    for picture in pictures:
        np.testing.assert_allclose(picture, wanted, atol=tolerance)


def test_the_trace_of_silence_and_of_too_little_sound_is_flat() -> None:
    assert not synchronised(np.zeros(4800), 48000.0, 0.01, 50).any()
    assert not synchronised(np.full(4800, 5e-5), 48000.0, 0.01, 50).any()
    assert not synchronised(np.ones(10), 48000.0, 0.01, 50).any()
    assert not synchronised(np.zeros(0), 48000.0, 0.01, 50).any()


def test_the_trace_shows_four_periods_within_bounds() -> None:
    assert oscillogram_span(400.0) == pytest.approx(0.01)
    assert oscillogram_span(-400.0) == pytest.approx(0.01)
    assert oscillogram_span(0.0) == LONGEST
    assert oscillogram_span(1e5) == SHORTEST
