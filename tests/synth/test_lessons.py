"""Every lesson says what is in its sounds: read back from the WAV, by Fourier transform and Hilbert envelope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import hilbert
from scipy.signal.windows import kaiser

from models.diode.rectified_sum import half_wave_rectified, sum_of_tones
from models.pulling import pulled_line_ratio
from synth.cli import main
from synth.lessons.bench import open_bench
from synth.lessons.stage import ABSENT_DB
from synth.lessons.table import LESSONS, build_lesson


@pytest.fixture(scope="module")
def bench():
    return open_bench()


def peak_near(piece, rate, frequency):
    """Frequency and amplitude of the highest bin within 1 Hz of `frequency`, and the strongest amplitude."""
    window = kaiser(piece.size, 14.0)
    size = np.abs(np.fft.rfft((piece - piece.mean()) * window, 8 * piece.size))
    bins = np.fft.rfftfreq(8 * piece.size, 1.0 / rate)
    near = np.flatnonzero(np.abs(bins - frequency) < 1.0)
    best = near[np.argmax(size[near])]
    return bins[best], size[best], size[np.argmin(np.abs(bins - frequency))], size.max()


@pytest.mark.parametrize("name", LESSONS)
def test_sound_files_hold_what_the_claims_say(name, bench, tmp_path, capsys):
    import soundfile

    assert main(["lesson", name, "-o", str(tmp_path)]) == 0
    assert "turn the volume right down" in (tmp_path / "lesson.txt").read_text()
    for index, stage in enumerate(build_lesson(name, bench).stages):
        sound, rate = soundfile.read(tmp_path / f"{index + 1:02d}-{stage.slug}.wav")
        assert (tmp_path / f"{index + 1:02d}-{stage.slug}.png").stat().st_size > 10_000
        assert 0.05 < np.abs(sound).max() <= 10 ** (-14 / 20) + 1e-6
        assert max(abs(sound[0]), abs(sound[-1])) < 1e-3
        for claim in stage.claims:
            piece = sound[round(claim.start * rate) : round(claim.end * rate)]
            if claim.kind == "silent":
                assert np.abs(piece).max() < 1e-3 * np.abs(sound).max()
            elif claim.kind == "beat":
                swell = np.abs(hilbert(piece - piece.mean())) ** 2
                assert peak_near(swell, rate, claim.frequency)[0] == pytest.approx(claim.frequency, abs=0.1)
            else:
                place, level, exact, strongest = peak_near(piece, rate, claim.frequency)
                if claim.kind == "absent":
                    assert 20 * np.log10(exact / strongest + 1e-12) < ABSENT_DB, claim.text
                else:
                    assert place == pytest.approx(claim.frequency, abs=0.15), claim.text
                    assert 20 * np.log10(level / strongest) == pytest.approx(claim.level_db, abs=0.2), claim.text


def test_rectifier_series_is_the_positive_half():
    first = np.linspace(0.0, 40.0, 5001)
    envelope, angle = sum_of_tones(first, 1.1 * first, 0.7)
    half = np.maximum(np.cos(first) + 0.7 * np.cos(1.1 * first), 0.0)
    np.testing.assert_allclose(half_wave_rectified(envelope, angle, 400), half, atol=2e-3)


def test_pulled_lines_of_the_three_four_five_triangle():
    assert pulled_line_ratio(200.0, 120.0) == pytest.approx(1.0 / 3.0)
    with pytest.raises(ValueError, match="beyond the lock range"):
        pulled_line_ratio(100.0, 120.0)


def test_list_and_unknown_name(capsys):
    assert main(["lesson"]) == 0
    assert "octaves" in capsys.readouterr().out
    assert main(["lesson", "nothing"]) == 2
