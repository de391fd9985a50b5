"""The voice against the radio rate: python tests/bench/bench_radio_rate.py

How many times faster the voice is than both oscillators sampled at the radio rate (the oracle of the tests, which is
whole-array code as well), and how far the two sounds differ, measured side by side in one run on one thread. Goals: 300
times, -60 dB. The tables of the voice are built before; the time that takes is printed too.
"""

# ruff: noqa: E402 (the number of threads is set before numpy is loaded)
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import runpy
import sys
from pathlib import Path
from time import perf_counter

import numpy as np

from synth.voice import Voice

TESTS = runpy.run_path(str(Path(__file__).parents[1] / "synth" / "test_radio_rate.py"))
RATE, CASES = TESTS["RATE"], TESTS["CASES"]
SECONDS, ROUNDS = 1.0, 5


def timed(action):
    start = perf_counter()
    result = action()
    return result, perf_counter() - start


def measure(detector, lock_range):
    """(seconds to build, seconds of the voice, seconds at the radio rate, difference in dB)."""
    made = TESTS["instrument"](detector=detector, lock_range=lock_range)
    hand = TESTS["moving_hand"](SECONDS)
    voice, built = timed(lambda: Voice(made, RATE))
    rendered = []
    for _ in range(ROUNDS):
        voice.reset()
        got, seconds = timed(lambda: voice.render(hand, hand.size))
        rendered.append(seconds)
    wanted, slow = timed(lambda: TESTS["from_radio"](made, hand))
    return built, float(np.median(rendered)), slow, TESTS["difference_db"](got, wanted)


def main():
    print(f"python {sys.version.split()[0]}, numpy {np.__version__}, one thread")
    print(f"{SECONDS:g} s of a moving hand at {RATE} Hz")
    print("                                  build    voice   radio rate    times faster    difference")
    for lock_range in (0.0, 40.0):
        for name, (detector, _) in CASES.items():
            built, fast, slow, decibels = measure(detector, lock_range)
            verdict = "met" if slow / fast >= 300.0 and decibels <= -60.0 else "MISSED"
            print(
                f"  {name + (', pulled' if lock_range else ''):<29} {built:6.2f} s {1e3 * fast:6.2f} ms {slow:10.2f} s "
                f"{slow / fast:12.0f} {decibels:12.1f} dB   {verdict}"
            )


if __name__ == "__main__":
    main()
