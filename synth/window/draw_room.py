"""The whole room small over the antenna: antennas in their true forms, player, cabinet, seen slantwise from above."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterable
from typing import Final

import numpy as np

from models.arrays import Floats
from models.electrostatics.surfaces import frame
from models.hand import meshes
from models.hand.antenna_meshes import pitch_antenna_mesh, volume_antenna_mesh
from models.hand.antennas import LoopAntenna, PlateAntenna, RingAntenna, VolumePlate
from models.hand.meshes import hand_shape
from models.hand.scene import Scene
from models.outline import convex_outline
from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.figure_outline import Sight, antenna_parts, arm_path, tube_outline
from synth.window.layout import Layout
from synth.window.painter import Point
from synth.window.scale import AXIS_SHARE, StageScale, Way
from synth.window.state import WindowState

CAPTION: Final = "the room"
LEAST_SCALE: Final = 60.0  # pixels a metre; below it the hand is too small to be seen, and the picture is left out
_MARGIN: Final = 0.06  # m around what is drawn
_BELOW: Final = 0.35  # m below the lower antenna that are shown
_TURN, _RISE = np.radians(32.0), np.radians(18.0)
#: Unit vectors (3, 2): to the right and down in the picture of a viewer before the player, to the right of the way.
_VIEW: Final = np.array(
    [
        [-np.cos(_TURN), -np.sin(_TURN), 0.0],
        [-np.sin(_TURN) * np.sin(_RISE), np.cos(_TURN) * np.sin(_RISE), -np.cos(_RISE)],
    ]
).T
_CORNERS: Final = np.array(list(itertools.product((-0.5, 0.5), repeat=3)))
_CIRCLE: Final = np.stack([f(2.0 * np.pi * np.arange(41) / 40) for f in (np.cos, np.sin)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class StillRoom:
    """What stands still, as outlines (n, 2) m of the slanting picture; `reach`: left, top, right, bottom of it, m.

    Antennas are closed outlines, or open lines where `hollow` says they are rings.
    """

    person: tuple[Floats, ...]
    cabinet: Floats | None
    antenna: Floats
    volume: Floats | None
    hollow: tuple[bool, bool]
    reach: tuple[float, float, float, float]


@functools.lru_cache(maxsize=8)
def still_room(scene: Scene) -> StillRoom:
    """The room of a scene."""
    antenna, ring = scene.antenna, scene.ring
    person = tuple(_hull(mesh.reshape(-1, 3)) for mesh in meshes.body(scene, 2.0))
    cabinet = None
    if scene.cabinet is not None:
        cabinet = _hull(meshes.cabinet_mesh(antenna, scene.cabinet).reshape(-1, 3))
    volume = None
    if isinstance(antenna, PlateAntenna):
        outline = _hull(_CORNERS * antenna.size + (0.0, 0.0, antenna.middle))
    elif not isinstance(antenna, RingAntenna):
        outline = _hull(pitch_antenna_mesh(antenna, scene.hand_height, scene.from_above).reshape(-1, 3))
    else:
        outline = (0.5 * antenna.diameter * _CIRCLE @ frame(antenna.normal)[:2] + antenna.center) @ _VIEW
    if isinstance(ring, LoopAntenna):
        middle = np.array([0.0, -ring.offset, ring.height])
        volume = (0.5 * ring.diameter * np.pad(_CIRCLE, ((0, 0), (0, 1))) + middle) @ _VIEW
    elif isinstance(ring, VolumePlate):
        size = (ring.length, ring.width, ring.thickness)
        volume = _hull(_CORNERS * size + (0.0, -ring.offset, ring.height))
    elif ring is not None:
        volume = _hull(volume_antenna_mesh(ring).reshape(-1, 3))
    seen = np.concatenate([outline, *person, *([] if volume is None else [volume])])
    lowest = min(scene.antenna.base_height, scene.antenna.base_height if ring is None else ring.height)
    bottom = float((np.array([0.0, 0.0, lowest - _BELOW]) @ _VIEW)[1])
    reach = (*(seen.min(axis=0) - _MARGIN).tolist(), float(seen[:, 0].max()) + _MARGIN, bottom)
    return StillRoom(
        person, cabinet, outline, volume, (isinstance(antenna, RingAntenna), isinstance(ring, LoopAntenna)), reach
    )


def antenna_shift(layout: Layout, scale: StageScale) -> float:
    """Pixels by which the antenna is drawn nearer than it is, so that its place beside the stage holds it."""
    room, spare = layout.antenna, max(10, round(16 * layout.scale))
    ends = room.left + spare - scale.rod_x, room.right - spare - scale.rod_x
    return max(0.0, ends[0]) if scale.mirrored else min(0.0, ends[1])


def antenna_columns(layout: Layout, scale: StageScale, sight: Sight) -> tuple[float, float]:
    """The first and last pixel column of the antenna as it is drawn."""
    along = np.concatenate([part[:, 0] for part in antenna_parts(sight)])
    columns = scale.rod_x + scale.away * along * scale.pixels_per_metre + antenna_shift(layout, scale)
    return float(columns.min()), float(columns.max())


@functools.lru_cache(maxsize=4)
def room_scale(
    layout: Layout, sight: Sight, caption_width: int, scale: StageScale | None = None
) -> tuple[Box, float] | None:
    """Where the picture stands, beside the antenna that a `scale` draws or else over it, and its pixels a metre; None
    where it has no room.
    """
    whole, gap = layout.antenna, max(4, round(6 * layout.scale))
    if scale is not None:
        first, last = antenna_columns(layout, scale, sight)
        sides = (whole.left, min(math.floor(first), whole.right)), (max(math.ceil(last), whole.left), whole.right)
        start, end = max(sides, key=lambda side: side[1] - side[0])
        if end > start:
            beside = _room_in(Box(start, whole.top, end - start, whole.height), layout, sight.scene, caption_width, gap)
            if beside is not None:
                return beside
    return _room_in(whole, layout, sight.scene, caption_width, gap)


def _room_in(room: Box, layout: Layout, scene: Scene, caption_width: int, gap: int) -> tuple[Box, float] | None:
    row = round(1.4 * layout.text.small)
    left, top, right, bottom = still_room(scene).reach
    axis = layout.stage.top + AXIS_SHARE * layout.stage.height
    wide, high = room.width - 2 * gap, axis - 3 * gap - room.top - row
    pixels = min(wide / (right - left), 0.8 * high / (bottom - top))
    width, height = round(pixels * (right - left)), round(pixels * (bottom - top)) + row
    if pixels < LEAST_SCALE or caption_width > width:
        return None
    return Box(room.left + (room.width - width) // 2, room.top, width, height), pixels


def room_box(canvas: PlayCanvas) -> Box | None:
    """Where the picture stands; None where it is left out."""
    placed = _placed(canvas)
    return None if placed is None else placed.box


@dataclass(frozen=True, slots=True)
class _Placed:
    """The picture on the canvas."""

    canvas: PlayCanvas
    box: Box
    pixels: float
    room: StillRoom

    def points(self, outline: Floats) -> list[Point]:
        left, top, *_ = self.room.reach
        across = self.pixels * (outline[:, 0] - left)
        mirrored = self.canvas.scale.mirrored
        x = self.box.right - across if mirrored else self.box.left + across
        return list(zip(x.tolist(), (self.box.top + self.pixels * (outline[:, 1] - top)).tolist(), strict=True))


def _placed(canvas: PlayCanvas) -> _Placed | None:
    scene = canvas.field.sight.scene
    width = canvas.width_of(CAPTION, canvas.small) + 2
    placed = room_scale(canvas.layout, canvas.field.sight, width, canvas.scale)
    return None if placed is None else _Placed(canvas, *placed, still_room(scene))


def draw_still_room(canvas: PlayCanvas) -> None:
    """What stands still; a line along the hand's way shows which part of it the stage holds."""
    placed = _placed(canvas)
    if placed is None:
        return
    box, room, row = placed.box, placed.room, round(1.4 * canvas.small)
    inner, thick = Box(box.left, box.top, box.width, box.height - row), canvas.px(2, 2)
    with canvas.clipped(inner):
        for part in room.person:
            canvas.shape(placed.points(part), palette.SLEEVE, palette.LINE)
        if room.volume is not None:
            _metal(canvas, placed.points(room.volume), room.hollow[1], thick)
        if room.cabinet is not None:
            canvas.shape(placed.points(room.cabinet), palette.PANEL, palette.EDGE)
        _metal(canvas, placed.points(room.antenna), room.hollow[0], thick)
        sight, scale = canvas.field.sight, canvas.scale
        ends = (sight.origin + along * sight.directions[:, 0] for along in (scale.start, scale.start + scale.width))
        canvas.smooth(placed.points(np.stack(list(ends)) @ _VIEW), palette.ORANGE, thick)
    canvas.frame(box, palette.EDGE, 1, canvas.px(5))
    canvas.text(CAPTION, Box(box.left, box.bottom - row, box.width, row), canvas.small, palette.QUIET_TEXT, "centre")


