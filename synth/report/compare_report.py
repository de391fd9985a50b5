"""Any number of designs side by side as one set of figures; text, JSON, CSV and plot are all written from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from models.pitch import note_number
from synth.build.workbench import OpenedDesign
from synth.report.field_report import FieldReport, field_report

if TYPE_CHECKING:
    from synth.sound.level_match import Matched

SCHEMA = "beatfield.compare/1"
CURVE_POINTS = 201
CSV_COLUMNS = (
    "design",
    "design_hash",
    "reference_frequency_hz",
    "mode",
    "zero_beat_m",
    "playable_near_m",
    "playable_far_m",
    "lowest_hz",
    "highest_hz",
    "octaves",
    "linearity_rms_cents",
    "linearity_near_m",
    "linearity_far_m",
    "range_rms_cents",
    "range_near_m",
    "range_far_m",
    "cents_per_mm_at_a4",
    "gain_db",
    "level_db",
)


@dataclass(frozen=True, slots=True)
class DesignRow:
    """One design's figures; None where it has no such thing.

    `linearity`: over its own whole octaves; `range`: over the notes that all are judged by, None if it does not play
    them all. Gain and level (dB of full scale) of its sound, if any.
    """

    design: str
    design_hash: str
    reference_frequency_hz: float
    mode: str
    zero_beat_m: float | None
    playable_near_m: float | None
    playable_far_m: float | None
    lowest_hz: float | None
    highest_hz: float | None
    octaves: int
    linearity_rms_cents: float | None
    linearity_near_m: float | None
    linearity_far_m: float | None
    range_rms_cents: float | None
    range_near_m: float | None
    range_far_m: float | None
    cents_per_mm_at_a4: float | None
    gain_db: float | None = None
    level_db: float | None = None
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CompareReport:
    """The table, and note numbers against distance for the plot."""

    low_hz: float
    high_hz: float
    rows: tuple[DesignRow, ...]
    distances: NDArray[np.float64]  # (CURVE_POINTS,) m
    numbers: NDArray[np.float64]  # (designs, CURVE_POINTS); NaN where nothing sounds

    def document(self) -> dict[str, Any]:
        """The table as JSON-ready values."""
        designs = [asdict(row) for row in self.rows]
        return {"schema": SCHEMA, "low_hz": self.low_hz, "high_hz": self.high_hz, "designs": designs}

    def csv(self) -> str:
        """The table as CSV, one line a design; an empty cell where there is no such thing."""
        import csv
        import io

        target = io.StringIO()
        writer = csv.writer(target, lineterminator="\n")
        writer.writerow(CSV_COLUMNS)
        for row in self.rows:
            cells = [getattr(row, name) for name in CSV_COLUMNS]
            writer.writerow([_cell(cell) for cell in cells])
        return target.getvalue()

    def with_levels(self, sounds: Sequence[Matched]) -> CompareReport:
        """The same with what matching did to each design's sound."""
        rows = tuple(
            replace(row, gain_db=sound.gain_db, level_db=sound.level_db if np.isfinite(sound.level_db) else None)
            for row, sound in zip(self.rows, sounds, strict=True)
        )
        return replace(self, rows=rows)


def compare_report(workpieces: Sequence[OpenedDesign], low_hz: float, high_hz: float) -> CompareReport:
    """Collect the figures of every design, in the order given; all are judged from `low_hz` to `high_hz`."""
    near = min(piece.instrument.curve.nearest for piece in workpieces)
    far = max(piece.instrument.curve.farthest for piece in workpieces)
    distances = np.linspace(near, far, CURVE_POINTS)
    return CompareReport(
        low_hz=low_hz,
        high_hz=high_hz,
        rows=tuple(_row(piece, field_report(piece), low_hz, high_hz) for piece in workpieces),
        distances=distances,
        numbers=np.stack([_numbers(piece, distances) for piece in workpieces]),
    )


