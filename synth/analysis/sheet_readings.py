"""Expected readings with their allowed bands, and what a reading that is off points to."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

from models.pulling import pulled_beat
from models.quick_dataclass import dataclass
from models.readings.reading_band import explaining_change, reading_band, relative_sensitivity
from synth.analysis.sheet_stations import (
    CURRENT,
    FREQUENCY,
    OscillatorProbe,
    Station,
    TurnablePart,
    antenna_station,
)
from synth.build.workbench import OpenedDesign

OFF = -0.01  # the change of a reading that is explained
LARGEST_CHANGE = 0.60  # of a part: beyond, it explains nothing
MOST_CAUSES = 4
LEAST_SENSITIVITY = 1e-5
ALWAYS = ("stray", "antenna_stray", "branch_inductor")  # what a builder gets wrong first
HERTZ, VOLTS, AMPERES = "Hz", "V", "A"


@dataclass(frozen=True, slots=True)
class ReadingFigure:
    """One reading, SI: expected, and its band with independent parts (root sum of squares) and with all at worst.

    None of these readings changes its sign: a band that the first order carries across 0 ends at 0.
    """

    code: str
    oscillator: str
    point: str
    condition: str
    unit: str
    expected: float
    low: float
    high: float
    worst_low: float
    worst_high: float


@dataclass(frozen=True, slots=True)
class CauseFigure:
    """A part that explains a reading 1 % nearer zero than it should be, by `change` of its value or by `amount`, SI.

    `change` is relative; `tolerances`: that change over the part's own tolerance; None where it has none.
    """

    code: str
    part: str
    kind: str
    unit: str
    change: float
    amount: float
    tolerances: float | None


@dataclass(frozen=True, slots=True)
class TrimmerFigure:
    """Frequencies, Hz, an oscillator's trimmer reaches, and where it is to stand (0 out to 1 in)."""

    oscillator: str
    condition: str
    setting: float
    set_hz: float
    out_hz: float | None
    middle_hz: float | None
    in_hz: float | None


@dataclass(frozen=True, slots=True)
class PotFigure:
    """Change of frequency, Hz, from the fine-tune pot's designed position to its ends."""

    oscillator: str
    condition: str
    low_hz: float | None
    high_hz: float | None


def relative_tolerances(probe: OscillatorProbe, limits: Mapping[str, float]) -> dict[str, float]:
    """Each part's tolerance as a fraction of its base."""
    return {part.name: limits.get(part.kind, 0.0) * part.value / part.base for part in probe.parts if part.base > 0.0}


def sensitivities(probe: OscillatorProbe, reading: Callable[[str, float], float]) -> dict[str, float]:
    """Relative sensitivity of a reading to every part of the probe."""
    return {part.name: relative_sensitivity(partial(reading, part.name)) for part in probe.parts if part.base > 0.0}


def _read(probe: OscillatorProbe, reading: str, part: str, factor: float) -> float:
    return probe.read(part, factor)[reading]


def station_readings(
    station: Station, letter: str, limits: Mapping[str, float], first: int = 1
) -> tuple[list[ReadingFigure], list[CauseFigure]]:
    """The frequency, and with a circuit the current and volts, of one set-up; and what each points to."""
    rows = [(FREQUENCY, FREQUENCY, HERTZ, station.probe)]
    if station.dc is not None:
        rows.append((CURRENT, CURRENT, AMPERES, station.dc))
        points = [point for point in station.dc.read("", 1.0) if point not in (FREQUENCY, CURRENT)]
        rows += [(point, f"DC at the {point}", VOLTS, station.dc) for point in points]
    readings, causes = [], []
    for number, (key, name, unit, probe) in enumerate(rows, first):
        code = f"{letter}{number}"
        slopes = sensitivities(probe, partial(_read, probe, key))
        spread = relative_tolerances(probe, limits)
        readings.append(_reading(code, station, name, unit, probe.read("", 1.0)[key], slopes, spread))
        causes += _causes(code, unit, probe.parts, slopes, spread)
    return readings, causes


