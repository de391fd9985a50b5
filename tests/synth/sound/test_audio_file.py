"""Sound files, read back with libsndfile and checked against the WAV header (Microsoft/IBM RIFF, 1991; from memory)."""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from synth.errors import DesignError, DeviceError
from synth.sound.audio_file import AudioWriter

RATE = 48000


def _sine(frames: int, level: float = 0.5) -> np.ndarray:
    return level * np.sin(2.0 * np.pi * 440.0 * np.arange(frames) / RATE)


@pytest.mark.parametrize(
    ("name", "subtype", "stored", "step"),
    [
        ("a.wav", "pcm16", "PCM_16", 1.5 * 2.0**-15 + 1e-12),  # half a step and a step of dither
        ("a.wav", "pcm24", "PCM_24", 0.5 * 2.0**-23 + 1e-12),
        ("a.wav", "float", "FLOAT", 2.0**-24),
        ("a.flac", "pcm16", "PCM_16", 1.5 * 2.0**-15 + 1e-12),
        ("a.flac", "pcm24", "PCM_24", 0.5 * 2.0**-23 + 1e-12),
        ("a.WAV", "16", "PCM_16", 1.5 * 2.0**-15 + 1e-12),
    ],
)
def test_samples_come_back(tmp_path: Path, name: str, subtype: str, stored: str, step: float) -> None:
    sound = _sine(5000)
    with AudioWriter(tmp_path / name, RATE, subtype, title="Zw\u00f6lf", comment="design abc") as writer:
        for start in range(0, sound.size, 777):
            writer.write(sound[start : start + 777])
    assert (writer.frames, writer.clipped) == (5000, 0)
    assert writer.peak == np.abs(sound).max()
    back, rate = soundfile.read(tmp_path / name)
    assert rate == RATE
    assert np.abs(back - sound).max() <= step
    with soundfile.SoundFile(tmp_path / name) as file:
        assert (file.subtype, file.channels, file.title, file.comment) == (stored, 1, "Zw\u00f6lf", "design abc")
        assert file.software.startswith("Beatfield ")
    assert os.listdir(tmp_path) == [name]


def test_header_of_a_wav(tmp_path: Path) -> None:
    with AudioWriter(tmp_path / "a.wav", 44100, "pcm16") as writer:
        writer.write(np.zeros(10))
    data = (tmp_path / "a.wav").read_bytes()
    assert data[:4] == b"RIFF"
    assert data[8:16] == b"WAVEfmt "
    assert struct.unpack_from("<IHHIIHH", data, 16) == (16, 1, 1, 44100, 88200, 2, 16)
    assert struct.unpack_from("<I", data, 4)[0] == len(data) - 8


def test_dither_turns_distortion_into_noise(tmp_path: Path) -> None:
    """A tone of 0.4 steps vanishes without dither; with it, it comes out at its level, the noise being 0.5 steps.

    Noise of triangular dither: 1/12 + 2/12 = 1/4 of a squared step (Lipshitz, Wannamaker and Vanderkooy 1992;
    from memory).
    """
    step = 2.0**-15
    sound = _sine(RATE, 0.4 * step)
    with AudioWriter(tmp_path / "a.wav", RATE, "pcm16") as writer:
        writer.write(sound)
    back, _ = soundfile.read(tmp_path / "a.wav")
    assert 2.0 * np.mean(back * sound) / (0.4 * step) == pytest.approx(0.4 * step, rel=0.05)
    assert np.std(back - sound) == pytest.approx(0.5 * step, rel=0.02)
    assert abs(np.mean(back)) < 0.02 * step


def test_blocks_do_not_matter(tmp_path: Path) -> None:
    sound = _sine(3000)
    for name, size in (("one.wav", 3000), ("many.wav", 64)):
        with AudioWriter(tmp_path / name, RATE, "pcm16") as writer:
            for start in range(0, sound.size, size):
                writer.write(sound[start : start + size])
    assert (tmp_path / "one.wav").read_bytes() == (tmp_path / "many.wav").read_bytes()


