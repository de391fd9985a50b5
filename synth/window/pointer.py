"""What the pointer is on: a control's row, its slider, the drawer around them, or the field. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from synth.window.box import Box
from synth.window.controls import CONTROLS
from synth.window.layout import Layout


@dataclass(frozen=True, slots=True)
class Target:
    """`control`: the name of the row under the pointer, "" for none; `share`: where along its slider, kept within 0..1;
    `drawer`: whether the pointer is on the drawer at all.
    """

    control: str = ""
    share: float = 0.0
    drawer: bool = False


def contains(box: Box, place: tuple[int, int]) -> bool:
    """True where the pixel lies in the box."""
    return box.left <= place[0] < box.right and box.top <= place[1] < box.bottom


def target_at(layout: Layout, place: tuple[int, int]) -> Target:
    """What lies at a pixel."""
    if not contains(layout.drawer, place):
        return Target()
    for control, row in zip(CONTROLS, layout.control_boxes(len(CONTROLS)), strict=True):
        if contains(row, place):
            return Target(control.name, slider_share(layout, control.name, place), True)
    return Target(drawer=True)


def slider_share(layout: Layout, name: str, place: tuple[int, int]) -> float:
    """Where along the slider of a control a pixel's column lies, 0 to 1, from any place: for a drag."""
    number = next(number for number, control in enumerate(CONTROLS) if control.name == name)
    slider = layout.slider_box(layout.control_boxes(len(CONTROLS))[number])
    return min(max((place[0] - slider.left) / max(1, slider.width - 1), 0.0), 1.0)
