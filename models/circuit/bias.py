"""The four-resistor bias with its fine-tune potentiometer and decoupling.

From the decoupled supply: upper resistor, potentiometer, lower resistor to ground; the wiper is decoupled to ground by
its own capacitor and feeds the base through the feed resistor; the base is decoupled to ground for the radio frequency.
The emitter resistor sets the current. Turning the wiper up raises the base, so it lowers the reverse voltage of the
collector junction (more junction capacitance) and raises the current.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.checks import finite, finite_array, fraction, non_negative, positive, positive_array


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


def open_wiper_voltage(supply: ArrayLike, above: ArrayLike, below: ArrayLike) -> NDArray[np.float64]:
    """Return the wiper voltage, V, with no base current.

    Symbols: V wiper, V_s supply, R_a resistance above, R_b below.  V = V_s R_b / (R_a + R_b)
    """
    above, below = positive_array("above", above), positive_array("below", below)
    voltage: NDArray[np.float64] = finite_array("supply", supply) * below / (above + below)
    return voltage


def emitter_current(
    wiper_voltage: float, source_resistance: float, emitter_resistor: float, forward_gain: float, junction: float
) -> float:
    """Return the emitter current, A, of the four-resistor bias with a given junction voltage, V (hand analysis).

    Symbols: V wiper open-circuit voltage, V_be junction voltage, R_s resistance feeding the base, beta forward gain.
    I_e = (V - V_be) / (R_e + R_s / (beta + 1))   (any electronics textbook)
    Valid in the forward active region only. Raises ValueError when the base is too low for any current.
    """
    drop = finite("wiper_voltage", wiper_voltage) - finite("junction", junction)
    positive("emitter_resistor", emitter_resistor)
    non_negative("source_resistance", source_resistance)
    positive("forward_gain", forward_gain)
    if drop <= 0.0:
        raise ValueError(f"bias: base voltage {wiper_voltage:g} V is below the junction voltage {junction:g} V")
    return drop / (emitter_resistor + source_resistance / (forward_gain + 1.0))
