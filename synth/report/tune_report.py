"""A tune on a design as one set of figures: what was wanted, what sounded, how far off; text, JSON and CSV."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from models.pitch import note_name
from models.pitch_field import PitchField
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash
from synth.hands.tune_path import PLACEMENT, SOURCES, Manner, Performance, PlayedNote, perform
from synth.tunes.melody import Tune
from synth.tunes.reach import Advice, advice

SCHEMA = "beatfield.tune/1"
CSV_COLUMNS = (
    "start_s",
    "seconds",
    "note",
    "wanted_hz",
    "distance_m",
    "placed_m",
    "sounded_hz",
    "cents",
    "wobble_cents",
    "fault",
)


@dataclass(frozen=True, slots=True)
class NoteOutcome:
    """One note; what it has not where it is out of reach is None, and `fault` says why."""

    start_s: float
    seconds: float
    note: str
    wanted_hz: float
    distance_m: float | None
    placed_m: float | None
    sounded_hz: float | None
    cents: float | None
    wobble_cents: float | None
    fault: str | None


@dataclass(frozen=True, slots=True)
class TuneReport:
    """Every figure of the report; `rms_cents` to `advice` are None where no note sounded or none is out of reach."""

    design: str
    design_hash: str
    tune: str
    remarks: tuple[str, ...]
    tremor_m: float
    placement_m: float
    vibrato_m: float
    portamento_s: float
    seed: int
    held_at_border: int
    notes: tuple[NoteOutcome, ...]
    in_reach: int
    rms_cents: float | None
    worst_cents: float | None
    rms_placement_m: float | None
    advice: Advice | None
    sources: tuple[str, ...] = SOURCES

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        return {"schema": SCHEMA, **asdict(self)}

    def csv(self) -> str:
        """One line a note; empty cells where nothing sounded."""
        rows = [",".join(CSV_COLUMNS)]
        for note in self.notes:
            cells = [getattr(note, column) for column in CSV_COLUMNS]
            rows.append(
                ",".join(
                    ""
                    if cell is None
                    else f"{cell:.9g}"
                    if isinstance(cell, float)
                    else f'"{cell}"'
                    if "," in cell
                    else cell
                    for cell in cells
                )
            )
        return "\n".join(rows) + "\n"

    def text(self) -> str:
        """The report for a person."""
        return _text(self)

    def faults(self) -> tuple[str, ...]:
        """One line for each kind of note out of reach, and one on what would bring them in."""
        faults = dict.fromkeys(note.fault for note in self.notes if note.fault)
        return (*(fault for fault in faults if fault), *(() if self.advice is None else (self.advice.text(),)))


def tune_report(workpiece: OpenedDesign, tune: Tune, manner: Manner) -> tuple[TuneReport, Performance | None]:
    """Play the tune on the design; the performance is None where no note of it is in reach."""
    field = workpiece.field
    played = None
    if field.reaches([_frequency(number, field) for number in {note.number for note in tune.notes}]).any():
        played = perform(tune, field, manner)
        outcome = played.notes
    else:
        outcome = tuple(
            PlayedNote(note, _frequency(note.number, field), None, None, None, None, None) for note in tune.notes
        )
    sounded = [note for note in outcome if note.sounded is not None]
    off = np.array([note.cents for note in sounded], dtype=np.float64)
    missed = np.array([(note.placed or 0.0) - (note.distance or 0.0) for note in sounded])
    report = TuneReport(
        design=workpiece.design.name,
        design_hash=design_hash(workpiece.design),
        tune=tune.name,
        remarks=tune.remarks,
        tremor_m=manner.tremor,
        placement_m=manner.placement,
        vibrato_m=manner.vibrato,
        portamento_s=manner.portamento,
        seed=manner.seed,
        held_at_border=0 if played is None else played.held_at_border,
        notes=tuple(_outcome(note, field) for note in outcome),
        in_reach=len(sounded),
        rms_cents=float(np.sqrt(np.mean(off**2))) if sounded else None,
        worst_cents=float(off[np.abs(off).argmax()]) if sounded else None,
        rms_placement_m=float(np.sqrt(np.mean(missed**2))) if sounded else None,
        advice=None if len(sounded) == len(outcome) else advice(tune, field),
    )
    return report, played


def _frequency(number: int, field: PitchField) -> float:
    return float(field.reference_a * math.exp2((number - 69) / 12.0))


def _outcome(played: PlayedNote, field: PitchField) -> NoteOutcome:
    note, fault = played.note, None
    if played.sounded is None:
        fault = _fault(note.number, played.frequency, field)
    return NoteOutcome(
        note.start,
        note.seconds,
        note_name(note.number),
        played.frequency,
        played.distance,
        played.placed,
        played.sounded,
        played.cents,
        played.wobble_cents,
        fault,
    )


def _fault(number: int, frequency: float, field: PitchField) -> str:
    """Why a note is silent."""
    name = f"{note_name(number)} ({frequency:.1f} Hz)"
    if field.lowest_frequency is None or field.highest_frequency is None:
        return f"{name} is out of reach: the field is silent"
    if frequency > field.highest_frequency:
        return f"{name} is above the highest pitch in reach ({field.highest_frequency:.1f} Hz)"
    return f"{name} is below the lowest pitch in reach ({field.lowest_frequency:.1f} Hz)"


def _text(report: TuneReport) -> str:
    lines = [
        f"{'design':<12}{report.design} ({report.design_hash})",
        f"{'tune':<12}{report.tune}",
        *(f"{'':<12}{remark}" for remark in report.remarks),
        f"{'hand':<12}placement {1e3 * report.placement_m:.3g} mm{' (assumed)' * (report.placement_m == PLACEMENT)}, "
        f"tremor {1e3 * report.tremor_m:.3g} mm (both RMS), "
        f"vibrato {1e3 * report.vibrato_m:.3g} mm each way, slides of {report.portamento_s:.3g} s, seed {report.seed}",
        *(f"{'sources' if index == 0 else '':<12}{source}" for index, source in enumerate(report.sources)),
        f"{'in reach':<12}{report.in_reach} of {len(report.notes)} notes",
    ]
    if report.rms_cents is not None and report.worst_cents is not None and report.rms_placement_m is not None:
        lines.append(
            f"{'intonation':<12}{report.rms_cents:.1f} cents RMS off, {report.worst_cents:+.1f} at worst, "
            f"by a hand {1e3 * report.rms_placement_m:.2f} mm RMS off"
        )
    if report.held_at_border:
        lines.append(f"{'':<12}errors led out of the playable distances for a while: held at their border")
    lines.append(f"\n{'at':>8}  {'wanted':<18}{'hand':>11}{'put':>11}{'sounded':>13}{'off':>15}{'wobble':>14}")
    for note in report.notes:
        start = f"{note.start_s:6.2f} s  {note.note:<6}{note.wanted_hz:>9.1f} Hz"
        if (
            note.distance_m is None
            or note.placed_m is None
            or note.sounded_hz is None
            or note.cents is None
            or note.wobble_cents is None
        ):
            lines.append(f"{start}  out of reach, silent")
            continue
        lines.append(
            f"{start}{100.0 * note.distance_m:>8.2f} cm{100.0 * note.placed_m:>8.2f} cm"
            f"{note.sounded_hz:>10.1f} Hz{note.cents:>+9.1f} cents{note.wobble_cents:>8.1f} cents"
        )
    faults = report.faults()
    lines += [""] * bool(faults) + [f"note: {fault}" for fault in faults]
    return "\n".join(lines) + "\n"
