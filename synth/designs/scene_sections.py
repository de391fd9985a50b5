"""The sections of a design that say what stands there: antennas, common and cabinet, the player, the room."""

from __future__ import annotations

import math
from typing import Final

from models.hand.antennas import (
    POSITIONS,
    PlateAntenna,
    RingAntenna,
    TelescopicAntenna,
    VolumePlate,
    VolumeRod,
    WireAntenna,
)
from models.hand.scene import APPROACHES, POSTURES
from synth.designs.schema import SectionValues, choice, design_section, quantities, quantity

ANTENNA_FORMS: Final = ("rod", "telescopic", "wire", "plate", "ring")
PLAYER_SIZES: Final = ("typical", "man", "woman", "child")
VOLUME_FORMS: Final = ("ring", "plate", "rod")
_THICK, _PLATE = ("m", 0.0005, 0.1), ("m", 0.02, 1.0)


@design_section(
    "antenna",
    "The pitch antenna: a rod, upright or leaning, a telescopic one, a wire between two points, a plate or a ring.",
)
class AntennaSection(SectionValues):
    """The pitch antenna, m and F; lean in degrees."""

    form: str = choice(
        "which form it has; keys that are of other forms do not count",
        ANTENNA_FORMS,
        default="rod",
    )
    length: float = quantity("length of the rod", ("m", 0.05, 3.0), default=0.45)
    diameter: float = quantity("thickness of the rod, the wire or the ring's tube", _THICK, default=0.010)
    base_height: float = quantity("its lowest part above the floor", ("m", 0.02, 3.0), default=1.0)
    lean: float = quantity(
        "angle of a rod, plain or telescopic, from upright, away from the player", ("deg", -80.0, 80.0), default=0.0
    )
    section_lengths: tuple[float, ...] = quantities(
        "of a telescopic rod, what is seen of each section from the foot up",
        ("m", 0.01, 2.0),
        12,
        default=TelescopicAntenna().lengths,
    )
    section_diameters: tuple[float, ...] = quantities(
        "of those sections, one each", _THICK, 12, default=TelescopicAntenna().diameters
    )
    end_forward: float = quantity(
        "of a wire, its upper end from its lower one towards the player", ("m", -2.0, 1.0), default=WireAntenna().end_x
    )
    end_side: float = quantity(
        "of a wire, the same to the side away from the volume hand", ("m", -2.0, 2.0), default=WireAntenna().end_y
    )
    end_height: float = quantity(
        "of a wire, its upper end above the floor (lower: base_height)",
        ("m", 0.02, 4.0),
        default=WireAntenna().end_height,
    )
    position: str = choice(
        "of a plate or ring; upright: facing the player; flat; edge: upright, its edge to the player",
        tuple(POSITIONS),
        default="upright",
    )
    plate_width: float = quantity(
        "of a plate, side to side; with its edge to the player front to back", _PLATE, default=PlateAntenna().width
    )
    plate_length: float = quantity("of a plate, up; lying flat front to back", _PLATE, default=PlateAntenna().length)
    plate_thickness: float = quantity("of a plate", ("m", 0.0005, 0.05), default=PlateAntenna().thickness)
    ring_diameter: float = quantity(
        "of a ring, to the middle of its tube", ("m", 0.03, 2.0), default=RingAntenna().diameter
    )
    stray: float = quantity(
        "antenna stray: of its mount and lead to the common, beside the antenna's own", ("F", 0.0, 1e-9), default=0.0
    )


@design_section("common", "What joins the circuit's common, its zero volt, to earth.")
class CommonSection(SectionValues):
    """The circuit's common, F and m. to_earth None: not said, and taken as bonded."""

    to_earth: float | None = quantity(
        "by the supply; bonded: a wire; none: a battery; left out: bonded",
        ("F", 0.0, 1e-6),
        default=None,
        words={"bonded": math.inf, "none": 0.0},
    )
    board_width: float = quantity(
        "board at the antenna's foot, where there is no cabinet and no bond", ("m", 0.02, 1.0), default=0.16
    )
    board_depth: float = quantity("of that board, towards the player", ("m", 0.02, 1.0), default=0.10)
    board_gap: float = quantity("from that board to the lower end of the rod", ("m", 0.002, 1.0), default=0.02)


@design_section(
    "cabinet", "A metal box under the antenna, joined to the common. Leave the section out if there is none."
)
class CabinetSection(SectionValues):
    """The box under the antenna, m."""

    width: float = quantity("side to side for the player", ("m", 0.02, 2.0), default=0.40)
    depth: float = quantity("towards the player", ("m", 0.02, 2.0), default=0.20)
    height: float = quantity("of the box", ("m", 0.005, 2.0), default=0.12)
    gap: float = quantity("from the top of the box to the lower end of the rod", ("m", 0.002, 1.0), default=0.02)


