"""The spectrum against sines of known frequency and level, and against scipy's periodogram."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from synth.window.curves import FLOOR_DB, FRAMES, HIGHEST, LOWEST, POINTS, share_of, spectrum

RATE = 48000.0
TIME = np.arange(2 * FRAMES) / RATE


@pytest.mark.parametrize("line", [20, 171, 1000, 3000])
@pytest.mark.parametrize("level_db", [0.0, -20.0, -61.5])
def test_a_sine_on_a_line_reads_its_level_at_its_frequency(line: int, level_db: float) -> None:
    frequency = line * RATE / FRAMES
    found = spectrum(10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * frequency * TIME + 0.3), RATE)
    peak = int(np.argmax(found.levels_db))
    step = (HIGHEST / LOWEST) ** (1.0 / (POINTS - 1))
    assert found.frequencies[peak] / frequency == pytest.approx(1.0, abs=step - 1.0 + RATE / FRAMES / frequency)
    loss = 0.0 if line > 130 else 1.5  # below, a point of the axis may lie beside the line
    assert level_db - loss - 0.01 <= found.levels_db[peak] <= level_db + 0.01


def test_between_two_lines_it_reads_no_more_than_1_42_db_less() -> None:
    """F. J. Harris, On the use of windows, Proc. IEEE 66 (1978), table 1: Hann, scallop loss 1.42 dB (from memory)."""
    worst = min(
        spectrum(np.sin(2.0 * np.pi * (1000 + share) * RATE / FRAMES * TIME), RATE).levels_db.max()
        for share in np.linspace(0.0, 1.0, 21)
    )
    assert worst == pytest.approx(-1.42, abs=0.01)


def test_it_agrees_with_the_periodogram_of_scipy() -> None:
    """scipy.signal.periodogram, Hann window, scaling "spectrum": mean square of each line; a sine of 1 has 1/2."""
    noise = np.random.default_rng(5).standard_normal(FRAMES) * 0.01
    lines, squares = signal.periodogram(noise, RATE, "hann", detrend=False, scaling="spectrum")
    lines_db = 10.0 * np.log10(2.0 * squares[1:])
    found = spectrum(noise, RATE)
    ratio = (HIGHEST / LOWEST) ** (0.5 / (POINTS - 1))
    for place in range(100, POINTS):
        near = found.frequencies[place] / ratio, found.frequencies[place] * ratio
        inside = (lines[1:] >= near[0]) & (lines[1:] < near[1])
        assert found.levels_db[place] >= lines_db[inside].max() - 1e-6
        first = int(np.argmax(inside))
        around = lines_db[max(0, first - 1) : first + int(inside.sum()) + 1]
        assert found.levels_db[place] <= around.max() + 1e-6


def test_partials_stand_where_they_are() -> None:
    sound = sum(0.1 / n * np.sin(2.0 * np.pi * 220.0 * n * TIME) for n in (1, 2, 3))
    found = spectrum(sound, RATE)
    for n in (1, 2, 3):
        near = np.abs(found.frequencies / (220.0 * n) - 1.0) < 0.05
        assert found.levels_db[near].max() == pytest.approx(20.0 * np.log10(0.1 / n), abs=1.5)
    assert found.levels_db[found.frequencies > 1000.0].max() < -80.0


def test_silence_few_samples_and_a_low_rate_give_the_floor() -> None:
    assert (spectrum(np.zeros(100), RATE).levels_db == FLOOR_DB).all()
    assert (spectrum(np.zeros(0), RATE).levels_db == FLOOR_DB).all()
    low = spectrum(np.sin(np.arange(FRAMES)), 8000.0)
    assert (low.levels_db[low.frequencies > 4100.0] == FLOOR_DB).all()
    assert low.levels_db.max() > -2.0


def test_the_axis_is_logarithmic() -> None:
    assert share_of(LOWEST) == 0.0
    assert share_of(HIGHEST) == 1.0
    assert share_of(632.455532) == pytest.approx(0.5)
    frequencies = spectrum(np.zeros(10), RATE).frequencies
    np.testing.assert_allclose(frequencies[1:] / frequencies[:-1], (HIGHEST / LOWEST) ** (1.0 / (POINTS - 1)))
