"""What is drawn of a start-up, as plain numbers: nothing here loads the circuit, so that another process may draw."""

from __future__ import annotations

from models.arrays import Floats
from models.quick_dataclass import dataclass

SUPPLY, CONTROL, COMMON = "supply", "control", "common"
"""Points that are drawn: the rail, and two ends of the amplifying device, base and emitter of a transistor."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One point of the circuit from switching on: times (m,), s, its mean over a cycle and its swing (m,), V."""

    times: Floats
    mean: Floats
    swing: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """One true cycle, `after` s from switching on: length, s, and voltages (CYCLE_POINTS,) of the tank and of the
    common end of the amplifying device (emitter, source, cathode)."""

    after: float
    length: float
    tank: Floats
    emitter: Floats


@dataclass(frozen=True, slots=True, eq=False)
class StartUpCurves:
    """What is drawn of a start-up: curves of "tank" and of SUPPLY, CONTROL and COMMON, with the names of their nodes;
    cycles at SHARES of the final swing; where the
    rest was integrated in time, its last cycles: times and tank's voltage (m,), s and V. begin, end: of that rest, s.
    """

    curves: dict[str, Curve]
    names: dict[str, str]
    cycles: tuple[Cycle, ...]
    last: tuple[Floats, Floats] | None
    begin: float
    end: float


@dataclass(frozen=True, slots=True, eq=False)
class OscillatorPicture:
    """What the plot of a steady oscillator shows beside its pot: its name and frequency, Hz, the time, s, to 90 % of
    its swing (None: not known).
    """

    design: str
    which: str
    frequency: float
    started: float | None
    curves: StartUpCurves


@dataclass(frozen=True, slots=True, eq=False)
class PotPicture:
    """The position of the pot (None: there is none), and the shift, Hz (m,), at others (m,), NaN where it does not
    oscillate."""

    position: float | None
    positions: Floats
    shifts: Floats
