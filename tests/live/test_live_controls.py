"""One real run of the controls: two designs on a virtual screen; keys, wheel and a dragged slider; sound recorded."""

from __future__ import annotations

import re
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pitch_heard import pitch_of

from synth.build.workbench import open_design
from synth.window.controls import CONTROLS, Settings
from synth.window.layout import Layout, lay_out
from synth.window.retune import retuned
from synth.window.scale import StageScale, usual_view
from synth.window.session import Session, session_of

pytestmark = pytest.mark.slow

RATE, SIZE = 48000, (1280, 720)
DEMOS = Path(__file__).resolve().parents[2] / "demos"
SETTLE, HOLD = 0.4, 0.6  # s
DISTANCE, SHARE = 0.15, 0.45  # m of the hand; of the way of the zero-beat slider


@dataclass
class Run:
    """Stretches of the recording (frames) with what should sound in them, Hz."""

    held: list[tuple[str, int, int, float]] = field(default_factory=list)
    samples: Any = None
    said: str = ""
    picture: Path | None = None


@pytest.fixture(scope="module")
def run(stage: Any) -> Iterator[Run]:
    session = session_of([open_design(DEMOS / f"{name}.toml") for name in ("meadow", "heron")])
    folder = stage.folder / "controls"
    folder.mkdir()
    record, log = folder / "monitor.raw", folder / "play.log"
    monitoring = ["parec", "--device=stage.monitor", "--raw", "--format=float32le", "--channels=1", f"--rate={RATE}"]
    playing = [sys.executable, "-m", "synth", "play", str(DEMOS / "meadow.toml"), str(DEMOS / "heron.toml")]
    playing += ["--size", f"{SIZE[0]}x{SIZE[1]}", "--record-dir", str(folder), "--latency", "40 ms"]
    with record.open("wb") as raw, log.open("wb") as text:
        monitor = subprocess.Popen([*monitoring, "--latency-msec=50"], env=stage.environment, stdout=raw)
        player = subprocess.Popen(playing, env=stage.environment, stdout=text, stderr=text)
        try:
            done = perform(stage, session, player, record, log)
        finally:
            for process in (player, monitor):
                process.terminate()
                process.wait(10.0)
    done.samples = np.fromfile(record, np.float32).astype(np.float64)
    done.said = log.read_text()
    yield done


def perform(stage: Any, session: Session, player: Any, record: Path, log: Path) -> Run:
    layout, done = lay_out(SIZE), Run()

    def window() -> str:
        assert player.poll() is None, log.read_text()
        found = subprocess.run(
            ["xdotool", "search", "--onlyvisible", "--pid", str(player.pid)],
            env=stage.environment,
            capture_output=True,
            text=True,
        )
        return found.stdout.split()[0] if found.stdout.split() else ""

    stage.wait_for(lambda: window() != "", "the window", 60.0)
    if "No sound" in log.read_text():
        stage.missing(f"the virtual sound card does not work: {log.read_text()}")
    place = window()

    def do(*command: str) -> None:
        stage.run("xdotool", command[0], "--window", place, *command[1:])

    def hold(name: str, frequency: float) -> None:
        time.sleep(SETTLE)
        begin = record.stat().st_size // 4
        time.sleep(HOLD)
        done.held.append((name, begin, record.stat().st_size // 4, abs(frequency)))

    meadow, heron = (side.tuned.instrument for side in session.sides)
    curve = meadow.curve
    field = session.tuned.field
    shown = usual_view(field.notes(), field.zero_beat_distance, curve.farthest)
    scale = StageScale(layout.stage, shown.width, curve.nearest, curve.farthest, start=shown.start)
    time.sleep(0.5)
    do("key", "Return")
    column, row = round(scale.x_of(DISTANCE)), round(scale.y_of(0.9))
    hand = scale.distance_at(column)
    do("mousemove", str(column), str(row))
    stage.run("xdotool", "click", "1")  # asks for sound
    hold("first", meadow.beat_frequency(hand))
    do("key", "o")
    hold("other design", heron.beat_frequency(hand))
    do("key", "o")
    hold("first again", meadow.beat_frequency(hand))
    do("key", "p")
    sounding, _ = session.tuned.heard(hand, 0.9, None, 0.0)  # the wrist stays
    assert sounding > hand
    hold("fingers closed", meadow.beat_frequency(sounding))
    do("key", "p")
    hold("open", meadow.beat_frequency(hand))
    done.picture = stage.picture(place, record.with_name("screen.bmp"))
    do("keydown", "space")  # off the stage the hand rests; it sounds as long as this key is down
    wanted = session.settings.control("zero_beat").value_at(drag(do, stage, layout))
    hold("zero beat dragged", tuned(session, zero_beat=wanted).beat_frequency(hand))
    do("key", "z")
    hold("undone", meadow.beat_frequency(hand))
    do("keyup", "space")
    do("key", "q")
    time.sleep(0.5)
    do("keydown", "Return")  # what is in memory may go
    player.wait(15.0)
    stage.run("xdotool", "keyup", "Return")
    return done


def tuned(session: Session, **values: Any) -> Any:
    settings: Settings = session.settings.reset()
    for name, value in values.items():
        settings = settings.with_value(name, value)
    return retuned(session.side.offer, settings).instrument


def drag(do: Any, stage: Any, layout: Layout) -> float:
    """Drag the zero-beat slider to about `SHARE` of its way; where the whole pixel lies, 0 to 1."""
    names = [control.name for control in CONTROLS]
    slider = layout.slider_box(layout.control_boxes(len(CONTROLS))[names.index("zero_beat")])
    row = str(slider.center[1])
    do("mousemove", str(round(slider.left + 0.7 * (slider.width - 1))), row)
    stage.run("xdotool", "mousedown", "1")
    for share in np.linspace(0.7, SHARE, 12):
        column = round(slider.left + share * (slider.width - 1))
        do("mousemove", str(column), row)
        time.sleep(0.03)
    stage.run("xdotool", "mouseup", "1")
    return (column - slider.left) / (slider.width - 1)


def test_each_change_is_heard_as_the_models_say(run: Run) -> None:
    assert len(run.held) == 7
    for name, first, last, frequency in run.held:
        heard = pitch_of(run.samples[first:last])
        assert abs(1200.0 * np.log2(heard / frequency)) < 5.0, (name, heard, frequency)
    named = {name: frequency for name, _, _, frequency in run.held}
    assert len({round(frequency) for frequency in named.values()}) == 4  # design, other design, closed, other zero beat


def test_changes_do_not_click(run: Run) -> None:
    """The bend of the waveform during changes against that of the steadily held notes."""
    told = re.search(r"(\d+) dropouts?", run.said)
    assert told is not None, run.said
    if int(told.group(1)):
        warnings.warn(f"{told.group(0)}: this machine was too busy to judge clicks", stacklevel=1)
        return
    bend = np.abs(np.diff(run.samples, 2))
    steady = max(float(bend[first:last].max()) for _, first, last, _ in run.held)
    whole = float(bend[run.held[0][1] : run.held[-1][2]].max())
    assert 0.0 < whole < 3.0 * steady


def test_the_picture_shows_both_designs(run: Run) -> None:
    import pygame

    picture = pygame.image.load(str(run.picture))
    assert picture.get_size() == SIZE
    pixels = pygame.surfarray.array2d(picture)
    for box, colours in ((lay_out(SIZE).sides, 8), (lay_out(SIZE).drawer, 20)):
        assert len(np.unique(pixels[box.left : box.right, box.top : box.bottom])) > colours
