"""How steep a design's field is for a hand: cents per mm and under tremor at each note, against what the ear hears."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from models.pitch_discrimination import MEASURED_FROM, MEASURED_TO, limen_cents
from models.pitch_field import PitchField
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash
from synth.hands.gestures import TREMOR_SIZE

SCHEMA = "beatfield.sensitivity/1"
SEARCHED = 4000  # hand distances looked at
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
    """Every figure of the report. The slope is that at the note: a tremor is small beside the field's curvature.

    steep_spans_m: (near, far) hand distances of every stretch of the playable field that is too steep, nearest first.
    """

    design: str
    design_hash: str
    tremor_m: float
    too_steep_cents_per_mm: float
    notes: tuple[NoteSensitivity, ...]
    steep_spans_m: tuple[tuple[float, float], ...]
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

    def steep_text(self) -> str:
        """Where the field is too steep to play, in words."""
        if not self.steep_spans_m:
            return "nowhere in the playable distances"
        return "; ".join(self._span_text(near, far) for near, far in self.steep_spans_m)

    def _span_text(self, near: float, far: float) -> str:
        names = [note.note for note in self.notes if near <= note.distance_m <= far]
        held = f"{names[0]} to {names[-1]}" if len(names) > 1 else names[0] if names else "between two notes"
        return f"{100.0 * near:.1f} to {100.0 * far:.1f} cm ({held})"

    def text(self) -> str:
        """The report for a person."""
        lines = [
            f"{'design':<12}{self.design} ({self.design_hash})",
            f"{'tremor':<12}{1e3 * self.tremor_m:.3g} mm RMS (steady hands: 0.03 to 0.15 mm, "
            "doi:10.1001/archneur.1982.00510180036009)",
            f"{'heard from':<12}smallest change of a pure tone, after Wier, Jesteadt and Green 1977 (measured "
            f"{MEASURED_FROM:.0f} to {MEASURED_TO:.0f} Hz, carried on beyond)",
            f"{'too steep':<12}from {self.too_steep_cents_per_mm:g} cents/mm: 1 mm off is nearer to the next note",
            f"{'to play':<12}too steep: {self.steep_text()}",
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


def sensitivity_report(workpiece: OpenedDesign, tremor: float = TREMOR_SIZE) -> SensitivityReport:
    """Collect the figures for a tremor of this root mean square, m."""
    field = workpiece.field
    notes = []
    for line in field.notes():
        slope, limen = float(field.cents_per_mm(line.distance)), float(limen_cents(line.frequency))
        moved = 1e3 * tremor * slope
        verdict = VERDICTS[2] if slope >= TOO_STEEP else VERDICTS[1] if moved > limen else VERDICTS[0]
        notes.append(NoteSensitivity(line.name, line.frequency, line.distance, slope, moved, limen, verdict))
    return SensitivityReport(
        workpiece.design.name,
        design_hash(workpiece.design),
        tremor,
        TOO_STEEP,
        tuple(notes),
        steep_spans(field),
        workpiece.notices,
    )


def steep_spans(field: PitchField) -> tuple[tuple[float, float], ...]:
    """Stretches (near, far), m, in which 1 mm moves the pitch by TOO_STEEP cents or more; to some 0.2 mm."""
    if field.playable_near is None or field.playable_far is None:
        return ()
    places = np.geomspace(field.playable_near, field.playable_far, SEARCHED)
    places[0], places[-1] = field.playable_near, field.playable_far
    steep = np.concatenate([[False], field.cents_per_mm(places) >= TOO_STEEP, [False]])
    edges = np.flatnonzero(steep[1:] != steep[:-1])
    return tuple((float(places[first]), float(places[last - 1])) for first, last in edges.reshape(-1, 2))


def columns(report: SensitivityReport, name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """One figure of every note."""
    return np.array([getattr(note, name) for note in report.notes], dtype=np.float64)