def beat_reading(
    opened: OpenedDesign, empty_room: Callable[[], Station], code: str, limits: Mapping[str, float]
) -> ReadingFigure | None:
    """The beat with nobody near once zero beat is set: None where no zero beat is reached. `empty_room` makes the
    station of the variable oscillator with its antenna.
    """
    distance = opened.field.zero_beat_distance
    if distance is None:
        return None
    empty, there = empty_room(), antenna_station(opened, distance)
    lock = opened.instrument.lock_range

    def beat(name: str, factor: float) -> float:
        offset = empty.probe.read(name, factor)[FREQUENCY] - there.probe.read(name, factor)[FREQUENCY]
        return abs(float(pulled_beat(offset, lock)))

    expected = beat("", 1.0)
    if expected == 0.0:
        return None
    slopes, spread = sensitivities(empty.probe, beat), relative_tolerances(empty.probe, limits)
    return _reading(code, empty, "beat note", HERTZ, expected, slopes, spread, "after zero beat is set; no player near")


def trimmer_figure(station: Station) -> TrimmerFigure | None:
    """What the trimmer of a set-up reaches; None without a trimmer."""
    if station.setting is None:
        return None
    out, middle, end = (station.by_trimmer(place) for place in (0.0, 0.5, 1.0))
    now = station.probe.read("", 1.0)[FREQUENCY]
    return TrimmerFigure(station.oscillator, station.condition, station.setting, now, out, middle, end)


def pot_figure(station: Station) -> PotFigure | None:
    """What the fine-tune pot of a set-up does; None without a circuit."""
    if station.by_pot is None or station.dc is None:
        return None
    now = station.dc.read("", 1.0)[FREQUENCY]
    low, high = (None if there is None else there - now for there in map(station.by_pot, (0.0, 1.0)))
    return PotFigure(station.oscillator, station.condition, low, high)


def _reading(
    code: str,
    station: Station,
    point: str,
    unit: str,
    expected: float,
    slopes: Mapping[str, float],
    spread: Mapping[str, float],
    condition: str | None = None,
) -> ReadingFigure:
    band = reading_band(slopes, spread)
    off = (abs(expected) * share for share in (band.root_sum_square, band.worst_case))
    least, most = (0.0, math.inf) if expected >= 0.0 else (-math.inf, 0.0)
    ends = [min(max(end, least), most) for by in off for end in (expected - by, expected + by)]
    return ReadingFigure(code, station.oscillator, point, condition or station.condition, unit, expected, *ends)


def _causes(
    code: str, unit: str, parts: tuple[TurnablePart, ...], slopes: Mapping[str, float], spread: Mapping[str, float]
) -> list[CauseFigure]:
    """The likeliest parts behind a reading 1 % low: those that need the fewest of their tolerances, and behind a
    frequency always those that a builder gets wrong first.
    """
    found = []
    for part in parts:
        slope = slopes.get(part.name, 0.0)
        if abs(slope) < LEAST_SENSITIVITY:
            continue
        change, limit = explaining_change(slope, OFF), spread[part.name]
        amount = change * part.base
        against_value = change if part.base == part.value else amount / part.value if part.value > 0.0 else change
        needed = abs(change) / limit if limit > 0.0 else None
        found.append(CauseFigure(code, part.name, part.kind, part.unit, against_value, amount, needed))
    likely = [cause for cause in found if abs(cause.change) <= LARGEST_CHANGE or _always(cause, unit)]
    likely.sort(key=lambda cause: (cause.tolerances is None, cause.tolerances or 0.0, cause.part))
    kept = likely[:MOST_CAUSES]
    return kept + [cause for cause in likely[MOST_CAUSES:] if _always(cause, unit)]


def _always(cause: CauseFigure, unit: str) -> bool:
    return cause.kind in ALWAYS and unit == HERTZ
