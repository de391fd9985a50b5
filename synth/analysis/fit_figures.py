"""The fit of bench readings as one set of figures."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field, replace
from functools import partial
from typing import Any

import numpy as np

from models.arrays import Floats
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.readings.fit import Slip
from models.readings.identify import asked, best_next_reading, entangled, not_told, sums_told
from models.readings.unknowns import NORMAL_95
from models.stray import BOARDS, tank_from_readings
from synth.analysis.figures import DENSE, collected, explanation, of
from synth.analysis.fit_next import candidates, rows_of_candidates
from synth.analysis.fit_slips import rising_pitches, slip_words, two_boards
from synth.analysis.fit_target import TargetFigure, Wish, counted_beside, targets
from synth.analysis.fit_unknowns import PULL_LIMIT, PULL_SLOPE_LIMIT
from synth.analysis.fitting import SolvedBench
from synth.analysis.readings import Setting
from synth.designs.quantity import format_quantity, percent_words
from synth.errors import DesignError

UNLIKELY = 0.025  # chance of residuals as large, or as small, from which a remark is made
LEAST_CHANCE = 1e-4
CURVE_POINTS, MOST_CURVES = 61, 6
OFF_BEFOREHAND = 2.5  # standard deviations from what was assumed, from which a remark is made


@dataclass(frozen=True, slots=True)
class Inferred:
    """One unknown or sum of unknowns, SI, with its 95 % interval; told: whether the readings say it."""

    name: str
    unit: str
    value: float
    low: float
    high: float
    told: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """One reading and the fit to it; `sigmas`: residual over its standard deviation. kept: whether it was fitted.

    expected: what the design says without the readings; None without a design.
    """

    line: int
    what: str
    unit: str
    oscillator: str = of("setting.oscillator")
    fitted_capacitor_f: float
    hand_distance_m: float | None = of("setting.hand_distance")
    setting: str
    mode: str | None
    read: float
    expected: float | None
    fit: float
    residual: float
    sigmas: float
    kept: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The further reading that tells most. remaining: share of the variances left."""

    fitted_capacitor_f: float
    setting: str
    remaining: float = of("best.remaining")
    half_widths: dict[str, float] = of("best.half_widths")


@dataclass(frozen=True, slots=True, kw_only=True)
class FitFigures:
    """Every figure of a fit, SI units in the names; None where there is no such thing."""

    source: str
    design: str | None = of("bench.design.name")
    which: str = of("bench.which")
    counter_limit_ratio: float = of("errors.counter_ratio")
    counter_limit_hz: float = of("errors.counter_frequency")
    capacitor_limit_ratio: float = of("errors.capacitor_ratio")
    hand_limit_m: float = of("errors.hand_distance")
    inferred: tuple[Inferred, ...]
    sums: tuple[Inferred, ...]
    closed_form: tuple[float, float] | None
    residuals: tuple[Residual, ...]
    capacitor_errors: dict[str, float]
    misfit: float = of("fit.objective")
    freedom: int = of("bench.freedom")
    misfit_chance: float = of("bench.chance")
    slips: tuple[str, ...]
    not_told: tuple[str, ...] = of("fit", not_told)
    hardly_told: tuple[tuple[str, str, float], ...] = of("fit", entangled)
    next_reading: Next | None
    board: str | None
    board_says: str | None
    targets: tuple[TargetFigure, ...]
    notices: tuple[str, ...]
    curves: Callable[[], tuple[FitCurve, ...]] = field(metadata=DENSE, compare=False, repr=False)


@dataclass(frozen=True, slots=True, eq=False)
class FitCurve:
    """What the fit says between the readings: frequency, Hz, over the fitted capacitor, F, or pitch, Hz, over the
    hand's distance, m; setting: of all else, in words.
    """

    what: str
    setting: str
    places: Floats
    values: Floats


