"""The pitch antenna's form and sizes, the hand's way to it, the player, the room, and what joins player and common to
earth.
"""

from __future__ import annotations

import math

import numpy as np

from models.hand.antennas import PlateAntenna, RingAntenna
from models.hand.earthing import COMMON
from models.hand.hand_field import HandField
from models.quick_dataclass import dataclass
from synth.analysis.figures import collected, of, row
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


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomFigures:
    """What stands about, SI units in the names; None where it is not there."""

    floor_conducts: bool = of("room.earth_plane")
    wall_m: float | None = of("room.wall.distance")
    table_m: float | None = of("room.table.top")
    bystander_forward_m: float | None = of("room.bystander.x")
    bystander_side_m: float | None = of("room.bystander.y")


room_figures = row(RoomFigures, "room")


@dataclass(frozen=True, slots=True, kw_only=True)
class EarthingFigures:
    """What joins player and common to earth, F; None where it is a wire (bonded), or not known.

    The shares are what the field itself finds between the conductor and earth; the rest lies beside the field.
    """

    body_bonded: bool
    body_to_earth_f: float | None  # in all, as a bridge reads it
    body_field_share_f: float | None
    shoes_f: float | None
    common: str  # "cabinet", "board", or "none": no conductor of the field
    common_bonded: bool
    common_said: bool  # whether the design says it
    common_to_earth_f: float | None  # beside the field
    common_field_share_f: float | None


def earthing_figures(opened: OpenedDesign) -> EarthingFigures | None:
    """What joins player and common of an opened design to earth; None where its curves were given."""
    if opened.given is not None:
        return None
    field, earthing, cabinet = opened.hand_field, opened.earthing, opened.design.cabinet
    shoes, common = earthing.shoes(field.body_share), earthing.common_to_earth
    there = COMMON in field.names
    return EarthingFigures(
        body_bonded=shoes == math.inf,
        body_to_earth_f=opened.body_to_earth,
        body_field_share_f=field.body_share,
        shoes_f=None if shoes == math.inf else shoes,
        common="none" if not there else "board" if cabinet is None else "cabinet",
        common_bonded=common == math.inf,
        common_said=opened.design.common.to_earth is not None,
        common_to_earth_f=None if common == math.inf else common,
        common_field_share_f=_alone(field) if there else None,
    )


def _alone(field: HandField) -> float:
    """Capacitance of the common to earth, F, with no player and the antennas afloat."""
    there = field.without_player.diagonal() != 0.0
    matrix = field.without_player[np.ix_(there, there)]
    place = [name for name, kept in zip(field.names, there, strict=True) if kept].index(COMMON)
    return float(1.0 / np.linalg.inv(matrix)[place, place])


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
