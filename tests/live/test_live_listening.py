"""`beatfield listen` on a virtual sound card: a rendered sweep played into it comes back as the design's field."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from scipy.signal import correlate

from models.arrays import Floats
from models.pitch import cents
from synth.build.workbench import open_design
from synth.hands.hand_path import HandPath
from synth.listening.tracker import track_pitch
from synth.sound.offline import rendered_blocks
from synth.sound.voice import SMOOTHING_TIME

pytestmark = pytest.mark.slow

RATE = 48000
DESIGN = Path(__file__).resolve().parents[2] / "demos" / "meadow.toml"
REST, SWEEP = 1.6, 3.0  # s
FAR, NEAR = 0.40, 0.12  # m
TIMES = np.array([0.0, REST, REST + SWEEP, 2.0 * REST + SWEEP])
HAND = np.array([FAR, FAR, NEAR, NEAR])


@pytest.fixture(scope="module")
def field() -> Any:
    return open_design(DESIGN).field


@pytest.fixture(scope="module")
def played(stage: Any) -> Floats:
    path = HandPath(TIMES, HAND, np.ones(4))
    return np.concatenate(list(rendered_blocks(open_design(DESIGN), path, RATE)))


@pytest.fixture(scope="module")
def listened(stage: Any, played: Floats) -> dict[str, Any]:
    """The program listens to the card's monitor, keeps the sound as asked, and takes a reading at each end."""
    sound, readings, take = (stage.folder / name for name in ("sweep.wav", "readings.csv", "take.wav"))
    soundfile.write(sound, played, RATE, subtype="PCM_16")
    heard = stage.folder / "monitor.conf"
    heard.write_text(
        (stage.folder / "asound.conf").read_text()
        + f'pcm.heard {{ type pulse server "unix:{stage.folder / "native"}" device "stage.monitor" }}\n'
    )
    environment = stage.environment | {"ALSA_CONFIG_PATH": f"/usr/share/alsa/alsa.conf:{heard}"}
    command = [sys.executable, "-m", "synth", "listen", "--yes", "--device", "heard", "--record", str(take)]
    command += ["--readings", str(readings), "--marks", f"{100 * FAR:g}cm,{100 * NEAR:g}cm"]
    listener = subprocess.Popen(
        command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert listener.stdin is not None
    assert listener.stderr is not None
    said = []
    try:
        while "Enter takes a reading" not in (said[-1] if said else ""):
            line = listener.stderr.readline()
            assert line, said
            said.append(line)
        player = subprocess.Popen(["paplay", "--device=stage", str(sound)], env=stage.environment)
        began = time.monotonic()
        for moment in (REST - 0.4, 2.0 * REST + SWEEP - 0.4):
            time.sleep(max(began + moment - time.monotonic(), 0.0))
            listener.stdin.write("\n")
            listener.stdin.flush()
        player.wait(30.0)
        out, err = listener.communicate("q\n", timeout=30.0)
    finally:
        listener.kill()
        listener.wait()
    samples, rate = soundfile.read(take)
    return {
        "said": "".join(said) + err,
        "out": out,
        "code": listener.returncode,
        "readings": readings.read_text(),
        "samples": samples,
        "rate": rate,
    }


def test_the_program_says_what_it_does_and_ends_well(listened: dict[str, Any]) -> None:
    assert listened["code"] == 0, listened["said"]
    assert "listens to the sound input heard" in listened["said"]
    assert "the sound goes into" in listened["said"]
    assert "Recorded take.wav" in listened["said"]
    assert listened["out"].count("cm") == 2


def test_the_sweep_comes_back_as_the_designs_field(listened: dict[str, Any], played: Floats, field: Any) -> None:
    samples, rate = listened["samples"], listened["rate"]
    assert rate == RATE
    lag = int(np.argmax(correlate(samples, played, mode="full", method="fft"))) - played.size + 1
    track = track_pitch(samples[max(lag, 0) : max(lag, 0) + played.size], rate)
    inner = (track.times > 0.3) & (track.times < TIMES[-1] - 0.2)
    inner &= np.abs(track.times[:, None] - TIMES[1:3]).min(axis=1) > 0.06  # a window sees both sides of a corner
    assert np.isfinite(track.frequencies[inner]).mean() > 0.99
    wanted = field.frequency_at(np.interp(track.times[inner] - SMOOTHING_TIME, TIMES, HAND))
    off = np.abs(cents(np.nan_to_num(track.frequencies[inner], nan=1.0), wanted))
    assert np.median(off) < 0.5
    assert np.mean(off < 2.0) > 0.97  # what a busy machine loses of the sound is some hundredths at most


def test_the_readings_are_the_fields(listened: dict[str, Any], field: Any) -> None:
    head, *lines = listened["readings"].splitlines()
    assert head == "hand_distance,pitch"
    assert [line.split(",")[0] for line in lines] == ["0.4 m", "0.12 m"]
    pitches = [float(line.split(",")[1].split()[0]) for line in lines]
    scale = [1e3 if line.endswith("kHz") else 1.0 for line in lines]
    read = np.array(pitches) * scale
    assert np.abs(cents(read, field.frequency_at(np.array([FAR, NEAR])))).max() < 2.0
