"""Hours of sound through `beatfield render` into a file, and the same again in ragged pieces: memory, pace and hashes.

    python tests/soak/soak_offline.py --hours 4 --rate 48000 --folder /some/disk

One child process runs the command itself on a hand trace of that length; beside it this process renders the same
path with one voice in pieces of ragged sizes. Printed as JSON: peak memory of each, their pace, and whether the
samples stored in the file (32-bit float) and those of the pieces have the same hash. Some 2.8 GB of disk for 4 h at
48 kHz; a WAV ends at 4 GiB, so that 4 h of 32-bit float fit up to 74 kHz. Linux and macOS (needs `resource`).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from synth.build.workbench import open_design

DESIGN = Path(__file__).parents[2] / "demos" / "heron.toml"
STAMPS_PER_SECOND = 5
PIECES = (1, 127, 4096, 20_000, 333, 65_536, 8191, 1024)  # frames, in turn
READ_FRAMES = 1 << 16
UNIT = 2**20 if sys.platform == "darwin" else 2**10  # of ru_maxrss in a megabyte


def write_trace(path: Path, hours: float) -> None:
    """A hand that swings through the field, slowly and never quite the same way, as a CSV trace."""
    count = round(3600.0 * hours * STAMPS_PER_SECOND)
    times = np.arange(count + 1) / STAMPS_PER_SECOND
    distances = 0.24 + 0.1 * np.sin(0.7 * times) + 0.08 * np.sin(0.0113 * times)
    volumes = 0.6 + 0.4 * np.sin(0.31 * times)
    with path.open("w") as file:
        file.write("time_s,distance_m,volume\n")
        for row in zip(times, distances, volumes, strict=True):
            file.write("{:.9g},{:.9g},{:.9g}\n".format(*row))


def hash_of_file(path: Path) -> tuple[str, int]:
    """Hash of the samples a sound file holds, as little-endian 32-bit float, and their number; read in blocks."""
    import soundfile

    found = hashlib.blake2b()
    frames = 0
    with soundfile.SoundFile(path) as file:
        for block in file.blocks(READ_FRAMES, dtype="float32"):
            found.update(np.ascontiguousarray(block, "<f4"))
            frames += block.size
    return found.hexdigest(), frames


def hash_of_pieces(trace: Path, rate: int) -> tuple[str, int]:
    """Hash and number of the samples that one voice gives for the trace in pieces of ragged sizes."""
    from synth.hands.trace_file import load_trace
    from synth.sound.offline import RELEASE_TIME
    from synth.sound.voice import Voice

    workpiece = open_design(DESIGN)
    path = load_trace(trace).held_within(workpiece.instrument.curve.nearest, workpiece.instrument.curve.farthest)[0]
    voice, total, release = Voice(workpiece.instrument, rate), path.frames(rate), round(RELEASE_TIME * rate)
    found = hashlib.blake2b()
    start = turn = 0
    while start < total + release:
        voice.mute(start >= total)  # the file ends in the voice's fade
        end = total if start < total else total + release
        size = min(PIECES[turn % len(PIECES)], end - start)
        found.update(voice.render(path.block(start, size, rate), size).astype("<f4"))
        start, turn = start + size, turn + 1
    return found.hexdigest(), start


def peak_memory() -> float:
    """Highest resident memory of this process, MB; on Linux `ru_maxrss` counts the program that started it too."""
    status = Path("/proc/self/status")
    if status.exists():
        found = re.search(r"^VmHWM:\s+(\d+) kB", status.read_text(), re.MULTILINE)
        if found:
            return int(found[1]) / 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / UNIT


def soak(hours: float, rate: int, folder: Path) -> dict[str, object]:
    """Both renderings side by side; the figures described in the module text."""
    trace, sound = folder / "hours.csv", folder / "hours.wav"
    write_trace(trace, hours)
    open_design(DESIGN)  # the hand field is solved here at the latest, so that both find the same one in the cache
    command = [sys.executable, "-m", "synth", "render", str(DESIGN), "--hand", str(trace), "-o", str(sound)]
    started = time.perf_counter()
    child = subprocess.Popen([*command, "--format", "float", "--rate", str(rate)], cwd=DESIGN.parents[1])
    try:
        pieces, piece_frames = hash_of_pieces(trace, rate)
        own, own_peak = resource.getrusage(resource.RUSAGE_SELF), peak_memory()
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    finally:
        if child.returncode is None:
            child.kill()
            child.wait()
    elapsed = time.perf_counter() - started
    if child.returncode != 0:
        raise SystemExit(f"beatfield render ended with {child.returncode}")
    size = sound.stat().st_size
    stored, stored_frames = hash_of_file(sound)
    sound.unlink()
    seconds = 3600.0 * hours
    command_time = usage.ru_utime + usage.ru_stime
    return {
        "hours": hours,
        "rate_hz": rate,
        "file_bytes": size,
        "frames": stored_frames,
        "command_peak_mb": usage.ru_maxrss / UNIT,
        "pieces_peak_mb": own_peak,
        "command_cpu_s": command_time,
        "pieces_cpu_s": own.ru_utime + own.ru_stime,
        "elapsed_s": elapsed,
        "command_times_real_time": seconds / command_time,
        "identical": stored == pieces and stored_frames == piece_frames,
        "hash": stored[:16],
    }


def main() -> int:
    """Run by hand or by tests/soak/test_soak.py; exit code 1 where the samples differ."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=4.0)
    parser.add_argument("--rate", type=int, default=48000, help="sample rate, Hz")
    parser.add_argument("--folder", type=Path, help="where the sound file goes for a while (default: a temporary one)")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="beatfield-soak-", dir=arguments.folder) as folder:
        figures = soak(arguments.hours, arguments.rate, Path(folder))
    print(json.dumps(figures, indent=1))
    return 0 if figures["identical"] else 1


if __name__ == "__main__":
    sys.exit(main())
