"""A reading that does not belong to the others, and the slip that would explain it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from models.arrays import Floats
from models.preferred_values import values_in_range
from models.readings.fit import Slip, solved
from models.readings.instrument_model import BeatOf, Rows
from models.readings.unknowns import NORMAL_95, Unknown
from synth.analysis.fit_bench import Bench, ReadingPlace, beat_signs
from synth.analysis.fitting import SolvedBench, of_file
from synth.analysis.readings import Setting
from synth.designs.quantity import format_quantity, percent_words
from synth.errors import DesignError

SERIES = "E24"
NEAR = 3.0  # standard deviations within which a slip explains a reading
LARGEST_RESIDUAL = 0.03
"""Of a frequency: more is no misread digit but something that the model does not have."""
FACTORS = (
    (1e3, "kHz written as Hz or MHz"),
    (1e-3, "Hz written as kHz"),
    (10.0, "a digit lost"),
    (0.1, "a digit too many"),
    (0.5, "the second harmonic counted"),
    (1.0 / 3.0, "the third harmonic counted"),
    (2.0, "a counter that divides by two"),
)
POWERS = 4
"""By what a reading would have to be multiplied, and the slip behind it; the first ones are powers of ten."""
NEAR_FACTOR = 0.1
"""Of a logarithm: how near a slip of a power of ten comes to what the others say, which may be few."""
MOST_OFF = 4  # readings tried in the place of every other
MOST_GROUPS = 6  # of lines, tried as a second board
CLEAR = 25.0  # fall of the objective from which two boards are suspected
TURNED = 0.6  # ratio of frequencies below which it was no trimmer that was turned
MOST_STRAY = 10e-9  # F: more is no stray of a board
WELL = 4.0  # of the objective by reading: two boards explain the readings
HOPELESS = 4.0
"""Root of the mean square of frequencies and capacitors off their fit, in standard deviations, from which no value is
given if a capacitor would also be off by WORST: whatever is wrong, the values would be of no tank."""
ANOTHER = 3.0  # ratio of an inductance to the design's from which it is another design
WRONG_PITCH, LEAST_WRONG_PITCH = 0.03, 5.0  # off the fit, as a ratio and in Hz: half a semitone is no error of reading
WORST = 0.05
"""Error of a capacitor that common ones do not have, as a ratio."""


def refuse_contradictions(solved_bench: SolvedBench) -> None:
    """Raise DesignError where the readings that were fitted cannot be those of a tank, naming their lines."""
    bench, kept = solved_bench.bench, solved_bench.kept
    largest = max((abs(off) for place, off in _frequencies(solved_bench)), default=0.0)
    errors = sorted(_capacitor_errors(solved_bench), key=lambda row: abs(row[1]))
    hopeless = _off(solved_bench) > HOPELESS and abs(errors[-1][1]) > WORST
    with of_file(bench.source):
        for name in ("trimmer", "fine_trimmer"):
            _refuse_pairs(bench, bench.places, name)
        if solved_bench.slips or hopeless or _pitches_off(solved_bench) or _another(solved_bench):
            _refuse_exchanged(solved_bench)
        boards = two_boards(solved_bench) if len(solved_bench.slips) > 1 or hopeless else None
        if boards is not None:
            raise DesignError(f"the readings cannot be used: {boards}")
        _refuse_pairs(bench, bench.places, "board")
        _refuse_pairs(bench, [bench.places[one] for one in kept], "fitted_capacitor")
        slips = "".join(f"{slip_words(solved_bench, slip, False)}; " for slip in solved_bench.slips)
        for place, residual in _frequencies(solved_bench):
            if abs(residual) == largest > LARGEST_RESIDUAL:
                raise DesignError(
                    f"the readings cannot be used: {slips}line {place.row.line} is {percent_words(residual)} off the "
                    "best fit; check frequency, unit, capacitor and board of this line and its neighbours"
                )
        for one, value in zip(bench.unknowns, solved_bench.fit.values.tolist(), strict=True):
            if one.unit == "F" and value > max(MOST_STRAY, 2.0 * one.middle):
                raise DesignError(
                    f"the readings cannot be used: {slips}{one.name.replace('_', ' ')} would be "
                    f"{format_quantity(value, 'F')}, which nothing on a board has; were pF written "
                    "as nF, and did the counter read this oscillator?"
                )
        _refuse_another(solved_bench, slips)
        if hopeless:
            place, error = errors[-1]
            marking = format_quantity(bench.fitted(bench.setting(place.row.setting)), "F", None)
            raise DesignError(
                f"the readings cannot be used: {slips}{'the others' if slips else 'they'} do not belong to one tank: "
                f"the {marking} of line {place.row.line} would be {percent_words(error)} off; check that line, its "
                'unit and its board, or say how good the capacitors are, --capacitor-tolerance "5 %"'
            )


def _refuse_another(bench: SolvedBench, slips: str) -> None:
    """Raise DesignError where the readings are not those of this design, or no hand's in its field."""
    for one, value in _another(bench):
        raise DesignError(
            f"the readings cannot be used: {slips}{one.name.replace('_', ' ')} would be "
            f"{format_quantity(value, 'H')}, and the design has {format_quantity(one.middle, 'H')}; are the "
            "readings of this design and oscillator (--which, column oscillator), and their units right?"
        )
    for place, residual in _pitches_off(bench):
        raise DesignError(
            f"the readings cannot be used: {slips}line {place.row.line}: pitch = "
            f"{format_quantity(place.value, 'Hz')} is {_signed(residual)} off the best fit; the pitch must rise "
            "as the hand comes nearer than zero beat: check pitches and distances of this line and its neighbours"
        )


