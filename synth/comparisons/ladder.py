"""Two ways to the same number, each at several resolutions: what each costs at equal accuracy."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from synth.comparisons.timing import timed

BEST_OF = 3
LONG = 1.0  # s: what takes longer than this is done once


@dataclass(frozen=True, slots=True)
class Step:
    """One resolution of one way: unknowns, seconds of processor time, relative error (signed)."""

    way: str
    unknowns: int
    seconds: float
    value: float
    error: float


def climb(
    ways: Mapping[str, Sequence[Callable[[], tuple[float, int]]]], truth: float, rounds: int = BEST_OF
) -> tuple[Step, ...]:
    """Every step of every way, the ways in turn; an action returns (value, unknowns). Best time of `rounds`."""
    found: dict[tuple[str, int], Step] = {}
    for _ in range(rounds):
        for place in range(max(len(actions) for actions in ways.values())):
            for way, actions in ways.items():
                before = found.get((way, place))
                if place >= len(actions) or (before is not None and before.seconds > LONG):
                    continue
                (value, unknowns), seconds = timed(actions[place])
                best = seconds if before is None else min(before.seconds, seconds)
                found[way, place] = Step(way, unknowns, best, value, value / truth - 1.0)
    return tuple(found[key] for key in sorted(found, key=lambda key: (list(ways).index(key[0]), key[1])))


def cost_at(steps: Sequence[Step], way: str, accuracy: float) -> Step | None:
    """The cheapest step of a way from which on all its finer ones are within `accuracy`; None if there is none."""
    own = [step for step in steps if step.way == way]
    good = [step for place, step in enumerate(own) if all(abs(finer.error) <= accuracy for finer in own[place:])]
    return min(good, key=lambda step: step.seconds, default=None)
