"""One hand path, in metres, for several designs: what each sounds like under the very same movement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from synth.errors import DesignError
from synth.hands.gestures import HIGHEST_SWEPT, gesture
from synth.hands.hand_path import HandPath

if TYPE_CHECKING:
    from synth.build.workbench import OpenedDesign


def shared_path(
    name: str, workpieces: Sequence[OpenedDesign], seconds: float | None = None, seed: int = 1
) -> tuple[HandPath, str | None]:
    """The named gesture placed by the first design that plays, held where no design becomes shrill; and a notice."""
    playable = [piece for piece in workpieces if piece.field.playable_near is not None]
    if not playable:
        raise DesignError("none of the designs has a playable distance; see their notices: beatfield field DESIGN")
    path = gesture(name, playable[0].field, seconds, seed)
    near = max(_nearest(piece) for piece in workpieces)
    far = min(piece.instrument.curve.farthest for piece in workpieces)
    if near >= far:
        raise DesignError("the designs share no hand distance that is safe to sound; compare fewer of them")
    held, notice = path.held_within(near, far)
    if notice is None:
        return held, None
    return held, (
        f"the movement is that of {playable[0].design.name}, held between {100 * near:.1f} and {100 * far:.1f} cm so "
        "that no design sounds above C7 or leaves its field"
    )


def _nearest(workpiece: OpenedDesign) -> float:
    """Nearest distance at which the design is not above C7, m."""
    field = workpiece.field
    if field.playable_near is None or field.direction != "rising" or not field.reaches(HIGHEST_SWEPT):
        return workpiece.instrument.curve.nearest
    return float(field.distance_at(HIGHEST_SWEPT))