def _another(bench: SolvedBench) -> list[tuple[Unknown, float]]:
    """Inductances, H, that come out as those of another design."""
    pairs = zip(bench.fit.problem.unknowns, bench.fit.values.tolist(), strict=True)
    coils = [(one, value) for one, value in pairs if one.name.endswith("inductance") and one.free]
    if bench.design is None:
        return []
    return [(one, value) for one, value in coils if not 1.0 / ANOTHER < value / one.middle < ANOTHER]


def _pitches_off(bench: SolvedBench) -> list[tuple[ReadingPlace, float]]:
    """Pitches that were fitted and are more off than any error of reading, with their residuals, Hz."""
    rows = [
        (bench.bench.places[number], residual)
        for number, residual in zip(bench.kept, bench.fit.residuals.tolist(), strict=True)
    ]
    return [
        (place, off)
        for place, off in rows
        if place.what == "pitch" and abs(off) > max(WRONG_PITCH * place.value, LEAST_WRONG_PITCH)
    ]


def rising_pitches(bench: Bench) -> str | None:
    """The lines of pitches, of two or more, that all rise as the hand goes away, in words; None where they do not."""
    heard = [(bench.setting(one.row.setting), one) for one in bench.places if one.what == "pitch"]
    heard = sorted(
        (row for row in heard if row[0].hand_distance is not None), key=lambda row: row[0].hand_distance or 0.0
    )
    steps = list(zip(heard, heard[1:], strict=False))
    apart = [(a, b) for a, b in steps if (a[0].hand_distance or 0.0) < (b[0].hand_distance or 0.0)]
    if not apart or any(a[1].value >= b[1].value for a, b in apart):
        return None
    (near, first), (far, last) = heard[0], heard[-1]
    lines = sorted(one.row.line for _, one in heard)
    return (
        f"lines {lines[0]} to {lines[-1]}: the pitch rises from {format_quantity(first.value, 'Hz')} at "
        f"{format_quantity(near.hand_distance or 0.0, 'm')} to {format_quantity(last.value, 'Hz')} at "
        f"{format_quantity(far.hand_distance or 0.0, 'm')}; nearer than zero beat it falls as the hand goes away: were "
        "pitches or distances entered in the opposite order?"
    )


