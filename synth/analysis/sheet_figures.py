"""Every figure of a design's build and tuning sheet, collected once."""

from __future__ import annotations

from dataclasses import dataclass, replace

from models.radio_limits import general_field_limit
from synth.analysis.antenna_figures import AntennaFigures
from synth.analysis.field_figures import FieldFigures, NoteFigure, OctaveFigure, VolumeFigures, field_figures
from synth.analysis.figures import collected, of
from synth.analysis.sheet_bench import BenchFigures
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


@dataclass(frozen=True, slots=True)
class LimitFigure:
    """The example radio limit at an oscillator's frequency: field, V/m, at a distance, m."""

    oscillator: str
    frequency_hz: float
    field_v_per_m: float
    distance_m: float


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


def sheet_figures(opened: OpenedDesign) -> SheetFigures:
    """Collect the figures of a design's sheet."""
    design, report = opened.design, field_figures(opened)
    limits = {figure.kind: figure.fraction for figure in tolerance_figures(design)}
    lettered = _stations(opened)
    readings: list[ReadingFigure] = []
    causes: list[CauseFigure] = []
    for letter, station in lettered:
        first = 1 + sum(row.code.startswith(letter) for row in readings)
        rows, behind = station_readings(station, letter, limits, first)
        readings += rows
        causes += [cause for cause in behind if cause.code[0] == "R" or cause.code in _frequencies(rows)]
    beat = beat_reading(opened, "B1", limits)
    readings += [] if beat is None else [beat]
    played = [station for place, (_, station) in enumerate(lettered) if place != 1]  # not the one without its antenna
    currents = [row.expected for row in readings if row.unit == AMPERES]
    return collected(
        SheetFigures,
        {"design": design, "opened": opened, "report": report},
        readings=tuple(readings),
        causes=tuple(causes),
        trimmers=tuple(row for station in played if (row := trimmer_figure(station)) is not None),
        pots=tuple(pot for station in played if (pot := pot_figure(station)) is not None),
        limits=tuple(_limits(report)),
        supply_current_a=sum(currents) if currents else None,
    )


def _stations(opened: OpenedDesign) -> list[tuple[str, Station]]:
    """The set-ups in the order in which they are read, each with the letter of its readings.

    The variable oscillator is read for current and volts once, with its antenna.
    """
    bare = replace(bare_station(opened), dc=None, by_pot=None)
    found = [("R", reference_station(opened)), ("V", bare), ("V", antenna_station(opened))]
    ring = volume_station(opened)
    return found if ring is None else [*found, ("L", ring)]


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
