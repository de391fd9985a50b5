"""Time of the beat phase with and without pulling, beside np.sin: python tests/benchmarks/pulling.py"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from models.pulling import advance_phase

RATE = 48_000


def best_time(work: Callable[[], object], repeats: int) -> float:
    """Shortest of several runs, s."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Print one line per case."""
    offsets = np.linspace(300.0, 900.0, RATE + 1)
    sine = best_time(lambda: np.sin(offsets[1:]), 50)
    for label, lock_range in (("no pulling", 0.0), ("pulling", 5.0)):
        second = best_time(lambda lock=lock_range: advance_phase(0.3, offsets, lock, 1.0 / RATE), 30)
        block = best_time(lambda lock=lock_range: advance_phase(0.3, offsets[:129], lock, 1.0 / RATE), 500)
        print(
            f"{label}: {1e3 * second:.2f} ms per {RATE} samples ({1.0 / second:.0f} x real time, "
            f"{second / sine:.1f} x np.sin), {1e3 * block:.3f} ms per block of 128"
        )


if __name__ == "__main__":
    main()
