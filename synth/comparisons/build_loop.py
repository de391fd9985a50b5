"""Random builds one by one: an `Instrument` and a `PitchField` for each, as one would write it first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from models.branch.antenna_branch import SeriesInductor
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.instrument import Instrument
from models.pitch_field import pitch_field
from models.tank import Tank

COIL_Q = 60.0
"""Of the series inductor; it does not act on the figures here."""


def outcomes_by_loop(law: TunedBuilds, instrument: Instrument, rows: NDArray[np.float64]) -> NDArray[np.float64]:
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
