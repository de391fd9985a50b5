"""How large a player is: sizes of adults from measurements, a child by stature, and what the meshes make of them.

Means and standard deviations in mm of ANSUR II (2012, US Army personnel; C. C. Gordon et al., NATICK/TR-15/007; open
microdata, 4082 men and 1986 women). Adults of a percentile have every size at that percentile of a normal
distribution, which no real person has. A child has the proportions of an adult woman, scaled by stature; real children
have shorter limbs and larger heads.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Final, Literal

import numpy as np

from models.checks import positive
from models.normal_law import quantile
from models.quick_dataclass import dataclass

Person = Literal["man", "woman", "child"]
#: (mean, standard deviation) of men and of women, mm.
_MEASURED: Final[dict[str, tuple[float, float, float, float]]] = {
    "stature": (1756, 69, 1629, 64),
    "acromial_height": (1441, 63, 1335, 58),
    "cervicale_height": (1517, 63, 1396, 60),
    "sitting_height": (918, 36, 857, 33),
    "knee_height": (554, 28, 511, 27),
    "biacromial_breadth": (416, 19, 365, 18),
    "chest_breadth": (289, 18, 269, 19),
    "chest_depth": (254, 26, 247, 27),
    "upper_arm": (335, 18, 311, 17),
    "forearm": (268, 15, 241, 15),
    "biceps_circumference": (358, 35, 306, 31),
    "forearm_circumference": (310, 22, 264, 18.5),
    "wrist_circumference": (176, 9, 155, 8),
    "hand_length": (193.3, 9.9, 181.1, 10.1),
    "hand_breadth": (88.3, 4.4, 78.2, 3.8),
    "head_length": (200, 7, 190, 7),
    "head_breadth": (154, 6, 148, 5),
}


@dataclass(frozen=True, slots=True)
class BodySizes:
    """Sizes of a person, m, named as ANSUR II names them; upper_arm: acromion-radiale, forearm: radiale-stylion,
    biceps_circumference flexed, knee_height and sitting_height of a seated person.
    """

    stature: float
    acromial_height: float
    cervicale_height: float
    sitting_height: float
    knee_height: float
    biacromial_breadth: float
    chest_breadth: float
    chest_depth: float
    upper_arm: float
    forearm: float
    biceps_circumference: float
    forearm_circumference: float
    wrist_circumference: float
    hand_length: float
    hand_breadth: float
    head_length: float
    head_breadth: float

    def __post_init__(self) -> None:
        for entry in fields(self):
            object.__setattr__(self, entry.name, positive(entry.name, getattr(self, entry.name)))

    @property
    def reach(self) -> float:
        """From the shoulder joint to the wrist with the arm stretched, m."""
        return self.upper_arm + self.forearm


def adult(person: Person, percentile: float = 50.0) -> BodySizes:
    """A man or woman with every size at `percentile`, 1 to 99, of the normal distribution."""
    if person not in ("man", "woman"):
        raise ValueError(f"person must be man or woman; got {person!r}")
    if not 1.0 <= percentile <= 99.0:
        raise ValueError(f"percentile must be between 1 and 99; got {percentile:g}")
    first = 0 if person == "man" else 2
    deviation = float(quantile(percentile / 100.0))
    return BodySizes(**{name: 1e-3 * (row[first] + deviation * row[first + 1]) for name, row in _MEASURED.items()})


def scaled_child(stature: float) -> BodySizes:
    """A child of `stature`, m: the mean woman scaled in all sizes."""
    mean = adult("woman")
    share = positive("stature", stature) / mean.stature
    return BodySizes(**{entry.name: share * getattr(mean, entry.name) for entry in fields(BodySizes)})


#: Height of a seat, of the knee height of the one who sits on it (popliteal height and soft seats; from memory).
SEAT_SHARE: Final = 0.78
#: Thickness of an open hand, of its breadth (28 mm of 88 mm; from memory of tables of hand thickness).
HAND_THICKNESS: Final = 0.32
#: A fist's length, width and height, of the hand's length and breadth (from the rounded adult of the meshes).
FIST_LENGTH, FIST_WIDTH, FIST_HEIGHT = 0.526, 0.89, 1.0
#: The shoulder joint beside the acromion, outwards, m, so that a hanging arm clears the chest.
JOINT_OUTWARDS: Final = 0.02
#: Height of a head, of its length (menton to vertex; from memory).
HEAD_HEIGHT: Final = 1.15


@dataclass(frozen=True, slots=True)
class Build:
    """What the meshes are made of, m. The default is an adult of rounded sizes (from memory of tables such as
    DIN 33402-2; no percentile is claimed), whose arms are stretched capsules without an elbow.

    open_hand, fist: half sizes along x (pointing), y (side to side), z (up), held on edge, thumb up. shoulder_height:
    of the joint above the floor (of a seated player, of one who sits). shoulder_out: joint from the body's axis
    sideways. half_width: of the trunk; depth_ratio: its depth over its width. neck, head: of the trunk's top and the
    head's middle above the joint. head_radii: along x, y, z. hanging: from the joint to the lower end of the axis of a
    hanging arm. arm_radii: at shoulder, elbow and wrist. links: upper arm and forearm; None: no elbow, and the arm is
    as long as it has to be. longest: from joint to wrist. seat: its height; None: standing.
    """

    open_hand: tuple[float, float, float] = (0.095, 0.014, 0.045)
    fist: tuple[float, float, float] = (0.050, 0.040, 0.045)
    shoulder_height: float = 1.40
    shoulder_out: float = 0.24
    half_width: float = 0.17
    depth_ratio: float = 0.7
    neck: float = 0.08
    head: float = 0.23
    head_radii: tuple[float, float, float] = (0.105, 0.105, 0.105)
    hanging: float = 0.62
    arm_radii: tuple[float, float, float] = (0.042, 0.042, 0.042)
    links: tuple[float, float] | None = None
    longest: float = 0.90
    seat: float | None = None


def build_of(sizes: BodySizes, seated: bool = False) -> Build:
    """The meshes' measures of a person: arms with an elbow, a hand of the measured length and breadth."""
    half_length, half_breadth = 0.5 * sizes.hand_length, 0.5 * sizes.hand_breadth
    round_turn = 2.0 * np.pi
    radii = (
        sizes.biceps_circumference / round_turn,
        sizes.forearm_circumference / round_turn,
        sizes.wrist_circumference / round_turn,
    )
    head = (0.5 * sizes.head_length, 0.5 * sizes.head_breadth, 0.5 * HEAD_HEIGHT * sizes.head_length)
    seat = SEAT_SHARE * sizes.knee_height
    lower = sizes.stature - sizes.sitting_height - seat if seated else 0.0
    return Build(
        open_hand=(half_length, HAND_THICKNESS * half_breadth, half_breadth),
        fist=(FIST_LENGTH * half_length, FIST_WIDTH * half_breadth, FIST_HEIGHT * half_breadth),
        shoulder_height=sizes.acromial_height - lower,
        shoulder_out=0.5 * sizes.biacromial_breadth + JOINT_OUTWARDS,
        half_width=0.5 * sizes.chest_breadth,
        depth_ratio=sizes.chest_depth / sizes.chest_breadth,
        neck=sizes.cervicale_height - 0.02 - sizes.acromial_height,
        head=sizes.stature - sizes.acromial_height - head[2],
        head_radii=head,
        hanging=sizes.reach + FIST_LENGTH * sizes.hand_length - radii[2],
        arm_radii=radii,
        links=(sizes.upper_arm, sizes.forearm),
        longest=sizes.reach,
        seat=seat if seated else None,
    )
