"""The scene around the pitch antenna: rod, optional earthed cabinet, earth plane z = 0 and the player. Metres, farads.

Axes: the rod stands on the z axis; the player faces it from the side x > 0, a little to the side y < 0, so that the
playing hand moves along the line y = 0 at `hand_height`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from models.checks import non_negative, positive

Posture = Literal["open", "fist"]
POSTURES: Final[tuple[Posture, ...]] = ("open", "fist")


@dataclass(frozen=True, slots=True)
class RodAntenna:
    """A vertical round rod with flat ends.

    length, diameter: m. base_height: m, lower end above the earth plane.
    """

    length: float = 0.45
    diameter: float = 0.010
    base_height: float = 1.0

    def __post_init__(self) -> None:
        for name in ("length", "diameter", "base_height"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))


@dataclass(frozen=True, slots=True)
class Cabinet:
    """An earthed conducting box centred under the antenna.

    width: m along y (side to side for the player). depth: m along x (towards the player). height: m.
    gap: m, from the top of the box to the lower end of the rod.
    """

    width: float = 0.40
    depth: float = 0.20
    height: float = 0.12
    gap: float = 0.02

    def __post_init__(self) -> None:
        for name in ("width", "depth", "height", "gap"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))


@dataclass(frozen=True, slots=True)
class PlayerBody:
    """The player: body, head, one stretched arm and its hand, all one conductor.

    body_capacitance: F to earth beside what the field already finds between the player and the plane (soles, floor,
        building); None: bonded to earth. A standing person measures 100-150 pF by AC bridge (N. Jonassen); the
        human-body model of ANSI/ESDA/JEDEC JS-001 uses 100 pF.
    stand_distance: m, axis of the antenna to the axis of the body, along x.
    hand_height: m above the earth plane; None: the middle of the rod.
    """

    body_capacitance: float | None = 100e-12
    stand_distance: float = 0.75
    hand_height: float | None = None

    def __post_init__(self) -> None:
        if self.body_capacitance is not None:
            value = non_negative("body_capacitance", self.body_capacitance)
            object.__setattr__(self, "body_capacitance", value)
        object.__setattr__(self, "stand_distance", positive("stand_distance", self.stand_distance))
        if self.hand_height is not None:
            object.__setattr__(self, "hand_height", positive("hand_height", self.hand_height))


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything the capacitance of the antenna depends on, but for the hand's distance and posture."""

    antenna: RodAntenna = field(default_factory=RodAntenna)
    player: PlayerBody = field(default_factory=PlayerBody)
    cabinet: Cabinet | None = None

    def __post_init__(self) -> None:
        if self.cabinet is None:
            return
        floor_clearance = self.antenna.base_height - self.cabinet.gap - self.cabinet.height
        if floor_clearance <= 0.0:
            raise ValueError(
                "cabinet must stand clear of the earth plane: base_height must exceed gap + height = "
                f"{self.cabinet.gap + self.cabinet.height:g} m; got {self.antenna.base_height:g}"
            )

    @property
    def hand_height(self) -> float:
        """Height of the hand's middle, m: the player's own choice, else the middle of the rod."""
        if self.player.hand_height is not None:
            return self.player.hand_height
        return self.antenna.base_height + 0.5 * self.antenna.length
