"""The built-in design in invented capacitance curves, for tests that need its instruments and no solved field."""

from __future__ import annotations

from dataclasses import replace

from small_instrument import RING_CURVE, ROD

from models.detector.memoryless import Detector
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.template import template_design
from synth.lessons.setup import LessonSetup


def small_piece() -> OpenedDesign:
    """The built-in design as it is opened, its fields in our curves."""
    return assemble(template_design(), ROD, RING_CURVE)


def small_setup() -> LessonSetup:
    """What `open_setup` has, all three instruments being the built-in one in our curves."""
    opened = small_piece()
    assert opened.volume is not None
    built_in = replace(opened.instrument, detector=Detector("product"))
    return LessonSetup(built_in, built_in, built_in, opened.volume, opened.design)
