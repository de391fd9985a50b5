"""One real run of `beatfield lesson slide --live`: the pointer moves the second tone, a key chooses the detector."""

from __future__ import annotations

import subprocess
import sys
import time
from typing import Any

import numpy as np
import pytest

from synth.lessons.setup import open_setup
from synth.window.layout import lay_out_lesson

RATE = 48_000
SIZE = (1280, 720)
HELD = 1.8  # s on each sound
PLACE = 0.37


@pytest.fixture(scope="module")
def run(stage: Any) -> dict[str, Any]:
    """Caution, plain sum, detector, quit: the recording between the steps, two pictures, exit code."""
    open_setup()  # where another process is about to solve the same hand field: wait for it
    log_path, record_path = stage.folder / "lesson.log", stage.folder / "lesson.raw"
    recording = ["parec", "--device=stage.monitor", "--raw", "--format=float32le", "--channels=1", f"--rate={RATE}"]
    playing = [sys.executable, "-m", "synth", "lesson", "slide", "--live", "--size", f"{SIZE[0]}x{SIZE[1]}"]
    pad = lay_out_lesson(SIZE).pad
    spot = pad.left + round(PLACE * (pad.width - 1)), pad.top + 5
    marks: dict[str, int] = {}
    with record_path.open("wb") as record, log_path.open("wb") as log:
        monitor = subprocess.Popen(recording, env=stage.environment, stdout=record, stderr=subprocess.DEVNULL)
        player = subprocess.Popen(playing, env=stage.environment, stdout=log, stderr=log)
        try:
            window = wait_for_window(stage, player, log_path)

            def mark(name: str) -> None:
                marks[name] = record_path.stat().st_size // 4

            def press(key: str) -> None:
                stage.run("xdotool", "windowfocus", window, "key", key)

            stage.run("xdotool", "mousemove", "--window", window, str(spot[0] - 1), str(spot[1]))
            stage.run("xdotool", "mousemove", "--window", window, str(spot[0]), str(spot[1]))
            time.sleep(1.2)
            mark("caution ends")
            press("Return")
            time.sleep(HELD)
            mark("sum ends")
            press("2")
            time.sleep(HELD)
            mark("detector ends")
            stage.picture(window, stage.folder / "lesson.bmp")
            press("q")
            code = player.wait(20.0)
        finally:
            for process in (player, monitor):
                process.terminate()
                process.wait(10.0)
    samples = np.fromfile(record_path, np.float32).astype(np.float64)
    return {
        "samples": samples,
        "marks": marks,
        "code": code,
        "log": log_path.read_text(),
        "picture": stage.folder / "lesson.bmp",
        "place": (spot[0] - pad.left) / (pad.width - 1),
    }


def wait_for_window(stage: Any, player: Any, log_path: Any) -> str:
    found: list[str] = []

    def there() -> bool:
        assert player.poll() is None, log_path.read_text()
        search = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--pid", str(player.pid)],
            env=stage.environment,
            capture_output=True,
            text=True,
            check=False,
        )
        found[:] = search.stdout.split()
        return bool(found)

    stage.wait_for(there, "the lesson's window", 60.0)
    if "No sound" in log_path.read_text():
        stage.missing("the virtual sound card does not work (Debian package libasound2-plugins)")
    time.sleep(1.5)  # the audio process has its 0.1 s of run-in behind it
    return found[-1]


def lines_before(run: dict[str, Any], name: str) -> list[float]:
    """Frequencies of the lines within 40 dB of the strongest, in a second that ends a quarter before a mark (the rest
    may still be on its way through the sound card); up to half a second earlier where a busy machine left a hole in it.
    """
    last = run["marks"][name] - RATE // 4
    pieces = [run["samples"][end - RATE : end] for end in range(last, last - RATE // 2, -RATE // 20)]
    piece = next((piece for piece in pieces if not has_hole(piece)), pieces[0])
    size = np.abs(np.fft.rfft(piece * np.blackman(piece.size)))
    tops = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] >= size[2:]) & (size[1:-1] > 0.01 * size.max())) + 1
    return [float(top) for top in tops if top > 30]


def has_hole(piece: np.ndarray) -> bool:
    """Whether a row of 32 samples is silent, as the sound card leaves them where a block came too late."""
    return bool((np.convolve(piece != 0.0, np.ones(32), "valid") < 0.5).any())


def test_silent_until_the_caution_is_answered(run):
    end = run["marks"]["caution ends"]
    assert np.abs(run["samples"][max(0, end - RATE) : end]).max() < 1e-6


def test_plain_sum_has_two_lines(run):
    """1000 Hz and the second tone where the pointer stands; nothing at their difference."""
    second = 1000.0 + 1000.0 * run["place"]
    found = lines_before(run, "sum ends")
    assert min(abs(line - 1000.0) for line in found) <= 1.0
    assert min(abs(line - second) for line in found) <= 2.0
    assert min(abs(line - (second - 1000.0)) for line in found) > 5.0


def test_detector_adds_the_difference(run):
    second = 1000.0 + 1000.0 * run["place"]
    found = lines_before(run, "detector ends")
    for wanted in (1000.0, second, second - 1000.0, second + 1000.0, 2000.0, 2.0 * second):
        assert min(abs(line - wanted) for line in found) <= 3.0, wanted


def test_level_is_safe_and_the_window_closes(run):
    assert run["code"] == 0, run["log"]
    assert 20 * np.log10(np.abs(run["samples"]).max()) <= -19.9
    assert run["picture"].stat().st_size > 10_000
