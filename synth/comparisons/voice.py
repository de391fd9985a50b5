"""The voice against both oscillators sampled at the radio rate, and against the floor of one np.sin pass."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from models.arrays import Floats
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, side_by_side, timed
from synth.comparisons.radio_rate import (
    LOCK_RANGE,
    RATE,
    detectors,
    difference_db,
    example_instrument,
    moving_hand,
    sound_from_radio,
)
from synth.sound.voice import PIECE, Voice

FASTER = 360.0
"""Times faster than the radio rate: 300, and a fifth to spare on a busy machine."""
MOST_DB = -60.0
OVER_SINE = {"plain": 3.5, "pulled": 6.0}
"""Passes of np.sin that the voice is to take, by kind of case."""
REAL_TIME = {"plain": 150.0, "pulled": 60.0, "diode": 50.0}
"""Times real time that the voice is to reach, by kind of case."""
QUICK_CASES = ("product", "junction", "diode", "product, pulled")
QUICK_SECONDS, FULL_SECONDS = 0.16, 0.5
"""Of sound that the radio rate is worked out for; the voice is timed over the longer one always."""
ROUNDS = 9
COLUMNS = (
    Column("case", "detector"),
    Column("voice", "voice, ms", "s", 1e3, ".2f"),
    Column("radio_rate", "radio rate, s", "s", 1.0, ".2f"),
    Column("ratio", "times faster", shown=".0f"),
    Column("difference_db", "difference, dB", "dB", shown=".1f"),
    Column("sine", "np.sin, ms", "s", 1e3, ".2f"),
    Column("over_sine", "voice over np.sin", shown=".1f"),
    Column("real_time", "times real time", shown=".0f"),
    Column("build", "tables, s", "s", 1.0, ".2f"),
)


def cases() -> tuple[str, ...]:
    """Every detector, without and with pulling."""
    return tuple(f"{name}{pulled}" for pulled in ("", ", pulled") for name in detectors())


def voice_section(
    quick: bool, chosen: Sequence[str] = (), each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison over the cases `chosen` (default: four of them if quick, else all)."""
    seconds = QUICK_SECONDS if quick else FULL_SECONDS
    rows: list[tuple[Cell, ...]] = []
    goals: list[BenchmarkGoal] = []
    for name in chosen or (QUICK_CASES if quick else cases()):
        each(f"voice: {name}")
        row = _case(name, seconds)
        rows.append((name, *row))
        _, _, ratio, decibels, _, over_sine, real_time, _ = row
        pulled = "pulled" if name.endswith("pulled") else "plain"
        kind = "diode" if name.startswith("diode") else pulled
        goals += [
            BenchmarkGoal(name, "times faster than the radio rate", ratio, FASTER),
            BenchmarkGoal(name, "difference, dB", decibels, MOST_DB, at_least=False),
            BenchmarkGoal(name, "passes of np.sin", over_sine, OVER_SINE[pulled], at_least=False),
            BenchmarkGoal(name, "times real time", real_time, REAL_TIME[kind]),
        ]
    notes = (
        f"a moving hand at {RATE} Hz; voice and np.sin in turn over {FULL_SECONDS:g} s, {PIECE} frames at once, as "
        "often before as after the radio rate",
        f"radio rate: {seconds:g} s by whole-array code at 7.68 MHz, diode at 30.7 MHz; times faster: for one second",
        "np.sin over as many samples is the floor: no voice can be much faster than one sine. A sine computes, the "
        "voice mostly moves numbers: the ratio is another on another processor",
        "the time of the tables, once for an instrument, is beside the ratio, not in it",
    )
    return Comparison("voice", "Voice against the radio rate and np.sin", COLUMNS, tuple(rows), tuple(goals), notes)


def _case(name: str, seconds: float) -> tuple[float, float, float, float, float, float, float, float]:
    """The figures of one row after its name."""
    made = example_instrument(detectors()[name.split(",")[0]], LOCK_RANGE if name.endswith("pulled") else 0.0)
    hand, longer = moving_hand(seconds), moving_hand(FULL_SECONDS)
    angles = np.linspace(0.0, 1000.0, longer.size)
    voice, build = timed(lambda: Voice(made, RATE))

    def render(distances: Floats) -> Floats:
        voice.reset()
        return voice.render(distances, distances.size)

    def in_turn() -> dict[str, float]:
        return side_by_side({"voice": lambda: render(longer), "sine": lambda: np.sin(angles)}, ROUNDS)

    got, before = render(hand), in_turn()
    wanted, slow = timed(lambda: sound_from_radio(made, hand))
    after = in_turn()
    own, sine = (0.5 * (before[name] + after[name]) for name in ("voice", "sine"))
    faster = (slow / seconds) / (own / FULL_SECONDS)
    return own, slow, faster, difference_db(got, wanted), sine, own / sine, FULL_SECONDS / own, build
