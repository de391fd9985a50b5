"""The scene of conductors: pitch antenna, volume ring, circuit common, player, what stands in the room. Metres.

Axes: the pitch antenna's foot is on the z axis above the earth plane z = 0, which may be absent; the player faces it
from the side x > 0, a little to the side y < 0, so that the playing hand moves along x at `hand_height`, or down from
above. The ring lies to the side y < 0 of the antenna, where the player's other shoulder is. Forms of the antennas:
`models.hand.antennas`; sizes of the player: `models.hand.player_sizes`.

A scene is geometry alone. What joins its conductors to earth and to each other beside the field, shoes and supply and
tanks, is `models.hand.earthing`: it can be changed without solving the field again.
"""

from __future__ import annotations

from dataclasses import field, replace
from typing import Final, Literal

from models.checks import finite, fraction, one_of, positive
from models.hand.antennas import AnyAntenna, AnyVolumeAntenna, LoopAntenna, RodAntenna
from models.hand.player_sizes import Build
from models.quick_dataclass import dataclass

__all__ = [
    "APPROACHES",
    "BOARD_HEIGHT",
    "POSTURES",
    "Approach",
    "Bystander",
    "Cabinet",
    "LoopAntenna",
    "PlayerBody",
    "Posture",
    "RodAntenna",
    "Room",
    "Scene",
    "Table",
    "Wall",
    "board",
]

Posture = Literal["open", "fist"]
POSTURES: Final[tuple[Posture, ...]] = ("open", "fist")
Approach = Literal["front", "above"]
APPROACHES: Final[tuple[Approach, ...]] = ("front", "above")


