"""One real window: fast pointer, sizes, a take kept, the audio process killed and the sound started again by its key;
then its sound card goes away and comes back, and at last its screen goes away.

Pointer events: a pointer moved 500 times a second for 5 s through XTest put 2500 events into the ring of hand events
while the window drew 60 pictures a second, time stamps 2.24 ms apart in the median and 3.5 ms at the 99th percentile
(two-core virtual machine, nothing else running); at 1000 a second 5000 of 5000 arrived.
"""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pitch_heard import pitch_of

from synth.build.workbench import open_design
from synth.window import palette
from synth.window.layout import lay_out
from synth.window.scale import StageScale, usual_view
from synth.window.screen import EXIT_CODE, MESSAGE

pytestmark = pytest.mark.slow

RATE = 48000
HERE = Path(__file__).resolve().parent
DESIGN = HERE.parents[1] / "demos" / "meadow.toml"
SIZES = ((1024, 640), (2560, 1440))
FIRST = (1280, 720)
MOVES, SECONDS = 500, 2  # a second, for so long
DISTANCE = 0.15  # m


@dataclass
class Run:
    """The window's process, its number on the screen and its files; what was seen and heard on the way."""

    player: subprocess.Popen[bytes]
    window: str
    folder: Path
    log: Path
    pid_file: Path
    pictures: dict[tuple[int, int], Any] = field(default_factory=dict)
    sent: int = 0
    fast: tuple[float, float] = (0.0, 0.0)
    frequency: float = 0.0
    after_restart: Any = None
    numbers: tuple[str, str] = ("", "")
    figures: dict[str, Any] = field(default_factory=dict)
    take: Path | None = None


def window_of(stage: Any, player: Any, log: Path) -> str:
    found: list[str] = []

    def there() -> bool:
        assert player.poll() is None, log.read_text()
        search = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--pid", str(player.pid)],
            env=stage.environment,
            capture_output=True,
            text=True,
        )
        found[:] = search.stdout.split()
        return bool(found)

    stage.wait_for(there, "the window", 40.0)
    return found[0]


def corner(stage: Any, window: str) -> tuple[int, int]:
    told = dict(line.split("=") for line in stage.run("xdotool", "getwindowgeometry", "--shell", window).split())
    return int(told["X"]), int(told["Y"])


@pytest.fixture(scope="module")
def run(stage: Any) -> Iterator[Run]:
    """A run up to the sound started again; the window stays open for what the last tests do to it."""
    folder = stage.folder / "window"
    folder.mkdir()
    report, log, record = folder / "report.json", folder / "window.log", folder / "monitor.raw"
    monitoring = ["parec", "--device=stage.monitor", "--raw", "--format=float32le", "--channels=1", f"--rate={RATE}"]
    with record.open("wb") as raw, log.open("wb") as text:
        monitor = subprocess.Popen([*monitoring, "--latency-msec=50"], env=stage.environment, stdout=raw)
        player = subprocess.Popen(
            [sys.executable, str(HERE / "timed_window.py"), str(DESIGN), str(report)],
            env=stage.environment,
            stdout=text,
            stderr=text,
        )
        try:
            yield perform(stage, player, report, log, record)
        finally:
            for process in (player, monitor):
                process.kill()
                process.wait(10.0)


