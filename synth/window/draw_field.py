"""What of the stage stands still: the pitch field to scale, zero beat, guides, both scales, rod and player."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from synth.window import palette
from synth.window.box import Box
from synth.window.draw_guides import draw_drone, draw_guide, guide_lines
from synth.window.draw_plan import draw_antenna, draw_axis, draw_body, draw_player_mark
from synth.window.draw_volume import draw_volume_scale
from synth.window.layout import Layout
from synth.window.note_labels import Line, chosen_labels, drawn_lines, weight_of
from synth.window.painter import Painter
from synth.window.scale import StageScale


@dataclass(frozen=True, slots=True)
class FieldPicture:
    """The part of the pitch field that is drawn, and where the player stands. Distances in m.

    `cabinet`: sizes across and towards the player of the cabinet under the antenna, m, or None.
    """

    notes: Sequence[Line]
    zero_beat: float | None
    locked_span: tuple[float, float] | None
    antenna_diameter: float
    stand_distance: float = 0.75
    cabinet: tuple[float, float] | None = None


def draw_field(
    painter: Painter,
    layout: Layout,
    scale: StageScale,
    field: FieldPicture,
    guide: frozenset[int] = frozenset(),
    drone: int | None = None,
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
