"""A reading that does not belong to the others, and the slip that would explain it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.preferred_values import values_in_range
from models.readings.fit import Problem, Slip, solved
from models.readings.instrument_model import Rows
from models.readings.unknowns import NORMAL_95
from synth.analysis.fitting import SolvedBench
from synth.analysis.readings import Setting
from synth.designs.quantity import format_quantity, percent_words
from synth.errors import DesignError

SERIES = "E24"
NEAR = 3.0  # standard deviations within which a slip explains a reading
LARGEST_RESIDUAL = 0.03
"""Of a frequency: more is no misread digit but something that the model does not have."""
NEAR_FACTOR = 0.1
"""Of a logarithm: how near a slip of a power of ten comes to what the others say, which may be few."""
CLEAR = 25.0  # fall of the objective from which two boards are suspected


def refuse_contradictions(solved_bench: SolvedBench) -> None:
    """Raise DesignError where the readings that were fitted cannot be those of a tank, naming their lines."""
    bench, fit, kept = solved_bench.bench, solved_bench.fit, solved_bench.kept
    frequencies = [bench.places[one] for one in kept if bench.places[one].what == "frequency"]
    for one in frequencies:
        for other in frequencies:
            first, second = bench.setting(one.row.setting), bench.setting(other.row.setting)
            alike = replace(first, fitted_capacitor=None) == replace(second, fitted_capacitor=None)
            if not alike or first.tuned or (first.antenna_plugged and not bench.branch.direct):
                continue
            smaller, larger = bench.fitted(first), bench.fitted(second)
            if smaller < larger and one.value < other.value:
                small, large = format_quantity(smaller, "F"), format_quantity(larger, "F")
                raise DesignError(
                    f"the readings cannot be used: line {one.row.line} and line {other.row.line}: {small} gives "
                    f"{format_quantity(one.value, 'Hz', 6)} and {large} {format_quantity(other.value, 'Hz', 6)}; the "
                    "larger capacitor must give the lower frequency: are the two swapped?"
                )
    for place, off in zip(kept, fit.residuals, strict=True):
        if bench.places[place].what == "frequency" and abs(off) > LARGEST_RESIDUAL:
            boards = two_boards(solved_bench)
            if boards is not None:
                raise DesignError(f"the readings cannot be used: {boards}")
            raise DesignError(
                f"the readings cannot be used: line {bench.places[place].row.line} is {percent_words(off)} off the "
                "best fit; check frequency, unit, capacitor and board of this line and its neighbours"
            )


def slip_words(bench: SolvedBench, slip: Slip) -> str:
    """One reading that is left out, or several of which one is wrong, and what it looks like."""
    place = bench.bench.places[slip.place]
    if slip.others:
        lines = " or ".join(f"line {bench.bench.places[one].row.line}" for one in (slip.place, *slip.others))
        return f"{lines} does not belong to the others, which of them the readings cannot say; one more reading can"
    unit = "Hz" if place.what in ("frequency", "pitch") else "V"
    expected = math.exp(slip.expected) if place.what == "frequency" else slip.expected
    text = (
        f"line {place.row.line}: {place.what} = {format_quantity(place.value, unit, None)} does not belong to the "
        f"others, which say {format_quantity(expected, unit)}; it is left out"
    )
    found = looks_like(bench, slip)
    return f"{text}; it {found}" if found else text


def looks_like(bench: SolvedBench, slip: Slip) -> str | None:
    """ "looks like 220 pF read as 400 pF", the slip that explains a reading within its errors; None where none does."""
    inner, place = bench.bench, bench.bench.places[slip.place]
    if place.what != "frequency":
        return None
    setting = inner.setting(place.row.setting)
    if setting.tuned:
        return None
    expected, limit = math.exp(slip.expected), 5.0 * inner.errors.counter_deviation(place.value)
    row = inner.settings.index(setting)
    more = bench.model.rows.needed(row, bench.fit.values, place.value)
    fitted = inner.fitted(setting)
    real = fitted + more
    spread = max(inner.errors.capacitor_deviation * real, 1e-13) * NEAR + _vague(bench, setting)
    near = values_in_range(SERIES, max(real - spread, 1e-13), real + spread) if real > spread else ()
    if near:
        best = min(near, key=lambda value: abs(value - real))
        return f"looks like {format_quantity(best, 'F')} read as {format_quantity(fitted, 'F', None)}"
    for factor, words in (
        (1e3, "kHz written as Hz or MHz"),
        (1e-3, "Hz written as kHz"),
        (10.0, "a digit lost"),
        (0.1, "a digit too many"),
    ):
        if abs(math.log(place.value * factor / expected)) < NEAR_FACTOR:
            return f"looks like {words}"
    return _swapped_digits(place.value, expected, max(limit, 3e-3))


def _vague(bench: SolvedBench, setting: Setting) -> float:
    """How well the others say what capacitance it is, F."""
    place = bench.place("stray", setting)
    if place is None:
        return 0.0
    _, low, high = bench.fit.interval(place)
    return 0.5 * (high - low) / NORMAL_95 * NEAR


def _swapped_digits(read: float, expected: float, limit: float) -> str | None:
    """Two neighbouring digits of the reading, in kHz, the other way round."""
    text = repr(round(read / 1e3, 6))
    for place in range(len(text) - 1):
        one, other = text[place], text[place + 1]
        if one.isdigit() and other.isdigit() and one != other:
            turned = text[:place] + other + one + text[place + 2 :]
            if abs(math.log(max(float(turned), 1e-9) * 1e3 / expected)) < limit:
                return f"looks like {turned} kHz written as {text} kHz"
    return None


def two_boards(bench: SolvedBench) -> str | None:
    """Whether the readings from some line on fit with another stray: two boards, and the file does not say so."""
    inner, fit = bench.bench, bench.fit
    if len(inner.boards) > 1 or len(inner.oscillators) != 1 or len(inner.places) < 4:
        return None
    stray = inner.index.get(inner.named("stray", inner.oscillators[0], inner.boards[0]))
    if stray is None:
        return None
    best: tuple[float, int, float] | None = None
    other = replace(fit.problem.unknowns[stray], name="stray of the second board")
    rows = bench.model.rows
    order = [inner.places[one].row.line for one in bench.kept]
    lines = [
        min(place.row.line for place in inner.places if inner.setting(place.row.setting) == one)
        for one in inner.settings
    ]
    for first in order[2:-1]:
        second = [line >= first for line in lines]
        shares = _with_column(rows.shares, stray, second)
        pull = np.pad(rows.pull, ((0, 0), (0, 1)))
        changed = replace(fit.problem.model, rows=Rows(rows.offsets, shares, rows.high, pull))
        problem = Problem((*fit.problem.unknowns, other), changed, fit.problem.read, fit.problem.deviations)
        try:
            tried = solved(problem)
        except ValueError:
            continue
        if best is None or tried.objective < best[0]:
            best = tried.objective, first, float(tried.values[-1] - tried.values[stray])
    if best is None or fit.objective - best[0] < CLEAR:
        return None
    return (
        f"from line {best[1]} on the readings fit with {format_quantity(best[2], 'F', 3)} more board stray: if these "
        "are two boards, name them in a column board"
    )


def _with_column(shares: Floats, stray: int, second: list[bool]) -> Floats:
    """The shares with one more unknown that takes the place of the stray in the rows `second`."""
    changed, more = shares.copy(), np.zeros((*shares.shape[:2], 1))
    more[:, second, 0] = shares[:, second, stray]
    changed[:, second, stray] = 0.0
    return np.concatenate([changed, more], axis=2)
