"""What `beatfield --help` costs over bare Python, and what reading a cached hand field costs. Goals: 150 ms, 50 ms.

Run: python tests/benchmarks/start.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 15


def process_time(*command: str) -> float:
    """Wall time of one fresh process, s."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *command], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start


def main() -> None:
    """Alternate both commands in one run and print medians."""
    bare, help_times = [], []
    for _ in range(RUNS):
        bare.append(process_time("-c", "pass"))
        help_times.append(process_time("-m", "synth", "--help"))
    extra = statistics.median(help_times) - statistics.median(bare)
    print(f"bare Python     {1e3 * statistics.median(bare):7.1f} ms (median of {RUNS})")
    print(f"--help          {1e3 * statistics.median(help_times):7.1f} ms, {1e3 * extra:.1f} ms more (goal 150)")

    from models.hand.scene import Scene
    from synth.build.curve_cache import field_for

    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        field_for(Scene(), folder=Path(folder))
        cold = time.perf_counter() - start
        reads = []
        for _ in range(RUNS):
            start = time.perf_counter()
            field_for(Scene(), folder=Path(folder))
            reads.append(time.perf_counter() - start)
    print(f"hand field      {cold:7.2f} s solved, {1e3 * statistics.median(reads):.2f} ms from the cache (goal 50)")


if __name__ == "__main__":
    main()
