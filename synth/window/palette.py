"""The window's colours: a dark ground, and the eight colours of Okabe and Ito, distinct under colour-vision
deficiency.

Okabe and Ito, Color Universal Design (2008), values from memory. Every use also differs by shape, place or
words.
"""

from __future__ import annotations

Colour = tuple[int, int, int]

GROUND: Colour = (18, 21, 26)
PANEL: Colour = (26, 30, 37)
OCTAVE: Colour = (31, 37, 46)  # every second octave of the stage, a tint only
HAND: Colour = (30, 52, 68)  # the hand's fill, under its sky-blue outline
SLEEVE: Colour = (31, 36, 44)  # arm and body
EDGE: Colour = (108, 118, 132)
TEXT: Colour = (236, 234, 228)
QUIET_TEXT: Colour = (168, 176, 187)
LINE: Colour = (112, 122, 137)
STRONG_LINE: Colour = (196, 202, 210)

ORANGE: Colour = (230, 159, 0)
SKY: Colour = (86, 180, 233)
GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
VERMILLION: Colour = (213, 94, 0)
PURPLE: Colour = (204, 121, 167)

GROUNDS: tuple[Colour, ...] = (GROUND, PANEL, OCTAVE, SLEEVE)
TEXT_COLOURS: tuple[Colour, ...] = (TEXT, QUIET_TEXT, ORANGE, SKY, YELLOW, PURPLE)
GRAPHIC_COLOURS: tuple[Colour, ...] = (EDGE, LINE, STRONG_LINE, ORANGE, SKY, GREEN, YELLOW, VERMILLION, PURPLE)
