"""Equal levels and counting pips, measured from the samples by other means than those that made them."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from synth.cli import main
from synth.errors import DesignError
from synth.sound.level_match import PAUSE, PEAK, PIP_FREQUENCY, PIP_TIME, joined, level_db, matched, pips

RATE = 48000


def tone(frequency: float, amplitude: float, seconds: float = 1.0) -> np.ndarray:
    return amplitude * np.sin(2.0 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE)


def counted_pips(samples: np.ndarray, frequency: float = PIP_FREQUENCY) -> list[tuple[float, float]]:
    """(start, end) s of bursts near `frequency`: a spectrum every 10 ms, most of its power within 100 Hz of it."""
    hop, size = RATE // 100, 1024
    window = np.hanning(size)
    frequencies = np.fft.rfftfreq(size, 1.0 / RATE)
    near = np.abs(frequencies - frequency) < 150.0
    bursts, previous = [], False
    for start in range(0, samples.size - size, hop):
        power = np.abs(np.fft.rfft(samples[start : start + size] * window)) ** 2
        here = power.sum() > 1e-2 and power[near].sum() > 0.95 * power.sum()
        if here and not previous:
            bursts.append([start / RATE, start / RATE])
        if here:
            bursts[-1][1] = (start + size) / RATE
        previous = here
    return [(first, last) for first, last in bursts if last - first < 3.0 * PIP_TIME]


def test_level_of_a_sine_is_3_db_below_its_peak():
    assert level_db(tone(440.0, 1.0), RATE) == pytest.approx(-3.0103, abs=0.001)
    assert level_db(tone(440.0, 0.1), RATE) == pytest.approx(-23.0103, abs=0.001)
    assert level_db(np.concatenate([tone(440.0, 0.5), np.zeros(5 * RATE)]), RATE) == pytest.approx(-9.031, abs=0.01)
    assert level_db(np.zeros(RATE), RATE) == -np.inf


def test_matched_levels_are_equal_in_db_and_leave_room():
    random = np.random.default_rng(1)
    sounds = [tone(200.0, 0.9), tone(900.0, 0.05), 0.02 * random.standard_normal(RATE), np.zeros(RATE)]
    parts = matched(sounds, RATE)
    rms = [20.0 * np.log10(np.sqrt(np.mean(part.samples**2))) for part in parts[:3]]
    assert np.ptp(rms) < 0.05
    assert max(np.abs(part.samples).max() for part in parts) <= PEAK + 1e-12
    assert [part.gain_db for part in parts[:2]] == pytest.approx([rms[0] + 3.9254, rms[1] + 29.0309], abs=0.05)
    assert not parts[3].samples.any()
    with pytest.raises(DesignError, match="none of the designs sounds"):
        matched([np.zeros(RATE)], RATE)


def test_a_peaky_sound_lowers_them_all():
    peaky = 0.001 * np.ones(RATE)
    peaky[::2000] = 0.8
    parts = matched([peaky, tone(300.0, 0.9)], RATE)
    assert max(np.abs(part.samples).max() for part in parts) <= PEAK + 1e-12
    assert level_db(parts[0].samples, RATE) == pytest.approx(level_db(parts[1].samples, RATE), abs=0.05)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_pips_are_counted_by_their_spectrum(count):
    sound = np.concatenate([tone(300.0, 0.3, 0.5), np.zeros(4800), pips(count, -12.0, RATE), tone(300.0, 0.3, 0.5)])
    found = counted_pips(sound)
    assert len(found) == count
    assert found[0][0] == pytest.approx(0.6, abs=0.03)
    assert np.abs(pips(count, -12.0, RATE)).max() == pytest.approx(np.sqrt(2.0) * 10 ** (-12 / 20), rel=0.01)


def test_joined_has_n_pips_before_the_nth():
    parts = matched([tone(200.0, 0.5), tone(300.0, 0.4), tone(250.0, 0.3)], RATE)
    sound = joined(parts, RATE)
    starts = [first for first, _ in counted_pips(sound)]
    assert len(starts) == 6
    groups = np.split(np.array(starts), np.flatnonzero(np.diff(starts) > 1.0) + 1)
    assert [group.size for group in groups] == [1, 2, 3]
    assert sound.size == pytest.approx(RATE * (3 * 1.0 + 6 * 0.2 + 6 * PAUSE), abs=6)


def test_bad_counts_are_refused():
    with pytest.raises(ValueError, match="count"):
        pips(0, -10.0, RATE)


def test_compare_writes_level_matched_sounds(demos, tmp_path, monkeypatch, capsys):
    """From outside: RMS of the two files, sounding blocks only, within a tenth of a dB."""
    monkeypatch.chdir(tmp_path)
    names = [str(demos / "meadow.toml"), str(demos / "heron.toml")]
    assert main(["compare", *names, "--gesture", "sweep", "--seconds", "2", "--separate", "out"]) == 0
    assert "1_meadow.wav" in capsys.readouterr().err
    levels = []
    for file in sorted((tmp_path / "out").iterdir()):
        samples, rate = soundfile.read(file)
        blocks = samples[: samples.size // 2400 * 2400].reshape(-1, 2400)
        power = (blocks**2).mean(axis=1)
        levels.append(10.0 * np.log10(power[power > 1e-4 * power.max()].mean()))
        assert rate == RATE
        assert np.abs(samples).max() <= PEAK + 1e-6
    assert len(levels) == 2
    assert abs(levels[0] - levels[1]) < 0.1
    assert main(["compare", *names, "--separate", "out"]) == 2, "they exist now"


def test_compare_joins_with_pips(demos, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    names = [str(demos / "meadow.toml"), str(demos / "heron.toml")]
    assert main(["compare", *names, "--gesture", "still", "--seconds", "1.5", "-o", "both.wav"]) == 0
    samples, _ = soundfile.read("both.wav")
    starts = [first for first, _ in counted_pips(samples)]
    assert len(starts) == 3
    assert starts[0] < 0.05
    assert starts[2] - starts[1] == pytest.approx(0.2, abs=0.02)
    assert starts[1] - starts[0] > 1.5