def _refuse_exchanged(bench: SolvedBench) -> None:
    """Raise DesignError where the readings fit once two of them are exchanged, or all pitches rise with the distance.

    Tried are the readings that are off the most, each with every other of its kind.
    """
    inner = bench.bench
    wrong = {slip.place for slip in bench.slips} | {one for slip in bench.slips for one in slip.others}
    of_pitch = _another(bench) or _pitches_off(bench) or any(inner.places[one].what == "pitch" for one in wrong)
    rising = rising_pitches(inner) if of_pitch else None
    if rising is not None:
        raise DesignError(f"the readings cannot be used: {rising}")
    whole = solved(bench.whole)
    kinds = [one.what for one in inner.places]
    far = np.argsort(-np.abs(whole.scaled)).tolist()[:MOST_OFF]
    best: tuple[float, int, int] | None = None
    for tried_before, one in enumerate(far):
        for other in range(len(kinds)):
            if kinds[one] != kinds[other] or kinds[one] not in ("frequency", "pitch"):
                continue
            if other in far[: tried_before + 1]:
                continue
            if _turned_only(inner, one, other):
                continue  # whether in and out are exchanged is asked of such a pair alone
            read = whole.problem.read.copy()
            read[[one, other]] = read[[other, one]]
            signs = beat_signs(inner, read.tolist())
            turned = tuple(
                replace(each, sign=sign) if isinstance(each, BeatOf) else each
                for each, sign in zip(whole.problem.model.readings, signs, strict=True)
            )
            model = replace(whole.problem.model, readings=turned)
            try:
                tried = solved(replace(whole.problem, model=model, read=read, starts=(*inner.start(),))).objective
            except ValueError:
                continue
            if best is None or tried < best[0]:
                best = tried, min(one, other), max(one, other)
    if best is None or whole.objective - best[0] < CLEAR or best[0] > WELL * len(kinds):
        return
    first, second = (inner.places[place] for place in best[1:])
    raise DesignError(
        f"the readings cannot be used: line {first.row.line} and line {second.row.line}: with the two exchanged all "
        f"readings fit ({first.what} = {format_quantity(first.value, 'Hz', 7)} and "
        f"{format_quantity(second.value, 'Hz', 7)}): are they swapped?"
    )


def _turned_only(bench: Bench, one: int, other: int) -> bool:
    """Whether two readings differ in nothing but what was turned: their trimmers or pots."""
    first, second = (bench.setting(bench.places[place].row.setting) for place in (one, other))
    return bench.fitted(first) == bench.fitted(second) and first.hand_distance == second.hand_distance


def _signed(frequency: float) -> str:
    return f"{'+' if frequency > 0.0 else '-'}{format_quantity(abs(frequency), 'Hz', 3)}"


def _refuse_pairs(bench: Bench, places: Sequence[ReadingPlace], name: str) -> None:
    """Raise DesignError where of two lines that differ in this part only the frequencies cannot be."""
    nothing: dict[str, Any] = {} if name == "board" else {name: None}
    frequencies = [one for one in places if one.what == "frequency"]
    for one in frequencies:
        for other in frequencies:
            first, second = bench.setting(one.row.setting), bench.setting(other.row.setting)
            if first.tuned or (first.antenna_plugged and not bench.branch.direct):
                continue
            if replace(first, **nothing) == replace(second, **nothing):
                wrong = _wrong(bench, name, (first, one.value), (second, other.value))
                if wrong:
                    lines = f"line {one.row.line} and line {other.row.line}"
                    raise DesignError(f"the readings cannot be used: {lines}: {wrong}")


def _wrong(bench: Bench, name: str, one: tuple[Setting, float], other: tuple[Setting, float]) -> str:
    """What is wrong with two frequencies, Hz, of set-ups that differ in the part `name` only; nothing: ""."""
    (first, frequency), (second, next_to_it) = one, other
    ratio = frequency / next_to_it
    read, beside = format_quantity(frequency, "Hz", 6), format_quantity(next_to_it, "Hz", 6)
    if name == "board":
        if not TURNED < ratio < 1.0 - LARGEST_RESIDUAL:
            return ""
        return (
            f"{read} and {beside}, with nothing said to differ; name two boards in a column board, and a trimmer that "
            "was turned in a column trimmer"
        )
    if name != "fitted_capacitor":
        less, more = getattr(first, name), getattr(second, name)
        clearly = TURNED < ratio < 1.0 - 2.0 * bench.errors.counter_ratio
        if less is None or more is None or less >= more or not clearly:
            return ""
        return (
            f"{name} {less:g} gives {read} and {more:g} {beside}; turned in (1) it must give the lower frequency: are "
            "in and out exchanged?"
        )
    less, more = bench.fitted(first), bench.fitted(second)
    told = (
        f"{format_quantity(less, 'F', None)} gives {read} and {format_quantity(more, 'F', None)} {beside}; the larger "
    )
    told += "capacitor must give the lower frequency: "
    if less < more and ratio < 1.0:
        return f"{told}are the two swapped?"
    if less * (1.0 + 2.0 * bench.errors.capacitor_ratio) < more and ratio == 1.0:
        return f"{told}was it joined, and which oscillator did the counter read?"
    return ""


