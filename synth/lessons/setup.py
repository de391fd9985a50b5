"""The instruments the lessons are played on: the built-in design, the same with a fist, and a bare rod."""

from __future__ import annotations

from dataclasses import replace

from models.branch.antenna_branch import DIRECT
from models.detector.memoryless import Detector
from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.quick_dataclass import dataclass
from models.tank import Tank
from models.volume.volume_antenna import VolumeAntenna
from synth.designs.design_file import Design

BARE_TANK = Tank(2.7e-3, 83e-12, 12e-12)  # H, F, stray F: small, so that a bare rod counts


@dataclass(frozen=True, slots=True)
class LessonSetup:
    """`built_in`, `fist` and `bare` share the rod, the player and zero beat; `bare` has no series inductor. `volume` is
    the built-in design's volume side, `parts` the design.

    All three are heard through a balanced mixer (product detector), so that a note is one line.
    """

    built_in: Instrument
    fist: Instrument
    bare: Instrument
    volume: VolumeAntenna
    parts: Design

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
    if opened.volume is None:
        raise ValueError("the built-in design has no volume antenna")
    bare = replace(built_in, branch=DIRECT, mode="low", variable_tank=BARE_TANK)
    bare = replace(bare, reference_frequency=float(bare.variable_frequency(field.zero_beat_distance)))
    return LessonSetup(built_in, replace(built_in, curve=opened.curves["fist"]), bare, opened.volume, opened.design)
