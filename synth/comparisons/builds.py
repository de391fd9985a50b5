"""Random builds of a design all at once against a plain loop: an `Instrument` and a `PitchField` for each build."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.branch.antenna_branch import SeriesInductor
from models.builds.tolerance import build_runs, build_values
from models.builds.tuned_builds import QUANTITIES, TunedBuilds, joined
from models.instrument import Instrument
from models.pitch_field import HIGHEST_AUDIBLE, LOWEST_AUDIBLE, pitch_field
from models.tank import Tank
from synth.analysis.tolerance import trial_of
from synth.build.workbench import OpenedDesign, open_loaded
from synth.comparisons.benchmark_report import BenchmarkGoal, Column, Comparison, timed
from synth.designs.template import template_design

BUILDS, LOOP_BUILDS = 100_000, 100
QUICK_BUILDS, QUICK_LOOP = 20_000, 30
SEED, ROUNDS = 1, 3
FASTER, MOST_SECONDS, MOST_CENTS, MOST_HZ = 100.0, 2.0, 0.01, 1e-3
COLUMNS = (
    Column("design", "design"),
    Column("builds", "builds at once", shown=".0f"),
    Column("at_once", "each, us", "s", 1e6, ".2f"),
    Column("looped", "builds in the loop", shown=".0f"),
    Column("loop", "each, us", "s", 1e6, ".0f"),
    Column("ratio", "times faster", shown=".0f"),
    Column("same_reached", "zero beat alike"),
    Column("compared", "unevenness compared", shown=".0f"),
    Column("unevenness_cents", "differs by, cents", "cents", shown=".1g"),
    Column("beat", "beat differs by, Hz", "Hz", shown=".1g"),
)


def builds_section(
    quick: bool, workpiece: OpenedDesign | None = None, each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison for one design, by default the one that `beatfield new` writes."""
    piece = open_loaded(template_design()) if workpiece is None else workpiece
    builds, looped = (QUICK_BUILDS, QUICK_LOOP) if quick else (BUILDS, LOOP_BUILDS)
    trial = trial_of(piece)
    each(f"builds: {builds} at once and {looped} in a loop")
    rows = next(build_values(trial, looped, SEED, looped))
    slow, slow_seconds = timed(lambda: outcomes_by_loop(trial.law, piece.instrument, rows))
    times = []
    for _ in range(ROUNDS):
        runs, seconds = timed(lambda: joined(build_runs(trial, builds, SEED)))
        times.append(seconds)
    at_once, loop = float(np.median(times)) / builds, slow_seconds / looped
    uneven, reached = runs.unevenness[:looped], runs.reached[:looped]
    both = ~np.isnan(slow[:, 1]) & ~np.isnan(uneven)
    alike = bool((reached == (slow[:, 0] > 0.5)).all())
    cents = float(np.abs(slow[both, 1] - uneven[both]).max()) if both.any() else None
    beats = np.stack([runs.highest[:looped], runs.lowest[:looped]], axis=1)
    hertz = _beat_difference(beats, slow[:, 2:])
    row = (
        piece.design.name,
        builds,
        at_once,
        looped,
        loop,
        loop / at_once,
        "yes" if alike else "NO",
        int(both.sum()),
        cents,
        hertz,
    )
    goals = (
        BenchmarkGoal(piece.design.name, "times faster", loop / at_once, FASTER),
        BenchmarkGoal(piece.design.name, f"s for {BUILDS} builds", at_once * BUILDS, MOST_SECONDS, at_least=False),
        BenchmarkGoal(piece.design.name, "unevenness differs by, cents", cents, MOST_CENTS, at_least=False),
        BenchmarkGoal(piece.design.name, "beats differ by, Hz", hertz, MOST_HZ, at_least=False),
    )
    return Comparison(
        "builds",
        "Random builds all at once against a plain loop",
        COLUMNS,
        (row,),
        goals,
        (f"median of {ROUNDS} runs of all builds; the loop once, over the first of the same builds",),
    )


def _beat_difference(heard: Floats, beats: Floats) -> float | None:
    """Largest difference, Hz, between pitches within hearing and plain beats; None where no build sounds."""
    difference = np.abs(heard - np.clip(beats, LOWEST_AUDIBLE, HIGHEST_AUDIBLE))
    return None if np.isnan(difference).all() else float(np.nanmax(difference))


COIL_Q = 60.0
"""Of the series inductor; it does not act on the figures here."""


def outcomes_by_loop(law: TunedBuilds, instrument: Instrument, rows: Floats) -> Floats:
    """(builds, 4): zero beat reached (1 or 0), unevenness in cents RMS or NaN, beat at nearest and farthest, Hz.

    rows (builds, len(QUANTITIES)): part values of each build, H and F.
    """
    return np.array([_one(law, instrument, dict(zip(QUANTITIES, row.tolist(), strict=True))) for row in rows])


def _one(law: TunedBuilds, instrument: Instrument, part: dict[str, float]) -> tuple[float, float, float, float]:
    variable, reference = (
        Tank(
            part[f"{which}_inductance"],
            part[f"{which}_capacitance"],
            part[f"{which}_stray"],
            part[f"{which}_trimmer"] * ratio,
            part[f"{which}_trimmer"],
        )
        for which, ratio in (("variable", 1.0), ("reference", law.trimmer_ratio))
    )
    branch = SeriesInductor(part["branch_inductance"], COIL_Q, part["branch_self_capacitance"])
    one = replace(instrument, variable_tank=variable, branch=branch, antenna_stray=part["antenna_stray"])
    target = float(one.variable_frequency(law.zero_beat))
    lowest, highest = reference.trimmer_range()
    reached = lowest <= target <= highest
    setting = reference.setting_for(target) if reached else float(target < lowest)
    one = replace(one, reference_frequency=reference.with_trimmer(setting).frequency)
    field = pitch_field(one)
    uneven = np.nan
    if field.direction == "rising" and field.reaches([law.even_from, law.even_to]).all():
        uneven = field.linearity_error_between(law.even_from, law.even_to)
    near, far = one.beat_frequency([law.nearest, law.farthest])
    return float(reached), float(uneven), float(near), float(far)
