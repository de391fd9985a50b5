"""What is drawn on: a painter that knows the layout of its window and, on the stage, the field and its scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from typing import Generic, TypeVar

from models.hand.scene import Scene
from models.pitch_field import NoteLine
from models.quick_dataclass import dataclass
from synth.window.figure_outline import Sight
from synth.window.layout import Frame, Layout
from synth.window.painter import Painter
from synth.window.scale import PLAIN, STRAIGHT, StageScale, VolumeAxis, Way


@dataclass(frozen=True, slots=True)
class FieldPicture:
    """The pitch field that is drawn, under its title, and the scene it is of. Distances in m.

    `ends`: the nearest and farthest distance that are computed. `sight`: antennas, player and what stands about.
    `way`: where the hand's tip is at a distance. `volume`: what the stage's height stands for. `light`: 0..1 at every
    centimetre from the antenna's surface on, how much a millimetre of hand changes the antenna's capacitance there.
    """

    notes: Sequence[NoteLine]
    zero_beat: float | None
    locked_span: tuple[float, float] | None
    ends: tuple[float, float]
    sight: Sight = field(default_factory=lambda: Sight(Scene()))
    way: Way = STRAIGHT
    volume: VolumeAxis = PLAIN
    title: str = ""
    light: tuple[float, ...] = ()


Laid = TypeVar("Laid", bound=Frame)


class Canvas(Painter, Generic[Laid]):
    """A painter with the layout of its window; drawn on only while there is one."""

    layout: Laid
    small: int  # text heights, pixels: captions and numbers; readouts; headings
    normal: int
    large: int

    def lay_out(self, layout: Laid) -> None:
        """Draw by this layout from now on."""
        self.layout, text = layout, layout.text
        self.small, self.normal, self.large = text.small, text.normal, text.large

    def px(self, length: float, least: int = 0) -> int:
        """A length of the drawing in whole pixels, at least `least`; `length` is that of a window of usual size."""
        return max(least, round(length * self.layout.scale))


class PlayCanvas(Canvas[Layout]):
    """The playing window's: with the scale of its stage and the field on it."""

    scale: StageScale
    field: FieldPicture