@design_section("player", "Who stands in front of the antenna.")
class PlayerSection(SectionValues):
    """The player, F and m. body_capacitance None: see its help; hand_height None: middle of the rod."""

    body_capacitance: float | None = quantity(
        "to earth in all, as a bridge reads it; left out: 100 pF of shoes and what the field finds",
        ("F", 0.0, 1e-8),
        default=None,
        words={"bonded": math.inf},
    )
    stand_distance: float = quantity("from the antenna's foot to the body's axis", ("m", 0.3, 2.0), default=0.75)
    hand_height: float | None = quantity(
        "of the pitch hand above the floor; left out: the middle of the antenna", ("m", 0.05, 4.0), default=None
    )
    opening: float = quantity(
        "of the fingers, posture open, the wrist held: 1 stretched, 0 closed; distances are of stretched fingers",
        ("fraction", 0.0, 1.0),
        default=1.0,
    )
    size: str = choice(
        "typical: rounded, without elbows; man, woman: measured; child: a woman scaled",
        PLAYER_SIZES,
        default="typical",
    )
    percentile: float = quantity("of a man or woman, in every size at once", ("percent", 0.01, 0.99), default=0.5)
    stature: float = quantity("of a child", ("m", 0.8, 2.0), default=1.4)
    stance: str = choice("of a man, woman or child", ("standing", "seated"), default="standing")
    shoulder_height: float | None = quantity(
        "your own, standing; left out, as all below: as size says", ("m", 0.6, 2.0), default=None
    )
    upper_arm: float | None = quantity("your own, shoulder to elbow", ("m", 0.1, 0.6), default=None)
    forearm: float | None = quantity("your own, elbow to wrist", ("m", 0.1, 0.5), default=None)
    hand_length: float | None = quantity("your own, wrist to the longest finger's tip", ("m", 0.08, 0.3), default=None)
    hand_breadth: float | None = quantity("your own, without the thumb", ("m", 0.03, 0.15), default=None)
    approach: str = choice(
        "of the pitch hand; front: level, thumb up, towards the antenna; above: palm down onto it",
        tuple(APPROACHES),
        default="front",
    )
    lean: float = quantity(
        "how far the body with its shoulders leans to the antenna, the hands where they are",
        ("m", -0.3, 0.5),
        default=0.0,
    )
    posture: str = choice("of the pitch hand", tuple(POSTURES), default="open")


@design_section("room", "What stands about. Leave the section out for an empty room whose floor conducts.")
class RoomSection(SectionValues):
    """What stands about, m; None: it is not there."""

    floor: str = choice(
        "conducting: reinforced or damp, at earth; none: of wood, far above (then give player.body_capacitance)",
        ("conducting", "none"),
        default="conducting",
    )
    wall: float | None = quantity(
        "from the antenna back to a wall at earth, reinforced or damp", ("m", 0.1, 10.0), default=None
    )
    table: float | None = quantity(
        "from the floor to the top of a metal table under the instrument, joined to nothing",
        ("m", 0.05, 3.0),
        default=None,
    )
    bystander_side: float | None = quantity(
        "from the antenna to a second person, sideways away from the volume hand", ("m", -5.0, 5.0), default=None
    )
    bystander_forward: float = quantity("to the same person, towards the player", ("m", -5.0, 5.0), default=0.0)


@design_section(
    "volume_antenna",
    "The volume antenna under the other hand, level. Leave this section and the next two out if none.",
)
class VolumeAntennaSection(SectionValues):
    """What is under the volume hand, m and F."""

    form: str = choice("the hand is over the ring's front, the middle of a plate or rod", VOLUME_FORMS, default="ring")
    diameter: float = quantity("of the ring, to the middle of its tube", ("m", 0.03, 1.0), default=0.22)
    tube_diameter: float = quantity("of the ring's tube, or of the rod", _THICK, default=0.008)
    plate_width: float = quantity("of a plate, side to side", _PLATE, default=VolumePlate().width)
    plate_length: float = quantity("of a plate, front to back", _PLATE, default=VolumePlate().length)
    plate_thickness: float = quantity("of a plate", ("m", 0.0005, 0.05), default=VolumePlate().thickness)
    rod_length: float = quantity("of a rod, side to side", ("m", 0.05, 2.0), default=VolumeRod().length)
    height: float = quantity("of it above the floor, middle of its thickness", ("m", 0.05, 3.0), default=1.0)
    offset: float = quantity("from the pitch antenna's foot sideways to its middle", ("m", 0.05, 2.0), default=0.45)
    stray: float = quantity(
        "antenna stray: of its mount and lead to the common, beside its own", ("F", 0.0, 1e-9), default=0.0
    )
