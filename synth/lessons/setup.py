"""The instruments the lessons are played on: the built-in design, the same with a fist, and a bare rod."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.arrays import Floats
from models.branch.antenna_branch import DIRECT
from models.detector.memoryless import Detector
from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.tank import Tank
from synth.lessons.recipes import Instrumental, performed
from synth.lessons.stage import FADE_TIME, SAMPLE_RATE, times

HOLD, MOVE, SETTLE = 1.5, 0.3, 0.2  # s: the hand at rest, on its way, and until all has settled
BARE_TANK = Tank(2.7e-3, 83e-12, 12e-12)  # H, F, stray F: small, so that a bare rod counts


@dataclass(frozen=True, slots=True)
class LessonSetup:
    """`built_in`, `fist` and `bare` share the rod, the player and zero beat; `bare` has no series inductor.

    All three are heard through a balanced mixer (product detector), so that a note is one line.
    """

    built_in: Instrument
    fist: Instrument
    bare: Instrument

    @property
    def zero_beat(self) -> float:
        """Hand distance of zero beat, m."""
        return float(self.field.zero_beat_distance or 0.0)

    @property
    def field(self) -> PitchField:
        """The pitch field of the built-in design."""
        return pitch_field(self.built_in)

    @property
    def bare_field(self) -> PitchField:
        """The pitch field of the bare rod."""
        return pitch_field(self.bare)


def open_setup() -> LessonSetup:
    """Assemble the three from the built-in design; the hand's field is computed once and kept on disk."""
    from synth.build.workbench import OpenedDesign
    from synth.designs.template import template_design

    opened = OpenedDesign(template_design())
    built_in = replace(opened.instrument, detector=Detector("product"))
    field = pitch_field(built_in)
    if field.zero_beat_distance is None:
        raise ValueError("the built-in design has no zero beat in reach")
    bare = replace(built_in, branch=DIRECT, mode="low", variable_tank=BARE_TANK)
    bare = replace(bare, reference_frequency=float(bare.variable_frequency(field.zero_beat_distance)))
    return LessonSetup(built_in, replace(built_in, curve=opened.curves["fist"]), bare)


def held(instrument: Instrument, distances: tuple[float, ...]) -> Floats:
    """The sound of a hand that rests HOLD s at each distance (m) and takes MOVE s from one to the next."""
    begins = (HOLD + MOVE) * np.arange(len(distances))
    instants = np.stack([begins, begins + HOLD], axis=1).ravel()
    course = np.interp(times(instants[-1]), instants, np.repeat(distances, 2))
    return performed(Instrumental(instrument), course, SAMPLE_RATE)


def one_after_the_other(*parts: tuple[Instrument, tuple[float, ...]]) -> Floats:
    """Two or more instruments, each with its resting places, MOVE s of silence between them."""
    pieces: list[Floats] = []
    for instrument, distances in parts:
        piece = held(instrument, distances)
        fade = round(FADE_TIME * SAMPLE_RATE)
        piece[-fade:] *= np.cos(0.5 * np.pi * np.arange(1, fade + 1) / fade) ** 2
        pieces += [piece, np.zeros(round(MOVE * SAMPLE_RATE))]
    return np.concatenate(pieces[:-1])


def rest(index: int) -> tuple[float, float]:
    """The stretch (s) in which the hand rests at the distance of this index and everything has settled."""
    begin = index * (HOLD + MOVE)
    return begin + SETTLE, begin + HOLD - 0.05
