"""In words: the pitch antenna, the hand's way to it, the player, the room, what joins player and common to earth."""

from __future__ import annotations

from synth.analysis.antenna_figures import AntennaFigures, EarthingFigures, PlayerFigures, RoomFigures
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


def player_words(figures: PlayerFigures) -> str:
    """Who plays: "man at percentile 50, 62 cm from the antenna"."""
    words = {"typical": "of rounded sizes, arms without an elbow"}.get(figures.size, figures.size)
    if figures.percentile is not None:
        words += f" at percentile {100.0 * figures.percentile:g}"
    if figures.stature_m is not None:
        words += f" of {format_quantity(figures.stature_m, 'm')}, a woman scaled"
    words += ", with lengths of their own" if figures.own_lengths else ""
    words += ", seated" if figures.stance == "seated" else ""
    return f"{words}, {100.0 * figures.stand_distance_m:.3g} cm from the antenna"


def room_facts(figures: RoomFigures) -> list[tuple[str, str]]:
    """Name and words of what stands about; nothing for an empty room whose floor conducts."""
    words = [] if figures.floor_conducts else ["a floor that does not conduct"]
    if figures.wall_m is not None:
        words.append(f"an earthed wall {format_quantity(figures.wall_m, 'm')} behind the antenna")
    if figures.table_m is not None:
        words.append(f"a metal table, its top {format_quantity(figures.table_m, 'm')} above the floor")
    side, forward = figures.bystander_side_m, figures.bystander_forward_m
    if side is not None and forward is not None:
        aside, ahead = (f"{100.0 * abs(value):.3g} cm" for value in (side, forward))
        which = "away from the volume hand" if side >= 0.0 else "on the side of the volume hand"
        words.append(
            f"a second person {aside} to the side, {which}, and {ahead} {'before' if forward >= 0.0 else 'behind'} "
            "the antenna"
        )
    return [("room", "; ".join(words))] if words else []


def earthing_facts(figures: EarthingFigures | None) -> list[tuple[str, str]]:
    """Names and words: the player's way to earth, and the common's."""
    if figures is None:
        return []
    share = format_quantity(figures.body_field_share_f or 0.0, "F")
    found = f"the field finds {share} of it between body and floor"
    if figures.body_bonded:
        player = f"touches earth, by a wire ({found})"
    else:
        player = (
            f"{format_quantity(figures.body_to_earth_f or 0.0, 'F')} in all: {found}, shoes make the other "
            f"{format_quantity(figures.shoes_f or 0.0, 'F')}"
        )
    return [("player to earth", player), ("common to earth", _common_words(figures))]


def _common_words(figures: EarthingFigures) -> str:
    what = {"cabinet": "the cabinet is", "board": "the board is", "none": "no conductor of the field; it counts as"}
    words = what[figures.common]
    if figures.common_bonded:
        return f"{words} bonded to earth" + ("" if figures.common_said else ", as the design does not say otherwise")
    tie, share = figures.common_to_earth_f or 0.0, format_quantity(figures.common_field_share_f or 0.0, "F")
    beside = "by nothing (a battery)" if tie == 0.0 else f"by {format_quantity(tie, 'F')}"
    return f"{words} joined to it {beside}, beside the {share} that the field finds"
