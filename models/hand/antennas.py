"""Forms of both antennas: where each stands, how far a point is from it, where a hand is led to. Metres and radians.

Axes as in `models.hand.scene`: the pitch antenna's foot is on the z axis, the player stands towards x > 0, the volume
antenna lies towards y < 0. Every form is one conductor, small beside a wavelength; an open ring or a coil of wire is
that as well. Left out: what holds the antenna, and its lead (the antenna stray).

Every pitch antenna has, heights from the floor in m:
    base_height, top       of its lowest and its highest part
    middle                 at which the hand comes where nothing is said
    heights                between which a level hand meets it; a rod counts as longer at both ends
    foot_radius            half the thickness of the part nearest to what lies under it, m
    front                  x of the part nearest to the player, m
    aim(height)            the point (3,) m of its surface before which a hand at `height` comes, towards the player
    aim_below()            the point (3,) m of its surface above which a hand comes down
    distance(points, extended)   shortest way (n,), m, from points (n, 3) to its surface, negative inside; extended: a
                           rod or wire counts as longer than it is, so that a hand beyond its end has a distance as well
Every volume antenna lies level, `offset` m to the side y < 0 of the pitch antenna's foot, and has
    height, top            of the middle of its thickness and of its upper surface, from which the hand is measured
    over                   the point (3,) m of its upper surface above which the middle of the hand is held
    front                  x of the part nearest to the player, m
"""

from __future__ import annotations

from dataclasses import fields
from typing import Final, Literal

import numpy as np

from models.arrays import Floats
from models.checks import finite, one_of, positive
from models.quick_dataclass import dataclass

Position = Literal["upright", "flat", "edge"]
POSITIONS: Final[tuple[Position, ...]] = ("upright", "flat", "edge")
#: A wire whose ends differ less than this in height, m, is met in its middle whatever the height of the hand.
LEVEL: Final = 0.05
#: Cosine of the angle to the player above which a level wire is met at its end.
TOWARDS: Final = 0.7
#: Least thickness of a plate with its edge to the player, of its shorter side.
THINNEST_EDGE: Final = 0.0035


class Stick:
    """What rods, telescopic rods and wires share: round sections end to end along one straight axis from the foot."""

    __slots__ = ()
    base_height: float

    @property
    def sections(self) -> tuple[tuple[float, float], ...]:
        """Length and diameter of each, m, from the foot."""
        raise NotImplementedError

    @property
    def axis(self) -> Floats:
        """Unit vector (3,) from the foot."""
        raise NotImplementedError

    @property
    def foot(self) -> Floats:
        """The middle of the first end, (3,) m."""
        return np.array([0.0, 0.0, self.base_height])

    @property
    def whole_length(self) -> float:
        """Of all sections, m."""
        return float(sum(length for length, _ in self.sections))

    @property
    def top(self) -> float:
        return self.base_height + max(self.whole_length * float(self.axis[2]), 0.0)

    @property
    def middle(self) -> float:
        return self.base_height + 0.5 * self.whole_length * float(self.axis[2])

    @property
    def heights(self) -> tuple[float, float]:
        return -np.inf, np.inf

    @property
    def foot_radius(self) -> float:
        return 0.5 * self.sections[0][1]

    @property
    def front(self) -> float:
        end = self.whole_length * float(self.axis[0])
        return max(end, 0.0) + 0.5 * max(diameter for _, diameter in self.sections)

    def along(self, height: float) -> float:
        """How far along the axis, m, a hand at `height` meets it."""
        rise = float(self.axis[2])
        if abs(rise) * self.whole_length < LEVEL:
            if abs(self.axis[0]) > TOWARDS:
                return self.whole_length if self.axis[0] > 0.0 else 0.0
            return 0.5 * self.whole_length
        return (height - self.base_height) / rise

    def aim(self, height: float) -> Floats:
        place = self.along(height)
        ends = np.cumsum([length for length, _ in self.sections])
        diameter = self.sections[min(int(np.searchsorted(ends, place)), len(ends) - 1)][1]
        kept = place if abs(self.axis[2]) == 1.0 else min(max(place, 0.0), self.whole_length)
        return self.foot + kept * self.axis + (0.5 * diameter, 0.0, 0.0)

    def aim_below(self) -> Floats:
        rise = float(self.axis[2])
        if abs(rise) * self.whole_length < LEVEL:
            return self.foot + 0.5 * self.whole_length * self.axis + (0.0, 0.0, 0.5 * self.sections[0][1])
        return self.foot + (self.whole_length if rise > 0.0 else 0.0) * self.axis

    def distance(self, points: Floats, extended: bool = True) -> Floats:
        relative = points - self.foot
        along = relative @ self.axis
        across = np.sqrt(np.maximum((relative**2).sum(axis=-1) - along**2, 0.0))
        ends = np.concatenate([[0.0], np.cumsum([length for length, _ in self.sections])])
        least = np.full(along.shape, np.inf)
        for number, (_, diameter) in enumerate(self.sections):
            low = -np.inf if extended and number == 0 else ends[number]
            high = np.inf if extended and number == len(self.sections) - 1 else ends[number + 1]
            beside = across - 0.5 * diameter
            beyond = np.maximum(low - along, along - high)
            outside = np.hypot(np.maximum(beside, 0.0), np.maximum(beyond, 0.0))
            least = np.minimum(least, outside + np.minimum(np.maximum(beside, beyond), 0.0))
        return least


