"""The audio process on a virtual sound card: latency from gesture to sound, a card that vanishes, processes killed."""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_instrument import make_instrument

from synth.live.speaker import Speaker

pytestmark = pytest.mark.slow

RATE = 48000
DEVICE_LATENCY = 0.010  # s
GOAL = 0.030  # s from gesture to sound on such a device
TIMEOUT = 30.0


@pytest.fixture
def on_stage(stage: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    for name, value in stage.environment.items():
        monkeypatch.setenv(name, value)
    return stage


class Monitor:
    """Records what the card plays, and when each piece of it arrived."""

    def __init__(self, stage: Any) -> None:
        command = ["parec", "--device=stage.monitor", "--raw", "--format=float32le", "--channels=1", f"--rate={RATE}"]
        command += ["--latency-msec=5", "--process-time-msec=2"]
        self._process = subprocess.Popen(command, env=stage.environment, stdout=subprocess.PIPE, bufsize=0)
        self._pieces: list[tuple[float, bytes]] = []
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        while piece := os.read(self._process.stdout.fileno(), 65536):
            self._pieces.append((time.monotonic(), piece))

    def close(self) -> None:
        self._process.terminate()
        self._process.wait()
        self._thread.join()

    def first_sound(self, after: float, level: float) -> float:
        """When the first piece with a sample above `level` arrived after a moment (monotonic, s)."""
        for moment, piece in self._pieces:
            samples = np.frombuffer(piece[: len(piece) // 4 * 4], np.float32)
            if moment > after and np.abs(samples).max(initial=0.0) > level:
                return moment
        return float("nan")


@pytest.fixture
def monitor(on_stage: Any) -> Iterator[Monitor]:
    monitor = Monitor(on_stage)
    yield monitor
    monitor.close()


def test_from_gesture_to_sound_in_thirty_milliseconds(on_stage: Any, monitor: Monitor) -> None:
    """The figure the program measures, and the sound itself as the card's monitor hears it, the recorder's own latency
    of some milliseconds included. A busy machine delays everybody: the median of many gestures counts."""
    with Speaker(make_instrument(), latency=DEVICE_LATENCY) as speaker:
        if speaker.device_error is not None:
            on_stage.missing(f"the virtual sound card does not work: {speaker.device_error}")
        speaker.set_level(1.0)
        moments, told = [], []
        for number in range(10):
            for volume, seconds in ((0.0, 0.2 + 0.013 * (number % 7)), (1.0, 0.2)):
                now = time.monotonic()
                if volume:
                    moments.append(now)
                while time.monotonic() < now + seconds:
                    speaker.move(0.05, volume, time.monotonic())
                    time.sleep(0.004)
            told.append(speaker.meters().gesture_latency)
        reported = speaker.meters().latency
    time.sleep(0.2)
    heard = [monitor.first_sound(moment, 0.02) - moment for moment in moments]
    assert 0.5 * reported < np.median(told) <= GOAL
    assert 0.002 < np.nanmedian(heard) <= GOAL
    assert np.isfinite(heard).all()


def test_a_card_that_vanishes_and_comes_back(on_stage: Any, tmp_path: Path) -> None:
    with Speaker(make_instrument(), latency=DEVICE_LATENCY) as speaker:
        speaker.move(0.2, 1.0)
        speaker.record(tmp_path / "take.wav")
        on_stage.wait_for(lambda: speaker.meters().recorded_frames > 4800, "a recording")
        on_stage.kill_sound()
        try:
            on_stage.wait_for(lambda: speaker.device_error is not None, "the message", TIMEOUT)
            assert "Press the key shown to restart" in (speaker.device_error or "")
            on_stage.wait_for(lambda: not speaker.meters().sounding, "the silent clock", TIMEOUT)
            frames = speaker.meters().frames
            on_stage.wait_for(lambda: speaker.meters().frames > frames + RATE // 4, "it to go on", TIMEOUT)
        finally:
            on_stage.start_sound()
        speaker.restart()
        assert speaker.device_error is None
        assert speaker.recordings[-1].error is None  # what was played while the card was gone is in it
        assert (tmp_path / "take.wav").exists()
        on_stage.wait_for(lambda: speaker.meters().sounding and speaker.meters().peak > 0.05, "sound", TIMEOUT)


def test_a_killed_audio_process_leaves_the_card_free(on_stage: Any, monitor: Monitor) -> None:
    with Speaker(make_instrument(), latency=DEVICE_LATENCY) as speaker:
        speaker.move(0.05, 1.0)
        assert speaker.process_id is not None
        os.kill(speaker.process_id, signal.SIGKILL)
        on_stage.wait_for(lambda: "ended unexpectedly" in (speaker.device_error or ""), "the message")
        moment = time.monotonic()
        speaker.restart()
        assert speaker.device_error is None
        on_stage.wait_for(lambda: np.isfinite(monitor.first_sound(moment, 0.02)), "the sound")