def fit_curves(bench: SolvedBench) -> tuple[FitCurve, ...]:
    """The curves through the readings, one for every way in which the rest was set, at most MOST_CURVES of a kind."""
    inner, values, made = bench.bench, bench.fit.values, []
    high = dict(zip(inner.settings, bench.model.rows.high.tolist(), strict=True))
    for what, key in (("frequency", "fitted_capacitor"), ("pitch", "hand_distance")):
        heard = [inner.setting(one.row.setting) for one in inner.places if one.what == what]
        heard = [one for one in heard if not one.tuned and (what == "frequency" or one.hand_distance is not None)]
        at = {one: inner.fitted(one) if what == "frequency" else one.hand_distance or 0.0 for one in heard}
        if len(set(at.values())) < 2:
            continue
        places = np.linspace(min(at.values()), max(at.values()), CURVE_POINTS)
        alike: dict[Setting, list[Setting]] = {}
        for one in heard:
            changed: dict[str, Any] = {key: None}
            alike.setdefault(replace(one, **changed), []).append(one)
        for rest, group in list(alike.items())[:MOST_CURVES]:
            along: list[dict[str, Any]] = [{key: float(place)} for place in places]
            there = [replace(rest, **one) for one in along]
            nearest = np.abs(np.subtract.outer(places, [at[one] for one in group])).argmin(axis=1)
            modes = np.array([high[group[place]] for place in nearest])
            swings = np.exp(inner.rows_of(there, bench.solved, values).with_modes(modes).log_frequencies(values)[0])
            if what == "pitch":
                off = bench.fit.values[inner.index["reference_frequency"]] - swings
                swings = np.abs(pulled_beat(off, max(float(values[inner.index["lock_range"]]), 0.0)))
            made.append(FitCurve(what, setting_text(rest, None), places, np.asarray(swings)))
    return tuple(made)


def fit_figures(bench: SolvedBench, source: str, wish: Wish) -> FitFigures:
    """Collect all figures of the fit. Raises DesignError where a wish cannot be met."""
    fit, errors = bench.fit, bench.bench.errors
    board = wish.board or _board_of(bench)
    if wish.other_board and (wish.target_hz is None or board is None):
        raise DesignError("--other-board needs --target-frequency, and --board for the board the readings are of")
    return collected(
        FitFigures,
        {"bench": bench, "errors": errors, "fit": fit},
        source=source,
        inferred=tuple(_inferred(bench)),
        sums=tuple(Inferred(sum_text(part.parts), "F", part.value, part.low, part.high) for part in sums_told(fit)),
        closed_form=_closed_form(bench),
        residuals=tuple(_residuals(bench)),
        capacitor_errors={
            one.name.removeprefix("capacitor "): float(fit.values[place])
            for place, one in enumerate(fit.problem.unknowns)
            if one.name.startswith("capacitor ")
        },
        slips=tuple(slip_words(bench, slip) for slip in bench.slips),
        next_reading=_next(bench),
        board=board,
        board_says=None if board is None else _board_says(bench, board),
        targets=targets(bench, wish, board),
        notices=tuple(_notices(bench)),
        curves=partial(fit_curves, bench),
    )


def sum_text(parts: tuple[tuple[str, int], ...]) -> str:
    """A sum of unknowns in words: "stray + trimmer_minimum"."""
    words = [f"{' - ' if sign < 0 else ' + '}{name}" for name, sign in parts]
    text = "".join(words)
    return text.removeprefix(" + ") if text.startswith(" + ") else f"-{text.removeprefix(' - ')}"


