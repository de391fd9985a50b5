"""Time of the hand field: cold in a fresh process, warm, per distance, and against solving each distance from scratch.

Run: python tests/benchmarks/hand_field.py
Goal: 40 distances in at most 3 s cold on two cores, at 1 % of the added capacitance (accuracy: tests/models/
test_hand_field.py). Ratios are of times measured side by side in this one run, each the median of interleaved rounds.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from models.electrostatics.boundary_elements import capacitance_matrix
from models.electrostatics.panel_coupling import thin_product
from models.hand.field_solution import antenna_capacitances, still_field
from models.hand.hand_field import DEFAULT_DISTANCES, capacitance_curves
from models.hand.meshes import antenna_mesh, arm, body, hand, shoulder, wrist
from models.hand.scene import POSTURES, Scene

COLD = """
import time
start = time.perf_counter()
from models.hand.hand_field import capacitance_curves
from models.hand.scene import Scene
capacitance_curves(Scene(), postures={postures!r})
print(time.perf_counter() - start)
"""


def seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def cold(postures: tuple[str, ...]) -> float:
    """Seconds from the first import to the last curve in a fresh process."""
    code = COLD.format(postures=postures)
    return float(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout)


def from_scratch(scene: Scene, distance: float) -> None:
    """One distance with nothing reused."""
    nose = (0.5 * scene.antenna.diameter + distance, 0.0, scene.hand_height)
    sleeve = arm(shoulder(scene), wrist(scene, "open", distance))
    player = np.concatenate([*body(scene), hand("open") + nose, sleeve])
    capacitance_matrix([antenna_mesh(scene), player], ground_plane=True)


def report_cold() -> None:
    for postures in (("open",), POSTURES):
        times = [cold(postures) for _ in range(3)]
        print(f"cold, 40 distances x {len(postures)}: best {min(times):.2f} s, worst {max(times):.2f} s")


def report_reuse() -> None:
    scene = Scene()
    few = DEFAULT_DISTANCES[::8]
    still = still_field(scene)
    rounds = [
        (
            seconds(lambda: antenna_capacitances(still, "open", DEFAULT_DISTANCES)) / len(DEFAULT_DISTANCES),
            seconds(lambda: [from_scratch(scene, float(d)) for d in few]) / len(few),
        )
        for _ in range(3)
    ]
    reused, scratch = np.median(rounds, axis=0)
    print(f"per distance: {1e3 * reused:.1f} ms with reuse, {1e3 * scratch:.1f} ms from scratch")
    print(f"ratio: {scratch / reused:.1f}")
    warm = min(seconds(lambda: capacitance_curves(scene)) for _ in range(2))
    print(f"warm, both postures: {warm:.2f} s")


def report_thin_products(state: str) -> None:
    rng = np.random.default_rng(1)
    matrix, columns = rng.normal(size=(600, 600)), rng.normal(size=(600, 2))
    plain, thin = [], []
    for _ in range(200):
        plain.append(seconds(lambda: matrix @ columns))
        thin.append(seconds(lambda: thin_product(matrix, columns)))
    for name, times in (("one product", plain), ("in blocks", thin)):
        print(f"{state}, 600 x 600 by 600 x 2, {name}: mean {1e6 * np.mean(times):.0f} us")


def report_busy_machine() -> None:
    """The same with two processes of pure arithmetic beside it, and a cold run."""
    load = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(2)]
    try:
        report_thin_products("busy machine")
        print(f"busy machine, cold, 1 posture: {cold(('open',)):.2f} s")
    finally:
        for process in load:
            process.kill()
            process.wait()


if __name__ == "__main__":
    report_cold()
    report_reuse()
    report_thin_products("idle machine")
    report_busy_machine()
