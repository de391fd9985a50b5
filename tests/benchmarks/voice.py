"""Speed of the voice: python tests/benchmarks/voice.py

Times faster than real time and the ratio to one np.sin over as many samples, without and with pulling, and the
time of a 128-frame block as a share of its period. Everything is measured in turn within one run on one thread;
each round takes all figures once, and medians over the rounds are printed beside the goals. Each figure comes by the
clock on the wall, which the goals are for, and by the processor time of this thread, which other programs on a busy
machine lengthen less.
"""

# ruff: noqa: E402 (the number of threads is set before numpy is loaded)
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import sys
from dataclasses import replace
from time import perf_counter, thread_time

import numpy as np

from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from synth.comparisons.radio_rate import example_instrument
from synth.hands.hand_path import HandBlock
from synth.sound.voice import Voice

RATE = 48000
ROUNDS = 15
LONG, SHORT = 4096, 128


def instruments():
    """Case -> (instrument, goal in times real time)."""
    plain = example_instrument()
    rich = Detector("envelope", 0.9)
    diode = Detector("diode", 0.9, diode=DiodeLoad(radio_frequency=2.9e5))
    return {
        "product": (plain, 150.0),
        "envelope": (replace(plain, detector=rich), 150.0),
        "product, pulled": (replace(plain, lock_range=5.0), 60.0),
        "envelope, pulled": (replace(plain, detector=rich, lock_range=5.0), 60.0),
        "diode": (replace(plain, detector=diode), 50.0),
        "diode, pulled": (replace(plain, detector=diode, lock_range=5.0), 50.0),
    }


def hand(frames):
    """A second of sweep with vibrato."""
    time = np.arange(frames) / RATE
    distance = 0.3 + 0.2 * np.cos(2.0 * np.pi * time) + 0.002 * np.sin(2.0 * np.pi * 6.0 * time)
    return HandBlock(distance, np.full(frames, 0.8))


def blocks(path, size):
    return [
        HandBlock(path.distance[start : start + size], path.volume[start : start + size])
        for start in range(0, path.distance.size, size)
    ]


class Watch:
    """Seconds on the wall and of processor time, since it was made."""

    def __init__(self):
        self._start = perf_counter(), thread_time()

    def read(self):
        return perf_counter() - self._start[0], thread_time() - self._start[1]


def seconds_for(voice, path):
    """(wall, processor) time to render all blocks of `path`."""
    watch = Watch()
    for block in path:
        voice.render(block, block.distance.size)
    return watch.read()


def block_shares(voice, path):
    """(wall, processor) time of each block over its period, shape (blocks, 2)."""
    times = np.empty((len(path), 2))
    for index, block in enumerate(path):
        watch = Watch()
        voice.render(block, SHORT)
        times[index] = watch.read()
    return times * RATE / SHORT


def sine_seconds(angles):
    watch = Watch()
    np.sin(angles)
    return watch.read()


def measure():
    """Per case: (rounds, 2) seconds, (blocks, 2) shares; and (rounds, 2) seconds of the sine."""
    whole, angles = hand(RATE), np.linspace(0.0, 1000.0, RATE)
    long_blocks, short_blocks = blocks(whole, LONG), blocks(whole, SHORT)
    voices = {name: (Voice(made, RATE), Voice(made, RATE)) for name, (made, _) in instruments().items()}
    for voice, short_voice in voices.values():  # first calls load what is loaded late
        seconds_for(voice, long_blocks)
        block_shares(short_voice, short_blocks)
    sines, seconds, shares = [], {name: [] for name in voices}, {name: [] for name in voices}
    for _ in range(ROUNDS):
        sines.append(sine_seconds(angles))
        for name, (voice, short_voice) in voices.items():
            seconds[name].append(seconds_for(voice, long_blocks))
            shares[name].append(block_shares(short_voice, short_blocks))
    return (
        np.array(sines),
        {n: np.array(s) for n, s in seconds.items()},
        {n: np.concatenate(s) for n, s in shares.items()},
    )


def main():
    sines, seconds, shares = measure()
    wall_sine, own_sine = 1e3 * np.median(sines, axis=0)
    print(f"python {sys.version.split()[0]}, numpy {np.__version__}, one thread, {RATE} Hz, {ROUNDS} rounds of 1 s")
    print(f"np.sin of {RATE} samples: {wall_sine:.3f} ms on the wall, {own_sine:.3f} ms of processor time")
    print(f"\n{LONG}-frame blocks        times real time          over np.sin")
    print("                       wall  goal  processor      wall  processor")
    for name, (_, goal) in instruments().items():
        wall, own = 1.0 / np.median(seconds[name], axis=0)
        over_wall, over_own = np.median(seconds[name] / sines, axis=0)
        verdict = "met" if wall >= goal else "MISSED"
        print(f"  {name:<17} {wall:7.0f} {goal:5.0f} {own:10.0f} {over_wall:9.1f} {over_own:10.1f}   {verdict}")
    print(f"\n{SHORT}-frame blocks, % of their {1e3 * SHORT / RATE:.3f} ms; goal: p99.9 on the wall under 25 %")
    print("                      p50     p99   p99.9     processor time:  p50     p99   p99.9")
    for name in instruments():
        (p50, own50), (p99, own99), (p999, own999) = np.percentile(100.0 * shares[name], [50.0, 99.0, 99.9], axis=0)
        verdict = "met" if p999 < 25.0 else "MISSED"
        line = f"{p50:7.2f} {p99:7.2f} {p999:7.2f} {own50:21.2f} {own99:7.2f} {own999:7.2f}"
        print(f"  {name:<17} {line}   {verdict}")


if __name__ == "__main__":
    main()
