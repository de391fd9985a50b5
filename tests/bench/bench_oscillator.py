"""Harmonic balance against the integration in time, side by side in one run: agreement and speed.

Run: python tests/bench/bench_oscillator.py [name ...]   (two minutes for all)
Both start from the parts alone: harmonic balance without a neighbouring solution, the integration from switch-on
until the slowest disturbance has died down (eight of its time constants) and the tail has been read.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from oscillator_circuits import CIRCUITS

from models.oscillator import steady_state
from models.transient import measure, run_length, simulate


def compare(name: str) -> tuple[float, float, float]:
    """Print one line; return ppm, percent and the ratio of times."""
    circuit = CIRCUITS[name]
    steady_state(circuit)  # first call of everything
    begin = time.perf_counter()
    for _ in range(5):
        balanced = steady_state(circuit)
    quick = (time.perf_counter() - begin) / 5
    nearby = replace(circuit, stray=circuit.stray + 0.1e-12)
    begin = time.perf_counter()
    for _ in range(5):
        steady_state(nearby, warm_start=balanced)
    warm = (time.perf_counter() - begin) / 5
    begin = time.perf_counter()
    trace = simulate(circuit, run_length(balanced), frequency=balanced.frequency)
    read = measure(trace)
    slow = time.perf_counter() - begin
    ppm = (balanced.frequency / read.frequency - 1.0) * 1e6
    percent = (balanced.tank_amplitude / read.amplitude - 1.0) * 100.0
    print(
        f"{name:15s} {balanced.frequency:10.1f} Hz {balanced.tank_amplitude:7.3f} V "
        f"{ppm:8.3f} ppm {percent:8.4f} %  start-up {read.startup_time * 1e3:6.2f} ms  K {balanced.harmonics:3d}  "
        f"{quick * 1e3:6.1f} ms (warm {warm * 1e3:5.1f}) against {slow:5.1f} s: {slow / quick:6.0f} times",
        flush=True,
    )
    return ppm, percent, slow / quick


def main() -> None:
    """Compare all circuits, or those named."""
    results = [compare(name) for name in sys.argv[1:] or CIRCUITS]
    print(
        f"worst of {len(results)}: {max(abs(r[0]) for r in results):.3g} ppm, "
        f"{max(abs(r[1]) for r in results):.2g} %, {min(r[2] for r in results):.0f} times"
    )


if __name__ == "__main__":
    main()
