"""Time of the hand field: cold in a fresh process, warm, and against solving each place from scratch.

Run: python tests/benchmarks/hand_field.py
Printed, not stated here: each time beside its limit on two idle cores, of `LIMITS`, at 0.3 % of the added capacitance
(accuracy: tests/models/hand/). Ratios are of times measured side by side in this one run, each the median of
interleaved rounds.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from models.hand.hand_field import DEFAULT_DISTANCES, hand_field
from models.hand.scene import LoopAntenna, Scene
from synth.comparisons.places import from_scratch

COLD = """
import os
os.environ["OPENBLAS_NUM_THREADS"] = "1"  # as the command line sets it
import time
start = time.perf_counter()
from models.hand.hand_field import hand_field
from models.hand.scene import LoopAntenna, Scene
hand_field(Scene(ring={ring}))
print(time.perf_counter() - start)
"""
RINGS = {"rod alone": "None", "rod and ring": "LoopAntenna()"}
#: Seconds at most, cold, both postures: with a ring at 8 places of the other hand.
LIMITS = {"rod alone": 2.4, "rod and ring": 6.0}


def seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def cold(ring: str) -> float:
    """Seconds from the first import to the last matrix in a fresh process."""
    code = COLD.format(ring=ring)
    return float(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout)


def report_cold() -> None:
    for name, ring in RINGS.items():
        times = [cold(ring) for _ in range(3)]
        print(
            f"cold, {name}, both postures: best {min(times):.2f} s, worst {max(times):.2f} s, limit {LIMITS[name]:g} s"
        )


def report_reuse() -> None:
    """A place of both hands by elimination and from scratch."""
    scene = Scene(ring=LoopAntenna())
    places = 8 * len(DEFAULT_DISTANCES)
    rounds = [
        (
            seconds(lambda: hand_field(scene, postures=["open"])) / places,
            seconds(lambda: from_scratch(scene, 0.1, 0.1)),
        )
        for _ in range(3)
    ]
    reused, scratch = np.median(rounds, axis=0)
    print(f"per place: {1e3 * reused:.1f} ms by elimination, {1e3 * scratch:.1f} ms from scratch")
    print(f"ratio: {scratch / reused:.1f}")


def report_busy_machine() -> None:
    """A cold run with two processes of pure arithmetic beside it."""
    load = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(2)]
    try:
        print(f"busy machine, cold, rod alone: {cold('None'):.2f} s")
    finally:
        for process in load:
            process.kill()
            process.wait()


if __name__ == "__main__":
    report_cold()
    report_reuse()
    report_busy_machine()
