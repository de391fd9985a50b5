"""Long runs: hours of sound in bounded memory and in pieces, and minutes of live play (pytest -m soak)."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from synth.build.workbench import OpenedDesign, open_design
from synth.errors import DesignError
from synth.hands.hand_path import still_hand
from synth.sound.offline import render_file
from synth.sound.voice import Voice

pytest.importorskip("resource")  # Linux and macOS

HERE = Path(__file__).parent
LARGEST_MEMORY = 300.0  # MB


def figures_of(script: str, *arguments: str, timeout: float, codes: tuple[int, ...] = (0,)) -> dict[str, Any]:
    """What a soak script prints as JSON."""
    command = [sys.executable, str(HERE / script), *arguments]
    result = subprocess.run(command, capture_output=True, text=True, timeout=timeout, cwd=HERE.parents[1])
    assert result.returncode in codes, result.stdout + result.stderr
    return json.loads(result.stdout)


@pytest.fixture(scope="module")
def heron(demos) -> OpenedDesign:
    return open_design(demos / "heron.toml")


@pytest.mark.parametrize("lock_range", [0.0, 1.0])
def test_a_fade_into_silence_is_the_same_to_the_last_bit_in_any_pieces(heron, lock_range):
    """Signs of zeros included, which a comparison of numbers does not see."""
    instrument = replace(heron.instrument, lock_range=lock_range)

    def played(pieces: list[int]) -> bytes:
        voice = Voice(instrument, 24000)
        sounds = [voice.render(np.full(600, 0.3), 600)]
        voice.mute(True)
        return np.concatenate([*sounds, *(voice.render(np.full(size, 0.3), size) for size in pieces)]).tobytes()

    assert played([1200]) == played([1, 127, 300, 4, 768]) == played([193] * 6 + [42])


def test_a_sound_too_long_for_a_wav_is_refused_before_it_is_rendered(heron, tmp_path):
    """4 GiB are 1.55 hours of 32-bit float at 192 kHz: 2^32 / (4 * 192000 * 3600)."""
    told: list[float] = []
    with pytest.raises(DesignError, match=r"4 GiB, 1\.55 hours of float at 192000 Hz.* takes 4\.00; .*flac"):
        render_file(heron, still_hand(0.3, 4 * 3600.0), tmp_path / "long.wav", 192_000, "float", progress=told.append)
    assert told == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_twenty_minutes_take_bounded_memory_and_are_the_same_in_ragged_pieces(tmp_path):
    """As doubles in one piece these would be 230 MB in each stage of the sound, beside some 100 MB of the rest."""
    length = ("--hours", str(1.0 / 3.0), "--rate", "24000")
    figures = figures_of("soak_offline.py", *length, "--folder", str(tmp_path), timeout=600.0)
    assert figures["identical"], figures
    assert figures["frames"] == 1200 * 24000 + 1 + 1200  # both ends of the path, and the closing fade of 0.05 s
    assert figures["command_peak_mb"] < LARGEST_MEMORY, figures
    assert figures["pieces_peak_mb"] < LARGEST_MEMORY, figures


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("Xvfb") is None or shutil.which("pulseaudio") is None, reason="needs the live tools")
def test_the_live_soak_measures_what_it_says():
    """A few seconds on a machine that may be busy: that both streams ran and were timed, not how well."""
    figures = figures_of("soak_live.py", "--seconds", "5", timeout=200.0, codes=(0, 1))
    for stream in ("play", "idle_sine"):
        assert figures[stream]["frames_a_block"] == 128.0
        assert figures[stream]["blocks"] > 1000
        assert 0.0 < figures[stream]["processor_median"] <= figures[stream]["processor_999"]
    assert figures["play"]["processor_median"] > figures["idle_sine"]["processor_median"]
    assert "dropout" in figures["said"]
    assert all(20.0 < size < 1000.0 for size in (*figures["memory_window_mb"], *figures["memory_sound_mb"]))


@pytest.mark.soak
def test_ten_minutes_of_live_play_beside_an_idle_sine():
    """For a quiet machine, by hand: pytest -m soak."""
    figures = figures_of("soak_live.py", "--seconds", "600", timeout=900.0)
    assert figures["faults"] == [], figures


@pytest.mark.soak
def test_four_hours_at_the_full_sample_rate(tmp_path):
    figures = figures_of("soak_offline.py", "--hours", "4", "--rate", "48000", "--folder", str(tmp_path), timeout=900.0)
    assert figures["identical"], figures
    assert max(figures["command_peak_mb"], figures["pieces_peak_mb"]) < LARGEST_MEMORY, figures
