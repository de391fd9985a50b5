"""What a straight field costs (coil loss, sensitivity of the hand, drift of zero beat), and the circuits none beats.

Drift, per part in a million (derived here from the stored energy; lossless):

    mismatch of the two oscillators' frequencies:  df = f 1e-6
    the series coil's inductance alone:            df = f / 2 m 1e-6,  m = (I_a^2 La) / (I_a^2 La + I_0^2 L0)

The first is the carrier frequency times the part in a million; the second cannot be balanced, because the reference has
no series coil. With V2 / V1 of the mode, I_a = (V1 - V2) / (w La) and I_0 = V1 / (w L0).

The front: straightness against sensitivity and drift. For every bound on the carrier frequency and on the room that
the notes must take, the straightest field is searched; of what is found, those that another beats in all three figures
are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats
from models.branch.loss import mode_starts
from models.branch.modes import MODES, voltage_ratio
from models.builds.build_law import PARTS, BuildLaw, Builds, root_of_squares
from models.checks import finite_array
from models.hand.capacitance_curve import CapacitanceCurve
from models.pitch import cents
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.straight.evenness import RULE, Evenness, FieldGoal
from models.straight.search import FieldParts, Mapped, Place, Progress, Search, Solution, one_by_one

PPM = 1e-6


class Price(NamedTuple):
    """Of one circuit: cents per mm on average over the played range, Hz of zero beat per ppm of mismatch between the
    oscillators, and per ppm of the series coil's inductance.
    """

    cents_per_mm: float
    drift_hz_per_ppm: float
    branch_hz_per_ppm: float


def price(law: BuildLaw, circuit: Builds, even: Evenness, goal: FieldGoal) -> Price:
    """The price of the first row of `circuit`, whose notes are held."""
    width = float(even.low_distance[0] - even.high_distance[0])
    carrier = float(even.carrier[0])
    share = magnetic_share(law, circuit, float(even.zero_beat[0]))
    return Price(1e-3 * goal.span_cents / width, carrier * PPM, 0.5 * share * carrier * PPM)


def tuning_ratio(curve: CapacitanceCurve, circuit: Builds, low_distance: float) -> float | None:
    """Series resonance of the branch over the tank's own, of the first row with the hand at its lowest note (m); None
    without a branch: sqrt(L0 C0 / (La (Ca + Cs))).
    """
    l0, c0, la, cs, antenna_stray = _first(circuit)
    if la == 0.0:
        return None
    return math.sqrt(l0 * c0 / (la * (float(curve.capacitance(low_distance)) + antenna_stray + cs)))


def magnetic_share(law: BuildLaw, circuit: Builds, distance: float) -> float:
    """Share of the magnetic energy that is in the series coil with the hand at `distance` (m): 0 without one."""
    l0, _, la, cs, antenna_stray = _first(circuit)
    if la == 0.0:
        return 0.0
    hand = law.curve.capacitance([distance])
    squared = (2.0 * math.pi * float(law.frequency(circuit, hand)[0, 0])) ** 2
    ratio = float(voltage_ratio(squared, la, float(hand[0]) + antenna_stray, cs))
    branch, tank = (1.0 - ratio) ** 2 / la, 1.0 / l0
    return branch / (branch + tank)


def lossy_rms(law: BuildLaw, circuit: Builds, parts: FieldParts, goal: FieldGoal, zero_beat: float) -> float | None:
    """RMS cents of the first row with coil loss, tuned to zero beat at the same distance (m); None if not held.

    Frequency at which the oscillation starts (`models.branch.loss`), coil resistances at the tank's frequency.
    """
    distances = np.geomspace(law.curve.nearest, zero_beat, 400)
    distances[[0, -1]] = law.curve.nearest, zero_beat
    frequencies = _lossy_frequency(law, circuit, parts, distances)
    offsets = frequencies[-1] - frequencies
    wanted = goal.offsets[::-1]
    if not np.isfinite(offsets).all() or not (np.diff(offsets) < 0.0).all() or offsets[0] < wanted[0]:
        return None
    rising = np.log(offsets[-2::-1])
    ends = np.exp(np.interp(np.log(wanted), rising, np.log(distances[-2::-1])))
    there = frequencies[-1] - _lossy_frequency(law, circuit, parts, ends[0] + (ends[1] - ends[0]) * RULE.shares)
    offset = np.maximum(there, goal.lock_range + 1e-9)
    return float(root_of_squares(cents(pulled_beat(offset, goal.lock_range), 1.0) @ RULE.away))


def _lossy_frequency(law: BuildLaw, circuit: Builds, parts: FieldParts, distances: Floats) -> Floats:
    l0, c0, la, cs, antenna_stray = _first(circuit)
    angular = 1.0 / math.sqrt(l0 * c0)
    antenna = law.curve.capacitance(distances) + antenna_stray
    both = mode_starts(l0, c0, la, antenna, cs, angular * l0 / parts.tank_q, angular * la / parts.branch_q)
    return both.frequencies[MODES.index(law.mode)]


def _first(circuit: Builds) -> list[float]:
    """Values of the first row, in the order of PARTS."""
    return [float(getattr(circuit, name)[0]) for name in PARTS]


ALIKE = 0.02  # of a logarithm: 2 %


@dataclass(frozen=True, slots=True)
class FrontPoint:
    """One circuit of the front."""

    solution: Solution
    rms_cents: float
    price: Price
    carrier: float
    zero_beat: float


def not_dominated(figures: ArrayLike) -> NDArray[np.bool_]:
    """Which rows of (n, k) figures, less being better, no other row equals or beats in all and beats in one."""
    rows = finite_array("figures", figures)
    better = (rows[:, None, :] <= rows[None]).all(axis=2) & (rows[:, None, :] < rows[None]).any(axis=2)
    return np.asarray(~better.any(axis=0))


def front(
    search_of: Callable[[Place], Search],
    places: Sequence[Place],
    seed: int,
    progress: Progress = lambda share: None,
    mapped: Mapped = one_by_one,
) -> tuple[FrontPoint, ...]:
    """The front over the given places in continuous values, least RMS cents first; `search_of` a place: its search."""
    bounds = [
        (place, fill, carrier) for place in places for fill, carrier in product(*search_of(place).effort.front_bounds)
    ]
    found: dict[int, FrontPoint | None] = {}
    for number, point in mapped(partial(_bounded, search_of, seed), bounds):
        found[number] = point
        progress(len(found) / len(bounds))
    points = [point for _, point in sorted(found.items()) if point is not None]
    if not points:
        return ()
    alike = {_rounded(point): point for point in sorted(points, key=lambda point: -point.rms_cents)}
    kept = [point for point, good in zip(alike.values(), not_dominated(list(alike)), strict=True) if good]
    return tuple(sorted(kept, key=lambda point: point.rms_cents))


def _bounded(search_of: Callable[[Place], Search], seed: int, bound: tuple[Place, float, float]) -> FrontPoint | None:
    """The straightest field of a place that takes up a share of the reach, with a highest carrier, Hz."""
    place, fill, carrier = bound
    search = search_of(place)
    if carrier <= search.parts.lowest_carrier:
        return None
    parts = replace(search.parts, highest_carrier=min(carrier, search.parts.highest_carrier))
    found = Search(search.law.curve, replace(search.goal, fill=fill), parts, place, search.effort).best(seed)
    return None if found is None else point_of(search, found)


def _rounded(point: FrontPoint) -> tuple[float, ...]:
    """The three figures in steps of ALIKE: circuits that differ by less are one."""
    figures = point.rms_cents, point.price.cents_per_mm, point.price.drift_hz_per_ppm
    return tuple(round(math.log(max(figure, 1e-3)) / ALIKE) for figure in figures)


def point_of(search: Search, solution: Solution) -> FrontPoint:
    """The figures of a solution that holds the notes of the search's goal."""
    even = search.evenness(solution)
    return FrontPoint(
        solution,
        float(even.rms_cents[0]),
        price(search.law, solution.build(search.parts), even, search.goal),
        float(even.carrier[0]),
        float(even.zero_beat[0]),
    )
