"""What of the stage stands still: the pitch field to scale, the marked scale and drone, zero beat and player."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from models.arrays import Floats
from models.pitch_field import NoteLine
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.draw_volume import draw_volume_scale
from synth.window.figure_outline import Sight, body_outlines
from synth.window.note_lines import chosen_labels, drawn_lines, weight_of
from synth.window.scale import StageScale


def draw_field(canvas: PlayCanvas, guide: frozenset[int], drone: int | None) -> None:
    """Draw the still part of the stage. `guide`: note numbers of the chosen scale; `drone`: its note number."""
    field, scale = canvas.field, canvas.scale
    canvas.fill(canvas.layout.stage, palette.PANEL)
    _light(canvas)
    _beyond_curve(canvas)
    draw_volume_scale(canvas)
    player = _player_mark(canvas)
    _body(canvas)
    axis = round(scale.axis_y)  # along which the hand moves
    canvas.dashed((scale.box.left, axis), (scale.box.right - 1, axis), palette.EDGE, canvas.px(5, 3))
    lines = drawn_lines(field.notes, scale.x_of, max(5.0, 6.0 * canvas.layout.scale))
    _note_lines(canvas, lines, guide)
    guided = _guide_lines(canvas, guide)
    _guide(canvas, guided)
    zero = _zero_beat(canvas)
    taken = player if zero is not None else _zero_beat_beyond(canvas, player)
    named = _drone(canvas, next((line for line in field.notes if line.number == drone), None), taken)
    _locked(canvas, (taken,) if named is None else (taken, named))
    seen = [line for line in field.notes if line in lines or line in guided]
    _note_names(
        canvas,
        [line for line in seen if line.number in guide] if guide else seen,
        () if zero is None else ((zero.left, zero.right),),
    )
    _distance_scale(canvas)


def _clipped(scale: StageScale, near: float, far: float) -> Box | None:
    """The part of the stage between two distances."""
    ends = sorted((round(scale.x_of(far)), round(scale.x_of(near))))
    left, right = max(scale.box.left, ends[0]), min(scale.box.right, ends[1])
    return Box(left, scale.box.top, right - left, scale.box.height) if right > left else None


_COARSE = 4  # pixels of the stage to one of its light


def _light(canvas: PlayCanvas) -> None:
    """The field as light round the antenna: brightest where a millimetre of hand changes the capacitance most."""
    field = canvas.field
    if field.light:
        canvas.pixels(_glow(canvas.scale, field.sight, field.light, palette.PANEL, palette.GLOW), canvas.scale.box)


@lru_cache(maxsize=2)
def _glow(
    scale: StageScale, sight: Sight, light: tuple[float, ...], ground: palette.Colour, glow: palette.Colour
) -> Floats:
    """Colours (columns, rows, 3) of the light, one for `_COARSE` pixels each way."""
    columns = scale.box.left + _COARSE * (np.arange(max(2, scale.box.width // _COARSE)) + 0.5)
    rows = scale.box.top + _COARSE * (np.arange(max(2, scale.box.height // _COARSE)) + 0.5)
    along = scale.away * (columns - scale.rod_x) / scale.pixels_per_metre
    down = (rows - scale.axis_y) / scale.pixels_per_metre
    plane = np.stack(np.broadcast_arrays(along[:, None], down[None, :]), axis=-1)
    points = (sight.origin + plane @ sight.directions.T).reshape(-1, 3)
    distance = np.maximum(sight.scene.antenna.distance(points, extended=False), 0.0).reshape(plane.shape[:2])
    share = np.interp(distance, 0.01 * np.arange(len(light)), light)
    dark, bright = np.array(ground, dtype=float), np.array(glow, dtype=float)
    return np.asarray(dark + share[..., None] * (bright - dark))


def _beyond_curve(canvas: PlayCanvas) -> None:
    """The strip at the antenna where the field is not computed: the hand counts as at its edge."""
    strip = _clipped(canvas.scale, 0.0, canvas.scale.nearest)
    if strip is not None and strip.width > 2:
        canvas.fill(strip, palette.GROUND)
        x = strip.right - 1 if canvas.scale.mirrored else strip.left
        canvas.line((x, strip.top), (x, strip.bottom - 1), palette.EDGE)


def _name_room(canvas: PlayCanvas, text: str, middle: float, bold: bool = False) -> Box:
    """Where a name stands that belongs to a pixel column, below the centimetre scale and within the stage's width."""
    box, below, row = canvas.scale.box, canvas.layout.distance_scale, round(1.4 * canvas.small)
    width = canvas.width_of(text, canvas.small, bold) + 2
    left = min(max(round(middle) - width // 2, box.left), box.right - width)
    return Box(left, below.bottom - row, width, row)


def _free(canvas: PlayCanvas, room: Box, taken: Sequence[Box]) -> bool:
    return not any(room.shrunk(-canvas.small, 0).overlaps(other) for other in taken)


def _locked(canvas: PlayCanvas, taken: Sequence[Box]) -> None:
    """Where the oscillators lock and nothing sounds: hatched, named where the name has room beside `taken`."""
    span = canvas.field.locked_span
    band = _clipped(canvas.scale, *span) if span is not None else None
    if band is None:
        return
    for start in range(band.left - band.height, band.right, canvas.px(9, 6)):
        left, right = max(band.left, start), min(band.right, start + band.height)
        if right > left:
            canvas.line((left, band.top + left - start), (right, band.top + right - start), palette.EDGE)
    text = "locked: no sound"
    room = _name_room(canvas, text, band.center[0])
    if _free(canvas, room, taken):
        canvas.text(text, room, canvas.small, palette.QUIET_TEXT, "centre")


def _note_lines(canvas: PlayCanvas, lines: Sequence[NoteLine], guide: frozenset[int]) -> None:
    """Cs as full bright lines, naturals as full thin ones, accidentals as short marks at both edges.

    Where a scale is marked, the naturals that are not in it are short marks too.
    """
    box = canvas.scale.box
    short = round(0.05 * box.height)
    for line in lines:
        x, weight = canvas.scale.x_of(line.distance), weight_of(line.number)
        if not box.left <= x < box.right:
            continue
        if weight == "octave":
            canvas.line((x, box.top), (x, box.bottom - 1), palette.STRONG_LINE, canvas.px(2, 2))
        elif weight == "natural" and (not guide or line.number in guide):
            canvas.line((x, box.top), (x, box.bottom - 1), palette.LINE)
        else:
            canvas.line((x, box.top), (x, box.top + short), palette.LINE)
            canvas.line((x, box.bottom - short), (x, box.bottom - 1), palette.LINE)


def _note_names(canvas: PlayCanvas, notes: Sequence[NoteLine], reserved: tuple[tuple[float, float], ...]) -> None:
    """As many names as fit above the stage; `notes` are those with a line."""
    band = canvas.layout.note_band
    size = canvas.small
    labels = chosen_labels(
        notes,
        canvas.scale.x_of,
        lambda name: canvas.width_of(shown_name(name), size, bold=name.startswith("C") and "#" not in name) + 2,
        band.left,
        band.right,
        gap=0.5 * size,
        reserved=reserved,
    )
    for label in labels:
        strong = label.weight == "octave"
        name = shown_name(label.text)
        width = canvas.width_of(name, size, strong) + 2
        room = Box(round(label.x) - width // 2, band.top, width, band.height - canvas.px(9))
        canvas.text(name, room, size, palette.TEXT if strong else palette.QUIET_TEXT, "centre", strong)


def shown_name(name: str) -> str:
    """A note name with the proper sharp and flat signs."""
    return name.replace("#", "♯")


def _zero_beat(canvas: PlayCanvas) -> Box | None:
    """A dashed line with its name above the stage; returns the name's room."""
    distance = canvas.field.zero_beat
    if distance is None or not canvas.scale.box.left <= canvas.scale.x_of(distance) <= canvas.scale.box.right:
        return None
    x, size, band = canvas.scale.x_of(distance), canvas.small, canvas.layout.note_band
    thick, dash = canvas.px(2, 2), canvas.px(6, 4)
    canvas.dashed((x, canvas.scale.box.top), (x, canvas.scale.box.bottom - 1), palette.ORANGE, dash, thick)
    text = f"zero beat {100 * distance:.1f} cm"
    width = canvas.width_of(text, size) + size
    left = min(max(round(x) - width // 2, band.left), band.right - width)
    room = Box(left, band.top, width, band.height - canvas.px(9))
    canvas.text(text, room, size, palette.ORANGE, "centre")
    return room


def _zero_beat_beyond(canvas: PlayCanvas, beside: Box) -> Box:
    """Where zero beat is, if the stage does not reach it: beside the player's mark. Returns the room of both."""
    distance, scale, size = canvas.field.zero_beat, canvas.scale, canvas.small
    if distance is None or scale.way.tip(distance) < scale.start + scale.width:
        return beside
    text = f"zero beat {100 * distance:.1f} cm"
    text = f"{text} ▶" if scale.mirrored else f"◀ {text}"
    width = canvas.width_of(text, size) + 2
    left = beside.left - size - width if scale.mirrored else beside.right + size
    if left < scale.box.left or left + width > scale.box.right:
        return beside
    canvas.text(text, Box(left, beside.top, width, beside.height), size, palette.ORANGE)
    return Box(min(left, beside.left), beside.top, beside.width + size + width, beside.height)


def _distance_scale(canvas: PlayCanvas) -> None:
    """Centimetres from the antenna's surface."""
    box, size, stage = canvas.layout.distance_scale, canvas.small, canvas.layout.stage
    canvas.line((stage.left, box.top), (stage.right - 1, box.top), palette.EDGE)
    lengths = {0: canvas.px(12), 5: canvas.px(9)}
    scale = canvas.scale
    ends = scale.start, scale.start + scale.width
    first, last = (100.0 * max(scale.way.distance(end), 0.0) for end in ends)
    unit = scale.box.width / max(last - first, 1e-9)
    step = next((step for step in (1, 2, 5, 10, 20) if step * unit >= 3.4 * size), 50)
    for centimetre in range(math.ceil(first - 1e-6), math.floor(last + 1e-6) + 1):
        x = round(canvas.scale.x_of(0.01 * centimetre))
        length = lengths.get(centimetre % 10, canvas.px(5))
        if unit >= 4.0 or centimetre % 5 == 0:
            canvas.line((x, box.top), (x, box.top + length), palette.EDGE)
        if centimetre % step == 0:
            text = f"{centimetre} cm" if centimetre == step * math.ceil(first / step - 1e-6) else f"{centimetre}"
            width = canvas.width_of(text, size) + 2
            room = Box(x - width // 2, box.top + lengths[0], width, round(1.4 * size))
            canvas.text(text, room, size, palette.QUIET_TEXT, "centre")


def _radius(canvas: PlayCanvas) -> float:
    """Half the height of a diamond, pixels."""
    return max(3.0, 4.5 * canvas.layout.scale)


def _guide_lines(canvas: PlayCanvas, guide: frozenset[int]) -> tuple[NoteLine, ...]:
    """The notes of the scale that are drawn: those whose diamonds would touch are left out."""
    box, radius = canvas.scale.box, _radius(canvas)
    drawn: list[NoteLine] = []
    last: float | None = None
    for line in sorted((line for line in canvas.field.notes if line.number in guide), key=lambda one: one.number):
        x = canvas.scale.x_of(line.distance)
        inside = box.left + radius <= x <= box.right - radius
        if inside and (last is None or abs(x - last) >= 2.0 * radius + 2.0):
            drawn.append(line)
            last = x
    return tuple(drawn)


def _guide(canvas: PlayCanvas, notes: Sequence[NoteLine]) -> None:
    """Each of `_guide_lines`: a stronger line below a diamond."""
    box, radius = canvas.scale.box, _radius(canvas)
    for line in notes:
        x = canvas.scale.x_of(line.distance)
        if weight_of(line.number) != "octave":
            canvas.line((x, box.top), (x, box.bottom - 1), palette.LINE, canvas.px(1.5, 1))
        canvas.diamond((x, box.top + 2.0 * radius), radius, palette.YELLOW)


def _drone(canvas: PlayCanvas, note: NoteLine | None, taken: Box) -> Box | None:
    """The drone's note: a dotted line with rings, named below the scale where its name has room beside `taken`."""
    box = canvas.scale.box
    if note is None or not box.left <= canvas.scale.x_of(note.distance) < box.right:
        return None
    x, radius, thick = canvas.scale.x_of(note.distance), max(4.0, 6.0 * canvas.layout.scale), canvas.px(3, 2)
    canvas.dashed((x, box.top), (x, box.bottom - 1), palette.PURPLE, thick, thick)
    for y in (box.top + 4.5 * radius, box.bottom - 2.0 * radius):
        canvas.disc((x, y), radius, palette.PANEL)
        canvas.ring((x, y), radius, palette.PURPLE, canvas.px(2, 2))
    text = f"drone {shown_name(note.name)}"
    room = _name_room(canvas, text, x, bold=True)
    if not _free(canvas, room, (taken,)):
        return None
    canvas.text(text, room, canvas.small, palette.PURPLE, "centre", bold=True)
    return room


def _body(canvas: PlayCanvas) -> None:
    """The player's trunk and head, as far as they are within the stage."""
    with canvas.clipped(canvas.scale.box):
        for part in body_outlines(canvas.field.sight):
            canvas.shape(canvas.scale.pixels(part), palette.SLEEVE, palette.EDGE)


def _player_mark(canvas: PlayCanvas) -> Box:
    """Where the player stands, below the centimetre scale: an arrow at its far end if beyond it. Returns its room."""
    scale, sight = canvas.scale, canvas.field.sight
    stand = sight.scene.player.stand_distance
    text = f"your body: {100.0 * stand:.0f} cm"
    along = sight.seen(np.array([stand, 0.0, 0.0]))[0]
    if sight.scene.from_above or along >= scale.start + scale.width:
        text = f"{text} ▶" if scale.mirrored else f"◀ {text}"
        along = scale.start + scale.width
    room = _name_room(canvas, text, scale.rod_x + scale.away * along * scale.pixels_per_metre)
    canvas.text(text, room, canvas.small, palette.QUIET_TEXT)
    return room
