"""From fitted readings to a target frequency: which preferred value and trimmer position reach it.

With L, and S all that the tank has beside the fitted capacitor and the trimmer: C = 1 / ((2 pi F)^2 L) - S - T.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from models.checks import positive
from models.preferred_values import nearest, values_in_range
from models.readings.fit import Fit
from models.readings.tank_model import PICO, FrequencyReading, reading_model

SMALLEST = 1e-12  # F, of a fitted capacitor worth suggesting


@dataclass(frozen=True, slots=True)
class Reach:
    """A preferred value and what it gives, F and Hz.

    needed: the exact fitted capacitance with the trimmer at its middle (or without one). trimmer: position on the
    target, None without a trimmer or where it does not reach. frequency: with its 95 % interval, the tolerance of a new
    capacitor included, with the trimmer there (or at the nearer end). lowest, highest: from the trimmer in to out.
    """

    needed: float
    fitted: float
    trimmer: float | None
    frequency: tuple[float, float, float]
    lowest: float
    highest: float


def needed_capacitor(fit: Fit, setting: FrequencyReading, frequency: float, added: float = 0.0) -> float:
    """Fitted capacitance, F, that gives `frequency`, Hz, with the rest as in `setting` and `added` F in parallel.

    Raises ValueError where none does, and where the readings do not hold enough to say.
    """
    wanted = math.log(positive("frequency", frequency))
    model = reading_model([replace(setting, fitted_capacitor=0.0)], fit.given.surroundings)
    known = float(model.total(fit.values, np.array([0.0]))[0]) + added / PICO
    low, high = 1e-2 - known, 1e7  # pF: the frequency falls with the capacitance

    def above(fitted: float) -> float:
        return float(model.log_frequency(fit.values, np.array([fitted + added / PICO]))[0][0]) - wanted

    if not above(high) <= 0.0 <= above(low):
        raise ValueError("no capacitance gives the target frequency in this mode")
    found = float(brentq(above, low, high, xtol=1e-9, rtol=1e-14)) * PICO
    probe = replace(setting, fitted_capacitor=max(found, 0.0))
    if fit.predicted(probe) is None:
        raise ValueError("the readings do not say enough to predict another frequency; take the best next reading")
    return found


def reach_target(fit: Fit, setting: FrequencyReading, frequency: float, series: str, added: float = 0.0) -> Reach:
    """The preferred value with which the trimmer reaches `frequency`, Hz, nearest to its middle; without a trimmer,
    or where none reaches, the value that comes nearest.

    setting: how antenna and junction stand; its trimmer None means that there is none. added: F in parallel beside
    (another board's stray). Raises ValueError where the target is out of reach of any fitted capacitor.
    """
    trimmed = setting.trimmer is not None
    middle = replace(setting, trimmer=0.5) if trimmed else setting
    needed = needed_capacitor(fit, middle, frequency, added)
    if needed < SMALLEST:
        raise ValueError(
            f"the tank has {-needed * 1e12:.4g} pF too much for the target without any fitted capacitor; "
            "take less inductance, or lower the target"
        )
    if not trimmed:
        value = nearest(series, needed)
        read = _predicted(fit, replace(setting, fitted_capacitor=value), added)
        return Reach(needed, value, None, read, read[0], read[0])
    tried = [_with_trimmer(fit, setting, value, frequency, needed, added) for value in _near(series, needed)]
    return min(
        tried,
        key=lambda reach: (
            reach.trimmer is None,
            abs(reach.frequency[0] - frequency) if reach.trimmer is None else abs(reach.trimmer - 0.5),
        ),
    )


def _near(series: str, needed: float) -> Sequence[float]:
    return values_in_range(series, max(SMALLEST, 0.3 * needed), 3.0 * needed) or (nearest(series, needed),)


def _with_trimmer(
    fit: Fit, setting: FrequencyReading, value: float, frequency: float, needed: float, added: float
) -> Reach:
    """What one fitted capacitor does; the trimmer is linear in its position, and with it the capacitance needed."""
    ends = [_predicted(fit, replace(setting, fitted_capacitor=value, trimmer=end), added)[0] for end in (1.0, 0.0)]
    out = needed_capacitor(fit, replace(setting, trimmer=0.0), frequency, added)
    span = 2.0 * (out - needed)
    position = (out - value) / span if span > 0.0 else math.nan
    reached = 0.0 <= position <= 1.0
    at = position if reached else 1.0 if ends[0] > frequency else 0.0
    read = _predicted(fit, replace(setting, fitted_capacitor=value, trimmer=at), added)
    return Reach(needed, value, at if reached else None, read, ends[0], ends[1])


def _predicted(fit: Fit, setting: FrequencyReading, added: float) -> tuple[float, float, float]:
    """Frequency and interval, Hz; the spread is that of the tank without `added`."""
    read = fit.predicted(setting)
    if read is None:
        raise ValueError("the readings do not say enough to predict another frequency; take the best next reading")
    if added == 0.0:
        return read
    model = reading_model([setting], fit.given.surroundings)
    moved = float(model.log_frequency(fit.values, model.fitted + added / PICO)[0][0]) - math.log(read[0])
    return read[0] * math.exp(moved), read[1] * math.exp(moved), read[2] * math.exp(moved)
