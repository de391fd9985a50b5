"""The drawer of live controls: what its rows say, how they are drawn, and which of them the pointer is on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.controls import CONTROLS, Control, Settings, Value
from synth.window.layout import Layout


@dataclass(frozen=True, slots=True)
class ControlRow:
    """One row. `value` is formatted with its unit; `share` is 0..1 along the range, None for a choice; a row that is
    not `enabled` has the reason in its `hint`. `effect`: what the hand plays where it is; `changed`: the control is not
    as the design has it, and the effect says what it would be so.
    """

    name: str
    label: str
    value: str
    share: float | None
    selected: bool
    enabled: bool
    hint: str
    effect: str = ""
    changed: bool = False


def control_rows(settings: Settings, selected: str, disabled: Mapping[str, str]) -> tuple[ControlRow, ...]:
    """The rows of `settings` in the table's order; `disabled`: name of a control to the reason why it is not there."""
    return tuple(
        ControlRow(
            name=control.name,
            label=control.label,
            value=value_text(control, settings[control.name]),
            share=None if control.choices else control.share_of(settings[control.name]),
            selected=control.name == selected,
            enabled=control.name not in disabled,
            hint=disabled.get(control.name, control.hint),
        )
        for control in settings.controls
    )


def value_text(control: Control, value: Value) -> str:
    """A value in words: "45.0 cm", "\N{MULTIPLICATION SIGN} 1.26", "A4", "+5.0 degC"."""
    if control.choices:
        return str(value).replace("#", "♯")
    number = float(value)
    if control.unit == "Hz":
        return f"{number / 1000.0:.2f} kHz" if number >= 1000.0 else f"{number:.1f} Hz"
    scale, form = _SHOWN[control.unit]
    return form.format(scale * number).replace("-", "\N{MINUS SIGN}")


_SHOWN = {  # by unit: times what, and how
    "x": (1.0, "\N{MULTIPLICATION SIGN} {:.2f}"),
    "m": (100.0, "{:.1f} cm"),
    "degC": (1.0, "{:+.1f} degC"),
    "%": (100.0, "{:+.3f} %"),
    "mm": (1.0, "{:.2f} mm"),
    "pF": (1e12, "{:.0f} pF"),
    "": (100.0, "{:.1f} %"),
    "share": (100.0, "{:.0f} %"),
    "cents/cm": (1.0, "{:.0f} ct/cm"),
}


def draw_drawer(canvas: PlayCanvas, rows: Sequence[ControlRow]) -> None:
    """All of the drawer but its hint, on an empty ground."""
    if not rows or not canvas.layout.drawer.height:
        return
    layout, boxes = canvas.layout, canvas.layout.control_boxes(len(rows))
    if layout.drawer_is_strip:
        size = _name_size(canvas, rows)
        for row, box in zip(rows, boxes, strict=True):
            _cell(canvas, row, box, size)
        return
    canvas.fill(layout.drawer, palette.PANEL, canvas.px(8))
    for row, box in zip(rows, boxes, strict=True):
        _row(canvas, row, box)


def strip_words(rows: Sequence[ControlRow]) -> tuple[str, ...]:
    """Name and value of the selected control in pieces, for the footer below a strip."""
    row = next((row for row in rows if row.selected), None)
    if row is None:
        return ()
    return (f"▶ {row.label}: {row.value}",) if row.enabled else (f"▶ {row.label}: not here", row.hint)


def strip_effect(rows: Sequence[ControlRow]) -> str:
    """What the selected control changes at the hand, if it is not as designed; a strip has no room for it."""
    row = next((row for row in rows if row.selected and row.enabled and row.changed and row.effect), None)
    return "" if row is None else f"{row.label}: {row.effect[0].lower()}{row.effect[1:]}"


def _row(canvas: PlayCanvas, row: ControlRow, box: Box) -> None:
    """Name and value over the slider; the selected row in a frame behind a triangle, a disabled one with no knob."""
    size = canvas.small
    if row.selected:
        _frame(canvas, box)
    line = canvas.layout.row_line(box)
    if row.enabled and row.share is None:
        line = Box(line.left, box.top, line.width, box.height)
    label = f"▶ {row.label}" if row.selected else row.label
    colour = palette.TEXT if row.enabled else palette.QUIET_TEXT
    place = canvas.text(label, line, size, colour, bold=row.selected)
    room = Box(place.right + size, line.top, line.right - place.right - size, line.height)
    if row.enabled and row.share is None:
        _choice(canvas, row, room)
        return
    canvas.fitted(row.value if row.enabled else "not here", room, (size, 8), colour, "right")
    _slider(canvas, row, canvas.layout.slider_box(box))


def _choice(canvas: PlayCanvas, row: ControlRow, room: Box) -> None:
    """One of several: its name between two arrows."""
    reach, middle = max(3.0, 0.32 * canvas.small), room.center[1]
    gap = round(2.0 * reach)
    inner = Box(room.left + gap, room.top, room.width - 2 * gap, room.height)
    place = canvas.fitted(row.value, inner, (canvas.small, 8), palette.TEXT, "right")
    colour = palette.SKY if row.selected else palette.LINE
    canvas.arrow((room.right - 1, middle), -reach, reach, colour)
    canvas.arrow((place.left - gap, middle), reach, reach, colour)


