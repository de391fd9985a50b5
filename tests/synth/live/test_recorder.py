"""Recordings are never thrown away: killed, refused by the disk, longer than a WAV can be."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from synth.errors import DeviceError
from synth.files.atomic_file import write_text
from synth.files.unfinished import PREFIX, recovered
from synth.live.recorder import Recorder
from synth.sound.audio_file import AudioWriter

RATE = 48_000
BLOCK = 0.5 * np.sin(2.0 * np.pi * 440.0 * np.arange(4800) / RATE)
DYING = """
import os, signal, sys
import numpy as np
from pathlib import Path
from synth.sound.audio_file import AudioWriter
with AudioWriter(Path(sys.argv[1]), 48000, title="A take", kept=True) as writer:
    for _ in range(3):
        writer.write(0.5 * np.sin(2.0 * np.pi * 440.0 * np.arange(4800) / 48000))
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_a_killed_recording_is_put_right_and_named_by_the_next_run(tmp_path: Path) -> None:
    for name in ("take.wav", "take.flac"):
        child = subprocess.run([sys.executable, "-c", DYING, str(tmp_path / name)], capture_output=True)
        assert child.returncode == -signal.SIGKILL, child.stderr
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == [f"{PREFIX}take.flac", f"{PREFIX}take.wav"]
    write_text(tmp_path / "other.txt", "a run that writes here removes what others left, but no recording")
    (tmp_path / "take.wav").write_bytes(b"somebody else's")
    assert recovered(tmp_path) == [tmp_path / "take.flac", tmp_path / "take-2.wav"]
    samples, rate = soundfile.read(tmp_path / "take-2.wav")
    assert rate == RATE
    np.testing.assert_allclose(samples, np.tile(BLOCK, 3), atol=2.0**-23)
    assert (tmp_path / "take.wav").read_bytes() == b"somebody else's"
    assert recovered(tmp_path) == []


def test_a_running_recording_is_nobodys_left_over(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "take.wav", RATE)
    assert recovered(tmp_path) == []
    recorder.put(BLOCK)
    assert recorder.finish().error is None
    assert soundfile.info(tmp_path / "take.wav").frames == BLOCK.size


def test_nothing_written_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / f"{PREFIX}empty.wav").write_bytes(b"")
    (tmp_path / f"{PREFIX}short.wav").write_bytes(b"RIFF\0\0\0\0WAVEfmt ")
    assert recovered(tmp_path) == []
    assert list(tmp_path.iterdir()) == []


def test_what_was_written_before_an_error_is_a_valid_file(tmp_path: Path) -> None:
    writer = AudioWriter(tmp_path / "take.wav", RATE, kept=True)

    def fail() -> None:
        with writer:
            writer.write(BLOCK)
            writer.write(np.full(1, np.nan))

    with pytest.raises(ValueError, match="finite"):
        fail()
    assert soundfile.info(tmp_path / "take.wav").frames == BLOCK.size
    assert [path.name for path in tmp_path.iterdir()] == ["take.wav"]


def test_a_recording_longer_than_a_wav_goes_on_in_a_second_file(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "long.wav", RATE, largest=3 * 2 * BLOCK.size)  # 24 bits: two blocks a file
    for count in range(5):
        recorder.put((count + 1) / 10.0 * BLOCK)
    recording = recorder.finish()
    assert (recording.frames, recording.error) == (5 * BLOCK.size, None)
    files = [tmp_path / name for name in ("long.wav", "long-2.wav", "long-3.wav")]
    assert sorted(tmp_path.iterdir()) == sorted(files)
    whole = np.concatenate([soundfile.read(file)[0] for file in files])
    np.testing.assert_allclose(whole, np.concatenate([(n + 1) / 10.0 * BLOCK for n in range(5)]), atol=2.0**-23)


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() != 0, reason="needs the right to mount a small disk")
def test_a_full_disk_ends_the_recording_with_what_fitted(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "beatfield-test", str(disk)]
    if shutil.which("mount") is None or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("no right to mount a small disk")
    try:
        recorder = Recorder(disk / "take.wav", RATE)
        for _ in range(40):
            recorder.put(BLOCK)
        recording = recorder.finish()
        assert recording.error is not None
        assert "what was recorded until then is in take.wav" in recording.error
        samples, _ = soundfile.read(disk / "take.wav")
        assert samples.size >= 10 * BLOCK.size
        np.testing.assert_allclose(samples[: BLOCK.size], BLOCK, atol=2.0**-23)
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_file_that_exists_is_refused(tmp_path: Path) -> None:
    (tmp_path / "take.wav").write_bytes(b"")
    with pytest.raises((DeviceError, ValueError), match="exists already"):
        Recorder(tmp_path / "take.wav", RATE)