def _tilt(lean: float) -> Floats:
    """Unit vector of an axis that leans by `lean`, rad, away from the player."""
    return np.array([-np.sin(lean), 0.0, np.cos(lean)])


def _leaning(lean: float) -> float:
    angle = finite("lean", lean)
    if not -1.4 <= angle <= 1.4:
        raise ValueError(f"lean must be within 80 degrees (1.4 rad) of upright; got {angle:g} rad")
    return angle


@dataclass(frozen=True, slots=True)
class RodAntenna(Stick):
    """A round rod with flat ends.

    length, diameter: m. base_height: m, lower end above the earth plane. lean: rad, from upright, positive away from
    the player.
    """

    length: float = 0.45
    diameter: float = 0.010
    base_height: float = 1.0
    lean: float = 0.0

    def __post_init__(self) -> None:
        for name in ("length", "diameter", "base_height"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        object.__setattr__(self, "lean", _leaning(self.lean))

    @property
    def sections(self) -> tuple[tuple[float, float], ...]:
        return ((self.length, self.diameter),)

    @property
    def axis(self) -> Floats:
        return _tilt(self.lean)


@dataclass(frozen=True, slots=True)
class TelescopicAntenna(Stick):
    """A rod of round sections drawn out of each other, from the foot; closed by flat ends and shoulders.

    lengths, diameters: m, of what is seen of each. base_height and lean as of a rod.
    """

    lengths: tuple[float, ...] = (0.15, 0.15, 0.15)
    diameters: tuple[float, ...] = (0.010, 0.008, 0.006)
    base_height: float = 1.0
    lean: float = 0.0

    def __post_init__(self) -> None:
        for name in ("lengths", "diameters"):
            object.__setattr__(self, name, tuple(positive(name, value) for value in getattr(self, name)))
        object.__setattr__(self, "base_height", positive("base_height", self.base_height))
        object.__setattr__(self, "lean", _leaning(self.lean))
        if not self.lengths or len(self.lengths) != len(self.diameters):
            raise ValueError(
                f"lengths and diameters must be one of each for every section; got {len(self.lengths)} and "
                f"{len(self.diameters)}"
            )

    @property
    def sections(self) -> tuple[tuple[float, float], ...]:
        return tuple(zip(self.lengths, self.diameters, strict=True))

    @property
    def axis(self) -> Floats:
        return _tilt(self.lean)


@dataclass(frozen=True, slots=True)
class WireAntenna(Stick):
    """A straight round wire from the point at `base_height` on the z axis to another point.

    end_x, end_y: m, the other end from the first, towards the player and to the side away from the ring. end_height:
    m above the floor. diameter: m.
    """

    end_x: float = 0.0
    end_y: float = 0.6
    end_height: float = 1.2
    diameter: float = 0.002
    base_height: float = 1.0

    def __post_init__(self) -> None:
        for name in ("end_x", "end_y"):
            object.__setattr__(self, name, finite(name, getattr(self, name)))
        for name in ("end_height", "diameter", "base_height"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        if self.end_height < self.base_height:
            raise ValueError(
                f"end_height must be >= base_height = {self.base_height:g} m: the foot of a wire is its lower end; "
                f"got {self.end_height:g} m"
            )
        if not np.sqrt((self._span**2).sum()) > 2.0 * self.diameter:
            raise ValueError("a wire must be longer than twice its diameter: put its end farther from its start")

    @property
    def _span(self) -> Floats:
        return np.array([self.end_x, self.end_y, self.end_height - self.base_height])

    @property
    def sections(self) -> tuple[tuple[float, float], ...]:
        return ((float(np.sqrt((self._span**2).sum())), self.diameter),)

    @property
    def axis(self) -> Floats:
        return np.asarray(self._span / np.sqrt((self._span**2).sum()))


@dataclass(frozen=True, slots=True)
class PlateAntenna:
    """A rectangular metal plate in the middle over the foot.

    width: m, side to side for the player (edge: front to back). length: m, its upright size; flat: front to back.
    thickness: m. position: upright, facing the player; flat; or upright with its edge to the player.
    base_height: m, its lowest part.
    """

    width: float = 0.20
    length: float = 0.20
    thickness: float = 0.002
    position: Position = "upright"
    base_height: float = 1.0

    def __post_init__(self) -> None:
        for name in ("width", "length", "thickness", "base_height"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        one_of("position", self.position, POSITIONS)
        if not self.thickness <= 0.5 * min(self.width, self.length):
            raise ValueError(
                f"thickness must be at most half of width and length; got {self.thickness:g} m of "
                f"{self.width:g} m by {self.length:g} m"
            )
        if self.position == "edge" and self.thickness < THINNEST_EDGE * min(self.width, self.length):
            raise ValueError(
                f"thickness of a plate with its edge to the player must be at least {THINNEST_EDGE:g} of its shorter "
                f"side to be solved; got {self.thickness:g} m: make it thicker, or turn its face to the player"
            )

    @property
    def size(self) -> Floats:
        """Along x, y and z, (3,) m."""
        along = {
            "upright": (self.thickness, self.width, self.length),
            "flat": (self.length, self.width, self.thickness),
            "edge": (self.width, self.thickness, self.length),
        }
        return np.array(along[self.position])

    @property
    def top(self) -> float:
        return self.base_height + float(self.size[2])

    @property
    def middle(self) -> float:
        return self.base_height + 0.5 * float(self.size[2])

    @property
    def heights(self) -> tuple[float, float]:
        return self.base_height, self.top

    @property
    def foot_radius(self) -> float:
        return 0.5 * float(self.size[:2].min())

    @property
    def front(self) -> float:
        return 0.5 * float(self.size[0])

    def aim(self, height: float) -> Floats:
        return np.array([self.front, 0.0, height])

    def aim_below(self) -> Floats:
        return np.array([0.0, 0.0, self.top])

    def distance(self, points: Floats, extended: bool = True) -> Floats:
        beyond = np.abs(points - (0.0, 0.0, self.middle)) - 0.5 * self.size
        outside = np.sqrt((np.maximum(beyond, 0.0) ** 2).sum(axis=-1))
        return np.asarray(outside + np.minimum(beyond.max(axis=-1), 0.0))


@dataclass(frozen=True, slots=True)
class RingAntenna:
    """A ring of round tube, open or closed, in the middle over the foot.

    diameter: m, of the ring to the middle of its tube. tube_diameter: m. position: upright, facing the player (the
    hand is led to the tube, by default to its top); flat; or upright with its edge to the player. base_height: m, its
    lowest part.
    """

    diameter: float = 0.30
    tube_diameter: float = 0.010
    position: Position = "edge"
    base_height: float = 1.0

    def __post_init__(self) -> None:
        for name in ("diameter", "tube_diameter", "base_height"):
            object.__setattr__(self, name, positive(name, getattr(self, name)))
        one_of("position", self.position, POSITIONS)
        _slender(self.tube_diameter, self.diameter)

    @property
    def normal(self) -> Floats:
        """The ring's axis, a unit vector (3,)."""
        return np.asarray(np.eye(3)[{"upright": 0, "flat": 2, "edge": 1}[self.position]])

    @property
    def center(self) -> Floats:
        """The ring's middle, (3,) m."""
        rise = 0.0 if self.position == "flat" else 0.5 * self.diameter
        return np.array([0.0, 0.0, self.base_height + 0.5 * self.tube_diameter + rise])

    @property
    def top(self) -> float:
        return 2.0 * float(self.center[2]) - self.base_height

    @property
    def middle(self) -> float:
        return float(self.center[2]) + (0.5 * self.diameter if self.position == "upright" else 0.0)

    @property
    def heights(self) -> tuple[float, float]:
        rise = 0.0 if self.position == "flat" else 0.5 * self.diameter
        tube = 0.5 * self.tube_diameter if self.position == "flat" else 0.0
        return float(self.center[2]) - rise - tube, float(self.center[2]) + rise + tube

    @property
    def foot_radius(self) -> float:
        return 0.5 * self.tube_diameter

    @property
    def front(self) -> float:
        return 0.5 * self.tube_diameter + (0.0 if self.position == "upright" else 0.5 * self.diameter)

    def aim(self, height: float) -> Floats:
        radius, tube = 0.5 * self.diameter, 0.5 * self.tube_diameter
        if self.position == "flat":
            return np.array([radius + tube, 0.0, height])
        aside = float(np.sqrt(max(radius**2 - (height - float(self.center[2])) ** 2, 0.0)))
        return np.array([tube, aside, height] if self.position == "upright" else [aside + tube, 0.0, height])

    def aim_below(self) -> Floats:
        return np.array([0.5 * self.diameter if self.position == "flat" else 0.0, 0.0, self.top])

    def distance(self, points: Floats, extended: bool = True) -> Floats:
        relative = points - self.center
        along = relative @ self.normal
        radial = np.sqrt(np.maximum((relative**2).sum(axis=-1) - along**2, 0.0))
        return np.asarray(np.hypot(radial - 0.5 * self.diameter, along) - 0.5 * self.tube_diameter)


def _slender(tube_diameter: float, diameter: float) -> None:
    if not tube_diameter < 0.5 * diameter:
        raise ValueError(
            f"tube_diameter must be < half the ring's diameter = {0.5 * diameter:g}; got {tube_diameter:g}"
        )


def _clear_of_floor(height: float, half: float) -> None:
    if not height > half:
        raise ValueError(f"height must be > {half:g}, clear of the floor; got {height:g}")


@dataclass(frozen=True, slots=True)
class LoopAntenna:
    """A level ring of round tube, open or closed: the hand is held over the part of it nearest to the player.

    diameter: m, of the ring to the middle of its tube. tube_diameter: m. height: m, the middle of the tube above the
    earth plane. offset: m, the ring's axis beside the rod's, towards y < 0.
    """

    diameter: float = 0.22
    tube_diameter: float = 0.008
    height: float = 1.0
    offset: float = 0.45

    def __post_init__(self) -> None:
        _all_positive(self)
        _slender(self.tube_diameter, self.diameter)
        _clear_of_floor(self.height, 0.5 * self.tube_diameter)

    @property
    def top(self) -> float:
        return self.height + 0.5 * self.tube_diameter

    @property
    def over(self) -> Floats:
        return np.array([0.5 * self.diameter, -self.offset, self.top])

    @property
    def front(self) -> float:
        return 0.5 * (self.diameter + self.tube_diameter)


@dataclass(frozen=True, slots=True)
class VolumePlate:
    """A level plate, the hand over its middle. width: m, side to side. length: m, front to back. thickness: m."""

    width: float = 0.20
    length: float = 0.20
    thickness: float = 0.002
    height: float = 1.0
    offset: float = 0.45

    def __post_init__(self) -> None:
        _all_positive(self)
        if not self.thickness <= 0.5 * min(self.width, self.length):
            raise ValueError(f"thickness must be at most half of width and length; got {self.thickness:g}")
        _clear_of_floor(self.height, 0.5 * self.thickness)

    @property
    def top(self) -> float:
        return self.height + 0.5 * self.thickness

    @property
    def over(self) -> Floats:
        return np.array([0.0, -self.offset, self.top])

    @property
    def front(self) -> float:
        return 0.5 * self.length


@dataclass(frozen=True, slots=True)
class VolumeRod:
    """A level round rod from side to side, the hand over its middle. length, diameter: m."""

    length: float = 0.30
    diameter: float = 0.010
    height: float = 1.0
    offset: float = 0.45

    def __post_init__(self) -> None:
        _all_positive(self)
        _clear_of_floor(self.height, 0.5 * self.diameter)

    @property
    def top(self) -> float:
        return self.height + 0.5 * self.diameter

    @property
    def over(self) -> Floats:
        return np.array([0.0, -self.offset, self.top])

    @property
    def front(self) -> float:
        return 0.5 * self.diameter


def _all_positive(form: LoopAntenna | VolumePlate | VolumeRod) -> None:
    for entry in fields(form):
        object.__setattr__(form, entry.name, positive(entry.name, getattr(form, entry.name)))


AnyAntenna = RodAntenna | TelescopicAntenna | WireAntenna | PlateAntenna | RingAntenna
AnyVolumeAntenna = LoopAntenna | VolumePlate | VolumeRod
