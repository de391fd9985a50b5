"""What is made of a fitted bench: how a target frequency is reached, here and on another board, and its design."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.junction import depletion_capacitance
from models.preferred_values import next_below
from models.readings.fit import LEAST_CREDIBLE, Fit, unit_direction
from models.readings.tank_model import PICO, FrequencyReading, reading_model
from models.readings.target import Reach, reach_target
from models.stray import BOARDS
from synth.analysis.figures import collected, of
from synth.analysis.fitting import SolvedBench
from synth.build.assembly import tank_in
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.designs.sections import About, ReferenceSection, VariableSection
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


def counted_beside(bench: SolvedBench) -> float:
    """Capacitance, F, that the bench's design counts beside its key `stray`: the coil's own and, with a [circuit], the
    divider and the junction of the transistor at rest. 0 without a design.
    """
    opened, which = bench.opened, bench.which
    return 0.0 if opened is None else tank_in(opened.design, which).board_stray - getattr(opened.design, which).stray


def fitted_design(bench: SolvedBench, reach: Reach | None) -> tuple[Design, tuple[str, ...]]:
    """The bench's design with what was inferred (a plain new one where there is none), and what to know of it.

    The fixed capacitor and the trimmer's position are those of `reach` where there is one. Raises DesignError where
    the readings do not hold what a design needs, or give a value that no design takes.
    """
    fit, design, which = bench.fit, bench.design, bench.which
    notices: list[str] = []
    inductance = fit.interval("inductance")
    if inductance is None:
        raise DesignError("-o: the readings do not give the inductance; take the best next reading first")
    values: dict[str, Any] = {"inductance": inductance[0]}
    stray, ends = _stray_and_trimmer(fit, notices)
    beside = counted_beside(bench)
    stray -= beside
    if beside:
        notices.append(f"stray is less by {format_quantity(beside, 'F')}, which the design counts for coil and circuit")
    if "junction" in fit.names:
        stray += _junction(fit, notices)
    if stray < 0.0:
        raise DesignError(
            f"-o: the readings leave {stray * 1e12:.3g} pF of stray; a design takes none below zero: check readings, "
            "markings and what the design counts beside it"
        )
    values["stray"] = stray
    if ends is not None:
        values |= {"trimmer_minimum": ends[0], "trimmer_maximum": ends[1]}
    fitted = [row.fitted_capacitor for row in bench.rows if row.fitted_capacitor > 0.0]
    if reach is not None:
        values["capacitance"] = reach.fitted
        values |= {} if reach.trimmer is None else {"trimmer": reach.trimmer}
    elif design is None:
        values["capacitance"] = fitted[-1] if fitted else 100e-12
        notices.append(f"capacitance is the capacitor fitted last, {format_quantity(values['capacitance'], 'F')}")
    if design is None:
        about = About("Bench", "Inferred from bench readings; both tanks alike, everything else as by default.")
        return Design(variable=VariableSection(**values), reference=ReferenceSection(**values), about=about), tuple(
            notices
        )
    whole = replace(design, **{which: replace(getattr(design, which), **values)})
    antenna = fit.interval("antenna_stray") if "antenna_stray" in fit.names else None
    if antenna is not None:
        whole = replace(whole, antenna=replace(whole.antenna, stray=antenna[0]))
    return whole, tuple(notices)


def _stray_and_trimmer(fit: Fit, notices: list[str]) -> tuple[float, tuple[float, float] | None]:
    """Stray, F, and both ends of the trimmer; where only sums are held, an equal tank with a trimmer from zero."""
    names = {"stray", "trimmer_minimum", "trimmer_maximum"}
    single = {name: fit.interval(name) for name in names if name in fit.names or name in fit.given.known}
    trimmed = "trimmer_minimum" in single
    held = {name: interval[0] for name, interval in single.items() if interval is not None}
    if len(held) == len(single):
        return held["stray"], (held["trimmer_minimum"], held["trimmer_maximum"]) if trimmed else None
    low, high = (unit_direction("stray") + unit_direction(f"trimmer_{end}") for end in ("minimum", "maximum"))
    if trimmed and fit.held(low) and fit.held(high):
        notices.append("stray holds the trimmer's minimum: only their sum was read; the trimmer then begins at 0 pF")
        out, full = fit.combination(low)[0] * PICO, fit.combination(high)[0] * PICO
        return out, (0.0, full - out)
    raise DesignError("-o: the readings do not give the stray; take the best next reading first")


def _junction(fit: Fit, notices: list[str]) -> float:
    """The junction at the voltage read last, F."""
    found = fit.interval("junction")
    voltages = [reading.reverse_voltage for reading in fit.given.readings if reading.reverse_voltage is not None]
    if found is None:
        raise DesignError("-o: the readings do not tell the junction from the stray; take the best next reading first")
    around = fit.given.surroundings
    there = float(depletion_capacitance(-voltages[-1], found[0], around.junction_potential, around.junction_grading))
    notices.append(f"stray holds the junction as it is at {format_quantity(voltages[-1], 'V')}")
    return there
