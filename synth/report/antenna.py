"""The pitch antenna and the hand's way to it in words."""

from __future__ import annotations

from synth.analysis.antenna_figures import AntennaFigures
from synth.designs.quantity import format_quantity

_POSITIONS = {"upright": "facing the player", "flat": "lying flat", "edge": "its edge to the player"}


def antenna_words(figures: AntennaFigures) -> str:
    """Name, sizes and position: "rod, 0.45 m, 10 mm thick"."""
    length, thick = format_quantity(figures.length_m, "m"), f"{format_quantity(figures.thickness_m, 'm')} thick"
    names = {"telescopic": f"telescopic rod of {figures.sections} sections"}
    words = [names.get(figures.form, figures.form)]
    words.append(length if figures.width_m is None else f"{format_quantity(figures.width_m, 'm')} by {length}")
    words.append(f"at most {thick}" if figures.sections > 1 else thick)
    if figures.form == "ring":
        words[1] += " across"
    if figures.position is not None:
        words.append(_POSITIONS[figures.position])
    if figures.lean_deg:
        side = "away from" if figures.lean_deg > 0.0 else "towards"
        words.append(f"leaning {abs(figures.lean_deg):g} degrees {side} the player")
    return ", ".join(words)


def approach_words(figures: AntennaFigures) -> str:
    """The hand's way: "from the front, level, 1.225 m above the floor"."""
    if figures.approach == "above":
        return "from above, palm down"
    return f"from the front, level, {format_quantity(figures.hand_height_m, 'm')} above the floor"


def surface_words(figures: AntennaFigures) -> str:
    """Where distances are measured from."""
    return {"ring": "the ring's tube", "plate": "the plate's surface"}.get(figures.form, "the antenna's surface")
