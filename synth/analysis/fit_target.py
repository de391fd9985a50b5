"""How a target frequency is reached with the fitted values, here and on another board."""

from __future__ import annotations

from dataclasses import replace

from models.preferred_values import next_below
from models.quick_dataclass import dataclass
from models.readings.instrument_model import Rows
from models.readings.target import Reach, Target, reach_target
from models.stray import BOARDS
from synth.analysis.figures import collected, of
from synth.analysis.fitting import SolvedBench
from synth.build.assembly import tank_in
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

AGAIN = 3
"""Times a circuit is solved with the capacitor that reaches the target, each time nearer."""


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
    return None if wish.target_hz is None else _reach(bench, wish.target_hz, wish.series, 0.0)[0]


def targets(bench: SolvedBench, wish: Wish, board: str | None) -> tuple[TargetFigure, ...]:
    """How the target is reached on this board, and on the other one if asked."""
    if wish.target_hz is None:
        return ()
    here, target = _reach(bench, wish.target_hz, wish.series, 0.0)
    found = [_target(board or "this board", wish, here, (0.0, 0.0, 0.0), (0.0, 0.0, 0.0))]
    if wish.other_board is not None and board is not None:
        low, high = (there - now for there, now in zip(BOARDS[wish.other_board], BOARDS[board], strict=True))
        middle = 0.5 * (low + high)
        least = BOARDS[wish.other_board][0] - BOARDS[board][1]
        most = BOARDS[wish.other_board][1] - BOARDS[board][0]
        there, _ = _reach(bench, wish.target_hz, wish.series, middle)
        shifts = [_shift(target, here, added) for added in (middle, most, least)]
        assert shifts[0] is not None
        found.append(_target(wish.other_board, wish, there, (middle, least, most), (shifts[0], shifts[1], shifts[2])))
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


def _reach(bench: SolvedBench, frequency: float, series: str, added: float) -> tuple[Reach, Target]:
    """How a frequency is reached with antenna, pot and the rest as in the last reading. With a circuit it is solved
    with the capacitor found, and found again.
    """
    inner = bench.bench
    setting = bench.last(bench.which) or next((one for one in inner.settings if not one.tuned), None)
    if setting is None:
        raise DesignError("--target-frequency: no reading is of an oscillator with its parts; add one")
    trimmed = any(one.trimmer is not None for one in inner.settings if one.oscillator == setting.oscillator)
    solved = None if bench.solved is None else dict(bench.solved)
    place = inner.settings.index(setting)
    high = bench.model.rows.high[place : place + 1]

    def row_of(trimmer: float | None) -> Rows:
        at = replace(setting, trimmer=trimmer)
        known = None if solved is None else {at: solved.get(at) or solved[inner.nearest(at, solved)]}
        rows = inner.rows_of([at], known, bench.fit.values).with_modes(high)
        fitted, offsets, shares = inner.fitted(at), rows.offsets.copy(), rows.shares.copy()
        offsets[1] -= fitted
        marking = inner.index.get(inner.capacitor_name(fitted))
        if marking is not None:
            shares[1, :, marking] -= fitted
        return Rows(offsets, shares, rows.high, rows.pull)

    target = Target(bench.fit, row_of, trimmed, inner.capacitor_deviation, added)
    try:
        found = reach_target(target, frequency, series)
        if solved is not None:
            for _ in range(AGAIN):
                probe = replace(
                    setting, fitted_capacitor=found.fitted, trimmer=found.trimmer if trimmed else setting.trimmer
                )
                fresh = inner.solve([probe], bench.fit.values, {probe: frequency}, {})
                for one in (0.0, 0.5, 1.0, found.trimmer) if trimmed else (setting.trimmer,):
                    solved[replace(setting, trimmer=one)] = fresh[probe]
                found = reach_target(target, frequency, series)
    except DesignError:
        raise
    except ValueError as error:
        raise DesignError(f"--target-frequency {format_quantity(frequency, 'Hz')}: {error}") from None
    return found, target


def _shift(target: Target, here: Reach, added: float) -> float | None:
    """Change of the parts chosen here, Hz, with `added` F beside them; None where no capacitance would be left."""
    at = here.trimmer if here.trimmer is not None else (0.5 if target.trimmed else None)
    least = target.row_of(at).arguments(target.fit.values)[1, 0] + here.fitted
    if least + added <= 1e-13:
        return None
    return target.frequency(here.fitted, at, added)[0] - target.frequency(here.fitted, at, 0.0)[0]


def counted_beside(bench: SolvedBench) -> float:
    """Capacitance, F, that the fitted stray holds beside that of board and wiring: none where a circuit is solved, for
    it counts its parts itself. With a [circuit] whose tuning.law is "lossless" its divider and junction are in it.
    """
    design, setting = bench.design, bench.bench.settings[-1]
    if design is None or design.circuit is None or bench.bench.circuits:
        return 0.0
    section = getattr(design, setting.oscillator)
    return tank_in(design, setting.oscillator).board_stray - float(section.stray) - float(section.self_capacitance)
