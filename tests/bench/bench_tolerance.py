"""100 000 builds through the full pitch law, against a plain loop over instruments of their own, in one run.

    python tests/bench/bench_tolerance.py [DESIGN]
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from models.antenna_branch import SeriesInductor
from models.bench.build_law import QUANTITIES
from models.pitch_field import pitch_field
from models.tank import Tank
from models.tolerance import build_runs, build_values, joined
from synth.bench.tolerance import trial_of
from synth.designs.template import template_design
from synth.workbench import open_design, open_loaded

BUILDS, LOOP_BUILDS, LIMIT = 100_000, 100, 2.0


def loop(trial, instrument, rows):
    """The same figures by an `Instrument` and a `PitchField` for every build."""
    law, found = trial.law, []
    for row in rows:
        part = dict(zip(QUANTITIES, row.tolist(), strict=True))
        tanks = [
            Tank(part[f"{which}_inductance"], part[f"{which}_capacitance"], part[f"{which}_stray"],
                 part[f"{which}_trimmer"] * ratio, part[f"{which}_trimmer"])
            for which, ratio in (("variable", 1.0), ("reference", law.trimmer_ratio))
        ]  # fmt: skip
        own = part["branch_self_capacitance"]
        branch = SeriesInductor(part["branch_inductance"], 60.0, own) if part["branch_inductance"] else None
        one = replace(instrument, variable_tank=tanks[0], branch=branch, antenna_stray=part["antenna_stray"])
        target = float(one.variable_frequency(law.zero_beat))
        lowest, highest = tanks[1].trimmer_range()
        reached = lowest <= target <= highest
        setting = tanks[1].setting_for(target) if reached else float(target < lowest)
        one = replace(one, reference_frequency=tanks[1].with_trimmer(setting).frequency)
        field = pitch_field(one)
        uneven = np.nan
        if field.direction == "rising" and field.reaches([law.even_from, law.even_to]).all():
            uneven = field.linearity_error_between(law.even_from, law.even_to)
        found.append((reached, uneven, *one.beat_frequency([law.nearest, law.farthest])))
    return np.array(found)


def main() -> None:
    workpiece = open_design(Path(sys.argv[1])) if len(sys.argv) > 1 else open_loaded(template_design())
    trial = trial_of(workpiece)
    rows = next(build_values(trial, LOOP_BUILDS, 1, LOOP_BUILDS))
    begin = time.perf_counter()
    slow = loop(trial, workpiece.instrument, rows)
    per_build = (time.perf_counter() - begin) / LOOP_BUILDS
    begin = time.perf_counter()
    runs = joined(build_runs(trial, BUILDS, 1))
    whole = time.perf_counter() - begin
    quick = runs.reached[:LOOP_BUILDS], runs.unevenness[:LOOP_BUILDS]
    same = ~np.isnan(slow[:, 1]) & ~np.isnan(quick[1])
    print(f"{workpiece.design.name}: {BUILDS} builds in {whole:.2f} s, {1e6 * whole / BUILDS:.2f} us each "
          f"({'within' if whole <= LIMIT else 'BEYOND'} {LIMIT:g} s)")
    ratio = per_build * BUILDS / whole
    print(f"plain loop: {1e6 * per_build:.0f} us each, {per_build * BUILDS:.0f} s for all: {ratio:.0f} times as long")
    print(f"the first {LOOP_BUILDS}: zero beat reached in {int(slow[:, 0].sum())} and {int(quick[0].sum())}; evenness "
          f"differs by {np.abs(slow[same, 1] - quick[1][same]).max():.1g} cents at most ({int(same.sum())} builds)")


if __name__ == "__main__":
    main()
