"""The inner boxes of the readouts below the stage."""

from __future__ import annotations

import functools

from synth.window.box import Box
from synth.window.layout import Layout

READOUTS = ("tuner", "trace", "spectrum", "chain", "level")


@functools.lru_cache(maxsize=2)
def panel_rooms(layout: Layout) -> dict[str, Box]:
    """The room of each readout that is shown, and under "NAME caption" the line above it."""
    across, down = round(13 * layout.scale), round(9 * layout.scale)
    caption = round(1.6 * layout.text_small)
    rooms: dict[str, Box] = {}
    for name in READOUTS:
        panel = layout.parts().get(name)
        if panel is None:
            continue
        inner = panel.shrunk(across if name != "level" else across // 2, down)
        rooms[f"{name} caption"] = Box(inner.left, inner.top, inner.width, caption)
        rooms[name] = Box(inner.left, inner.top + caption, inner.width, inner.height - caption)
    return rooms


def tuner_bar(room: Box, layout: Layout) -> Box:
    """The tuner's bar at the foot of its panel."""
    height = round(13 * layout.scale)
    return Box(room.left, room.bottom - height - round(1.5 * layout.text_small), room.width, height)


def tuner_texts(room: Box, layout: Layout) -> tuple[Box, Box, Box, Box]:
    """Rooms of the note, the beat, the cents and the reference above the tuner's bar."""
    upper = Box(room.left, room.top, room.width, tuner_bar(room, layout).top - room.top - round(7 * layout.scale))
    wide = min(round(2.35 * layout.text_note), upper.width // 2)
    note = Box(upper.left, upper.top, wide, upper.height)
    words = Box(note.right, upper.top, upper.right - note.right, upper.height)
    return (note, *words.rows((1.2, 1.0, 1.0), 0))  # type: ignore[return-value]


def level_bar(room: Box, layout: Layout) -> Box:
    """The level meter's bar, above its number."""
    foot = round(1.6 * layout.text_small)
    width = max(8, round(13 * layout.scale))
    return Box(room.right - width, room.top + foot // 3, width, room.height - foot - foot // 2)


def spectrum_axes(room: Box, layout: Layout) -> Box:
    """The spectrum's curve, right of its levels and above its frequencies."""
    left, below = round(2.7 * layout.text_small), round(1.5 * layout.text_small)
    return Box(room.left + left, room.top + 2, room.width - left - 2, room.height - below - 2)