def setting_text(setting: Setting, antenna: float | None) -> str:
    """What was set beside the fitted capacitor, in words."""
    words = []
    if setting.tuned:
        words.append("tuned")
    for name in ("trimmer", "fine_trimmer", "pot"):
        value = getattr(setting, name)
        words += [] if value is None else [f"{name.replace('_', ' ')} {value:.3g}"]
    if setting.antenna_plugged:
        where = "nobody near" if setting.away else f"hand at {format_quantity(setting.hand_distance or 0.0, 'm')}"
        words.append(where if antenna is None else f"{where} ({format_quantity(antenna, 'F')})")
    for name, unit in (("reverse_voltage", "V"), ("supply", "V"), ("load", "ohm"), ("probe", "F")):
        value = getattr(setting, name)
        words += [] if value is None else [f"{name.replace('_', ' ')} {format_quantity(value, unit)}"]
    board = "off the board" if setting.bare else setting.board
    return ", ".join([*words, *([board] if board else [])])


def _inferred(bench: SolvedBench) -> list[Inferred]:
    fit = bench.fit
    vague = not_told(fit)
    return [
        Inferred(one.name, one.unit, *fit.interval(place), one.name not in vague)
        for place in asked(fit)
        if (one := fit.problem.unknowns[place])
    ]


def _residuals(bench: SolvedBench) -> list[Residual]:
    fit, inner, model = bench.fit, bench.bench, bench.model
    fitted = model.predicted(fit.values)[0]
    deviations = bench.deviations.tolist()
    high = dict(zip(inner.settings, model.rows.high.tolist(), strict=True))
    branched = dict(zip(inner.settings, model.rows.branched.tolist(), strict=True))
    rows = []
    for number, place in enumerate(inner.places):
        setting = inner.setting(place.row.setting)
        logarithmic = place.what == "frequency"
        said, before = float(fitted[number]), float(bench.expected[number])
        said, before = (math.exp(said), math.exp(before)) if logarithmic else (said, before)
        off = place.value - said
        rows.append(
            collected(
                Residual,
                {"setting": setting},
                line=place.row.line,
                what=place.what,
                unit="Hz" if place.what in ("frequency", "pitch") else "V",
                fitted_capacitor_f=inner.fitted(setting),
                setting=setting_text(setting, inner.antenna(setting, place.row.line, fit.values)),
                mode=("high" if high[setting] else "low") if branched[setting] else None,
                read=place.value,
                expected=None if bench.design is None else before,
                fit=said,
                residual=off,
                sigmas=off / (deviations[number] * (place.value if logarithmic else 1.0)),
                kept=number in bench.kept,
            )
        )
    return rows


def _closed_form(bench: SolvedBench) -> tuple[float, float] | None:
    """Inductance, H, and the rest of the tank, F, of two readings with nothing else changed."""
    plain = {"inductance", "stray"} == {bench.fit.problem.unknowns[place].name for place in asked(bench.fit)}
    places = bench.bench.places
    if len(places) != 2 or not plain or bench.design is not None or bench.bench.known:
        return None
    (first, first_hz), (second, second_hz) = ((bench.bench.fitted(one.row.setting), one.value) for one in places)
    try:
        reading = tank_from_readings(first, first_hz, second, second_hz)
    except ValueError:
        return None  # the same capacitor twice, or a stray below zero: the report says so elsewhere
    return reading.inductance, reading.elsewhere


def _next(bench: SolvedBench) -> Next | None:
    found = candidates(bench)
    best = best_next_reading(bench.fit, rows_of_candidates(bench, found))
    if best is None:
        return None
    setting = found[best.place]
    text = setting_text(setting, bench.bench.antenna(setting, 0, bench.fit.values))
    return collected(Next, {"best": best}, fitted_capacitor_f=bench.bench.fitted(setting), setting=text)


def _board_of(bench: SolvedBench) -> str | None:
    design = bench.design
    return None if design is None or design.circuit is None else design.circuit.board


def _board_says(bench: SolvedBench, board: str) -> str:
    """Whether the board explains the stray, less what the design counts beside it."""
    setting = bench.last(bench.which) or bench.bench.settings[-1]
    place = bench.place("stray", setting)
    if place is None:
        return "the readings do not give the stray"
    value, low, _ = bench.fit.interval(place)
    beside = counted_beside(bench)
    told = explanation(value - beside, board)
    if low - beside <= BOARDS[board][1] < value - beside:
        told += "; but the lower end of its interval lies within"
    return told


