"""Any number of designs side by side as one set of figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from pathlib import Path

import numpy as np

from models.arrays import Floats
from models.pitch import REFERENCE_A
from models.quick_dataclass import dataclass
from synth.analysis.field_figures import FieldFigures, field_figures
from synth.analysis.figures import DENSE, collected, of, over_notes, played_numbers
from synth.build.workbench import OpenedDesign
from synth.sound.level_match import Matched

CURVE_POINTS = 201


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignRow:
    """One design's figures; None where it has no such thing.

    `linearity`: over its own whole octaves; `range`: over the notes that all are judged by, None if it does not play
    them all. Gain and level (dB of full scale) of its sound, if any.
    """

    design: str = of("report.design")
    design_hash: str = of("report.design_hash")
    reference_frequency_hz: float = of("report.reference_frequency_hz")
    mode: str = of("report.mode")
    zero_beat_m: float | None = of("report.zero_beat_m")
    playable_near_m: float | None = of("report.playable_near_m")
    playable_far_m: float | None = of("report.playable_far_m")
    lowest_hz: float | None = of("report.lowest_hz")
    highest_hz: float | None = of("report.highest_hz")
    octaves: int = of("report.octaves", len)
    linearity_rms_cents: float | None = of("report.linearity_rms_cents")
    linearity_near_m: float | None = of("report.linearity_near_m")
    linearity_far_m: float | None = of("report.linearity_far_m")
    range_rms_cents: float | None = of("held.rms_cents")
    range_near_m: float | None = of("held.span.0")
    range_far_m: float | None = of("held.span.1")
    cents_per_mm_at_a4: float | None
    gain_db: float | None = None
    level_db: float | None = None
    notices: tuple[str, ...] = of("report.notices")


@dataclass(frozen=True, slots=True)
class CompareFigures:
    """The table, note numbers against distance for the plot, and the names of the designs' files."""

    low_hz: float
    high_hz: float
    designs: tuple[DesignRow, ...]
    distances: Floats = field(metadata=DENSE)  # (CURVE_POINTS,) m
    numbers: Floats = field(metadata=DENSE)  # (designs, CURVE_POINTS); NaN where nothing sounds
    files: tuple[str, ...] = field(metadata=DENSE)

    def with_levels(self, sounds: Sequence[Matched]) -> CompareFigures:
        """The same with what matching did to each design's sound."""
        rows = tuple(
            replace(row, gain_db=sound.gain_db, level_db=sound.level_db if np.isfinite(sound.level_db) else None)
            for row, sound in zip(self.designs, sounds, strict=True)
        )
        return replace(self, designs=rows)


def compare_figures(designs: Sequence[OpenedDesign], low_hz: float, high_hz: float) -> CompareFigures:
    """Collect the figures of every design, in the order given; all are judged from `low_hz` to `high_hz`."""
    near = min(piece.instrument.curve.nearest for piece in designs)
    far = max(piece.instrument.curve.farthest for piece in designs)
    distances = np.linspace(near, far, CURVE_POINTS)
    return CompareFigures(
        low_hz=low_hz,
        high_hz=high_hz,
        designs=tuple(_row(piece, field_figures(piece), low_hz, high_hz) for piece in designs),
        distances=distances,
        files=tuple(Path(piece.design.source).name for piece in designs),
        numbers=np.stack([played_numbers(piece.field, distances, REFERENCE_A) for piece in designs]),
    )


def _row(opened: OpenedDesign, report: FieldFigures, low_hz: float, high_hz: float) -> DesignRow:
    held = over_notes(opened.field, low_hz, high_hz)
    at_a4 = next((note.cents_per_mm for note in report.notes if note.note == "A4"), None)
    return collected(DesignRow, {"report": report, "held": held}, cents_per_mm_at_a4=at_a4)