def perform(stage: Any, player: Any, report: Path, log: Path, record: Path) -> Run:
    window, pid_file = window_of(stage, player, log), report.with_suffix(".pid")
    done = Run(player, window, report.parent, log, pid_file)

    def do(*command: str) -> None:
        stage.run("xdotool", command[0], "--window", window, *command[1:])

    pitch_field = open_design(DESIGN).field
    curve, stage_box = pitch_field.instrument.curve, lay_out(FIRST).stage
    shown = usual_view(pitch_field.notes(), pitch_field.zero_beat_distance, curve.farthest)
    scale = StageScale(stage_box, shown.width, curve.nearest, curve.farthest, start=shown.start)
    column, row = round(scale.x_of(DISTANCE)), round(scale.y_of(0.9))
    done.frequency = abs(float(pitch_field.frequency_at(scale.distance_at(column))))
    stage.wait_for(pid_file.exists, "the first picture")
    left, top = corner(stage, window)
    ends = str(left + stage_box.left + 50), str(left + stage_box.right - 50)
    do("mousemove", str(column), str(row))
    stage.run("xdotool", "click", "1")  # asks for sound
    before = time.monotonic()
    told = stage.run(
        sys.executable, str(HERE / "fast_pointer.py"), str(MOVES), str(SECONDS), str(top + stage_box.center[1]), *ends
    )
    done.fast, done.sent = (before, time.monotonic()), int(told.split()[0])
    do("mousemove", str(column), str(row))
    time.sleep(1.2)
    do("key", "k")
    stage.wait_for(lambda: len(list(report.parent.glob("[!.]*.csv"))) == 1, "the take")
    done.take = next(report.parent.glob("[!.]*.csv"))
    stage.run("xdotool", "windowmove", window, "0", "0")
    for size in SIZES:
        stage.run("xdotool", "windowsize", window, *map(str, size))
        time.sleep(1.0)
        done.pictures[size] = picture_of(stage, window, report.with_name(f"{size[0]}.bmp"))
    stage.run("xdotool", "windowsize", window, *map(str, FIRST))
    time.sleep(0.5)
    first = pid_file.read_text()
    os.kill(int(first), signal.SIGKILL)
    time.sleep(0.5)
    done.pictures[FIRST] = picture_of(stage, window, report.with_name("lost.bmp"))
    do("key", "b")
    stage.wait_for(lambda: pid_file.read_text() not in ("", "None", first), "another audio process")
    done.numbers = first, pid_file.read_text()
    do("mousemove", str(column), str(row))
    stage.run("xdotool", "click", "1")
    do("mousemove", str(column - 1), str(row))
    do("mousemove", str(column), str(row))
    stage.wait_for(lambda: bool(np.abs(latest(record)[-RATE // 10 :]).max(initial=0.0) > 0.02), "the sound again")
    time.sleep(1.2)
    done.after_restart = latest(record)
    done.figures = json.loads(report.read_text())
    return done


def latest(record: Path) -> Any:
    """The last second of the monitor's raw recording."""
    with record.open("rb") as raw:
        raw.seek(max(0, record.stat().st_size // 4 - RATE) * 4)
        return np.frombuffer(raw.read(4 * RATE), np.float32).astype(np.float64)


def picture_of(stage: Any, window: str, path: Path) -> Any:
    import pygame

    return pygame.surfarray.array3d(pygame.image.load(str(stage.picture(window, path))))


def test_a_fast_pointer_arrives_whole(run: Run) -> None:
    """At least 250 events a second, of the 500 that were sent, each with a time of its own."""
    times = np.array([moment for moment in run.figures["events"] if run.fast[0] <= moment <= run.fast[1] + 0.1])
    assert run.sent == MOVES * SECONDS
    assert times.size >= 0.5 * run.sent
    assert np.unique(times).size >= 0.5 * run.sent
    assert np.median(np.diff(times)) <= 0.004


@pytest.mark.parametrize("size", [*SIZES, FIRST])
def test_nothing_is_drawn_outside_the_parts(run: Run, size: tuple[int, int]) -> None:
    """Every part shows something, and the picture is the ground's colour wherever there is no part."""
    picture, layout = run.pictures[size], lay_out(size)
    assert picture.shape[:2] == size
    outside = np.ones(size, bool)
    for name, box in layout.seen.items():
        outside[box.left : box.right, box.top : box.bottom] = False
        seen = picture[box.left : box.right, box.top : box.bottom].reshape(-1, 3)
        if name not in ("sides", "flags", "notice"):  # empty with one design, nothing switched on, nothing to say
            assert (seen != seen[0]).any(), name
    strange = outside & (picture != palette.GROUND).any(axis=2)
    assert strange.sum() == 0, np.argwhere(strange)[:5]


def test_the_kept_take_holds_what_was_played_and_can_be_rendered(run: Run, tmp_path: Path) -> None:
    import soundfile

    assert run.take is not None
    samples, rate = soundfile.read(run.take.with_suffix(".wav"))
    assert abs(1200.0 * np.log2(pitch_of(samples[-rate // 2 :]) / run.frequency)) < 5.0
    with run.take.open() as text:
        rows = list(csv.DictReader(text))
    assert float(rows[-1]["time_s"]) == pytest.approx(samples.size / rate, abs=0.01)
    rendered = tmp_path / "again.wav"
    subprocess.run(
        [sys.executable, "-m", "synth", "render", str(DESIGN), "--hand", str(run.take), "-o", str(rendered)],
        check=True,
        capture_output=True,
    )
    again, again_rate = soundfile.read(rendered)
    assert again_rate == rate
    assert abs(1200.0 * np.log2(pitch_of(again[-rate // 2 :]) / run.frequency)) < 5.0


def warned(picture: Any) -> bool:
    """Whether the notice of a window of the first size holds a warning."""
    box = lay_out(FIRST).notice
    return bool((picture[box.left : box.right, box.top : box.bottom] == palette.YELLOW).all(axis=2).any())


def test_a_killed_audio_process_is_told_and_its_key_brings_the_sound_back(run: Run) -> None:
    assert warned(run.pictures[FIRST])
    assert run.numbers[0] != run.numbers[1]
    assert np.abs(run.after_restart).max() > 0.02
    assert abs(1200.0 * np.log2(pitch_of(run.after_restart) / run.frequency)) < 5.0


def test_a_card_that_vanishes_is_told_in_the_window_and_its_key_brings_the_sound_back(stage: Any, run: Run) -> None:
    def streams() -> bool:
        return bool(stage.run("pactl", "list", "short", "sink-inputs"))

    def shown(name: str) -> Any:
        time.sleep(0.25)  # a picture of the screen costs more than the window itself
        return picture_of(stage, run.window, run.folder / name)

    assert streams()
    assert not warned(shown("playing.bmp"))
    stage.kill_sound()
    stage.wait_for(lambda: warned(shown("soundless.bmp")), "the notice")
    stage.start_sound()
    stage.run("xdotool", "key", "--window", run.window, "b")
    stage.wait_for(streams, "the stream again")
    stage.wait_for(lambda: not warned(shown("again.bmp")), "the notice to go")
    assert "Traceback" not in run.log.read_text()


def test_a_screen_that_goes_away_ends_the_program_and_finishes_the_recording(stage: Any, run: Run) -> None:
    """The last test of the file: it takes the screen away."""
    import soundfile

    audio, before = int(run.pid_file.read_text()), set(run.folder.glob("*.wav"))
    stage.run("xdotool", "key", "--window", run.window, "r")
    time.sleep(1.0)
    stage.running[0].kill()
    assert run.player.wait(15.0) == EXIT_CODE
    assert MESSAGE in run.log.read_text()
    stage.wait_for(lambda: not Path(f"/proc/{audio}").exists(), "the end of the audio process")
    recordings = set(run.folder.glob("*.wav")) - before
    assert len(recordings) == 1
    samples, rate = soundfile.read(recordings.pop())
    assert samples.size > rate // 4