def neglected() -> str:
    """What the fit by the resonance alone leaves out. Its order: the transistor's pull of the solved circuits of our
    demo designs over fitted capacitors, pots and emitter resistors, and a coil's loss, 1 / (2 Q^2) of the frequency.
    """
    return (
        "fitted by the resonance alone: coil loss (50 ppm of the frequency at a Q of 100) and the transistor's pull "
        f"are not computed; the intervals allow for {1e6 * PULL_LIMIT:.0f} ppm of the frequency and for "
        f"{100.0 * PULL_SLOPE_LIMIT:.2g} % of any change of it. --design DESIGN with a [circuit] computes both"
    )


def _chance(chance: float) -> str:
    return f"{100.0 * chance:.2g} %" if chance >= LEAST_CHANCE else f"below {100.0 * LEAST_CHANCE:g} %"


_INTERRUPTED = "interrupted; not whole: the fit about what it found. The best of what was found is taken"


def _notices(bench: SolvedBench) -> list[str]:
    fit, inner = bench.fit, bench.bench
    notices = [_INTERRUPTED] if bench.interrupted else []
    notices += [] if inner.circuits else [neglected()]
    told = [place for place in asked(fit) if fit.told(place) < 1.0 / math.sqrt(2.0)]
    if len(bench.kept) <= len(told):
        notices.append("as many unknowns as readings: the fit cannot show a slip; one more reading can")
    chance = bench.chance
    if chance < UNLIKELY:
        errors = [one for one in fit.problem.unknowns if one.name.startswith("capacitor ")]
        if errors:
            worst = max(errors, key=lambda one: abs(float(fit.values[fit.place(one.name)])))
            off = percent_words(float(fit.values[fit.place(worst.name)]))
            notices.append(f"the capacitor marked {worst.name.removeprefix('capacitor ')} would be off the most, {off}")
        notices.append(
            f"the residuals are larger than the stated errors explain (chance {_chance(chance)}): look for a "
            "misread capacitor, a part that drifted, or state larger errors; the intervals are then too narrow"
        )
        boards = two_boards(bench)
        notices += [] if boards is None else [boards]
    for place in asked(fit):
        one, at = fit.problem.unknowns[place], float(fit.coordinates[place])
        deviation = inner.set_aside.get(one.name, one.deviation)
        if bench.design is not None and abs(at) * one.deviation > OFF_BEFOREHAND * deviation:
            assumed, limit = format_quantity(one.middle, one.unit), NORMAL_95 * deviation
            by = f"{100.0 * limit:.2g} %" if one.by_ratio else format_quantity(limit, one.unit, 2)
            notices.append(
                f"{one.name.replace('_', ' ')} comes out far from the {assumed} of the design (assumed within {by}): "
                "check that part, or say more of it with [tolerances] or --known"
            )
        if at <= one.lowest:
            notices.append(
                f"{one.name.replace('_', ' ')} would come out below zero and is held there: a capacitor is less than "
                "its marking, or a reading is wrong"
            )
    rising = rising_pitches(inner)
    notices += [] if rising is None else [rising]
    if "trimmer" not in inner.columns:
        section = None if bench.design is None else inner.section(bench.which)
        where = "as stray, at whatever it stood"
        if section is not None and section.trimmer_maximum > 0.0:
            where = f"as standing at {section.trimmer:g}, where the design has it"
        notices.append(f"no trimmer column: a trimmer that was there counts {where}")
    if "reverse_voltage" in inner.columns:
        notices.append(
            "junction at zero bias, by its depletion law with 0.75 V and exponent 0.333 (typical, from memory)"
        )
    return notices


__all__ = ["FitFigures", "Inferred", "Next", "Residual", "Slip", "fit_figures", "sum_text"]
