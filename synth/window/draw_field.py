"""What of the stage stands still: the pitch field to scale, zero beat, both scales and the antenna."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from synth.window import palette
from synth.window.draw_volume import draw_volume_scale
from synth.window.layout import Box, Layout
from synth.window.note_labels import Line, chosen_labels, drawn_lines, weight_of
from synth.window.painter import Painter
from synth.window.scale import StageScale


@dataclass(frozen=True, slots=True)
class FieldPicture:
    """The part of the pitch field that is drawn. Distances in m."""

    notes: Sequence[Line]
    zero_beat: float | None
    locked_span: tuple[float, float] | None
    antenna_diameter: float


def draw_field(painter: Painter, layout: Layout, scale: StageScale, field: FieldPicture) -> None:
    """Draw the still part of the stage."""
    painter.fill(layout.stage, palette.PANEL)
    _octave_tints(painter, scale, field.notes)
    _beyond_curve(painter, layout, scale)
    _locked(painter, layout, scale, field.locked_span)
    draw_volume_scale(painter, layout, scale)
    _note_lines(painter, layout, scale, field.notes)
    named = _zero_beat(painter, layout, scale, field.zero_beat)
    _note_names(painter, layout, scale, field.notes, () if named is None else ((named.left, named.right),))
    _distance_scale(painter, layout, scale)
    _antenna(painter, layout, scale, field.antenna_diameter)


def _clipped(scale: StageScale, near: float, far: float) -> Box | None:
    """The part of the stage between two distances."""
    left = max(scale.box.left, round(scale.x_of(far)))
    right = min(scale.box.right, round(scale.x_of(near)))
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


def _beyond_curve(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """The strip at the antenna where the field is not computed: the hand counts as at its edge."""
    strip = _clipped(scale, 0.0, scale.nearest)
    if strip is not None:
        painter.fill(strip, palette.GROUND)
        painter.line((strip.left, strip.top), (strip.left, strip.bottom - 1), palette.EDGE)


def _locked(painter: Painter, layout: Layout, scale: StageScale, span: tuple[float, float] | None) -> None:
    """Where the oscillators lock and nothing sounds: hatched."""
    band = _clipped(scale, *span) if span is not None else None
    if band is None:
        return
    _hatched(painter, band, max(6, round(9 * layout.scale)))
    text, size, below = "locked: no sound", layout.text_small, layout.distance_scale
    width, height = painter.width_of(text, size) + 2, round(1.5 * size)
    if width <= band.width:
        room = Box(band.center[0] - width // 2, below.bottom - height, width, height)
        painter.text(text, room, size, palette.QUIET_TEXT, "centre")


def _note_lines(painter: Painter, layout: Layout, scale: StageScale, notes: Sequence[Line]) -> None:
    """Cs as full bright lines, naturals as full thin ones, accidentals as short marks at both edges."""
    box = scale.box
    short = round(0.05 * box.height)
    for line in drawn_lines(notes, scale.x_of, max(3.0, 4.0 * layout.scale)):
        x, weight = scale.x_of(line.distance), weight_of(line.number)
        if not box.left <= x < box.right:
            continue
        if weight == "octave":
            painter.line((x, box.top), (x, box.bottom - 1), palette.STRONG_LINE, max(2, round(2 * layout.scale)))
        elif weight == "natural":
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
    """As many names as fit above the stage."""
    band = layout.note_band
    size = layout.text_small
    labels = chosen_labels(
        notes,
        scale.x_of,
        lambda name: painter.width_of(shown_name(name), size, bold=name.startswith("C") and "#" not in name),
        band.left,
        band.right,
        gap=0.5 * size,
        reserved=reserved,
    )
    for label in labels:
        strong = label.weight == "octave"
        name = shown_name(label.text)
        width = painter.width_of(name, size, strong) + 2
        room = Box(round(label.x) - width // 2, band.top, width, band.height - round(8 * layout.scale))
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
    room = Box(left, band.top, width, band.height - round(8 * layout.scale))
    painter.text(text, room, size, palette.ORANGE, "centre")
    return room


def _distance_scale(painter: Painter, layout: Layout, scale: StageScale) -> None:
    """Centimetres from the antenna's surface."""
    box, size = layout.distance_scale, layout.text_small
    stage = layout.stage
    painter.line((stage.left, box.top), (stage.right - 1, box.top), palette.EDGE)
    lengths = {0: round(12 * layout.scale), 5: round(9 * layout.scale)}
    for centimetre in range(int(100 * scale.width + 1e-6) + 1):
        x = round(scale.x_of(0.01 * centimetre))
        length = lengths.get(centimetre % 10, round(5 * layout.scale))
        painter.line((x, box.top), (x, box.top + length), palette.EDGE)
        if centimetre % 5 == 0:
            text = f"{centimetre} cm" if centimetre == 0 else f"{centimetre}"
            width = painter.width_of(text, size) + 2
            room = Box(x - width // 2, box.top + lengths[0], width, round(1.4 * size))
            painter.text(text, room, size, palette.QUIET_TEXT, "centre")


def _antenna(painter: Painter, layout: Layout, scale: StageScale, diameter: float) -> None:
    """The rod to scale, its near surface on the stage's right edge; it goes on above and below."""
    size = layout.text_small
    width = min(max(3, round(diameter * scale.pixels_per_metre)), layout.antenna.width)
    rod = Box(scale.box.right, layout.note_band.top, width, layout.stage.bottom - layout.note_band.top)
    painter.fill(rod, palette.STRONG_LINE, width // 2)
    shine = max(1, width // 4)
    painter.fill(Box(rod.left + shine, rod.top + shine, shine, rod.height - 2 * shine), palette.TEXT, shine // 2)
    below, height = layout.distance_scale, round(1.5 * size)
    room = Box(rod.left, below.bottom - height, below.right - rod.left, height)
    painter.text("antenna", room, size, palette.QUIET_TEXT)
