"""The parts a straight field may be built of: those that are owned, else the preferred values that are sold."""

from __future__ import annotations

from dataclasses import replace

from models.checks import positive, whole
from models.preferred_values import nearest, values_in_range
from models.quick_dataclass import dataclass
from models.straight.search import INDUCTANCES, FieldParts, Place

SLACK = 1e-3  # of a value, by which a search in continuous values may leave what there is: room for its derivatives


@dataclass(frozen=True, slots=True)
class Shelf:
    """Owned tank coils, H; owned chokes, H, with how many of each there are; owned capacitors, F. A kind of which
    nothing is owned is bought in preferred values of `series` (IEC 60063).
    """

    series: str = "E24"
    coils: tuple[float, ...] = ()
    chokes: tuple[tuple[float, int], ...] = ()
    capacitors: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for coil in self.coils:
            positive("coils", coil)
        for choke, count in self.chokes:
            positive("chokes", choke)
            whole("count of chokes", count, 1)
        for capacitor in self.capacitors:
            positive("capacitors", capacitor)

    def _chokes(self, count: int) -> tuple[float, ...]:
        return tuple(choke for choke, owned in self.chokes if owned >= count)

    def holds(self, place: Place) -> bool:
        """Whether there are chokes enough for a place."""
        return place.chokes == 0 or not self.chokes or bool(self._chokes(place.chokes))

    def chokes_near(self, value: float, around: float, count: int) -> tuple[float, ...]:
        """Values of one choke, H: all that are owned `count` times, else those within a factor `around` of `value`."""
        return self._chokes(count) if self.chokes else values_in_range(self.series, value / around, value * around)

    def coils_near(self, value: float, around: float) -> tuple[float, ...]:
        """Tank coils, H: all that are owned, else those within a factor `around` of `value` and within INDUCTANCES."""
        low, high = max(value / around, INDUCTANCES[0]), min(value * around, INDUCTANCES[1])
        return self.coils or values_in_range(self.series, low, high)

    def capacitor(self, value: float) -> float:
        """The capacitor, F, nearest to `value` in ratio."""
        if self.capacitors:
            return min(self.capacitors, key=lambda one: max(one / value, value / one))
        return nearest(self.series, value)

    def limited(self, parts: FieldParts, place: Place) -> FieldParts:
        """`parts` with the inductances that a search at `place` may use: from the least to the most that is owned."""
        if self.coils:
            parts = replace(parts, tank_inductances=_between(self.coils))
        if chokes := self._chokes(place.chokes):
            parts = replace(parts, choke_inductances=_between(chokes))
        return parts


def _between(values: tuple[float, ...]) -> tuple[float, float]:
    return min(values) * (1.0 - SLACK), max(values) * (1.0 + SLACK)