@pytest.mark.parametrize("subtype", ["pcm16", "pcm24", "float"])
def test_counts_clipped_samples(tmp_path: Path, subtype: str) -> None:
    with AudioWriter(tmp_path / "a.wav", RATE, subtype) as writer:
        writer.write(np.array([0.0, 1.0, -1.0, 1.5, -2.0]))
    assert (writer.clipped, writer.peak) == (2, 2.0)
    back, _ = soundfile.read(tmp_path / "a.wav")
    high, low = (1.5, -2.0) if subtype == "float" else (1.0, -1.0)
    np.testing.assert_allclose(back[3:], [high, low], atol=1e-4)


def test_existing_file_needs_force(tmp_path: Path) -> None:
    target = tmp_path / "a.wav"
    target.write_bytes(b"precious")
    with pytest.raises(DesignError, match="--force"), AudioWriter(target, RATE):
        pass
    assert target.read_bytes() == b"precious"
    with AudioWriter(target, RATE, force=True) as writer:
        writer.write(_sine(100))
    assert soundfile.info(target).frames == 100


@pytest.mark.parametrize("error", [RuntimeError("boom"), KeyboardInterrupt()])
def test_nothing_is_left_after_an_error(tmp_path: Path, error: BaseException) -> None:

    def write() -> None:
        with AudioWriter(tmp_path / "a.wav", RATE) as writer:
            writer.write(_sine(100))
            raise error

    with pytest.raises(type(error)):
        write()
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("name", "rate", "subtype", "part"),
    [
        ("a.mp3", RATE, "pcm16", ".wav or .flac"),
        ("a", RATE, "pcm16", ".wav or .flac"),
        ("a.flac", RATE, "float", "whole numbers only"),
        ("a.wav", RATE, "pcm12", "choose pcm16"),
        ("a.wav", 100, "pcm16", "8000 to 192000"),
        ("a.wav", 48000.5, "pcm16", "8000 to 192000"),
        ("a.wav", float("nan"), "pcm16", "8000 to 192000"),
        ("a.wav", True, "pcm16", "8000 to 192000"),
        ("none/a.wav", RATE, "pcm16", "does not exist"),
    ],
)
def test_refuses_with_a_remedy(tmp_path: Path, name: str, rate: int, subtype: str, part: str) -> None:
    with pytest.raises(DesignError, match=part), AudioWriter(tmp_path / name, rate, subtype):
        pass


def test_refuses_samples_that_are_none(tmp_path: Path) -> None:
    for block in (np.array([0.0, np.nan]), np.zeros((2, 2))):
        with pytest.raises(ValueError, match="block must"), AudioWriter(tmp_path / "a.wav", RATE) as writer:
            writer.write(block)
    assert os.listdir(tmp_path) == []
    with pytest.raises(ValueError, match="with block"):
        AudioWriter(tmp_path / "a.wav", RATE).write(np.zeros(1))


def test_a_wav_never_outgrows_its_header(tmp_path: Path) -> None:
    small = AudioWriter(tmp_path / "a.wav", RATE, "pcm16", largest=1000)
    with pytest.raises(DesignError, match="4 GiB"), small as writer:
        writer.write(np.zeros(501))
    with AudioWriter(tmp_path / "a.flac", RATE, "pcm16", largest=1000) as writer:
        writer.write(np.zeros(501))


_FULL = """
import resource, sys, numpy as np
sys.dont_write_bytecode = True  # a module's would be cut short, and stay
from synth.sound.audio_file import AudioWriter
from synth.errors import DeviceError
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    with AudioWriter(sys.argv[1], 48000, "pcm24") as writer:
        for _ in range(100):
            writer.write(np.zeros(4096))
except DeviceError as error:
    print("refused:", error)
"""


@pytest.mark.skipif(os.name != "posix", reason="needs a limit on file sizes as POSIX systems have")
def test_a_disk_that_takes_no_more_is_a_device_error(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", _FULL, str(tmp_path / "a.wav")], capture_output=True, text=True, check=False
    )
    assert run.stdout.startswith("refused:"), run.stderr
    assert "space left" in run.stdout
    assert os.listdir(tmp_path) == []


def test_a_file_that_is_cut_short_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(soundfile.SoundFile, "write", lambda self, data: None)
    with pytest.raises(DeviceError, match="0 of 100 frames"), AudioWriter(tmp_path / "a.wav", RATE) as writer:
        writer.write(np.zeros(100))
    assert os.listdir(tmp_path) == []
