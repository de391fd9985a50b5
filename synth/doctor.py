"""Examine this machine: libraries, sound output, latency, block timing, screen, cache folder."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

from models.instrument import Instrument
from models.quick_dataclass import dataclass
from synth.errors import DesignError, DeviceError
from synth.files.plain_text import counted
from synth.live.sound_device import LIBRARY_REMEDY
from synth.progress_line import ProgressLine

LIBRARIES = {  # distribution: module
    "numpy": "numpy",
    "scipy": "scipy",
    "soundfile": "soundfile",
    "sounddevice": "sounddevice",
    "pygame-ce": "pygame",
    "matplotlib": "matplotlib",
    "platformdirs": "platformdirs",
}
BLOCK_FRAMES = 128
SAMPLE_RATE = 48000
BUSY = "close other programs, or play with --latency high"
MOST_TIMED = 5.0  # s of running the voice without a sound output
ALLOWED_SHARE = 0.25  # of a block's period that 99.9 % of the blocks may take


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: `remedy` is empty where nothing is to be done. `late`: it works, but not in time."""

    name: str
    ready: bool
    detail: str
    remedy: str = ""
    late: bool = False

    def line(self) -> str:
        """The finding for a person."""
        mark = "ok  " if self.ready else "WARN" if self.late else "MEND"
        text = f"{mark}  {self.name:<18}{self.detail}"
        return f"{text}\n{'':24}{self.remedy}" if self.remedy else text


def examine(device: str | None = None, seconds: float = 2.0) -> tuple[Finding, ...]:
    """Look at everything; runs the built-in design's voice for `seconds`, with the output silent."""
    if not 0.0 < seconds <= 600.0:
        raise DesignError(f"--seconds must be more than 0 and at most 600; got {seconds:g}")
    return tuple(_findings(device, seconds))


def _findings(device: str | None, seconds: float) -> Iterator[Finding]:
    yield Finding("Python", True, f"{sys.version.split()[0]} at {sys.executable}")
    for distribution, module in LIBRARIES.items():
        yield _library(distribution, module)
    yield _cache()
    yield own_files()
    yield _screen()
    from synth.build.workbench import open_loaded
    from synth.designs.template import template_design

    instrument = open_loaded(template_design()).instrument
    yield _block_timing(instrument, seconds)
    yield _sound(instrument, device, seconds)


def _library(distribution: str, module: str) -> Finding:
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    remedy = f"install it into this Python: {sys.executable} -m pip install {distribution}"
    try:
        import_module(module)
        return Finding(distribution, True, version(distribution))
    except PackageNotFoundError:
        return Finding(distribution, True, "found, version unknown")
    except OSError as error:  # a library that the package needs is missing
        remedy = LIBRARY_REMEDY if distribution == "sounddevice" else remedy
        return Finding(distribution, False, f"cannot be used: {error}", remedy)
    except ImportError as error:
        return Finding(distribution, False, f"cannot be imported: {error}", remedy)


def _cache() -> Finding:
    from synth.build.curve_cache import cache_folder

    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return Finding("hand-field cache", True, f"{folder} (beatfield doctor --clear-cache empties it)")
    except OSError as error:
        return Finding(
            "hand-field cache",
            False,
            f"{folder}: {error.strerror}",
            "make the folder writable, or set XDG_CACHE_HOME; without it each start solves the field anew",
        )


def own_files() -> Finding:
    """What the program keeps for the player: it stays when the program is uninstalled."""
    from platformdirs import user_data_path, user_state_path

    places = dict.fromkeys(place("beatfield", appauthor=False) for place in (user_data_path, user_state_path))
    kept = [f"{folder / name}" for folder in places for name in _names(folder)]
    return Finding(
        "your own files", True, ", ".join(kept) or f"none yet; they would lie in {', '.join(map(str, places))}"
    )


def _names(folder: Path) -> list[str]:
    try:
        return sorted(os.listdir(folder))
    except OSError:
        return []


def _screen() -> Finding:
    if sys.platform in ("win32", "darwin"):
        return Finding("screen", True, "the system's own")
    names = ("WAYLAND_DISPLAY", "DISPLAY")
    found = [f"{name}={os.environ[name]}" for name in names if os.environ.get(name)]
    if found:
        return Finding("screen", True, ", ".join(found))
    return Finding(
        "screen",
        False,
        "neither DISPLAY nor WAYLAND_DISPLAY is set",
        "run from a desktop session to play; every other command works without a screen",
    )


def _block_timing(instrument: Instrument, seconds: float) -> Finding:
    from synth.sound.voice import Voice

    voice = Voice(instrument, SAMPLE_RATE)
    distances = np.geomspace(instrument.curve.farthest, instrument.curve.nearest, BLOCK_FRAMES)
    period = BLOCK_FRAMES / SAMPLE_RATE
    shares: list[float] = []
    begin, lasts = time.perf_counter(), min(seconds, MOST_TIMED)
    with ProgressLine("running the voice") as line:
        while (start := time.perf_counter()) < begin + lasts or not shares:
            line((start - begin) / lasts)
            voice.render(distances, BLOCK_FRAMES)
            shares.append((time.perf_counter() - start) / period)
    median, most = np.quantile(shares, [0.5, 0.999])
    ready = bool(most <= ALLOWED_SHARE)
    detail = (
        f"{'' if ready else 'sound blocks come late: '}half of the blocks take {100 * median:.1f} % of their time or "
        f"less, 99.9 % of them {100 * most:.1f} % or less (up to {100 * ALLOWED_SHARE:.0f} % is well)"
    )
    return Finding("block timing", ready, detail, "" if ready else BUSY, late=not ready)


def _sound(instrument: Instrument, device: str | None, seconds: float) -> Finding:
    from synth.live.live_sound import measure
    from synth.sound.strand import InstrumentSource

    try:
        with ProgressLine("trying the sound output") as line:
            meters, problem = measure(InstrumentSource(instrument), seconds=seconds, device=device, progress=line)
    except DeviceError as error:
        return Finding("sound output", False, "the audio process failed", str(error))
    if problem is not None:
        return Finding("sound output", False, "none", problem)
    detail = (
        f"latency {1e3 * meters.latency:.1f} ms at {meters.sample_rate} Hz, {meters.blocks} blocks, "
        f"{counted(meters.underruns, 'dropout')}, {meters.late_blocks} late"
    )
    ready = meters.underruns == 0 and meters.late_blocks == 0
    return Finding("sound output", ready, detail, "" if ready else BUSY, late=not ready)