def _frequencies(bench: SolvedBench) -> list[tuple[ReadingPlace, float]]:
    """The frequencies that were fitted, each with its residual as a ratio."""
    pairs = zip(bench.kept, bench.fit.residuals.tolist(), strict=True)
    return [(bench.bench.places[one], off) for one, off in pairs if bench.bench.places[one].what == "frequency"]


def _capacitor_errors(bench: SolvedBench) -> list[tuple[ReadingPlace, float]]:
    """The frequencies that were fitted, each with the error that its capacitor would have, as a ratio."""
    found = []
    for place, _ in _frequencies(bench):
        fitted = bench.bench.fitted(bench.bench.setting(place.row.setting))
        index = bench.bench.index.get(bench.bench.capacitor_name(fitted))
        found.append((place, 0.0 if index is None else float(bench.fit.values[index])))
    return found


def _off(bench: SolvedBench) -> float:
    """Root of the mean square of what frequencies and capacitors are off, in standard deviations."""
    places, sizes = bench.bench.places, bench.fit.scaled.tolist()
    rows = [off for one, off in zip(bench.kept, sizes, strict=True) if places[one].what == "frequency"]
    if not rows:
        return 0.0
    unknowns = zip(bench.fit.problem.unknowns, bench.fit.coordinates.tolist(), strict=True)
    errors = [at for one, at in unknowns if one.nuisance]
    return math.sqrt(sum(one**2 for one in (*rows, *errors)) / len(rows))


def slip_words(bench: SolvedBench, slip: Slip, left_out: bool = True) -> str:
    """One reading that is left out, or several of which one is wrong, and what it looks like."""
    place = bench.bench.places[slip.place]
    if slip.others:
        lines = " or ".join(f"line {bench.bench.places[one].row.line}" for one in (slip.place, *slip.others))
        return f"{lines} does not belong to the others, which of them the readings cannot say; one more reading can"
    unit = "Hz" if place.what in ("frequency", "pitch") else "V"
    expected = math.exp(slip.expected) if place.what == "frequency" else slip.expected
    expected = max(expected, 0.0) if unit == "Hz" else expected
    text = (
        f"line {place.row.line}: {place.what} = {format_quantity(place.value, unit, None)} does not belong to the "
        f"others, which say {format_quantity(expected, unit)}{'; it is left out' if left_out else ''}"
    )
    found = looks_like(bench, slip)
    return f"{text}; it {found}" if found else text


def looks_like(bench: SolvedBench, slip: Slip) -> str | None:
    """ "looks like 470 pF read as 220 pF", the slip that explains a reading within its errors; None where none does."""
    inner, place = bench.bench, bench.bench.places[slip.place]
    if place.what != "frequency":
        return None
    setting = inner.setting(place.row.setting)
    if setting.tuned:
        return None
    expected, limit = math.exp(slip.expected), max(5.0 * inner.errors.counter_deviation(place.value), 3e-3)
    factor = next((words for by, words in FACTORS if abs(math.log(place.value * by / expected)) < limit), None)
    if factor is not None:
        return f"looks like {factor}"
    row = inner.settings.index(setting)
    more = bench.model.rows.needed(row, bench.fit.values, place.value)
    fitted = inner.fitted(setting)
    real = fitted + more
    spread = max(inner.capacitor_deviation * real, 1e-13) * NEAR + _vague(bench, setting)
    near = values_in_range(SERIES, max(real - spread, 1e-13), real + spread) if real > spread else ()
    near = tuple(value for value in near if _misread(value / max(fitted, 1e-13)))
    if near:
        best = min(near, key=lambda value: abs(value - real))
        return f"looks like {format_quantity(best, 'F')} read as {format_quantity(fitted, 'F', None)}"
    for by, words in FACTORS[:POWERS]:
        if abs(math.log(place.value * by / expected)) < NEAR_FACTOR:
            return f"looks like {words}"
    return _swapped_digits(place.value, expected, limit)


