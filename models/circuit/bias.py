"""The four-resistor bias with its fine-tune potentiometer and decoupling.

From the decoupled supply: upper resistor, potentiometer, lower resistor to ground; the wiper is decoupled to ground by
its own capacitor and feeds the base through the feed resistor; the base is decoupled to ground for the radio frequency.
The emitter resistor sets the current. Turning the wiper up raises the base, so it lowers the reverse voltage of the
collector junction (more junction capacitance) and raises the current.
"""

from __future__ import annotations

from models.checks import fraction, positive
from models.quick_dataclass import dataclass


@dataclass(frozen=True, slots=True)
class Bias:
    """The parts of the bias, ohm and F; `position` of the wiper is 0 at the lower resistor, 1 at the upper one.

    The defaults are our own choice for the default oscillator at 9 V.
    """

    upper_resistor: float = 33e3
    potentiometer: float = 22e3
    lower_resistor: float = 10e3
    feed_resistor: float = 4.7e3
    emitter_resistor: float = 33e3
    wiper_capacitor: float = 100e-9
    base_capacitor: float = 100e-9
    position: float = 0.5

    def __post_init__(self) -> None:
        for name in (
            "upper_resistor",
            "potentiometer",
            "lower_resistor",
            "feed_resistor",
            "emitter_resistor",
            "wiper_capacitor",
            "base_capacitor",
        ):
            positive(name, getattr(self, name))
        fraction("position", self.position)

    @property
    def above_wiper(self) -> float:
        """Resistance from the supply to the wiper, ohm."""
        return self.upper_resistor + (1.0 - self.position) * self.potentiometer

    @property
    def below_wiper(self) -> float:
        """Resistance from the wiper to ground, ohm."""
        return self.lower_resistor + self.position * self.potentiometer
