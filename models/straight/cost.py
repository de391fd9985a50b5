"""What a straight field costs: coil loss, sensitivity of the hand, and the drift of zero beat.

Drift, per part in a million (derived here from the stored energy; lossless):

    mismatch of the two oscillators' frequencies:  df = f 1e-6
    the series coil's inductance alone:            df = f / 2 m 1e-6,  m = (I_a^2 La) / (I_a^2 La + I_0^2 L0)

The first is the carrier frequency times the part in a million; the second cannot be balanced, because the reference has
no series coil. With V2 / V1 of the mode, I_a = (V1 - V2) / (w La) and I_0 = V1 / (w L0).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from models.branch.loss import mode_starts
from models.branch.modes import MODES
from models.hand.capacitance_curve import CapacitanceCurve
from models.straight.evenness import SAMPLES, Candidates, Evenness, Goal, rms_from_line
from models.straight.search import Parts

Floats = NDArray[np.float64]
PPM = 1e-6


class Price(NamedTuple):
    """Of one circuit: cents per mm on average over the played range, Hz of zero beat per ppm of mismatch between the
    oscillators, and per ppm of the series coil's inductance.
    """

    cents_per_mm: float
    drift_hz_per_ppm: float
    branch_hz_per_ppm: float


def price(curve: CapacitanceCurve, candidates: Candidates, even: Evenness, goal: Goal) -> Price:
    """The price of the first row of `candidates`, whose notes are held."""
    width = float(even.low_distance[0] - even.high_distance[0])
    carrier = float(even.carrier[0])
    share = magnetic_share(curve, candidates, float(even.zero_beat[0]))
    return Price(1e-3 * goal.span_cents / width, carrier * PPM, 0.5 * share * carrier * PPM)


def tuning_ratio(curve: CapacitanceCurve, candidates: Candidates) -> float | None:
    """Series resonance of the branch over the tank's own, of the first row with the hand at its lowest note; None
    without a branch: sqrt(L0 C0 / (La (Ca + Cs))).
    """
    branch = float(candidates.branch_inductance[0])
    if branch == 0.0:
        return None
    antenna = float(curve.capacitance(float(candidates.low_distance[0]))) + float(candidates.antenna_stray[0])
    tank = float(candidates.tank_inductance[0] * candidates.tank_capacitance[0])
    return math.sqrt(tank / (branch * (antenna + float(candidates.self_capacitance[0]))))


def magnetic_share(curve: CapacitanceCurve, candidates: Candidates, distance: float) -> float:
    """Share of the magnetic energy that is in the series coil with the hand at `distance` (m): 0 without one."""
    l0, la, cs = (
        float(row[0]) for row in (candidates.tank_inductance, candidates.branch_inductance, candidates.self_capacitance)
    )
    if la == 0.0:
        return 0.0
    capacitance = float(curve.capacitance(distance)) + float(candidates.antenna_stray[0])
    squared = (2.0 * math.pi * float(candidates.frequency(np.array([[capacitance]]))[0, 0])) ** 2
    ratio = (1.0 - squared * la * cs) / (1.0 - squared * la * (capacitance + cs))
    branch, tank = (1.0 - ratio) ** 2 / la, 1.0 / l0
    return branch / (branch + tank)


def lossy_rms(
    curve: CapacitanceCurve, candidates: Candidates, parts: Parts, goal: Goal, zero_beat: float
) -> float | None:
    """RMS cents of the first row with coil loss, tuned to zero beat at the same distance (m); None if not held.

    Frequency at which the oscillation starts (`models.branch.loss`), coil resistances at the tank's frequency.
    """
    distances = np.geomspace(curve.nearest, zero_beat, 400)
    distances[[0, -1]] = curve.nearest, zero_beat
    frequencies = _lossy_frequency(curve, candidates, parts, distances)
    offsets = frequencies[-1] - frequencies
    wanted = [math.hypot(note, goal.lock_range) for note in (goal.high_frequency, goal.low_frequency)]
    if not np.isfinite(offsets).all() or not (np.diff(offsets) < 0.0).all() or offsets[0] < wanted[0]:
        return None
    rising = np.log(offsets[-2::-1])
    ends = np.exp(np.interp(np.log(wanted), rising, np.log(distances[-2::-1])))
    places = ends[0] + (ends[1] - ends[0]) * (np.arange(SAMPLES) + 0.5) / SAMPLES
    there = frequencies[-1] - _lossy_frequency(curve, candidates, parts, places)
    return float(rms_from_line(600.0 * np.log2(np.maximum(there**2 - goal.lock_range**2, 1e-12))))


def _lossy_frequency(curve: CapacitanceCurve, candidates: Candidates, parts: Parts, distances: Floats) -> Floats:
    l0, c0, la, cs, stray = (
        float(getattr(candidates, name)[0])
        for name in ("tank_inductance", "tank_capacitance", "branch_inductance", "self_capacitance", "antenna_stray")
    )
    angular = 1.0 / math.sqrt(l0 * c0)
    antenna = curve.capacitance(distances) + stray
    if la == 0.0:
        squared = 1.0 / (l0 * (c0 + antenna)) - (angular / parts.tank_q) ** 2  # 1 / (L C) - (r / L)^2
        return np.asarray(np.sqrt(squared) / (2.0 * math.pi))
    both = mode_starts(l0, c0, la, antenna, cs, angular * l0 / parts.tank_q, angular * la / parts.branch_q)
    return both.frequencies[MODES.index(candidates.mode)]
