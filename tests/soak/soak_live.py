"""Minutes of scripted live play at 128-frame requests, the window drawing, beside an idle stream of one sine.

    python tests/soak/soak_live.py                    # ten minutes
    python tests/soak/soak_live.py --seconds 60

Both streams play into one virtual sound card (PulseAudio with a null sink), at the same block size and latency, each
from a process of its own; the window is on a virtual screen and the pointer swings about in it twenty times a second.
Printed as JSON: blocks and underruns of both; what every call of the sound callback took as a share of the block's
period, by the clock and in processor time (median, 99.9 % and worst); the memory of the window's and the audio process
after a run-in and at the end. Exit code 1 where the play underran more often than the sine, 99.9 % of the blocks took
over 25 % by the clock or memory grew by 5 MB. By the clock a block also takes what other programs take from it: the
idle sine beside it, a hundredth of the work, and the processor time tell how much of a miss is the machine's.

The audio process is the program's own; only sounddevice's stream is wrapped in it, to ask for 128 frames and to take
the time. Needs the tools of tests/live (Debian packages pulseaudio, pulseaudio-utils, xvfb, xdotool, imagemagick,
libasound2-plugins, libportaudio2).
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

BLOCK_FRAMES = 128
SAMPLE_RATE = 48000
LATENCY = 1024 / 48000  # s asked for by both streams; at half of it the idle sine too lost sound on a virtual machine
MOST_BLOCKS = 400_000  # 17 minutes at 128 frames
ALLOWED_SHARE, ALLOWED_GROWTH = 0.25, 5.0  # of a period; MB
POINTER_STEP = 0.05  # s between two places of the pointer
ROOT = Path(__file__).parents[2]
DESIGN = ROOT / "demos" / "meadow.toml"
SIZE = (1280, 720)
RECORD = "BEATFIELD_SOAK_RECORD"  # environment: where a wrapped stream leaves its figures


def wrap_stream() -> None:
    """Let sounddevice's output stream ask for 128 frames, time its callback and save both when it closes."""
    import numpy as np
    import sounddevice

    plain = sounddevice.OutputStream
    rows = np.zeros((MOST_BLOCKS, 4), np.float32)  # frames, s by the clock, s of processor time, underflow
    rows += 0.0  # touched now: the pages are not to count as growth
    count = 0

    class TimedStream(plain):  # type: ignore[misc, valid-type]
        def __init__(self, *args: Any, **options: Any) -> None:
            callback = options["callback"]

            def timed(outdata: Any, frames: int, times: Any, status: Any) -> None:
                nonlocal count
                started, used = time.perf_counter(), time.thread_time()
                callback(outdata, frames, times, status)
                used, elapsed = time.thread_time() - used, time.perf_counter() - started
                if count < MOST_BLOCKS:
                    rows[count] = frames, elapsed, used, bool(status.output_underflow)
                    count += 1

            super().__init__(*args, **{**options, "blocksize": BLOCK_FRAMES, "callback": timed})

        def close(self, *args: Any, **options: Any) -> None:
            super().close(*args, **options)
            np.save(os.environ[RECORD], rows[:count])

    sounddevice.OutputStream = TimedStream


def play(seconds: float) -> None:
    """The program's own `play`, in this process; its audio process is spawned from this file and wraps its stream."""
    from synth.cli import main as beatfield

    del seconds
    sys.exit(beatfield(["play", str(DESIGN), "--size", f"{SIZE[0]}x{SIZE[1]}", "--latency", f"{LATENCY} s"]))


def sine(seconds: float) -> None:
    """An idle stream: one sine, far below hearing, until told to stop by a line on the standard input."""
    import numpy as np

    wrap_stream()
    import sounddevice

    start = 0

    def callback(outdata: Any, frames: int, _times: Any, _status: Any) -> None:
        nonlocal start
        turns = (start + np.arange(frames)) * (2.0 * np.pi * 440.0 / SAMPLE_RATE)
        outdata[:] = (1e-4 * np.sin(turns)).astype(np.float32)[:, np.newaxis]
        start = (start + frames) % SAMPLE_RATE

    stream = sounddevice.OutputStream(
        samplerate=SAMPLE_RATE, channels=2, dtype="float32", latency=LATENCY, callback=callback
    )
    stream.start()
    sys.stdin.readline()
    del seconds
    stream.stop()
    stream.close()


