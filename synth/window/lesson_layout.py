"""Where everything stands in a lesson's window: rectangles and text sizes from the window's size."""

from __future__ import annotations

from dataclasses import dataclass, fields

from synth.window.box import Box
from synth.window.layout import SMALLEST, checked_text_scale, drawing_scale, too_small


@dataclass(frozen=True, slots=True)
class LessonLayout:
    """Boxes of the window's parts, which never overlap, and text sizes in pixels.

    The pointer plays on the pad; its marks stand below it, the number of its place above.
    """

    size: tuple[int, int]
    scale: float
    title: Box
    flags: Box
    script: Box
    oscillogram: Box
    spectrum: Box
    choices: Box
    reading: Box
    pad: Box
    marks: Box
    footer: Box
    text_small: int
    text_normal: int
    text_large: int

    @property
    def page(self) -> Box:
        """Where the caution is shown instead of everything between title and footer."""
        top = self.script.top
        return Box(self.title.left, top, self.footer.width, self.footer.top - top)

    def parts(self) -> dict[str, Box]:
        """Every box by its name."""
        names = [field.name for field in fields(self)]
        return {name: value for name in names if isinstance(value := getattr(self, name), Box)}

    def choice_boxes(self, count: int) -> tuple[Box, ...]:
        """A button for each of `count` sounds, side by side."""
        return self.choices.columns((1.0,) * count, self.text_small)


def lay_out_lesson(size: tuple[int, int], text_scale: float = 1.0) -> LessonLayout:
    """The layout of a window of `size` pixels (at least `SMALLEST`; ValueError below) at a text size of 0.8 to 1.6."""
    if too_small(size):
        raise ValueError(f"size must be at least {SMALLEST[0]} x {SMALLEST[1]} pixels; got {size[0]} x {size[1]}")
    width, height = size
    scale = drawing_scale(size)

    def px(length: float) -> int:
        return round(length * scale)

    checked = checked_text_scale(text_scale)
    small, normal = round(max(11.0, 13.0 * scale) * checked), round(max(12.0, 16.0 * scale) * checked)
    large = round(max(17.0, 23.0 * scale) * min(checked, 1.3))
    margin, gap = px(24), px(16)
    inner = width - 2 * margin
    header = Box(margin, px(14), inner, max(px(36), round(1.4 * normal)))
    title, flags = header.columns((0.7, 0.3), gap)
    foot = max(px(26), round(1.5 * small))
    footer = Box(margin, height - px(10) - foot, inner, foot)
    body_top, body_bottom = header.bottom + px(10), footer.top - px(10)
    upper = Box(margin, body_top, inner, round(0.47 * (body_bottom - body_top)))
    script, plots = upper.columns((0.40, 0.60), gap)
    oscillogram, spectrum = plots.rows((0.42, 0.58), px(10))
    choices = Box(margin, upper.bottom + px(12), inner, max(px(34), round(1.6 * normal)))
    reading = Box(margin, choices.bottom + px(6), inner, max(px(30), round(1.3 * large)))
    marks_height = max(px(26), round(1.5 * small))
    pad_top = reading.bottom + px(4)
    pad = Box(margin, pad_top, inner, body_bottom - marks_height - pad_top)
    return LessonLayout(
        size=size,
        scale=scale,
        title=title,
        flags=flags,
        script=script,
        oscillogram=oscillogram,
        spectrum=spectrum,
        choices=choices,
        reading=reading,
        pad=pad,
        marks=Box(margin, pad.bottom, inner, marks_height),
        footer=footer,
        text_small=small,
        text_normal=normal,
        text_large=large,
    )