@dataclass(frozen=True, slots=True)
class Cabinet:
    """A conducting box centred under the antenna, joined to the circuit's common.

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


#: Thickness of a board with its parts and wiring, as a block of one potential, m.
BOARD_HEIGHT: Final = 0.02


def board(width: float = 0.16, depth: float = 0.10, gap: float = 0.02) -> Cabinet:
    """The circuit's common without a cabinet: a board lying at the antenna's foot, its parts included, m.

    The default size is that of the Eurocard, 100 mm by 160 mm (IEEE 1101.1; from memory). A block of `BOARD_HEIGHT`
    stands for board, parts and wiring, all at the potential of the common.
    """
    return Cabinet(width, depth, BOARD_HEIGHT, gap)


@dataclass(frozen=True, slots=True)
class PlayerBody:
    """The player: trunk with legs, head, and an arm with its hand, all one conductor.

    With a ring in the scene the other arm and its hand are there as well, palm down over the ring.
    stand_distance: m, axis of the antenna to the axis of the body, along x.
    hand_height: m above the earth plane, of a hand that comes from the front; None: the middle of the antenna.
    approach: front: the pitch hand on edge, thumb up, comes level along x; above: palm down it comes down.
    lean: m, how far the body with its shoulders comes nearer to the antenna while the hands stay where they are.
    opening: of the fingers of the pitch hand in the posture "open", 1 stretched to 0 closed: the wrist stays where it
    is with the fingers stretched, and the hand's distance is that of the stretched hand.
    build: sizes; see `models.hand.player_sizes`.
    hanging_arm: whether the other arm hangs at the side of the body; counts in a scene without a ring.
    """

    stand_distance: float = 0.75
    hand_height: float | None = None
    approach: Approach = "front"
    lean: float = 0.0
    hanging_arm: bool = False
    build: Build = field(default_factory=Build)
    opening: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "stand_distance", positive("stand_distance", self.stand_distance))
        if self.hand_height is not None:
            object.__setattr__(self, "hand_height", positive("hand_height", self.hand_height))
        object.__setattr__(self, "opening", fraction("opening", self.opening))
        one_of("approach", self.approach, APPROACHES)
        if not finite("lean", self.lean) < self.stand_distance:
            raise ValueError(f"lean must be < stand_distance = {self.stand_distance:g} m; got {self.lean:g}")


@dataclass(frozen=True, slots=True)
class Bystander:
    """A second person, always the adult of rounded sizes, arms at the sides.

    x, y: m, the axis of the body from the antenna's.
    """

    x: float = 0.0
    y: float = 1.5

    def __post_init__(self) -> None:
        for name in ("x", "y"):
            object.__setattr__(self, name, finite(name, getattr(self, name)))


@dataclass(frozen=True, slots=True)
class Wall:
    """An upright plate behind the antenna, square to x and in the middle before it, earthed: a reinforced or damp wall.

    distance: m, from the antenna's axis. width, height: m; `clearance` above the floor.
    """

    distance: float = 0.5
    width: float = 4.0
    height: float = 2.5
    clearance: float = 0.05

    def __post_init__(self) -> None:
        for name in ("distance", "width", "height", "clearance"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))


@dataclass(frozen=True, slots=True)
class Table:
    """A level metal plate joined to nothing, in the middle under antenna and common: a table with a metal top.

    top: m above the floor. width: m along y. depth: m along x.
    """

    top: float = 0.75
    width: float = 1.2
    depth: float = 0.6

    def __post_init__(self) -> None:
        for name in ("top", "width", "depth"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))


@dataclass(frozen=True, slots=True)
class Room:
    """What else stands about: each None where it is not there. earth_plane: whether there is a conducting floor."""

    bystander: Bystander | None = None
    wall: Wall | None = None
    table: Table | None = None
    earth_plane: bool = True


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything the field depends on, but for the places of the hands and their postures.

    cabinet: the conductor that is the circuit's common, a box or a `board`; None: the common is no conductor of the
    field; what it adds to the antenna is part of the antenna stray.
    """

    antenna: AnyAntenna = field(default_factory=RodAntenna)
    player: PlayerBody = field(default_factory=PlayerBody)
    cabinet: Cabinet | None = None
    ring: AnyVolumeAntenna | None = None
    room: Room = field(default_factory=Room)

    def __post_init__(self) -> None:
        lowest = self.antenna.base_height
        if self.cabinet is not None:
            below = self.cabinet.gap + self.cabinet.height
            lowest -= below
            if lowest <= 0.0 and self.room.earth_plane:
                raise ValueError(
                    f"base_height must be > {below:g} m, gap and height of the cabinet or board, so that it stands "
                    f"clear of the earth plane; got {self.antenna.base_height:g} m"
                )
        if self.room.table is not None and self.room.table.top >= lowest:
            raise ValueError(
                f"top must be < {lowest:g} m, so that the table lies clear under antenna and common; "
                f"got {self.room.table.top:g} m"
            )

        needed = self.antenna.front + self.player.lean
        if needed >= self.player.stand_distance:
            raise ValueError(
                f"stand_distance must be > {needed:g} m, or the antenna reaches the player; "
                f"got {self.player.stand_distance:g} m"
            )
        low, high = self.antenna.heights
        if not self.from_above and not low <= self.hand_height <= high:
            raise ValueError(
                f"hand_height must be between {low:g} m and {high:g} m, where a level hand meets this antenna; got "
                f"{self.hand_height:g} m"
            )
        if self.from_above and self.player.hand_height is not None:
            raise ValueError("hand_height is of a hand that comes from the front: leave it out, or approach")

    def moved(
        self,
        lean: float | None = None,
        hand_height: float | None = None,
        opening: float | None = None,
        bystander: Bystander | None = None,
    ) -> Scene:
        """The same scene, the player leaning `lean`, m, the pitch hand at `hand_height`, m, its fingers `opening` open,
        a `bystander` there; None: as it is. Raises ValueError as the scene does.
        """
        was = self.player
        player = replace(
            was,
            lean=was.lean if lean is None else lean,
            hand_height=was.hand_height if hand_height is None else hand_height,
            opening=was.opening if opening is None else opening,
        )
        room = self.room if bystander is None else replace(self.room, bystander=bystander)
        return replace(self, player=player, room=room)

    @property
    def from_above(self) -> bool:
        """Whether the pitch hand comes down from above."""
        return self.player.approach == "above"

    @property
    def hand_height(self) -> float:
        """Height of the middle of a hand that comes from the front, m: the player's choice, else the antenna's middle;
        of one from above that of the antenna's top.
        """
        if self.from_above:
            return self.antenna.top
        if self.player.hand_height is not None:
            return self.player.hand_height
        return self.antenna.middle