def family(pid: int) -> list[int]:
    """The process and all its descendants."""
    found = [pid]
    for parent in found:
        for task in Path(f"/proc/{parent}/task").glob("*/children"):
            with contextlib.suppress(OSError):
                found += [int(child) for child in task.read_text().split()]
    return found


def memory(pid: int) -> dict[str, float]:
    """Resident memory of the window's process and of those it started, shared pages shared out, MB."""
    sizes = {"window": 0.0, "sound": 0.0}
    for member in family(pid):
        with contextlib.suppress(OSError):
            text = Path(f"/proc/{member}/smaps_rollup").read_text()
            sizes["window" if member == pid else "sound"] += int(text.split("\nPss:")[1].split()[0]) / 1024.0
    return sizes


def stage_module() -> Any:
    """The virtual screen and sound card of the live tests."""
    spec = importlib.util.spec_from_file_location("stage_of_tests", ROOT / "tests" / "live" / "conftest.py")
    if spec is None or spec.loader is None:
        raise SystemExit("tests/live/conftest.py is missing")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


class Run:
    """One soak: the two children on the stage, the pointer, and the figures."""

    def __init__(self, stage: Any, seconds: float) -> None:
        self.stage, self.seconds = stage, seconds
        self.folder: Path = stage.folder

    def child(self, role: str) -> subprocess.Popen[bytes]:
        """This file again, as the player or the sine, on the stage."""
        environment = self.stage.environment | {RECORD: str(self.folder / f"{role}.npy")}
        command = [sys.executable, str(Path(__file__).resolve()), "--role", role, "--seconds", str(self.seconds)]
        log = (self.folder / f"{role}.log").open("wb")
        return subprocess.Popen(command, env=environment, stdin=subprocess.PIPE, stdout=log, stderr=log, cwd=ROOT)

    def window(self, player: subprocess.Popen[bytes]) -> str:
        """The number of the player's window once it shows."""
        command = ["xdotool", "search", "--onlyvisible", "--pid", str(player.pid)]
        deadline = time.monotonic() + 60.0
        while time.monotonic() < deadline and player.poll() is None:
            found = subprocess.run(command, env=self.stage.environment, capture_output=True, text=True).stdout.split()
            if found:
                return found[0]
            time.sleep(0.2)
        raise SystemExit(f"no window appeared:\n{(self.folder / 'play.log').read_text()}")

    def glide(self, window: str, start: float, length: float) -> None:
        """Swing the pointer about in the middle of the window for `length` s."""
        import math

        lines = []
        for step in range(round(length / POINTER_STEP)):
            moment = start + step * POINTER_STEP
            x = SIZE[0] * (0.5 + 0.25 * math.sin(0.9 * moment) + 0.05 * math.sin(5.3 * moment))
            y = SIZE[1] * (0.5 + 0.2 * math.sin(0.37 * moment))
            lines.append(f"mousemove --window {window} {round(x)} {round(y)}\nsleep {POINTER_STEP}\n")
        self.stage.run("xdotool", "-", text="".join(lines), timeout=10.0 * length + 30.0)

    def figures(self) -> dict[str, Any]:
        """Play, and what came of it."""
        player, idle = self.child("play"), self.child("sine")
        memories: list[tuple[float, dict[str, float]]] = []
        try:
            window = self.window(player)
            self.stage.run("xdotool", "key", "--window", window, "Return")  # answers the caution
            self.glide(window, 0.0, POINTER_STEP)
            self.stage.run("xdotool", "click", "1")  # asks for sound
            started = time.monotonic()
            while (elapsed := time.monotonic() - started) < self.seconds and player.poll() is None:
                self.glide(window, elapsed, min(5.0, max(POINTER_STEP, self.seconds - elapsed)))
                memories.append((time.monotonic() - started, memory(player.pid)))
            # the window is gone before the key comes up, which xdotool takes for a failure
            self.stage.run("xdotool", "key", "--window", window, "Escape")
            time.sleep(0.5)
            command = ["xdotool", "keydown", "--window", window, "Return"]
            subprocess.run(command, env=self.stage.environment, capture_output=True, timeout=15.0)
            if idle.stdin is not None:
                idle.stdin.write(b"\n")
                idle.stdin.close()
            player.wait(30.0)
            idle.wait(30.0)
        finally:
            for process in (player, idle):
                if process.poll() is None:
                    process.terminate()
                    with contextlib.suppress(subprocess.TimeoutExpired):
                        process.wait(10.0)
        said = (self.folder / "play.log").read_text().strip().splitlines()
        grown = growth(memories, self.seconds)
        return {
            "seconds": self.seconds,
            "block_frames": BLOCK_FRAMES,
            "latency_s": LATENCY,
            "said": said[-1] if said else "",
            "play": self.stream_figures("play"),
            "idle_sine": self.stream_figures("sine"),
            **grown,
        }

    def stream_figures(self, role: str) -> dict[str, float]:
        """Blocks, underruns and times of one wrapped stream, its first two seconds left out."""
        import numpy as np

        path = self.folder / f"{role}.npy"
        if not path.exists():
            raise SystemExit(f"{role} left no figures:\n{(self.folder / f'{role}.log').read_text()}")
        rows = np.load(path)[round(2.0 * SAMPLE_RATE / BLOCK_FRAMES) :].astype(np.float64)
        periods = rows[:, 0] / SAMPLE_RATE
        found = {
            "blocks": len(rows),
            "frames_a_block": float(np.median(rows[:, 0])),
            "underruns": int(rows[:, 3].sum()),
        }
        for name, column in (("clock", 1), ("processor", 2)):
            shares = rows[:, column] / periods
            median, most = np.quantile(shares, [0.5, 0.999])
            found |= {f"{name}_median": float(median), f"{name}_999": float(most), f"{name}_worst": float(shares.max())}
        return found


