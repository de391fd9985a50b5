"""Two instruments at one loudness: the same hand through both, by the measure of `synth.sound.level_match`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from synth.errors import DesignError
from synth.hands.gestures import HIGHEST_SWEPT
from synth.hands.hand_path import HandPath
from synth.sound.level_match import matched
from synth.sound.voice import Voice

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.window.retune import Tuned

SAMPLE_RATE = 48000
SWEEP_TIME = 2.0  # s


def matched_gains(sides: Sequence[Tuned]) -> list[float]:
    """Gains, dB, none above 0, that bring the sides to one level along one slow sweep of the hand; all 0 where the
    sides have no hand distance to compare.
    """
    try:
        path = shared_sweep(sides)
        return [min(0.0, one.gain_db) for one in matched([sound_of(s.instrument, path) for s in sides], SAMPLE_RATE)]
    except DesignError:
        return [0.0] * len(sides)


def shared_sweep(sides: Sequence[Tuned]) -> HandPath:
    """The hand from where the first of the sides falls silent to where one of them becomes shrill, at full volume.

    Raises DesignError where there is no such way.
    """
    spans = [(_nearest(side), side.field.playable_far) for side in sides if side.field.playable_far is not None]
    near = max((span[0] for span in spans), default=0.0)
    far = min((span[1] for span in spans), default=0.0)
    if len(spans) < len(sides) or near >= far:
        raise DesignError("the designs share no hand distance at which all of them sound")
    return HandPath(np.array([0.0, SWEEP_TIME]), np.array([far, near]), np.ones(2))


def sound_of(instrument: Instrument, path: HandPath) -> NDArray[np.float64]:
    """The samples of a hand path through an instrument."""
    voice = Voice(instrument, SAMPLE_RATE)
    return np.concatenate([voice.render(block, block.distance.size) for block in path.blocks(4096, SAMPLE_RATE)])


def _nearest(side: Tuned) -> float:
    """Nearest hand distance, m, at which a side is not above C7."""
    field = side.field
    if field.playable_near is None:
        return side.instrument.curve.nearest
    if field.direction != "rising" or not field.reaches(HIGHEST_SWEPT):
        return field.playable_near
    return float(field.distance_at(HIGHEST_SWEPT))
