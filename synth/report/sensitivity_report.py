"""How steep a design's field is for a hand: cents per mm and under tremor at each note, against what the ear hears."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from models.pitch_discrimination import MEASURED_FROM, MEASURED_TO, limen_cents
from synth.design_file import design_hash
from synth.hands.gestures import TREMOR_SIZE
from synth.report.output import write_text
from synth.workbench import Workpiece

SCHEMA = "beatfield.sensitivity/1"
TOO_STEEP = 50.0  # cents per mm: a hand 1 mm off its place sounds nearer to the neighbouring note
CSV_COLUMNS = ("note", "frequency_hz", "distance_m", "cents_per_mm", "tremor_cents", "limen_cents", "verdict")
VERDICTS = ("steady", "tremor heard", "too steep")


@dataclass(frozen=True, slots=True)
class NoteSensitivity:
    """One note: slope of the pitch, root mean square of its change under the tremor, smallest change heard."""

    note: str
    frequency_hz: float
    distance_m: float
    cents_per_mm: float
    tremor_cents: float
    limen_cents: float
    verdict: str


@dataclass(frozen=True, slots=True)
class SensitivityReport:
    """Every figure of the report. The slope is that at the note: a tremor is small beside the field's curvature."""

    design: str
    design_hash: str
    tremor_m: float
    too_steep_cents_per_mm: float
    notes: tuple[NoteSensitivity, ...]
    notices: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        return {"schema": SCHEMA, **asdict(self)}

    def csv(self) -> str:
        """One line a note."""
        rows = [",".join(CSV_COLUMNS)]
        for note in self.notes:
            cells = [getattr(note, column) for column in CSV_COLUMNS]
            rows.append(",".join(f"{cell:.9g}" if isinstance(cell, float) else cell for cell in cells))
        return "\n".join(rows) + "\n"

    def text(self) -> str:
        """The report for a person."""
        lines = [
            f"{'design':<12}{self.design} ({self.design_hash})",
            f"{'tremor':<12}{1e3 * self.tremor_m:.3g} mm RMS (a steady hand: 0.03 to 0.15 mm)",
            f"{'heard from':<12}smallest change of a pure tone, after Wier, Jesteadt and Green 1977 (measured "
            f"{MEASURED_FROM:.0f} to {MEASURED_TO:.0f} Hz, carried on beyond)",
            f"{'too steep':<12}from {self.too_steep_cents_per_mm:g} cents/mm: 1 mm off is nearer to the next note",
        ]
        if not self.notes:
            lines += ["", "no note is in reach of this design"]
        else:
            lines += ["", f"{'note':<6}{'hand':>11}{'1 mm is':>14}{'tremor is':>14}{'heard from':>14}"]
        lines += [
            f"{note.note:<6}{100.0 * note.distance_m:>8.2f} cm{note.cents_per_mm:>8.1f} cents"
            f"{note.tremor_cents:>8.2f} cents{note.limen_cents:>8.2f} cents  {note.verdict}"
            for note in self.notes
        ]
        lines += [""] * bool(self.notices) + [f"note: {notice}" for notice in self.notices]
        return "\n".join(lines) + "\n"


def sensitivity_report(workpiece: Workpiece, tremor: float = TREMOR_SIZE) -> SensitivityReport:
    """Collect the figures for a tremor of this root mean square, m."""
    field = workpiece.field
    notes = []
    for line in field.notes():
        slope, limen = float(field.cents_per_mm(line.distance)), float(limen_cents(line.frequency))
        moved = 1e3 * tremor * slope
        verdict = VERDICTS[2] if slope >= TOO_STEEP else VERDICTS[1] if moved > limen else VERDICTS[0]
        notes.append(NoteSensitivity(line.name, line.frequency, line.distance, slope, moved, limen, verdict))
    return SensitivityReport(
        workpiece.design.name, design_hash(workpiece.design), tremor, TOO_STEEP, tuple(notes), workpiece.notices
    )


def write_csv(report: SensitivityReport, target: str, force: bool) -> None:
    """Write the notes to the file `target`, or to stdout for `-`."""
    write_text(report.csv(), target, force)


def columns(report: SensitivityReport, name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """One figure of every note."""
    return np.array([getattr(note, name) for note in report.notes], dtype=np.float64)
