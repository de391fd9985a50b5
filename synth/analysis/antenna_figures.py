"""The pitch antenna's form and sizes, and the hand's way to it."""

from __future__ import annotations

from dataclasses import dataclass

from models.hand.antennas import PlateAntenna, RingAntenna
from synth.analysis.figures import collected, of
from synth.build.workbench import OpenedDesign


@dataclass(frozen=True, slots=True, kw_only=True)
class AntennaFigures:
    """SI units in the names, the lean in degrees; None where the form has no such thing."""

    form: str = of("part.form")
    length_m: float  # of rods and wires from end to end; of a plate up, or front to back; across a ring
    width_m: float | None
    thickness_m: float
    sections: int
    position: str | None
    lean_deg: float
    base_height_m: float = of("part.base_height")
    approach: str = of("player.approach")
    hand_height_m: float = of("scene.hand_height")


def antenna_figures(opened: OpenedDesign) -> AntennaFigures:
    """The antenna of an opened design."""
    part, scene = opened.design.antenna, opened.scene
    antenna = scene.antenna
    count = 1
    if isinstance(antenna, PlateAntenna):
        sizes: tuple[float, float | None, float] = antenna.length, antenna.width, antenna.thickness
    elif isinstance(antenna, RingAntenna):
        sizes = antenna.diameter, None, antenna.tube_diameter
    else:
        sizes, count = (antenna.whole_length, None, max(wide for _, wide in antenna.sections)), len(antenna.sections)
    flat = isinstance(antenna, PlateAntenna | RingAntenna)
    return collected(
        AntennaFigures,
        {"part": part, "player": opened.design.player, "scene": scene},
        length_m=sizes[0],
        width_m=sizes[1],
        thickness_m=sizes[2],
        sections=count,
        position=part.position if flat else None,
        lean_deg=0.0 if flat or part.form == "wire" else part.lean,
    )