def _misread(ratio: float) -> bool:
    """Whether a marking may be read with this ratio to it: another value nearby, or the same digits, pF for nF."""
    digits = math.log10(ratio)
    return abs(digits) < 1.1 or abs(digits - round(digits)) < 5e-3


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
    """Whether the readings of some lines fit with another stray: two boards, and the file does not say so.

    Looked for in all readings, also those left out: from some line on, or those that are off the most to one side.
    """
    inner, whole = bench.bench, solved(bench.whole)
    if len(inner.boards) > 1 or len(inner.oscillators) != 1 or len(inner.places) < 4:
        return None
    stray = inner.index.get(inner.named("stray", inner.oscillators[0], inner.boards[0]))
    if stray is None:
        return None
    best: tuple[float, list[int], float] | None = None
    other = replace(inner.unknowns[stray], name="stray of the second board")
    rows = bench.model.rows
    starts = tuple(np.append(one, one[stray]) for one in (whole.coordinates, *inner.start()))
    order = [one.row.line for one in inner.places]
    by_residual = [order[one] for one in np.argsort(whole.residuals).tolist()]
    lines = [
        min(place.row.line for place in inner.places if inner.setting(place.row.setting) == one)
        for one in inner.settings
    ]
    groups = [group[place:] for group in (order, by_residual) for place in range(2, len(order) - 1)]
    for second in (*groups, *_by_stray(bench)):
        shares = _with_column(rows.shares, stray, [line in second for line in lines])
        pull = np.pad(rows.pull, ((0, 0), (0, 1)))
        changed = replace(bench.model, rows=Rows(rows.offsets, shares, rows.high, pull))
        problem = replace(bench.whole, unknowns=(*inner.unknowns, other), model=changed, starts=starts)
        try:
            tried = solved(problem)
        except ValueError:
            continue
        if best is None or tried.objective < best[0]:
            best = tried.objective, sorted(second), float(tried.values[-1] - tried.values[stray])
    if best is None or min(whole.objective, bench.fit.objective) - best[0] < CLEAR or best[0] > WELL * len(order):
        return None
    _, second, more = best
    if second == sorted(order)[-len(second) :]:
        which = f"from line {second[0]} on the readings fit"
    else:
        if 2 * len(second) > len(order):  # the fewer
            second, more = sorted(set(order) - set(second)), -more
        which = f"lines {', '.join(map(str, second))} fit"
    how = "more" if more > 0.0 else "less"
    return (
        f"{which} with {format_quantity(abs(more), 'F', 3)} {how} board stray: if these are two boards, name them in "
        "a column board"
    )


def _by_stray(bench: SolvedBench) -> list[list[int]]:
    """Lines that would have another stray than the rest, for the coils that any two of the readings give; the clearest.

    Of two readings of one board the slope of 1/omega^2 against the fitted capacitor is the inductance.
    """
    inner = bench.bench
    points = []
    for place in inner.places:
        setting = inner.setting(place.row.setting)
        if place.what == "frequency" and not setting.antenna_plugged and not setting.tuned:
            points.append((place.row.line, inner.fitted(setting), (2.0 * math.pi * place.value) ** -2.0))
    found: list[tuple[float, list[int]]] = []
    for one, other in itertools.combinations(points, 2):
        if one[1] == other[1] or (one[2] - other[2]) * (one[1] - other[1]) <= 0.0:
            continue
        coil = (one[2] - other[2]) / (one[1] - other[1])
        strays = sorted((squared / coil - fitted, line) for line, fitted, squared in points)
        for cut in range(2, len(strays) - 1):
            parts = [np.array([stray for stray, _ in part]) for part in (strays[:cut], strays[cut:])]
            spread = math.sqrt(sum(float(np.sum((part - part.mean()) ** 2)) for part in parts))
            found.append((spread / abs(float(parts[1].mean() - parts[0].mean())), [line for _, line in strays[cut:]]))
    unique: list[list[int]] = []
    for _, second in sorted(found):
        if sorted(second) not in unique:
            unique.append(sorted(second))
    return unique[:MOST_GROUPS]


def _with_column(shares: Floats, stray: int, second: list[bool]) -> Floats:
    """The shares with one more unknown that takes the place of the stray in the rows `second`."""
    changed, more = shares.copy(), np.zeros((*shares.shape[:2], 1))
    more[:, second, 0] = shares[:, second, stray]
    changed[:, second, stray] = 0.0
    return np.concatenate([changed, more], axis=2)
