"""What a player's own hand can do, measured from a path of it: reach, scatter of resting, tremor, speed.

The path is looked at every 10 ms. A rest is a stretch of at least `SHORTEST` in which the hand, averaged over
`SMOOTHED`, is slower than `RESTING`; its ends are left out. Rests no farther than `SAME_PLACE` from the next one are
returns to one place: their scatter is the pooled standard deviation about the means of the places that were found
`FEWEST_RETURNS` times or more. Tremor is what moves in `BAND` while the hand rests: the square root of the power there
(periodogram with a Hann window, its line taken away), and the frequency at which there is most of it. Speed is the
median of the fastest moments of the ways between rests that are longer than `FAR`.

Neglected: that the pointer shows no less than a pixel. A tremor below `resolution`/sqrt(12), which is what rounding to
whole pixels makes by itself, is not told apart from it and is left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from models.arrays import Floats
from models.checks import non_negative, positive
from models.quick_dataclass import dataclass
from synth.errors import DesignError

RATE = 100.0  # Hz
SMOOTHED = 0.2  # s
RESTING = 0.02  # m/s
SHORTEST = 0.5  # s
END = 0.1  # s left out at each end of a rest
SAME_PLACE = 0.015  # m
FAR = 0.03  # m
FEWEST_RETURNS = 3
BAND = (4.0, 14.0)  # Hz
LONGEST = 600.0  # s that are looked at
LEAST_TREMBLING = 1.0  # s of rest that a tremor is looked for in
BINS = 512  # of the periodogram: every 0.2 Hz


@dataclass(frozen=True, slots=True)
class OwnHand:
    """A player's hand. `nearest`, `farthest`, m: from the antenna, the ends of the reach. `scatter`, m: standard
    deviation of coming back to a place. `tremor`, m RMS, at `tremor_rate`, Hz; both None where it was too small to be
    seen. `speed`, m/s. `resolution`, m: the smallest step that was seen. `source`: "pointer" or a trace's name; `when`:
    ISO 8601.
    """

    nearest: float
    farthest: float
    scatter: float
    tremor: float | None
    tremor_rate: float | None
    speed: float
    resolution: float
    source: str = ""
    when: str = ""

    def __post_init__(self) -> None:
        positive("nearest", self.nearest)
        if not positive("farthest", self.farthest) > self.nearest:
            raise ValueError(f"farthest must be above nearest; got {self.farthest:g} and {self.nearest:g}")
        for name in ("scatter", "speed", "resolution"):
            non_negative(name, getattr(self, name))
        for name in ("tremor", "tremor_rate"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))


@dataclass(frozen=True, slots=True)
class Rest:
    """A stretch, samples `first` to `last`, in which the hand rests at a mean distance `place`, m."""

    first: int
    last: int
    place: float


def measured_hand(times: Floats, distances: Floats, source: str = "", when: str = "") -> OwnHand:
    """The hand of a path, `times` s and `distances` m, both (n,).

    Raises DesignError where the path does not show enough of it: what to do is said.
    """
    if times.size < 2 or times[-1] - times[0] < SHORTEST:
        raise DesignError("the hand's path is too short to measure a hand by; record half a minute or more")
    clock = np.arange(times[0], min(float(times[-1]), float(times[0]) + LONGEST), 1.0 / RATE)
    place = np.interp(clock, times, distances)
    rests = _rests(place)
    groups = _groups(_returns(rests, place))
    if not groups:
        raise DesignError(
            f"the hand does not come back to a place {FEWEST_RETURNS} times and rest there; go away and come back, "
            "and rest for a second each time"
        )
    spare = sum(len(group) - 1 for group in groups)
    squares = sum(sum((rest.place - _mean(group)) ** 2 for rest in group) for group in groups)
    steps = np.abs(np.diff(distances))
    resolution = float(np.quantile(steps[steps > 0.0], 0.02)) if (steps > 0.0).any() else 0.0
    tremor = _tremor(place, rests)
    if tremor is not None and tremor[0] <= resolution / math.sqrt(12.0):
        tremor = None
    near, far = np.quantile(place, [0.01, 0.99])
    if not far > near:
        raise DesignError("the hand does not move; show how near and how far it reaches")
    return OwnHand(
        nearest=float(near),
        farthest=float(far),
        scatter=math.sqrt(squares / spare),
        tremor=None if tremor is None else tremor[0],
        tremor_rate=None if tremor is None else tremor[1],
        speed=_speed(place, rests),
        resolution=resolution,
        source=source,
        when=when,
    )


def _mean(group: Sequence[Rest]) -> float:
    return sum(rest.place for rest in group) / len(group)


def _rests(place: Floats) -> list[Rest]:
    """The rests of a hand at every sample, m."""
    from scipy.ndimage import uniform_filter1d  # here and below: heavy, only when a hand is measured

    width = round(SMOOTHED * RATE)
    speed = np.abs(np.gradient(uniform_filter1d(place, width), 1.0 / RATE))
    still = np.concatenate([[False], speed < RESTING, [False]])
    edges = np.flatnonzero(still[1:] != still[:-1]).reshape(-1, 2)
    end = round(END * RATE)
    return [
        Rest(int(first) + end, int(last) - end, float(np.mean(place[first + end : last - end])))
        for first, last in edges
        if last - first >= SHORTEST * RATE
    ]


def _returns(rests: Sequence[Rest], place: Floats) -> list[Rest]:
    """The rests, those as one between which the hand did not leave its place by more than `SAME_PLACE`."""
    found: list[Rest] = []
    for rest in rests:
        first = found[-1].first if found else rest.first
        if found and np.ptp(place[first : rest.last]) <= SAME_PLACE:
            found[-1] = Rest(first, rest.last, float(np.mean(place[first : rest.last])))
        else:
            found.append(rest)
    return found


def _groups(rests: Sequence[Rest]) -> list[list[Rest]]:
    """Rests at one place, those with enough of them."""
    groups: list[list[Rest]] = []
    for rest in sorted(rests, key=lambda one: one.place):
        if groups and rest.place - groups[-1][-1].place <= SAME_PLACE:
            groups[-1].append(rest)
        else:
            groups.append([rest])
    return [group for group in groups if len(group) >= FEWEST_RETURNS]


def _tremor(place: Floats, rests: Sequence[Rest]) -> tuple[float, float] | None:
    """Root mean square, m, and frequency, Hz, of what moves in the band of tremor while the hand rests."""
    from scipy.signal import periodogram

    total, weight = np.zeros(BINS // 2 + 1), 0.0
    for rest in rests:
        piece = place[rest.first : rest.last]
        for first in range(0, piece.size - round(LEAST_TREMBLING * RATE) + 1, BINS // 2):
            part = piece[first : first + BINS]
            if part.size < LEAST_TREMBLING * RATE:
                break
            rates, power = periodogram(part, RATE, window="hann", nfft=BINS, detrend="linear")
            total += part.size * power
            weight += part.size
    if weight == 0.0:
        return None
    inside = (rates >= BAND[0]) & (rates <= BAND[1])
    power = total / weight
    size = math.sqrt(float(np.sum(power[inside])) * RATE / BINS)
    return (size, float(rates[inside][np.argmax(power[inside])])) if size > 0.0 else None


def _speed(place: Floats, rests: Sequence[Rest]) -> float:
    """Median over the far ways between rests of the fastest moment of each, m/s; of the whole path without such."""
    from scipy.ndimage import uniform_filter1d

    speed = np.abs(np.gradient(uniform_filter1d(place, 5), 1.0 / RATE))
    ways = [
        float(speed[before.last : after.first + 1].max())
        for before, after in pairwise(rests)
        if np.ptp(place[before.last : after.first + 1]) >= FAR
    ]
    return float(np.median(ways)) if ways else float(speed.max())
