"""Any number of designs side by side as one set of figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.pitch import REFERENCE_A
from synth.analysis.field_figures import FieldFigures, field_figures
from synth.analysis.figures import DENSE, played_numbers
from synth.build.workbench import OpenedDesign

if TYPE_CHECKING:
    from synth.sound.level_match import Matched

CURVE_POINTS = 201


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
class CompareFigures:
    """The table, and note numbers against distance for the plot."""

    low_hz: float
    high_hz: float
    designs: tuple[DesignRow, ...]
    distances: NDArray[np.float64] = field(metadata=DENSE)  # (CURVE_POINTS,) m
    numbers: NDArray[np.float64] = field(metadata=DENSE)  # (designs, CURVE_POINTS); NaN where nothing sounds

    def with_levels(self, sounds: Sequence[Matched]) -> CompareFigures:
        """The same with what matching did to each design's sound."""
        rows = tuple(
            replace(row, gain_db=sound.gain_db, level_db=sound.level_db if np.isfinite(sound.level_db) else None)
            for row, sound in zip(self.designs, sounds, strict=True)
        )
        return replace(self, designs=rows)


def compare_figures(workpieces: Sequence[OpenedDesign], low_hz: float, high_hz: float) -> CompareFigures:
    """Collect the figures of every design, in the order given; all are judged from `low_hz` to `high_hz`."""
    near = min(piece.instrument.curve.nearest for piece in workpieces)
    far = max(piece.instrument.curve.farthest for piece in workpieces)
    distances = np.linspace(near, far, CURVE_POINTS)
    return CompareFigures(
        low_hz=low_hz,
        high_hz=high_hz,
        designs=tuple(_row(piece, field_figures(piece), low_hz, high_hz) for piece in workpieces),
        distances=distances,
        numbers=np.stack([played_numbers(piece.field, distances, REFERENCE_A) for piece in workpieces]),
    )


def _row(workpiece: OpenedDesign, report: FieldFigures, low_hz: float, high_hz: float) -> DesignRow:
    field = workpiece.field
    near = far = common = None
    if field.playable_near is not None and field.reaches([low_hz, high_hz]).all():
        near, far = sorted(float(value) for value in field.distance_at([low_hz, high_hz]))
        common = field.linearity_error(near, far)
    at_a4 = next((note.cents_per_mm for note in report.notes if note.note == "A4"), None)
    names = {part.name for part in fields(DesignRow)} & {part.name for part in fields(report)} - {"octaves"}
    return DesignRow(
        octaves=len(report.octaves),
        range_rms_cents=common,
        range_near_m=near,
        range_far_m=far,
        cents_per_mm_at_a4=at_a4,
        **{name: getattr(report, name) for name in names},
    )
