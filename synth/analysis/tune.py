"""A tune from a file, whichever of the two kinds it is, and what a hand on a design makes of each note."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from models.pitch import frequency_of_note, note_name
from models.pitch_field import PitchField
from models.quick_dataclass import dataclass
from synth.analysis.figures import OfDesign, collected, of, told_apart
from synth.build.workbench import OpenedDesign
from synth.designs.shipped import shipped_tune
from synth.errors import DesignError
from synth.files.atomic_file import reason_of
from synth.hands.own_hand import OwnHand
from synth.hands.tune_path import SOURCES, Manner, Performance, PlayedNote, perform
from synth.midi.midi_file import read_midi
from synth.tunes.melody import Tune
from synth.tunes.note_list import read_note_list
from synth.tunes.reach import Advice, advice

LARGEST_FILE = 200_000  # bytes
MIDI_HEADER = b"MThd"


def load_tune(path: str | os.PathLike[str], track: int | None = None, channel: int | None = None) -> Tune:
    """The melody in a Standard MIDI File (known by its first bytes or its name) in a note list, or of that name.

    `track` and `channel` choose from a MIDI file, see `synth.midi.midi_file`. Raises DesignError naming the file.
    """
    file = Path(path)
    if not file.exists():
        file = shipped_tune(str(path)) or file
    content = _content(file)
    if content.startswith(MIDI_HEADER) or file.suffix.lower() in (".mid", ".midi", ".smf"):
        return read_midi(content, str(path), track, channel)
    if track is not None or channel is not None:
        raise DesignError(f"{path}: a note list has no tracks and channels; leave --track and --channel out")
    try:
        return read_note_list(content.decode("utf-8-sig"), str(path))
    except UnicodeDecodeError:
        raise DesignError(f"{path}: neither a Standard MIDI File nor a note list in UTF-8 text") from None


def _content(file: Path) -> bytes:
    try:
        if file.exists() and not file.is_file():
            raise DesignError(f"{file}: is no plain file; name a Standard MIDI File or a note list")
        if not file.is_file():
            raise DesignError(
                f"{file}: no such tune; name a Standard MIDI File or a note list, or lark or tide, which come along"
            )
        with file.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, DesignError):
            raise
        raise DesignError(f"{file}: cannot be read ({reason_of(error)}); check its name and rights") from error
    if len(content) > LARGEST_FILE:
        raise DesignError(f"{file}: larger than {LARGEST_FILE} bytes; cut the melody out of it")
    return content


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteOutcome:
    """One note; what it has not where it is out of reach is None, and `fault` says why."""

    start_s: float = of("note.start")
    seconds: float = of("note.seconds")
    note: str = of("note.number", note_name)
    wanted_hz: float = of("played.frequency")
    distance_m: float | None = of("played.distance")
    placed_m: float | None = of("played.placed")
    sounded_hz: float | None = of("played.sounded")
    cents: float | None = of("played.cents")
    wobble_cents: float | None = of("played.wobble_cents")
    fault: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TuneFigures(OfDesign):
    """A tune as played; `rms_cents` to `advice` are None where no note sounded or none is out of reach."""

    tune: str = of("tune.name")
    remarks: tuple[str, ...] = of("tune.remarks")
    tremor_m: float = of("manner.tremor")
    placement_m: float = of("manner.placement")
    own_hand: bool
    vibrato_m: float = of("manner.vibrato")
    portamento_s: float = of("manner.portamento")
    seed: int = of("manner.seed")
    held_at_border: int
    notes: tuple[NoteOutcome, ...]
    in_reach: int
    rms_cents: float | None
    worst_cents: float | None
    rms_placement_m: float | None
    advice: Advice | None
    sources: tuple[str, ...] = SOURCES

    def faults(self) -> tuple[str, ...]:
        """One line for each kind of note out of reach, and one on what would bring them in."""
        faults = dict.fromkeys(note.fault for note in self.notes if note.fault)
        return (*(fault for fault in faults if fault), *(() if self.advice is None else (self.advice.text(),)))


@dataclass(frozen=True, slots=True)
class TunesFigures:
    """A tune on several designs by one hand, and on which it comes out best; None where it is in reach of none."""

    designs: tuple[TuneFigures, ...]
    best: str | None


def tunes_figures(
    opened: Sequence[OpenedDesign], tune: Tune, manner: Manner, hand: OwnHand | None = None
) -> TunesFigures:
    """Play the tune on every design: best is the one with most notes in reach, and of those the truest."""
    names = told_apart([each.design.name for each in opened])
    figures = tuple(
        replace(tune_figures(each, tune, manner, hand)[0], design=name)
        for name, each in zip(names, opened, strict=True)
    )
    heard = [one for one in figures if one.rms_cents is not None]
    found = max(heard, key=lambda one: (one.in_reach, -(one.rms_cents or 0.0)), default=None)
    return TunesFigures(figures, None if found is None else found.design)


def tune_figures(
    opened: OpenedDesign, tune: Tune, manner: Manner, hand: OwnHand | None = None
) -> tuple[TuneFigures, Performance | None]:
    """Play the tune on the design; the performance is None where no note of it is in reach.

    `hand`: whose placement or tremor the manner has, where it is the user's own.
    """
    field = opened.field
    played = None
    numbers = np.array([note.number for note in tune.notes])
    if np.any(field.reaches(frequency_of_note(numbers, field.reference_a))):
        played = perform(tune, field, manner)
        outcome = played.notes
    else:
        outcome = tuple(
            PlayedNote(note, float(frequency_of_note(note.number, field.reference_a)), None, None, None, None, None)
            for note in tune.notes
        )
    sounded = [note for note in outcome if note.sounded is not None]
    off = np.array([note.cents for note in sounded], dtype=np.float64)
    missed = np.array([(note.placed or 0.0) - (note.distance or 0.0) for note in sounded])
    report = collected(
        TuneFigures,
        {"design": opened.design, "tune": tune, "manner": manner},
        own_hand=hand is not None and manner.placement == hand.scatter,
        held_at_border=0 if played is None else played.held_at_border,
        notes=tuple(_outcome(note, field) for note in outcome),
        in_reach=len(sounded),
        rms_cents=float(np.sqrt(np.mean(off**2))) if sounded else None,
        worst_cents=float(off[np.abs(off).argmax()]) if sounded else None,
        rms_placement_m=float(np.sqrt(np.mean(missed**2))) if sounded else None,
        advice=None if len(sounded) == len(outcome) else advice(tune, field),
    )
    return report, played


def _outcome(played: PlayedNote, field: PitchField) -> NoteOutcome:
    fault = _fault(played.note.number, played.frequency, field) if played.sounded is None else None
    return collected(NoteOutcome, {"note": played.note, "played": played}, fault=fault)


def _fault(number: int, frequency: float, field: PitchField) -> str:
    """Why a note is silent."""
    name = f"{note_name(number)} ({frequency:.1f} Hz)"
    if field.lowest_frequency is None or field.highest_frequency is None:
        return f"{name} is out of reach: the field is silent"
    if frequency > field.highest_frequency:
        return f"{name} is above the highest pitch in reach ({field.highest_frequency:.1f} Hz)"
    return f"{name} is below the lowest pitch in reach ({field.lowest_frequency:.1f} Hz)"