def growth(memories: list[tuple[float, dict[str, float]]], seconds: float) -> dict[str, Any]:
    """Memory after a run-in of a fifth of the time (at most 60 s) and at the end, each the median of three, MB."""
    after = [sizes for moment, sizes in memories if moment >= min(60.0, 0.2 * seconds)]
    found: dict[str, Any] = {}
    for process in ("window", "sound"):
        sizes = [size[process] for size in after]
        first, last = (sorted(part)[len(part) // 2] for part in (sizes[:3], sizes[-3:]))
        found[f"memory_{process}_mb"] = [first, last]
    return found | {"memory_growth_mb": sum(last - first for first, last in found.values())}


def faults(figures: dict[str, Any]) -> list[str]:
    """What is not as it should be."""
    play_figures, idle = figures["play"], figures["idle_sine"]
    found = []
    if play_figures["underruns"] > idle["underruns"]:
        found.append(f"{play_figures['underruns']} underruns against {idle['underruns']} of the idle sine")
    most = play_figures["clock_999"]
    if most >= ALLOWED_SHARE:
        found.append(f"99.9 % of the blocks take up to {100 * most:.0f} % of their period")
    if figures["memory_growth_mb"] >= ALLOWED_GROWTH:
        found.append(f"memory grew by {figures['memory_growth_mb']:.1f} MB")
    if play_figures["blocks"] < 0.9 * (figures["seconds"] - 2.0) * SAMPLE_RATE / BLOCK_FRAMES:
        found.append(f"only {play_figures['blocks']} blocks were asked for")
    return found


def soak(seconds: float) -> dict[str, Any]:
    """One run on a stage of its own."""
    module = stage_module()
    folder = Path(tempfile.mkdtemp(prefix="beatfield-"))  # sockets need a short path
    running: list[subprocess.Popen[bytes]] = []
    try:
        return Run(module.open_stage(folder, running), seconds).figures()
    finally:
        for process in reversed(running):
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(5.0)
        shutil.rmtree(folder, ignore_errors=True)


def main() -> int:
    """Run by hand or by tests/soak/test_soak.py."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--role", choices=("play", "sine"), help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.role:
        {"play": play, "sine": sine}[arguments.role](arguments.seconds)
        return 0
    figures = soak(arguments.seconds)
    figures["faults"] = faults(figures)
    print(json.dumps(figures, indent=1))
    return 1 if figures["faults"] else 0


if __name__ == "__main__":
    sys.exit(main())
elif __name__ == "__mp_main__" and RECORD in os.environ:  # the audio process, spawned by `play`
    wrap_stream()
