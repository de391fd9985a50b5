"""Every figure of a design's build and tuning sheet, collected once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial
from typing import TYPE_CHECKING

from models.quick_dataclass import dataclass
from models.radio_limits import general_field_limit
from synth.analysis.antenna_figures import AntennaFigures
from synth.analysis.field_figures import FieldFigures, NoteFigure, OctaveFigure, VolumeFigures, field_figures
from synth.analysis.figures import collected, of
from synth.analysis.sheet_parts import PartFigure, ToleranceFigure, part_figures, tolerance_figures
from synth.analysis.sheet_readings import (
    AMPERES,
    HERTZ,
    CauseFigure,
    PotFigure,
    ReadingFigure,
    TrimmerFigure,
    beat_reading,
    pot_figure,
    station_readings,
    trimmer_figure,
)
from synth.analysis.sheet_stations import Station, antenna_station, bare_station, reference_station, volume_station
from synth.build.workbench import OpenedDesign

if TYPE_CHECKING:
    from synth.analysis.sheet_bench import BenchFigures


@dataclass(frozen=True, slots=True)
class LimitFigure:
    """The example radio limit at an oscillator's frequency: field, V/m, at a distance, m."""

    oscillator: str
    frequency_hz: float
    field_v_per_m: float
    distance_m: float


@dataclass(frozen=True, slots=True)
class UnsolvedFigure:
    """A frequency that cannot be told: its code, what would be read, and why."""

    code: str
    name: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetFigures:
    """The sheet, SI units in the names; None where the design has no such thing."""

    design: str = of("report.design")
    description: str = of("design.about.description")
    design_hash: str = of("report.design_hash")
    posture: str = of("report.posture")
    law: str = of("design.law")
    mode: str = of("report.mode")
    direction: str = of("opened.field.direction")
    antenna: AntennaFigures = of("report.antenna")
    stand_distance_m: float = of("design.player.stand_distance")
    body_capacitance_f: float | None = of("opened.body_to_earth")
    board: str | None = of("design.circuit.board")
    supply_v: float | None = of("design.circuit.supply_voltage")
    reference_frequency_hz: float = of("report.reference_frequency_hz")
    variable_frequency_empty_hz: float = of("report.variable_frequency_empty_hz")
    zero_beat_m: float | None = of("report.zero_beat_m")
    zero_beat_asked_m: float | None = of("design.tuning.zero_beat")
    locked_near_m: float | None = of("report.locked_near_m")
    locked_far_m: float | None = of("report.locked_far_m")
    playable_near_m: float | None = of("report.playable_near_m")
    playable_far_m: float | None = of("report.playable_far_m")
    nearest_m: float = of("report.nearest_m")
    lowest_hz: float | None = of("report.lowest_hz")
    highest_hz: float | None = of("report.highest_hz")
    tolerances: tuple[ToleranceFigure, ...] = of("design", tolerance_figures)
    parts: tuple[PartFigure, ...] = of("design", part_figures)
    readings: tuple[ReadingFigure, ...]
    unsolved: tuple[UnsolvedFigure, ...]
    causes: tuple[CauseFigure, ...]
    trimmers: tuple[TrimmerFigure, ...]
    pots: tuple[PotFigure, ...]
    limits: tuple[LimitFigure, ...]
    octaves: tuple[OctaveFigure, ...] = of("report.octaves")
    notes: tuple[NoteFigure, ...] = of("report.notes")
    volume: VolumeFigures | None = of("report.volume")
    full_height_m: float | None = of("design.volume_response.full_height")
    notices: tuple[str, ...] = of("report.notices")
    supply_current_a: float | None  # of all oscillators together; None without a circuit
    bench: BenchFigures | None = None  # what was read on the built one; None without readings


