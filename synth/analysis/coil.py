"""A coil from its former, its wire and its turns: the figures that `beatfield coil` prints."""

from __future__ import annotations

import math

from models.inductor import (
    MEDHURST_TABLE,
    copper_resistivity,
    multilayer_inductance,
    proximity_factor,
    self_capacitance,
    skin_factor,
    solenoid_inductance,
)
from models.quick_dataclass import dataclass
from models.roots import root
from models.tank import resonant_frequency
from synth.analysis.figures import collected, of
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

MOST_TURNS = 1e6


@dataclass(frozen=True, slots=True)
class Winding:
    """What is wound on what: lengths in m, `frequency` Hz, `temperature` degC. `length` None: turns side by side at
    `pitch`; `depth` None: a single layer."""

    former: float
    length: float | None
    depth: float | None
    wire: float
    pitch: float
    frequency: float
    temperature: float

    def __post_init__(self) -> None:
        if self.pitch < self.wire:
            raise DesignError(
                f"--pitch {millimetres(self.pitch)} is less than the wire's {millimetres(self.wire)}: give a larger "
                "--pitch or a thinner --wire"
            )
        if self.depth is not None and self.length is None:
            raise DesignError("--depth is for many layers, which also need the --length of the winding")

    @property
    def mean_diameter(self) -> float:
        """Of a turn, from the middle of the wire (of the winding) to the middle, m."""
        return self.former + (self.wire if self.depth is None else self.depth)

    def extent(self, turns: float) -> float:
        """Length of the winding, m."""
        return turns * self.pitch if self.length is None else self.length

    def inductance(self, turns: float) -> float:
        """H: the current sheet of a single layer, or Wheeler's formula for many."""
        if self.depth is None:
            return float(solenoid_inductance(turns, self.mean_diameter, self.extent(turns)))
        return float(multilayer_inductance(turns, self.mean_diameter, self.extent(turns), self.depth))


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundCoil:
    """The figures, SI units in the names. Self-capacitance and what follows from it: None where there is no formula.

    most_turns: what fits the winding, None where its length follows the turns. formula_balance: largest over smallest
    of the three terms of the formula for many layers, which is best where they are alike; None for a single layer.
    skin_factor, proximity_factor: of the wire's resistance at the frequency, over that for direct current, by its own
    field and by its neighbours'; they add. quality_factor: by the loss of the wire alone.
    """

    turns: float
    inductance_h: float
    former_m: float = of("winding.former")
    mean_diameter_m: float = of("winding.mean_diameter")
    length_m: float
    depth_m: float | None = of("winding.depth")
    wire_m: float = of("winding.wire")
    pitch_m: float
    most_turns: float | None
    formula_balance: float | None
    self_capacitance_f: float | None
    self_resonance_hz: float | None
    wire_length_m: float
    temperature_degc: float = of("winding.temperature")
    dc_resistance_ohm: float
    frequency_hz: float = of("winding.frequency")
    skin_factor: float
    proximity_factor: float
    quality_factor: float


def wound(winding: Winding, turns: float | None, inductance: float | None) -> WoundCoil:
    """The coil of so many `turns`, or of the turns (not rounded) that give `inductance`, H.

    Raises DesignError where no number of turns does, and where a single layer does not fit its length.
    """
    count = turns if turns is not None else _turns_for(winding, inductance or 0.0)
    diameter, extent = winding.mean_diameter, winding.extent(count)
    layers = 1.0 if winding.depth is None else winding.depth / winding.pitch
    fitting = None if winding.length is None else extent / winding.pitch * layers
    if fitting is not None and count > fitting * (1.0 + 1e-9) and winding.depth is None:
        takes = f"{count:.0f} turns {millimetres(winding.pitch)} apart take {millimetres(count * winding.pitch)}"
        raise DesignError(
            f"{takes} and --length is {millimetres(extent)}: give a longer --length, a thinner --wire (or smaller "
            "--pitch), a wider --former, or --depth for many layers"
        )
    found = winding.inductance(count)
    own = None
    if winding.depth is None and MEDHURST_TABLE[0][0] <= extent / diameter <= MEDHURST_TABLE[-1][0]:
        own = float(self_capacitance(diameter, extent))
    path = count * (math.pi * diameter if winding.depth else math.hypot(math.pi * diameter, extent / count))
    resistivity = copper_resistivity(winding.temperature)
    resistance = resistivity * path / (0.25 * math.pi * winding.wire**2)
    skin = float(skin_factor(winding.wire, winding.frequency, resistivity))
    stacked = max(1.0, count * winding.pitch / extent)
    others = float(proximity_factor(winding.wire, winding.frequency, resistivity, count / extent, stacked))
    return collected(
        WoundCoil,
        {"winding": winding},
        turns=count,
        inductance_h=found,
        length_m=extent,
        pitch_m=winding.pitch if winding.length is None or winding.depth is not None else extent / count,
        most_turns=fitting,
        formula_balance=_balance(diameter, extent, winding.depth),
        self_capacitance_f=own,
        self_resonance_hz=None if own is None else float(resonant_frequency(found, own)),
        wire_length_m=path,
        dc_resistance_ohm=resistance,
        skin_factor=skin,
        proximity_factor=others,
        quality_factor=2.0 * math.pi * winding.frequency * found / (resistance * (skin + others)),
    )


def _balance(diameter: float, extent: float, depth: float | None) -> float | None:
    if depth is None:
        return None
    terms = 3.0 * diameter, 9.0 * extent, 10.0 * depth
    return max(terms) / min(terms)


def _turns_for(winding: Winding, inductance: float) -> float:
    """The turns that give an inductance, H, which rises with them in every case."""
    least, most = winding.inductance(1.0), winding.inductance(MOST_TURNS)
    if not least <= inductance <= most:
        raise DesignError(
            f"--inductance {format_quantity(inductance, 'H')} is out of reach on this former: one turn has "
            f"{format_quantity(least, 'H')}; give another --former"
        )
    return root(lambda turns: winding.inductance(turns) - inductance, 1.0, MOST_TURNS, xtol=1e-9)


def millimetres(length: float) -> str:
    """A length, m, as text."""
    return f"{1e3 * length:.4g} mm"
