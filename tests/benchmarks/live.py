"""Time of a block as the sound device's callback takes it: python tests/benchmarks/live.py

The whole of a block at 128 frames: hand events read from shared memory, hand clock, voice, tremor, drone, the
memory of the take, meters. 500 events a second arrive; cases are taken in turn within one run on one thread, and the
bare voice is measured beside them. Figures are shares of the block's period by the clock on the wall and by this
thread's processor time; the goal is for the wall. The growth of the process's memory over the run is printed too.
"""

# ruff: noqa: E402 (the number of threads is set before numpy is loaded)
import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import gc
from time import perf_counter, thread_time

import numpy as np

from models.detector.memoryless import Detector
from synth.comparisons.radio_rate import example_instrument
from synth.hands.hand_path import HandBlock
from synth.live.hand_timing import HAND_DELAY
from synth.live.link import HandEvent, Listening, LiveLink
from synth.live.renderer import Renderer
from synth.sound.strand import InstrumentSource
from synth.sound.voice import Voice

RATE, FRAMES = 48000, 128
EVENT_TIME = 0.002  # s
SECONDS = 20.0  # of sound a case
PIECE = 375  # blocks, one second, a case's turn


class Live:
    """One renderer with its link and its pointer."""

    def __init__(self, instrument, tremor, drone):
        self.link = LiveLink.create()
        self.link.listening.write(Listening(0.2))
        self.renderer = Renderer(InstrumentSource(instrument), RATE, self.link)
        self.renderer.warm_up()
        self.renderer.gate.set(True)
        self.renderer.hand.tremble(tremor, 1)
        self.renderer.drone.set(drone, 0.1)
        self.blocks = self.sent = 0

    def block(self):
        self.blocks += 1
        now = 50.0 + self.blocks * FRAMES / RATE + HAND_DELAY
        while 50.0 + EVENT_TIME * (self.sent + 1) <= now:
            self.sent += 1
            at = EVENT_TIME * self.sent
            self.link.hand.write(HandEvent(50.0 + at, 0.3 + 0.1 * np.sin(3.0 * at), 0.8))
        started = perf_counter(), thread_time()
        self.renderer.render(FRAMES, output_delay=0.01, now=now)
        return perf_counter() - started[0], thread_time() - started[1]


class Bare:
    """The voice alone, its hand given."""

    def __init__(self, instrument):
        self.voice = Voice(instrument, RATE)
        self.blocks = 0

    def block(self):
        times = (self.blocks * FRAMES + np.arange(FRAMES)) / RATE
        self.blocks += 1
        hand = HandBlock(0.3 + 0.1 * np.sin(3.0 * times), np.full(FRAMES, 0.8))
        started = perf_counter(), thread_time()
        self.voice.render(hand, FRAMES)
        return perf_counter() - started[0], thread_time() - started[1]


def resident():
    """Memory of this process, bytes; 0 where the system does not tell."""
    try:
        with open("/proc/self/statm") as file:
            return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 0


def main():
    instrument = example_instrument(Detector("envelope", 0.9), 5.0)
    cases = {
        "voice alone": Bare(instrument),
        "live": Live(instrument, 0.0, None),
        "live, tremor": Live(instrument, 0.3e-3, None),
        "live, tremor, drone": Live(instrument, 0.3e-3, 220.0),
    }
    shares = {name: [] for name in cases}
    gc.collect()
    gc.disable()
    for case in cases.values():
        for _ in range(PIECE):
            case.block()
    before = resident()
    for _ in range(round(SECONDS)):
        for name, case in cases.items():
            shares[name] += [case.block() for _ in range(PIECE)]
    grown = (resident() - before) / 2**20
    print(f"{FRAMES}-frame blocks at {RATE} Hz, % of their {1e3 * FRAMES / RATE:.3f} ms, {SECONDS:.0f} s a case")
    print("                         p50    p99  p99.9   processor: p50    p99  p99.9   goal: p99.9 on the wall < 25")
    for name, found in shares.items():
        (p50, own50), (p99, own99), (p999, own999) = np.percentile(
            100.0 * np.array(found) * RATE / FRAMES, [50.0, 99.0, 99.9], axis=0
        )
        verdict = "met" if p999 < 25.0 else "MISSED"
        print(f"  {name:<20} {p50:6.2f} {p99:6.2f} {p999:6.2f} {own50:16.2f} {own99:6.2f} {own999:6.2f}   {verdict}")
    print(f"memory grown by {grown:.2f} MiB over {SECONDS * len(cases):.0f} s of sound, results of this run included")
    for case in cases.values():
        if isinstance(case, Live):
            link = case.link
            del case.renderer, case.link
            link.close()


if __name__ == "__main__":
    main()