def sheet_figures(
    opened: OpenedDesign,
    told: Callable[[float], None] = lambda share: None,
    field: Callable[[], FieldFigures] | None = None,
) -> SheetFigures:
    """Collect the figures of a design's sheet; `told` hears the share that is done. field: gives the design's
    `field_figures`, which are worked out beside the set-ups; None: worked out here.

    What a set-up reads that cannot be solved is left out and named.
    """
    design = opened.design
    limits = {figure.kind: figure.fraction for figure in tolerance_figures(design)}
    readings: list[ReadingFigure] = []
    causes: list[CauseFigure] = []
    unsolved: list[UnsolvedFigure] = []
    trimmers: list[TrimmerFigure | None] = []
    pots: list[PotFigure | None] = []
    empty_room = cache(partial(antenna_station, opened))
    setups = _setups(opened, empty_room)
    for number, (letter, name, made) in enumerate(setups):
        told(number / (len(setups) + 1))
        codes = [row.code for row in readings] + [row.code for row in unsolved]
        first = 1 + sum(code.startswith(letter) for code in codes)
        try:
            station = made()
            rows, behind = station_readings(station, letter, limits, first)
            turned = (None, None) if name == BARE else (trimmer_figure(station), pot_figure(station))
        except ValueError as error:
            unsolved.append(UnsolvedFigure(f"{letter}{first}", name, " ".join(str(error).split())))
            continue
        readings += rows
        causes += [cause for cause in behind if cause.code[0] == "R" or cause.code in _frequencies(rows)]
        trimmers.append(turned[0])
        pots.append(turned[1])
    told(len(setups) / (len(setups) + 1))
    try:
        beat = beat_reading(opened, empty_room, "B1", limits)
    except ValueError as error:
        unsolved.append(UnsolvedFigure("B1", "beat note, no player near", " ".join(str(error).split())))
    else:
        readings += [] if beat is None else [beat]
    told(1.0)
    report = field_figures(opened) if field is None else field()
    currents = [row.expected for row in readings if row.unit == AMPERES]
    return collected(
        SheetFigures,
        {"design": design, "opened": opened, "report": report},
        readings=tuple(readings),
        unsolved=tuple(unsolved),
        causes=tuple(causes),
        trimmers=tuple(row for row in trimmers if row is not None),
        pots=tuple(pot for pot in pots if pot is not None),
        limits=tuple(_limits(report)),
        supply_current_a=sum(currents) if currents else None,
    )


BARE = "variable oscillator without its antenna"


def _setups(opened: OpenedDesign, empty_room: Callable[[], Station]) -> list[tuple[str, str, Callable[[], Station]]]:
    """The set-ups in the order in which they are read: the letter of their readings, a name, and how each is made.

    The variable oscillator is read for current and volts once, with its antenna.
    """
    found: list[tuple[str, str, Callable[[], Station]]] = [
        ("R", "reference oscillator", lambda: reference_station(opened)),
        ("V", BARE, lambda: replace(bare_station(opened), dc=None, by_pot=None)),
        ("V", "variable oscillator with its antenna", empty_room),
    ]
    if opened.volume is None:
        return found

    def ring() -> Station:
        station = volume_station(opened)
        assert station is not None
        return station

    return [*found, ("L", "volume oscillator", ring)]


def _frequencies(rows: list[ReadingFigure]) -> set[str]:
    """Codes of the frequencies: volts and currents point to the same parts in every oscillator, told once."""
    return {row.code for row in rows if row.unit == HERTZ}


def _limits(report: FieldFigures) -> list[LimitFigure]:
    """The example limit at the frequency of every oscillator that carries an antenna, and of the reference."""
    carriers = [("reference", report.reference_frequency_hz), ("variable", report.variable_frequency_empty_hz)]
    if report.volume is not None:
        carriers.append(("volume", report.volume.oscillator_empty_hz))
    rows = []
    for name, frequency in carriers:
        limit = general_field_limit(frequency)
        rows.append(LimitFigure(name, frequency, limit.field, limit.distance))
    return rows
