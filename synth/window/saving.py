"""The present settings of a side as a design: which controls a design has a key for, and what is left out."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from models.pitch import cents
from models.quick_dataclass import dataclass
from synth.build.workbench import open_loaded
from synth.designs.design_file import design_text, read_design
from synth.designs.edited import edited_text
from synth.designs.scene_sections import CommonSection, RoomSection
from synth.designs.sections import Design
from synth.errors import DesignError
from synth.window.controls import BYSTANDERS, COMMONS, Settings
from synth.window.tunable import changed_design, common_name, parts_of

if TYPE_CHECKING:
    from synth.window.session import Side

AIDS = ("temperature", "jitter", "guide", "guide_root", "pull", "drone", "sensitivity", "lever", "at_note")
RETUNED = ("shoes", "common", "lean", "hand_height", "bystander")  # they move zero beat; a design would tune it anew
UNSOLVED = "the field of this scene is still being computed; save again as soon as it is there"
ON_ITS_WAY = "the circuit with these parts is still being solved; save again as soon as it is"
COMPARED = 0.25, 0.5, 0.75  # shares of the playable span at which the saved design is compared with what plays
SAME_CENTS = 1.0


@dataclass(frozen=True, slots=True)
class SavedDesign:
    """A design's text, and what to tell about it."""

    text: str
    remarks: tuple[str, ...]


def saved_design(side: Side) -> SavedDesign:
    """What plays, written as a design: comments and order of the side's text are kept, values that differ are new.

    The reference's fixed capacitor is changed where its trimmer does not reach the zero beat that is set. Raises
    ValueError where the settings make no design.
    """
    before, settings = side.offer.design, side.good.now
    if side.computing is not None:
        raise DesignError(UNSOLVED)
    if side.waiting is not None or side.history.now != settings:  # what is heard is not yet what would be saved
        raise DesignError(ON_ITS_WAY)
    after = _design(side, settings)
    after = _tuned_within_trimmer(after, side)
    text = edited_text(side.text, before, after) if side.text else design_text(after)
    remarks = []
    left_out = [settings.control(name).label for name in AIDS[:2] if settings[name] != settings.control(name).default]
    if left_out:
        verb = "is" if len(left_out) == 1 else "are"
        remarks.append(f"{' and '.join(left_out)} {verb} not part of a design and {verb} left out")
    off = _differs_by(read_design(text), side)
    if off is None:
        remarks.append("a circuit: what it plays is solved when it is opened")
    elif off > SAME_CENTS:
        remarks.append(f"it plays up to {off:.0f} cents off what you hear now")
    return SavedDesign(text, tuple(remarks))


def _design(side: Side, settings: Settings) -> Design:
    """The design with the controls that it has keys for."""
    offer = side.offer
    design = changed_design(offer, parts_of(settings))
    changes: dict[str, Any] = {}

    def put(section: str, **values: Any) -> None:
        changes[section] = replace(changes.get(section, getattr(design, section)), **values)

    def changed(name: str) -> bool:
        return settings[name] != settings.control(name).default

    if changed("detector"):
        put("detector", kind=settings.text("detector"))
    if changed("coupling"):
        put("coupling", lock_range=settings.number("coupling"))
    if changed("tone"):
        put("tone", low_pass=settings.number("tone"))
    if changed("reference_a"):
        put("tuning", reference_a=settings.number("reference_a"))
    if changed("shoes"):
        put("player", body_capacitance=None if math.isinf(settings.number("shoes")) else settings.number("shoes"))
    if changed("common") and settings.text("common") != common_name(offer.common):
        ties = COMMONS[settings.text("common")]
        changes["common"] = replace(design.common or CommonSection(), to_earth=ties)
    if changed("lean"):
        put("player", lean=settings.number("lean"))
    if changed("hand_height"):
        put("player", hand_height=settings.number("hand_height"))
    if changed("bystander"):
        beside = BYSTANDERS[settings.text("bystander")]
        room = replace(design.room or RoomSection(), bystander_side=beside, bystander_forward=0.0)
        changes["room"] = None if room == RoomSection() else room
    if changed("pot") and offer.pot is not None and design.circuit is not None:
        put("circuit", reference_pot=settings.number("pot"))
    place = side.tuned.field.zero_beat_distance
    moved = design.tuning.zero_beat is not None and any(changed(name) for name in RETUNED)
    if place is not None and (
        moved or changed("zero_beat") or changed("pot") or parts_of(settings) != parts_of(settings.reset())
    ):
        put("tuning", zero_beat=round(place, 6))
    return replace(design, **changes)


def _tuned_within_trimmer(design: Design, side: Side) -> Design:
    """The design with as much more or less fixed capacitance at the reference as its trimmer lacks for zero beat."""
    if design.law == "circuit" or design.tuning.zero_beat is None:
        return design
    opened = open_loaded(design)
    tank, wanted = opened.reference_tank, side.tuned.instrument.reference_frequency
    lowest, highest = tank.trimmer_range()
    if lowest <= wanted <= highest:
        return design
    middle = replace(tank.with_trimmer(0.5)) if tank.trimmer_maximum > tank.trimmer_minimum else tank
    # f = 1 / (2 pi sqrt(L C)): the whole capacitance that gives the wanted frequency with the trimmer half-way
    total = 1.0 / ((2.0 * math.pi * wanted) ** 2 * tank.inductance)
    capacitance = design.reference.capacitance + total - middle.total_capacitance
    if capacitance <= 0.0:
        raise DesignError("the reference has no fixed capacitor left to take away for this zero beat")
    return replace(design, reference=replace(design.reference, capacitance=capacitance))


def _differs_by(design: Design, side: Side) -> float | None:
    """By how many cents the saved design differs from what plays, at most over its field; None for a solved circuit."""
    if design.law == "circuit":
        return None
    field, other = side.tuned.field, open_loaded(design).field
    if field.playable_near is None or field.playable_far is None:
        return 0.0
    places = [field.playable_near + share * (field.playable_far - field.playable_near) for share in COMPARED]
    return max(abs(float(cents(other.frequency_at(place), field.frequency_at(place)))) for place in places)