def _name_size(canvas: PlayCanvas, rows: Sequence[ControlRow]) -> int:
    """The largest text size at which every name fits its cell of the strip."""
    room = canvas.layout.strip_name(canvas.layout.control_boxes(len(rows))[0])
    longest = max((row.label for row in rows), key=lambda label: canvas.width_of(label, canvas.small))
    size = canvas.largest_size(longest, room.width - 2, canvas.small, 8)
    while size > 8 and canvas.font(size).get_height() > room.height:
        size -= 1
    return size


def _cell(canvas: PlayCanvas, row: ControlRow, box: Box, size: int) -> None:
    canvas.fill(box, palette.PANEL, canvas.px(3))
    if row.selected:
        _frame(canvas, box)
    colour = palette.TEXT if row.selected else palette.QUIET_TEXT
    canvas.text(row.label, canvas.layout.strip_name(box), size, colour, "centre")
    _slider(canvas, row, canvas.layout.slider_box(box))


def _frame(canvas: PlayCanvas, box: Box) -> None:
    radius = canvas.px(5)
    canvas.fill(box, palette.OCTAVE, radius)
    canvas.frame(box, palette.STRONG_LINE, canvas.px(1.5, 1), radius)


def _slider(canvas: PlayCanvas, row: ControlRow, way: Box) -> None:
    """A track with a round knob; in a strip arrows for a choice; for what does not apply a dashed track."""
    middle, radius = way.center[1], min(max(3.0, 5.0 * canvas.layout.scale), 0.5 * way.height)
    ends = (way.left, middle), (way.right - 1, middle)
    if not row.enabled:
        canvas.dashed(*ends, palette.EDGE, canvas.px(3, 2))
        return
    if row.share is None:
        reach = 0.8 * radius
        colour = palette.SKY if row.selected else palette.LINE
        canvas.arrow(ends[0], reach, reach, colour)
        canvas.arrow(ends[1], -reach, reach, colour)
        return
    canvas.line(*ends, palette.EDGE, canvas.px(2, 1))
    x = way.left + min(max(row.share, 0.0), 1.0) * (way.width - 1)
    canvas.line(ends[0], (x, middle), palette.SKY, canvas.px(2, 1))
    canvas.disc((x, middle), radius, palette.SKY if row.selected else palette.STRONG_LINE)


def without_effects(rows: Sequence[ControlRow]) -> tuple[ControlRow, ...]:
    """The rows without what changes with the hand."""
    return tuple(replace(row, effect="") if row.effect else row for row in rows)


def draw_hint(canvas: PlayCanvas, rows: Sequence[ControlRow]) -> None:
    """What the selected control does, or why it cannot be used here; nothing below a strip."""
    row, whole = next((row for row in rows if row.selected), None), canvas.layout.drawer_hint
    if row is None or not whole.height:
        return
    canvas.fill(whole, palette.PANEL)
    room = whole.shrunk(round(0.6 * canvas.small), 0)
    gap = round(0.4 * canvas.small)
    canvas.line((room.left, room.top + gap // 2), (room.right - 1, room.top + gap // 2), palette.EDGE)
    room = Box(room.left, room.top + gap, room.width, room.height - gap)
    if not row.enabled:
        texts = [f"Not here: {row.hint}"]
    else:  # as much as has room; of a changed control its effect before its description
        texts = [f"{row.hint} {row.effect}".rstrip(), row.effect if row.changed and row.effect else row.hint]
    least = max(8, round(0.7 * canvas.small))
    sizes = [canvas.paragraph_size(text, room, canvas.small, least) for text in texts]
    size = max(sizes)
    text = texts[sizes.index(size)]
    canvas.paragraph(text, room, size, palette.TEXT if row.enabled else palette.YELLOW)


@dataclass(frozen=True, slots=True)
class Pointed:
    """`control`: the name of the row under the pointer, "" for none; `share`: where along its slider, kept within 0..1;
    `drawer`: whether the pointer is on the drawer at all.
    """

    control: str = ""
    share: float = 0.0
    drawer: bool = False


def pointed_at(layout: Layout, place: tuple[int, int]) -> Pointed:
    """What lies at a pixel."""
    if not layout.drawer.holds(place):
        return Pointed()
    for control, row in zip(CONTROLS, layout.control_boxes(len(CONTROLS)), strict=True):
        if row.holds(place):
            return Pointed(control.name, slider_share(layout, control.name, place), True)
    return Pointed(drawer=True)


def slider_share(layout: Layout, name: str, place: tuple[int, int]) -> float:
    """Where along the slider of a control a pixel's column lies, 0 to 1, from any place: for a drag.

    Where a resize took the sliders away during a drag, the width of the page stands for it.
    """
    number = next(number for number, control in enumerate(CONTROLS) if control.name == name)
    boxes = layout.control_boxes(len(CONTROLS))
    slider = layout.slider_box(boxes[number]) if boxes else layout.page
    return min(max((place[0] - slider.left) / max(1, slider.width - 1), 0.0), 1.0)
