"""What of the stage stands still: the pitch field to scale, the marked scale and drone, zero beat, rod and player."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from synth.window import palette
from synth.window.box import Box
from synth.window.draw_volume import draw_volume_scale
from synth.window.figure_outline import body_outline
from synth.window.layout import Layout
from synth.window.note_lines import Line, chosen_labels, drawn_lines, weight_of
from synth.window.painter import Painter
from synth.window.scale import PLAIN, StageScale, VolumeAxis


@dataclass(frozen=True, slots=True)
class FieldPicture:
    """The part of the pitch field that is drawn, under its title, and where the player stands. Distances in m.

    `ends`: the nearest and farthest distance that are computed. `cabinet`: sizes across and towards the player of the
    cabinet under the antenna, or None. `volume`: what the stage's height stands for.
    """

    notes: Sequence[Line]
    zero_beat: float | None
    locked_span: tuple[float, float] | None
    antenna_diameter: float
    ends: tuple[float, float]
    stand_distance: float = 0.75
    cabinet: tuple[float, float] | None = None
    volume: VolumeAxis = PLAIN
    title: str = ""


def draw_field(
    painter: Painter, layout: Layout, scale: StageScale, field: FieldPicture, guide: frozenset[int], drone: int | None
) -> None:
    """Draw the still part of the stage. `guide`: note numbers of the chosen scale; `drone`: its note number."""
    painter.fill(layout.stage, palette.PANEL)
    _octave_tints(painter, scale, field.notes)
    _beyond_curve(painter, scale)
    draw_volume_scale(painter, layout, scale)
    player = draw_player_mark(painter, layout, scale, field.stand_distance, field.antenna_diameter)
    draw_body(painter, scale, field.stand_distance, field.antenna_diameter)
    draw_axis(painter, layout, scale)
    lines = drawn_lines(field.notes, scale.x_of, max(5.0, 6.0 * layout.scale))
    _note_lines(painter, layout, scale, lines, guide)
    guided = guide_lines(layout, scale, [line for line in field.notes if line.number in guide])
    draw_guide(painter, layout, scale, guided)
    droning = next((line for line in field.notes if line.number == drone), None)
    named = draw_drone(painter, layout, scale, droning, (player,))
    _locked(painter, layout, scale, field.locked_span, (player,) if named is None else (player, named))
    zero = _zero_beat(painter, layout, scale, field.zero_beat)
    seen = [line for line in field.notes if line in lines or line in guided]
    _note_names(painter, layout, scale, seen, () if zero is None else ((zero.left, zero.right),))
    _distance_scale(painter, layout, scale)
    draw_antenna(painter, layout, scale, field.antenna_diameter)


def _clipped(scale: StageScale, near: float, far: float) -> Box | None:
    """The part of the stage between two distances."""
    ends = sorted((round(scale.x_of(far)), round(scale.x_of(near))))
    left, right = max(scale.box.left, ends[0]), min(scale.box.right, ends[1])
    return Box(left, scale.box.top, right - left, scale.box.height) if right > left else None


def _octave_tints(painter: Painter, scale: StageScale, notes: Sequence[Line]) -> None:
    """Every second octave from C to C a little lighter."""
    octaves = {line.number // 12: line.distance for line in notes if line.number % 12 == 0}
    ends = {line.number // 12 for line in notes}
    for octave in sorted(ends):
        if octave % 2:
            continue
        far = octaves.get(octave, scale.width if octave == min(ends) else None)
        near = octaves.get(octave + 1, min(line.distance for line in notes))
        band = _clipped(scale, near, far) if far is not None else None
        if band is not None:
            painter.fill(band, palette.OCTAVE)


def _hatched(painter: Painter, box: Box, step: int) -> None:
    """Slanting lines inside a box."""
    for start in range(box.left - box.height, box.right, step):
        left, right = max(box.left, start), min(box.right, start + box.height)
        if right > left:
            painter.line((left, box.top + left - start), (right, box.top + right - start), palette.EDGE)


def _beyond_curve(painter: Painter, scale: StageScale) -> None:
    """The strip at the antenna where the field is not computed: the hand counts as at its edge."""
    strip = _clipped(scale, 0.0, scale.nearest)
    if strip is not None:
        painter.fill(strip, palette.GROUND)
        x = strip.right - 1 if scale.mirrored else strip.left
        painter.line((x, strip.top), (x, strip.bottom - 1), palette.EDGE)


def _locked(
    painter: Painter, layout: Layout, scale: StageScale, span: tuple[float, float] | None, taken: Sequence[Box]
) -> None:
    """Where the oscillators lock and nothing sounds: hatched, named where the name has room beside `taken`."""
    band = _clipped(scale, *span) if span is not None else None
    if band is None:
        return
    _hatched(painter, band, max(6, round(9 * layout.scale)))
    text, size, below = "locked: no sound", layout.text_small, layout.distance_scale
    width, height = painter.width_of(text, size) + 2, round(1.4 * size)
    left = min(max(band.center[0] - width // 2, scale.box.left), scale.box.right - width)
    room = Box(left, below.bottom - height, width, height)
    if not any(room.shrunk(-size, 0).overlaps(other) for other in taken):
        painter.text(text, room, size, palette.QUIET_TEXT, "centre")


def _note_lines(
    painter: Painter, layout: Layout, scale: StageScale, lines: Sequence[Line], guide: frozenset[int]
) -> None:
    """Cs as full bright lines, naturals as full thin ones, accidentals as short marks at both edges.

    Where a scale is marked, the naturals that are not in it are short marks too.
    """
    box = scale.box
    short = round(0.05 * box.height)
    for line in lines:
        x, weight = scale.x_of(line.distance), weight_of(line.number)
        if not box.left <= x < box.right:
            continue
        if weight == "octave":
            painter.line((x, box.top), (x, box.bottom - 1), palette.STRONG_LINE, max(2, round(2 * layout.scale)))
        elif weight == "natural" and (not guide or line.number in guide):
            painter.line((x, box.top), (x, box.bottom - 1), palette.LINE)
        else:
            painter.line((x, box.top), (x, box.top + short), palette.LINE)
            painter.line((x, box.bottom - short), (x, box.bottom - 1), palette.LINE)


def _note_names(
    painter: Painter,
    layout: Layout,
    scale: StageScale,
    notes: Sequence[Line],
    reserved: tuple[tuple[float, float], ...],
) -> None:
    """As many names as fit above the stage; `notes` are those with a line."""
    band = layout.note_band
    size = layout.text_small
    labels = chosen_labels(
        notes,
        scale.x_of,
        lambda name: painter.width_of(shown_name(name), size, bold=name.startswith("C") and "#" not in name) + 2,
        band.left,
        band.right,
        gap=0.5 * size,
        reserved=reserved,
    )
    for label in labels:
        strong = label.weight == "octave"
        name = shown_name(label.text)
        width = painter.width_of(name, size, strong) + 2
        room = Box(round(label.x) - width // 2, band.top, width, band.height - round(9 * layout.scale))
        painter.text(name, room, size, palette.TEXT if strong else palette.QUIET_TEXT, "centre", strong)


def shown_name(name: str) -> str:
    """A note name with the proper sharp and flat signs."""
    return name.replace("#", "♯")


def _zero_beat(painter: Painter, layout: Layout, scale: StageScale, distance: float | None) -> Box | None:
    """A dashed line with its name above the stage; returns the name's room."""
    if distance is None or not scale.box.left <= scale.x_of(distance) <= scale.box.right:
        return None
    x, size, band = scale.x_of(distance), layout.text_small, layout.note_band
    thick, dash = max(2, round(2 * layout.scale)), max(4, round(6 * layout.scale))
    painter.dashed((x, scale.box.top), (x, scale.box.bottom - 1), palette.ORANGE, dash, thick)
    text = f"zero beat {100 * distance:.1f} cm"
    width = painter.width_of(text, size) + size
    left = min(max(round(x) - width // 2, band.left), band.right - width)
    room = Box(left, band.top, width, band.height - round(9 * layout.scale))
    painter.text(text, room, size, palette.ORANGE, "centre")
    return room


def _distance_scale(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """Centimetres from the antenna's surface."""
    box, size, stage = layout.distance_scale, layout.text_small, layout.stage
    painter.line((stage.left, box.top), (stage.right - 1, box.top), palette.EDGE)
    lengths = {0: round(12 * layout.scale), 5: round(9 * layout.scale)}
    unit = 0.01 * scale.pixels_per_metre
    step = next((step for step in (5, 10, 20) if step * unit >= 2.6 * size), 50)
    for centimetre in range(int(100 * scale.width + 1e-6) + 1):
        x = round(scale.x_of(0.01 * centimetre))
        length = lengths.get(centimetre % 10, round(5 * layout.scale))
        if unit >= 4.0 or centimetre % 5 == 0:
            painter.line((x, box.top), (x, box.top + length), palette.EDGE)
        if centimetre % step == 0:
            text = f"{centimetre} cm" if centimetre == 0 else f"{centimetre}"
            width = painter.width_of(text, size) + 2
            room = Box(x - width // 2, box.top + lengths[0], width, round(1.4 * size))
            painter.text(text, room, size, palette.QUIET_TEXT, "centre")


def _radius(layout: Layout) -> float:
    """Half the height of a diamond, pixels."""
    return max(3.0, 4.5 * layout.scale)


def guide_lines(layout: Layout, scale: StageScale, notes: Sequence[Line]) -> tuple[Line, ...]:
    """The notes of the scale that are drawn: those whose diamonds would touch are left out."""
    box, radius = scale.box, _radius(layout)
    drawn: list[Line] = []
    last: float | None = None
    for line in sorted(notes, key=lambda one: one.number):
        x = scale.x_of(line.distance)
        inside = box.left + radius <= x <= box.right - radius
        if inside and (last is None or abs(x - last) >= 2.0 * radius + 2.0):
            drawn.append(line)
            last = x
    return tuple(drawn)


def draw_guide(painter: Painter, layout: Layout, scale: StageScale, notes: Sequence[Line]) -> None:
    """Each of `guide_lines`: a stronger line below a diamond."""
    box, radius = scale.box, _radius(layout)
    for line in notes:
        x = scale.x_of(line.distance)
        if weight_of(line.number) != "octave":
            painter.line((x, box.top), (x, box.bottom - 1), palette.LINE, max(1, round(1.5 * layout.scale)))
        painter.diamond((x, box.top + 2.0 * radius), radius, palette.YELLOW)


def draw_drone(
    painter: Painter, layout: Layout, scale: StageScale, note: Line | None, taken: Sequence[Box]
) -> Box | None:
    """The drone's note: a dotted line with rings, named below the scale where its name has room beside `taken`."""
    box = scale.box
    if note is None or not box.left <= scale.x_of(note.distance) < box.right:
        return None
    x, radius = scale.x_of(note.distance), max(4.0, 6.0 * layout.scale)
    thick = max(2, round(3 * layout.scale))
    painter.dashed((x, box.top), (x, box.bottom - 1), palette.PURPLE, thick, thick)
    for y in (box.top + 4.5 * radius, box.bottom - 2.0 * radius):
        painter.disc((x, y), radius, palette.PANEL)
        painter.ring((x, y), radius, palette.PURPLE, max(2, round(2 * layout.scale)))
    size, below = layout.text_small, layout.distance_scale
    text, row = f"drone {note.name.replace('#', '♯')}", round(1.4 * layout.text_small)
    width = painter.width_of(text, size, bold=True) + 2
    left = min(max(round(x) - width // 2, box.left), box.right - width)
    room = Box(left, below.bottom - row, width, row)
    if any(room.shrunk(-size, 0).overlaps(other) for other in taken):
        return None
    painter.text(text, room, size, palette.PURPLE, "centre", bold=True)
    return room


def draw_axis(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """The line along which the hand moves, through the middle of the rod: dots and dashes, as in a drawing."""
    y, dash = round(scale.axis_y), max(3, round(5 * layout.scale))
    start, end = (scale.box.left, y), (scale.box.right - 1, y)
    painter.dashed(start, end, palette.EDGE, dash)


def draw_body(painter: Painter, scale: StageScale, stand_distance: float, diameter: float) -> None:
    """The player's trunk, as far as it is within the stage."""
    points = [scale.plan(*point) for point in body_outline(stand_distance, diameter)]
    box = scale.box
    if any(box.left <= x < box.right and box.top <= y < box.bottom for x, y in points):
        with painter.clipped(box):
            painter.shape(points, palette.SLEEVE, palette.EDGE)


def draw_player_mark(
    painter: Painter, layout: Layout, scale: StageScale, stand_distance: float, diameter: float
) -> Box:
    """Where the player stands, below the centimetre scale: an arrow at its far end if beyond it. Returns its room."""
    below, size = layout.distance_scale, layout.text_small
    row = round(1.4 * size)
    text = f"your body: {100.0 * stand_distance:.0f} cm"
    distance = stand_distance - 0.5 * diameter
    inside = distance < scale.width
    text = text if inside else (f"{text} ▶" if layout.mirrored else f"◀ {text}")
    width = painter.width_of(text, size) + 2
    far = scale.box.right if layout.mirrored else scale.box.left
    left = round(scale.x_of(distance)) - width // 2 if inside else (far - width if layout.mirrored else far)
    left = min(max(left, scale.box.left), scale.box.right - width)
    room = Box(left, below.bottom - row, width, row)
    painter.text(text, room, size, palette.QUIET_TEXT)
    return room


def draw_antenna(painter: Painter, layout: Layout, scale: StageScale, diameter: float) -> None:
    """The rod to scale, cut across at the height of the hand, its near surface on the stage's edge."""
    size, room = layout.text_small, layout.antenna
    radius = min(0.5 * diameter * scale.pixels_per_metre, 0.5 * room.width)
    center = scale.rod_x - scale.away * radius, scale.axis_y
    painter.disc(center, max(2.0, radius), palette.STRONG_LINE)
    if radius >= 4.0:
        _section(painter, center, radius)
    row = round(1.4 * size)
    place = Box(room.left, round(center[1] + max(2.0, radius)) + round(0.4 * size), room.width, row)
    painter.text("antenna", place, size, palette.TEXT, "centre")


def _section(painter: Painter, center: tuple[float, float], radius: float) -> None:
    """Hatching of cut metal."""
    steps = max(3, round(radius / 3.0))
    for number in range(1, steps):
        offset = radius * (2.0 * number / steps - 1.0)
        half = (radius**2 - offset**2) ** 0.5 * 0.98
        slope = 0.5**0.5
        x, y = center[0] + slope * offset, center[1] - slope * offset
        start, end = (x - slope * half, y - slope * half), (x + slope * half, y + slope * half)
        painter.line(start, end, palette.GROUND)
