"""The window's colours in three looks: warm dark, light, and of high contrast.

The marks are in hues of the colours of Okabe and Ito, Color Universal Design (2008), distinct under colour-vision
deficiency; values of the dark look from memory, darker ones on the light ground. Every use also differs by shape, place
or words. `use` changes the look of everything that is drawn afterwards.
"""

from __future__ import annotations

Colour = tuple[int, int, int]

GROUND: Colour = (24, 21, 20)
PANEL: Colour = (34, 30, 28)
GLOW: Colour = (58, 48, 35)  # the stage where the field is strongest
OCTAVE: Colour = (44, 38, 35)  # the chosen control, a tint only
HAND: Colour = (62, 49, 41)  # the hand's fill, under its outline
SLEEVE: Colour = (40, 37, 40)  # arm and body
EDGE: Colour = (134, 124, 114)
TEXT: Colour = (243, 236, 224)
QUIET_TEXT: Colour = (190, 180, 168)
LINE: Colour = (146, 136, 126)
STRONG_LINE: Colour = (212, 202, 188)

ORANGE: Colour = (230, 159, 0)
SKY: Colour = (86, 180, 233)
GREEN: Colour = (0, 168, 122)
YELLOW: Colour = (240, 228, 66)
VERMILLION: Colour = (224, 104, 20)
PURPLE: Colour = (212, 134, 176)

NAMES = tuple(name for name, value in list(globals().items()) if name.isupper() and isinstance(value, tuple))
DARK: dict[str, Colour] = {name: globals()[name] for name in NAMES}
LIGHT: dict[str, Colour] = {
    "GROUND": (247, 242, 234),
    "PANEL": (255, 252, 246),
    "GLOW": (253, 238, 206),
    "OCTAVE": (240, 232, 220),
    "HAND": (246, 224, 202),
    "SLEEVE": (232, 228, 226),
    "EDGE": (122, 112, 102),
    "TEXT": (36, 30, 26),
    "QUIET_TEXT": (88, 80, 72),
    "LINE": (116, 106, 96),
    "STRONG_LINE": (70, 62, 54),
    "ORANGE": (140, 84, 0),
    "SKY": (0, 92, 150),
    "GREEN": (0, 112, 80),
    "YELLOW": (116, 92, 0),
    "VERMILLION": (168, 62, 0),
    "PURPLE": (146, 54, 108),
}
CONTRAST: dict[str, Colour] = {
    "GROUND": (0, 0, 0),
    "PANEL": (0, 0, 0),
    "GLOW": (24, 22, 16),
    "OCTAVE": (30, 30, 30),
    "HAND": (26, 26, 26),
    "SLEEVE": (14, 14, 14),
    "EDGE": (190, 190, 190),
    "TEXT": (255, 255, 255),
    "QUIET_TEXT": (232, 232, 232),
    "LINE": (200, 200, 200),
    "STRONG_LINE": (255, 255, 255),
    "ORANGE": (255, 186, 40),
    "SKY": (120, 208, 255),
    "GREEN": (60, 220, 170),
    "YELLOW": (255, 240, 90),
    "VERMILLION": (255, 140, 60),
    "PURPLE": (240, 170, 210),
}
LOOKS: dict[str, dict[str, Colour]] = {"dark": DARK, "light": LIGHT, "contrast": CONTRAST}
_GROUND_NAMES = ("GROUND", "PANEL", "GLOW", "OCTAVE", "SLEEVE")
_TEXT_NAMES = ("TEXT", "QUIET_TEXT", "ORANGE", "SKY", "YELLOW", "PURPLE")
_GRAPHIC_NAMES = ("EDGE", "LINE", "STRONG_LINE", "ORANGE", "SKY", "GREEN", "YELLOW", "VERMILLION", "PURPLE")


def grounds(look: str = "dark") -> tuple[Colour, ...]:
    """What texts and graphics are drawn on."""
    return tuple(LOOKS[look][name] for name in _GROUND_NAMES)


def text_colours(look: str = "dark") -> tuple[Colour, ...]:
    """The colours of texts."""
    return tuple(LOOKS[look][name] for name in _TEXT_NAMES)


def graphic_colours(look: str = "dark") -> tuple[Colour, ...]:
    """The colours of lines and marks."""
    return tuple(LOOKS[look][name] for name in _GRAPHIC_NAMES)


def next_look(look: str) -> str:
    """The look after this one, around the end."""
    names = tuple(LOOKS)
    return names[(names.index(look) + 1) % len(names)]


def use(look: str) -> None:
    """Draw in this look from now on."""
    globals().update(LOOKS[look])
