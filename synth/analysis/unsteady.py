"""An oscillator that does not settle: bursts, two tones or a motion that never repeats, as figures."""

from __future__ import annotations

import numpy as np

from models.circuit.envelope import Outcome
from models.circuit.small_signal import small_signal
from models.circuit.start_up import StartUp
from models.quick_dataclass import dataclass
from synth.analysis.circuit_points import unsteady_points
from synth.analysis.figures import OfDesign, collected, of
from synth.analysis.oscillator import PreparedOscillator
from synth.designs.quantity import format_quantity

LATE = 0.5
"""The later share of the run, by its points, over which highest and lowest are read."""
MOTIONS = {
    Outcome.SQUEGS: "it squegs: it comes in bursts, one like the other",
    Outcome.TWO_TONES: "it sounds in two modes at once",
    Outcome.PATTERN: "its cycles are unlike, and repeat only after several of them",
    Outcome.WANDERS: "it is irregular: no period is found in it",
    Outcome.DIES: "it dies away after switching on",
    Outcome.SETTLES: "it settles, but not at an oscillation that can be solved for",
    Outcome.UNDECIDED: "it had not come to an end when the computation did",
}
LESS_DRIVE = "drive it less: less current, less feedback, or more loss in the coil"
REMEDIES = {
    Outcome.TWO_TONES: "set the modes further apart (another series inductor) or add loss to the one not wanted",
    Outcome.PATTERN: LESS_DRIVE,
    Outcome.WANDERS: LESS_DRIVE,
}
USUAL_REMEDY = (
    "choose smaller capacitors that hold the bias, smaller resistors that they discharge by, less feedback or less "
    "current"
)


@dataclass(frozen=True, slots=True)
class Tone:
    """One of two oscillations at once."""

    frequency_hz: float
    tank_peak_v: float


@dataclass(frozen=True, slots=True)
class Range:
    """What one point does late in the run: mean over a cycle (None across the tank) and swing, lowest and highest."""

    name: str
    lowest_dc_v: float | None
    highest_dc_v: float | None
    lowest_peak_to_peak_v: float
    highest_peak_to_peak_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnsteadyFigures(OfDesign):
    """Every figure of an oscillator that does not settle, SI units in the names; None where there is no such thing."""

    which: str = of("prepared.which")
    steady: bool = False
    motion: str
    motion_in_words: str
    followed_s: float
    frequency_hz: float
    lowest_frequency_hz: float
    highest_frequency_hz: float
    burst_period_s: float | None
    burst_depth: float | None
    bursts_counted: int
    burst_spread: float | None
    tones: tuple[Tone, ...]
    pattern_cycles: int | None
    pattern_period_s: float | None
    growth_rate_per_s: float = of("signal.growth_rate")
    loop_gain_margin_db: float = of("signal.margin_db")
    supply_v: float = of("circuit.supply_voltage")
    pot: float | None = of("circuit.pot_position")
    ranges: tuple[Range, ...]
    remedy: str
    notices: tuple[str, ...]


def unsteady_figures(prepared: PreparedOscillator, run: StartUp) -> UnsteadyFigures:
    """Collect what is read on `prepared`, whose start-up `run` does not lead to a steady oscillation."""
    frequency, swings = run.frequency, run.swing("tank")
    late = np.arange(swings.size) >= LATE * swings.size
    loud = late & (swings > 0.1 * swings[late].max())
    bursts, tones, pattern = run.bursts, run.tones, run.pattern
    # an irregular swing has peaks as well, but no period
    periodic = bursts if run.outcome is Outcome.SQUEGS else None
    points = (("tank", "tank"), *unsteady_points(prepared.circuit))
    return collected(
        UnsteadyFigures,
        {
            "design": prepared.design,
            "prepared": prepared,
            "circuit": prepared.circuit,
            "signal": small_signal(prepared.circuit),
        },
        motion=run.outcome.value,
        motion_in_words=MOTIONS[run.outcome],
        followed_s=float(run.times[-1]),
        frequency_hz=float(np.median(frequency[loud])),
        lowest_frequency_hz=float(np.percentile(frequency[loud], 5)),
        highest_frequency_hz=float(np.percentile(frequency[loud], 95)),
        burst_period_s=None if periodic is None else periodic.period,
        burst_depth=None if bursts is None else bursts.depth,
        bursts_counted=0 if bursts is None else bursts.count,
        burst_spread=None if bursts is None else bursts.spread,
        tones=()
        if tones is None or run.outcome is not Outcome.TWO_TONES
        else tuple(Tone(*pair) for pair in zip(tones.frequencies, tones.amplitudes, strict=True)),
        pattern_cycles=None if pattern is None else pattern.cycles,
        pattern_period_s=None if pattern is None else pattern.period,
        ranges=tuple(_range(run, name, node, late) for name, node in points),
        remedy=REMEDIES.get(run.outcome, USUAL_REMEDY),
        notices=(*prepared.notices, *_remarks(run)),
    )


def _range(run: StartUp, name: str, node: str, late: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Range:
    means, swings = None if node == "tank" else run.mean(node), run.swing(node)
    return Range(
        name,
        None if means is None else float(means[late].min()),
        None if means is None else float(means[late].max()),
        float(swings[late].min()),
        float(swings[late].max()),
    )


def _remarks(run: StartUp) -> tuple[str, ...]:
    if run.second_mode is None:
        return ()
    at = format_quantity(run.second_mode, "Hz", 4)
    return (
        f"the mode near {at} grows slowly beside the first: it was set going with a fifth of its swing to save the "
        "wait, so the time at which it appears is not that of the built circuit",
    )
