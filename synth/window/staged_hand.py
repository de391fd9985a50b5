"""The hand on the stage, as if of glass: what it covers is still seen.

From its wrist to its tip it is the same wherever it is: that part is a picture, which is moved. The wrist, which turns
with the arm, is drawn anew.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

from models.quick_dataclass import dataclass
from synth.window import palette
from synth.window.box import Box
from synth.window.canvas import PlayCanvas
from synth.window.figure_outline import HandLines, Points
from synth.window.painter import Point

PHASES = 4  # columns within a pixel at which the hand may be: finer ones cannot be told apart
SKIN = 200  # of 255, how much of the ground the hand hides
_OVER = 2  # pixels that each part's filling goes beyond their seam, to be cut off there
_FAR = 1 << 14  # pixels, beyond every screen


@dataclass(frozen=True, slots=True, eq=False)
class StagedHand:
    """The lines of `HandLines` in pixels from the hand's place. `back`: one pixel from the tip towards the wrist;
    `reach`: the box that holds them all.
    """

    front: tuple[Point, ...]
    lines: tuple[tuple[Point, ...], ...]
    back: Point
    reach: Box

    def parted(self, place: Point) -> tuple[Box, Box]:
        """The sides of the seam with the hand and with the wrist, with the hand at a place."""
        x, y = (math.ceil(at + along) for at, along in zip(place, self.front[0], strict=True))
        before, beyond = Box(-_FAR, -_FAR, x + _FAR, 2 * _FAR), Box(x, -_FAR, 2 * _FAR, 2 * _FAR)
        if self.back[0] == 0.0:
            return Box(-_FAR, -_FAR, 2 * _FAR, y + _FAR), Box(-_FAR, y, 2 * _FAR, 2 * _FAR)
        return (beyond, before) if self.back[0] < 0.0 else (before, beyond)


@functools.lru_cache(maxsize=32)
def staged_hand(hand: HandLines, turn: complex, pixels_per_metre: float, away: int) -> StagedHand:
    """A hand turned by `turn` on a stage of this scale, on which `away` points from the antenna to the player."""

    def placed(line: Points) -> tuple[Point, ...]:
        turned = pixels_per_metre * turn * line
        return tuple(zip((away * turned.real).tolist(), turned.imag.tolist(), strict=True))

    front, lines = placed(hand.front), tuple(placed(line) for line in (hand.heel, *hand.creases))
    columns, rows = zip(*front, *(point for line in lines for point in line), strict=True)
    left, top = math.floor(min(columns)), math.floor(min(rows))
    reach = Box(left, top, math.ceil(max(columns)) - left, math.ceil(max(rows)) - top)
    return StagedHand(front, lines, (away * turn.real, turn.imag), reach)


def draw_staged_hand(
    canvas: PlayCanvas,
    hand: StagedHand,
    place: Point,
    wrist: Sequence[Sequence[Point]],
    bare: Sequence[Sequence[Point]],
    colour: palette.Colour,
    moving: bool,
) -> None:
    """The hand at a place, with both sides of its `wrist` and what of them is `bare` of the sleeve.

    moving: its fingers are on their way, so that no picture of it would serve twice.
    """
    thick = canvas.px(1.6, 1)
    x, y = math.floor(PHASES * place[0] + 0.5) / PHASES, place[1]
    left, top = math.floor(x), math.floor(y)
    _, behind = hand.parted((x, y))
    with canvas.clipped(behind):
        above, below = ((side[0][0] - _OVER * hand.back[0], side[0][1] - _OVER * hand.back[1]) for side in wrist)
        canvas.glass([above, *wrist[0], *reversed(wrist[1]), below], palette.HAND, SKIN)
    margin = thick + 2
    box = hand.reach.shrunk(-margin, -margin)

    def drawn(corner: tuple[int, int]) -> None:
        _draw_front(canvas, hand, (corner[0] - box.left + x - left, corner[1] - box.top + y - top), colour, thick)

    corner = (left + box.left, top + box.top)
    if moving:
        drawn(corner)
    else:
        key = (hand, x - left, y - top, colour, palette.HAND, palette.LINE, thick)
        canvas.stamp(key, (box.width, box.height), corner, drawn)
    for side in bare:
        if len(side) > 1:
            canvas.smooth(side, colour, thick)


def _draw_front(canvas: PlayCanvas, hand: StagedHand, place: Point, colour: palette.Colour, thick: int) -> None:
    """The hand without its wrist."""
    x, y = place
    front, heel, *creases = ([(x + along, y + down) for along, down in line] for line in (hand.front, *hand.lines))
    ends = [(at[0] + _OVER * hand.back[0], at[1] + _OVER * hand.back[1]) for at in (front[-1], front[0])]
    with canvas.clipped(hand.parted(place)[0]):
        canvas.glass([*front, *ends], palette.HAND, SKIN)
    canvas.smooth(front, colour, thick)
    canvas.curve(heel, colour)
    for crease in creases:
        canvas.curve(crease, palette.LINE)
