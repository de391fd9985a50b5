"""The scene of conductors to scale, from the side and from above."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from synth.analysis.scene_outlines import Outline
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, Axes

COLOURS: Mapping[str, str] = {
    "antenna": BLUE,
    "ring": GREEN,
    "common": ORANGE,
    "player": "#b5b5b5",
    "bystander": "#d9d9d9",
    "table": "#8c8c8c",
    "wall": INK,
}
EDGES: Mapping[str, str] = {"player": "#8a8a8a", "bystander": "#b5b5b5"}
"""Of what may lie before another part of the same colour."""
NAMES: Mapping[str, str] = {"ring": "volume ring", "common": "circuit common", "antenna": "pitch antenna"}
MARGIN = 0.08  # m


def stacked(outlines: Sequence[Outline], from_above: bool) -> list[Outline]:
    """In the order in which they are drawn, the farthest first: by height from above, else from left to right of the
    player with the pitch antenna last, so that it is seen.
    """
    if from_above:
        return sorted(outlines, key=lambda outline: float(outline.side[:, 1].max()))
    return sorted(outlines, key=lambda outline: (outline.name == "antenna", -float(outline.top[:, 1].mean())))


def draw_scene(side: Axes, top: Axes, outlines: Sequence[Outline], earth_plane: bool) -> None:
    """Draw both views; lengths in metres."""
    named: set[str] = set()
    for axes in (side, top):
        for outline in stacked(outlines, axes is top):
            colour, line = COLOURS[outline.name], outline.top if axes is top else outline.side
            label = None if axes is top or outline.name in named else NAMES.get(outline.name, outline.name)
            named.add(outline.name)
            inside, edge = "none" if outline.name == "ring" else colour, EDGES.get(outline.name, colour)
            axes.fill(line[:, 0], line[:, 1], edgecolor=edge, facecolor=inside, linewidth=1.2, label=label)
    for axes, up, title in ((side, "height (m)", "from the side"), (top, "to the side (m)", "from above")):
        lines = [outline.side if axes is side else outline.top for outline in outlines]
        low, high = (extreme([extreme(line, axis=0) for line in lines], axis=0) for extreme in (np.min, np.max))
        low[1] = min(low[1], 0.0) if axes is side and earth_plane else low[1]
        axes.set_xlim(low[0] - MARGIN, high[0] + MARGIN)
        axes.set_ylim(low[1] - MARGIN, high[1] + MARGIN)
        axes.set_aspect("equal", adjustable="box", anchor="W")
        axes.set_ylabel(up)
        axes.set_title(title, loc="left", color=QUIET, fontsize=9)
        axes.grid(linewidth=0.4)
        axes.set_axisbelow(True)
    top.set_xlabel("from the antenna to the player (m)")
    if earth_plane:
        side.axhline(0.0, color=INK, linewidth=1.2)