def _row(workpiece: OpenedDesign, report: FieldReport, low_hz: float, high_hz: float) -> DesignRow:
    field = workpiece.field
    near = far = common = None
    if field.playable_near is not None and field.reaches([low_hz, high_hz]).all():
        near, far = sorted(float(value) for value in field.distance_at([low_hz, high_hz]))
        common = field.linearity_error(near, far)
    at_a4 = next((note.cents_per_mm for note in report.notes if note.note == "A4"), None)
    same = {
        name: getattr(report, name)
        for name in (
            "design",
            "design_hash",
            "reference_frequency_hz",
            "mode",
            "zero_beat_m",
            "playable_near_m",
            "playable_far_m",
            "lowest_hz",
            "highest_hz",
            "linearity_rms_cents",
            "linearity_near_m",
            "linearity_far_m",
            "notices",
        )
    }
    return DesignRow(
        octaves=len(report.octaves),
        range_rms_cents=common,
        range_near_m=near,
        range_far_m=far,
        cents_per_mm_at_a4=at_a4,
        **same,
    )


def _numbers(workpiece: OpenedDesign, distances: NDArray[np.float64]) -> NDArray[np.float64]:
    field = workpiece.field
    numbers = np.full_like(distances, np.nan)
    if field.playable_near is not None and field.playable_far is not None:
        inside = (distances >= field.playable_near) & (distances <= field.playable_far)
        numbers[inside] = note_number(field.frequency_at(distances[inside]))
    return numbers


_FACTS = (
    ("reference", "reference_frequency_hz", "kHz"),
    ("mode", "mode", ""),
    ("zero beat", "zero_beat_m", "cm"),
    ("playable from", "playable_near_m", "cm"),
    ("playable to", "playable_far_m", "cm"),
    ("lowest note", "lowest_hz", "Hz"),
    ("highest note", "highest_hz", "Hz"),
    ("whole octaves, C to C", "octaves", ""),
    ("unevenness over them, RMS", "linearity_rms_cents", "cents"),
    ("unevenness over RANGE, RMS", "range_rms_cents", "cents"),
    ("RANGE from", "range_near_m", "cm"),
    ("RANGE to", "range_far_m", "cm"),
    ("steepness at A4", "cents_per_mm_at_a4", "cents/mm"),
    ("gain for equal level", "gain_db", "dB"),
    ("level, sounding parts", "level_db", "dB"),
)
_SCALES = {"kHz": (1e-3, 3), "cm": (100.0, 1), "Hz": (1.0, 1), "cents": (1.0, 0), "cents/mm": (1.0, 1), "dB": (1.0, 1)}


def text(report: CompareReport) -> str:
    """The table for a person, one column a design."""
    heard = any(row.gain_db is not None for row in report.rows)
    columns = [[str(number) + " " + row.design for number, row in enumerate(report.rows, start=1)]]
    labels = [""]
    for label, name, unit in _FACTS:
        if unit == "dB" and not heard:
            continue
        labels.append(label.replace("RANGE", f"{report.low_hz:.0f}-{report.high_hz:.0f} Hz"))
        columns.append([shown(getattr(row, name), unit) for row in report.rows])
    widths = [max(14, *(len(column[number]) + 2 for column in columns)) for number in range(len(report.rows))]
    lines = [
        f"{label:<34}" + "".join(f"{cell:>{width}}" for cell, width in zip(column, widths, strict=True))
        for label, column in zip(labels, columns, strict=True)
    ]
    lines += [f"note: {row.design}: {notice}" for row in report.rows for notice in row.notices]
    return "\n".join(lines) + "\n"


def _cell(value: Any) -> str:
    """One cell of the CSV."""
    return "" if value is None else f"{value:.9g}" if isinstance(value, float) else str(value)


def shown(value: Any, unit: str) -> str:
    """One cell of the table."""
    if value is None:
        return "-"
    if unit not in _SCALES:
        return str(value)
    scale, digits = _SCALES[unit]
    return f"{scale * value:.{digits}f} {unit}"
