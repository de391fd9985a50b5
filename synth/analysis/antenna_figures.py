"""The pitch antenna's form and sizes, the hand's way to it, and the player."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerFigures:
    """Who plays: sizes, SI units in the names; None where the size has no such thing."""

    size: str = of("player.size")
    percentile: float | None
    stature_m: float | None
    stance: str = of("player.stance")
    stand_distance_m: float = of("player.stand_distance")
    elbow: bool
    own_lengths: bool


def player_figures(opened: OpenedDesign) -> PlayerFigures:
    """The player of an opened design."""
    player, build = opened.design.player, opened.scene.player.build
    own = (player.shoulder_height, player.upper_arm, player.forearm, player.hand_length, player.hand_breadth)
    return collected(
        PlayerFigures,
        {"player": player},
        percentile=player.percentile if player.size in ("man", "woman") else None,
        stature_m=player.stature if player.size == "child" else None,
        elbow=build.links is not None,
        own_lengths=any(length is not None for length in own),
    )


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