def _metal(canvas: PlayCanvas, points: list[Point], hollow: bool, thick: int) -> None:
    if hollow:
        canvas.smooth(points, palette.STRONG_LINE, thick)
    else:
        canvas.shape(points, palette.STRONG_LINE)


def draw_room(canvas: PlayCanvas, state: WindowState) -> None:
    """Both arms with their hands, as they are now."""
    placed = _placed(canvas)
    if placed is None:
        return
    colour = palette.SKY if state.present else palette.QUIET_TEXT
    row = round(1.4 * canvas.small)
    inner = Box(placed.box.left, placed.box.top, placed.box.width, placed.box.height - row)
    with canvas.as_one(), canvas.clipped(inner):
        for sleeve, hand in arms(canvas.field.sight, canvas.field.way, state.distance, state.opening, state.height):
            canvas.shape(placed.points(hand), palette.HAND, colour)
            canvas.shape(placed.points(sleeve), palette.SLEEVE, palette.LINE)


RESTING_HEIGHT: Final = 0.15  # m over the volume antenna, where nothing is said of the other hand


@functools.lru_cache(maxsize=4)
def arms(
    sight: Sight, way: Way, distance: float, opening: float, height: float | None
) -> tuple[tuple[Floats, Floats], ...]:
    """Sleeve and hand of each arm, outlines (n, 2) m of the slanting picture; the farther arm first."""
    scene, build = sight.scene, sight.scene.player.build
    found = []
    if scene.ring is not None:
        held = RESTING_HEIGHT if height is None else height
        over = scene.ring.over + (0.0, 0.0, held)
        end = over + (build.open_hand[0] + meshes.WRIST_CLEARANCE + build.arm_radii[2], 0.0, build.arm_radii[2])
        hand = _hand_outline(build.open_hand, hand_shape(build, "open").fullness, True)
        found.append((_sleeve(meshes.other_shoulder(scene), end, sight), hand + over @ _VIEW))
    shape = hand_shape(build, "open", opening)
    tip = sight.tip(way, distance, opening)
    place = sight.origin + tip * sight.directions[:, 0]
    clear = meshes.WRIST_CLEARANCE + build.arm_radii[2]
    if scene.from_above:
        place = place + (sight.given_half - shape.half[0], 0.0, 0.0)
        end = place + (shape.half[0] + clear, 0.0, build.arm_radii[2])
    else:
        end = place + (2.0 * shape.half[0] + clear, 0.0, 0.0)
    hand = _hand_outline(shape.half, shape.fullness, scene.from_above)
    found.append((_sleeve(meshes.shoulder(scene), end, sight), hand + place @ _VIEW))
    return tuple(found)


def _sleeve(start: Floats, end: Floats, sight: Sight) -> Floats:
    path, radii = arm_path(start, end, sight.scene.player.build)
    seen = path @ _VIEW
    return tube_outline(seen[:, 0] + 1j * seen[:, 1], radii)[:, None].view(np.float64)


@functools.lru_cache(maxsize=64)
def _hand_outline(half: tuple[float, float, float], fullness: float, flat: bool) -> Floats:
    """A hand's outline in the picture, with its tip (flat: the middle of its underside) at the origin."""
    shape = meshes.HandShape(half, fullness)
    return _hull((meshes.palm(shape) if flat else meshes.shaped_hand(shape)).reshape(-1, 3))


def _hull(points: Floats | Iterable[Floats]) -> Floats:
    return convex_outline(np.asarray(points) @ _VIEW)
