"""How a target frequency is reached from a fitted bench, here and on another board, as figures of the report."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from models.preferred_values import next_below
from models.readings.fit import LEAST_CREDIBLE
from models.readings.tank_model import PICO, FrequencyReading, reading_model
from models.readings.target import Reach, reach_target
from models.stray import BOARDS
from synth.analysis.figures import collected, of
from synth.analysis.fitting import SolvedBench
from synth.designs.quantity import format_quantity
from synth.errors import DesignError


@dataclass(frozen=True, slots=True)
class Wish:
    """What the person asked for beside the fit; a board is a key of BOARDS."""

    target_hz: float | None = None
    series: str = "E12"
    board: str | None = None
    other_board: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetFigure:
    """How a target frequency is reached; see `models.readings.target.Reach`.

    lower_f and trimmer_f: the next lower preferred value and what a trimmer beside it must add; None where the trimmer
    that was read reaches. added: stray of this board less that of the board read, middle, least and most; the interval
    from low to high holds at the middle. shift_hz: what the middle does to the parts
    as chosen for the board read.
    """

    where: str
    target_hz: float
    series: str = of("wish.series")
    needed_f: float = of("reach.needed")
    fitted_f: float = of("reach.fitted")
    trimmer: float | None = of("reach.trimmer")
    lower_f: float | None
    trimmer_f: float | None
    frequency_hz: float = of("reach.frequency.0")
    low_hz: float = of("reach.frequency.1")
    high_hz: float = of("reach.frequency.2")
    lowest_hz: float = of("reach.lowest")
    highest_hz: float = of("reach.highest")
    added_stray_f: float = of("added.0")
    added_least_f: float = of("added.1")
    added_most_f: float = of("added.2")
    shift_hz: float = of("shifts.0")
    shift_least_hz: float | None = of("shifts.1")
    shift_most_hz: float | None = of("shifts.2")


def chosen_reach(bench: SolvedBench, wish: Wish) -> Reach | None:
    """The parts that reach the target on this board, or None where no target is asked for."""
    return None if wish.target_hz is None else _reach(bench, wish.target_hz, wish.series, 0.0)


def targets(bench: SolvedBench, wish: Wish, board: str | None) -> tuple[TargetFigure, ...]:
    """How the target is reached on this board, and on the other one if asked."""
    if wish.target_hz is None:
        return ()
    here = _reach(bench, wish.target_hz, wish.series, 0.0)
    found = [_target(board or "this board", wish, here, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))]
    if wish.other_board is not None and board is not None:
        low, high = (there - now for there, now in zip(BOARDS[wish.other_board], BOARDS[board], strict=True))
        middle = 0.5 * (low + high)
        least = BOARDS[wish.other_board][0] - BOARDS[board][1]
        most = BOARDS[wish.other_board][1] - BOARDS[board][0]
        there = _reach(bench, wish.target_hz, wish.series, middle)
        shift = _moved(bench, here, middle) - here.frequency[0]
        ends = (_shift_or_none(bench, here, most), _shift_or_none(bench, here, least))
        found.append(_target(wish.other_board, wish, there, (middle, least, most), (shift, *ends)))
    return tuple(found)


def _target(
    where: str,
    wish: Wish,
    reach: Reach,
    added: tuple[float, float, float],
    shifts: tuple[float, float | None, float | None],
) -> TargetFigure:
    lower = None if reach.trimmer is not None else next_below(wish.series, reach.needed)
    rest = None if lower is None else reach.needed - lower
    return collected(
        TargetFigure,
        {"wish": wish, "reach": reach, "added": added, "shifts": shifts},
        where=where,
        target_hz=wish.target_hz or 0.0,
        lower_f=lower,
        trimmer_f=rest,
    )


def _setting(bench: SolvedBench) -> FrequencyReading:
    """How antenna and junction stand for a target: as in the last reading; the trimmer in its place if ever there."""
    last = bench.fit.given.readings[-1]
    trimmed = any(reading.trimmer is not None for reading in bench.fit.given.readings)
    return FrequencyReading(0.0, None, 0.5 if trimmed else None, last.antenna, last.reverse_voltage)


def _reach(bench: SolvedBench, target: float, series: str, added: float) -> Reach:
    try:
        return reach_target(bench.fit, _setting(bench), target, series, added)
    except ValueError as error:
        raise DesignError(f"--target-frequency {format_quantity(target, 'Hz')}: {error}") from None


def _shift_or_none(bench: SolvedBench, here: Reach, added: float) -> float | None:
    """Change of the parts chosen here, Hz, with `added` F beside them; None where no capacitance would be left."""
    at = replace(_setting(bench), fitted_capacitor=here.fitted)
    at = at if here.trimmer is None else replace(at, trimmer=here.trimmer)
    model = reading_model([at], bench.fit.given.surroundings)
    left = float(model.total(bench.fit.values, model.fitted)[0]) + added / PICO
    return None if left <= LEAST_CREDIBLE else _moved(bench, here, added) - here.frequency[0]


def _moved(bench: SolvedBench, here: Reach, added: float) -> float:
    """Frequency, Hz, of the parts chosen here with `added` F beside them."""
    base = _setting(bench)
    at = base.trimmer if here.trimmer is None else here.trimmer
    model = reading_model(
        [FrequencyReading(here.fitted, None, at, base.antenna, base.reverse_voltage)], bench.fit.given.surroundings
    )
    before, after = (
        float(model.log_frequency(bench.fit.values, model.fitted + extra)[0][0])
        for extra in np.array([0.0, added / PICO])
    )
    return here.frequency[0] * math.exp(after - before)
