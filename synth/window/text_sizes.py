"""The window's text sizes, and the smallest window that holds them."""

from __future__ import annotations

from dataclasses import dataclass

from models.checks import positive

SMALLEST = (900, 560)  # pixels, at text sizes up to 100 %; below it the window only asks to be enlarged
SMALLEST_FOR_LARGEST = (1024, 640)  # at the largest text size
TEXT_SCALES = (0.8, 1.6)
_DESIGN_SIZE = (1280.0, 720.0)


@dataclass(frozen=True, slots=True)
class TextSizes:
    """Heights in pixels: captions and numbers, readouts, headings, the tuner's note."""

    small: int
    normal: int
    large: int
    note: int


def drawing_scale(size: tuple[int, int]) -> float:
    """Size of the drawing against the one it was designed at, 1280 x 720 pixels."""
    return min(size[0] / _DESIGN_SIZE[0], size[1] / _DESIGN_SIZE[1])


def checked_text_scale(text_scale: float) -> float:
    """`text_scale` if it is from 0.8 to 1.6; else ValueError."""
    value = positive("text_scale", text_scale)
    if not TEXT_SCALES[0] - 1e-9 <= value <= TEXT_SCALES[1] + 1e-9:
        raise ValueError(f"text_scale must be from {TEXT_SCALES[0]} to {TEXT_SCALES[1]}; got {value:g}")
    return value


def text_sizes(size: tuple[int, int], text_scale: float) -> TextSizes:
    """Sizes for a window of `size` pixels: at 100 % no text is below 11 pixels; the note grows less than the rest."""
    scale = drawing_scale(size)
    return TextSizes(
        small=round(max(11.0, 13.0 * scale) * text_scale),
        normal=round(max(12.0, 15.0 * scale) * text_scale),
        large=round(max(17.0, 23.0 * scale) * min(text_scale, 1.3)),
        note=round(64.0 * scale * min(text_scale, 1.25)),
    )


def too_small(size: tuple[int, int], text_scale: float = 1.0) -> bool:
    """True where the window cannot hold its parts legibly: below 900 x 560 pixels, at 160 % below 1024 x 640."""
    share = max(0.0, (checked_text_scale(text_scale) - 1.0) / (TEXT_SCALES[1] - 1.0))
    return any(
        have < round(least + share * (most - least))
        for have, least, most in zip(size, SMALLEST, SMALLEST_FOR_LARGEST, strict=True)
    )
