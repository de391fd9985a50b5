"""A design file opened for work: the design, its hand field, the instrument and its pitch field together."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.tank import Tank
from models.volume.volume_antenna import VolumeAntenna
from synth.build.assembly import assemble, scene_of
from synth.build.curve_cache import curves_for, loop_curve_for
from synth.build.volume_assembly import volume_scene_of
from synth.designs.design_file import Design, load_design
from synth.errors import DesignError
from synth.files.plain_text import printable


@dataclass(frozen=True, slots=True)
class Workpiece:
    """One design, assembled: what every command works on. `volume` is None where the volume hand is a plain gain."""

    design: Design
    instrument: Instrument
    reference_tank: Tank
    field: PitchField
    notices: tuple[str, ...]
    volume: VolumeAntenna | None = None


def say(text: str) -> None:
    """Print one line of progress or notice to stderr, with what would steer a terminal spelled out."""
    print(printable(text), file=sys.stderr, flush=True)


def open_design(path: Path) -> Workpiece:
    """Load and assemble the design in `path`; raise DesignError with every fault where it cannot be used."""
    return open_loaded(load_design(path))


def open_loaded(design: Design) -> Workpiece:
    """Assemble an already loaded design."""
    scene = scene_of(design)
    ring = volume_scene_of(design, scene)
    try:
        curve = curves_for(scene, notice=say)[design.player.posture]
        loop_curve = None if ring is None else loop_curve_for(ring, notice=say)
    except ValueError as error:
        raise DesignError(f"{design.name}: {error}") from error
    assembly = assemble(design, curve, loop_curve)
    field = pitch_field(assembly.instrument, reference_a=design.tuning.reference_a)
    return Workpiece(design, assembly.instrument, assembly.reference, field, assembly.notices, assembly.volume)
