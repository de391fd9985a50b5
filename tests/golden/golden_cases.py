"""What the golden figures are made of: every command's --json on the demo designs, the seeded searches, and sounds.

A case is a name and the arguments of one command. `renew_golden.py` writes the figures, `test_golden.py` compares them.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from synth.cli import main

ROOT = Path(__file__).resolve().parents[2]
FIGURES = Path(__file__).resolve().parent / "figures"
DEMOS = ROOT / "demos"
DESIGNS = ("heron", "meadow", "willow", "puddle")
PLAYABLE = ("heron", "meadow", "willow")
READINGS = 'fitted_capacitor,frequency,trimmer\n"330 pF","205.3 kHz",out\n"120 pF","231.4 kHz",out\n'
READINGS += '"330 pF","202.9 kHz",in\n"220 pF","218.1 kHz",0.5\n'
OF_HERON = 'fitted_capacitor,frequency,trimmer\n"82 pF","303.29 kHz",out\n"47 pF","375.69 kHz",out\n'
OF_HERON += '"82 pF","276.98 kHz",in\n"68 pF","309.52 kHz",0.5\n'
SAMPLES_KEPT = 48
COARSER = {"startup_s": 1e-4}  # rounding shifts the steps of the envelope, and this figure by 6e-6 of itself


def _design(name: str) -> str:
    return str(DEMOS / f"{name}.toml")


def _cases() -> Iterator[tuple[str, list[str]]]:
    for name in DESIGNS:
        design = _design(name)
        yield f"field-{name}", ["field", design]
        yield f"sensitivity-{name}", ["sensitivity", design]
        yield f"tolerance-{name}", ["tolerance", design, "--builds", "400", "--seed", "3"]
        yield f"drift-{name}", ["drift", design, "--from", "15", "--to", "35"]
        yield f"choose-{name}", ["choose", design, "--target-frequency", "250 kHz"]
        yield f"sheet-{name}", ["sheet", design]
        yield f"tune-{name}", ["tune", str(DEMOS / "lark.txt"), design, "--seed", "5"]
    for which in ("reference", "variable"):
        yield f"oscillator-heron-{which}", ["oscillator", _design("heron"), "--which", which]
        yield f"oscillator-willow-{which}", ["oscillator", _design("willow"), "--which", which]
    yield "oscillator-willow-pot", ["oscillator", _design("willow"), "--which", "variable", "--pot", "0.8"]
    yield "compare", ["compare", *(_design(name) for name in PLAYABLE)]
    yield "fit", ["fit", "readings.csv", "--target-frequency", "236 kHz"]
    yield "fit-heron", ["fit", "of_heron.csv", "--design", _design("heron"), "--which", "reference"]


CASES = dict(_cases())
SEARCHES = {
    "linearise-heron": ["linearise", _design("heron"), "--range", "65Hz:1047Hz", "--reach", "5cm:50cm", "--seed", "1"],
    "linearise-meadow": ["linearise", _design("meadow"), "--seed", "2"],
}
SOUNDS = {name: ["render", _design(name), "--gesture", "sweep", "--seconds", "1"] for name in DESIGNS}


def figures_of(arguments: list[str], folder: Path) -> Any:
    """What the command prints with --json, as Python sees it; run inside `folder`, where the readings lie."""
    (folder / "readings.csv").write_text(READINGS)
    (folder / "of_heron.csv").write_text(OF_HERON)
    out = io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        code = main([*arguments, "--json"])
    if code != 0:
        raise RuntimeError(f"{' '.join(arguments)} ended with {code}")
    return json.loads(out.getvalue())


def sound_of(arguments: list[str], folder: Path) -> dict[str, Any]:
    """The rendered samples as a hash of their bits, their level, and some of them, evenly spread."""
    with contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        code = main([*arguments, "-o", "sound.wav", "--format", "float", "--force"])
    if code != 0:
        raise RuntimeError(f"{' '.join(arguments)} ended with {code}")
    samples, _ = soundfile.read(folder / "sound.wav", dtype="float32")
    places = np.linspace(0, len(samples) - 1, SAMPLES_KEPT).astype(int)
    return {
        "sha256": hashlib.sha256(samples.tobytes()).hexdigest(),
        "rms": float(np.sqrt(np.mean(samples.astype(float) ** 2))),
        "samples": [float(value) for value in samples[places]],
    }


def numbers(found: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number in the figures with the path to it; truth values count as 0 and 1, texts are passed over."""
    if isinstance(found, dict):
        for key, value in found.items():
            yield from numbers(value, f"{path}/{key}")
    elif isinstance(found, list):
        for place, value in enumerate(found):
            yield from numbers(value, f"{path}/{place}")
    elif isinstance(found, bool | int | float):
        yield path, float(found)


def differences(found: Any, golden: Any, relative: float, of_column: bool = False) -> list[str]:
    """The numbers that differ by more than `relative`, are missing, or are new: one line each.

    of_column: a number may also differ by that share of the largest in its column, the same key in every row.
    """
    here, kept = dict(numbers(found)), dict(numbers(golden))
    largest: dict[str, float] = {}
    if of_column:
        for path, value in kept.items():
            column = re.sub(r"/\d+", "/*", path)
            largest[column] = max(largest.get(column, 0.0), abs(value))
    lines = [f"{path}: missing" for path in kept.keys() - here.keys()]
    lines += [f"{path}: new" for path in here.keys() - kept.keys()]
    for path in kept.keys() & here.keys():
        share = max(relative, COARSER.get(path.rpartition("/")[2], 0.0))
        allowed = share * largest.get(re.sub(r"/\d+", "/*", path), 0.0)
        if not math.isclose(here[path], kept[path], rel_tol=share, abs_tol=allowed):
            lines.append(f"{path}: {here[path]!r}, golden {kept[path]!r}")
    return sorted(lines)
