"""How long the oscillation takes from switch-on: an estimate from the growth rate and the bias filter."""

from __future__ import annotations

import math

import numpy as np

from models.circuit.drawing import without_load
from models.circuit.small_signal import small_signal
from models.circuit.steady_state import SteadyState
from models.circuit.switch_on import catching_time

REACHED = 0.9
"""Share of the final swing that counts as started."""
GROWTH_TIMES = 12.0
"""Growth times from the disturbance of switching on to the final swing (from some 20 uV to some volts)."""


def startup_estimate(state: SteadyState) -> float:
    """Return the time, s, from switch-on until the swing reaches REACHED of that of `state`: roughly.

    Symbols: t_b slowest time constant of the bias (of the circuit at rest, without its load, whose coupling capacitor
    charges slowly but holds nothing up), sigma growth rate from rest.
    t^2 = (t_b ln(1 / (1 - REACHED)))^2 + (GROWTH_TIMES / sigma)^2
    The first term lets the bias come up, with which the swing rises in proportion; the second the tank; both run partly
    at the same time, hence the squares. An own rule, no more than an order: on the eleven circuits to compare
    0.4 to 3.5 times what the transient says, on six of them 0.8 to 1.0 times; too long where the supply limits the
    swing or the bias overshoots; too short close to the threshold and where the bias comes up no slower than the tank.
    An oscillation that does not grow from rest has the time at which enough growth is gathered while the bias comes up
    (models.circuit.switch_on; ValueError where it never is).
    """
    growth = small_signal(state.circuit).growth_rate
    if growth <= 0.0:
        return catching_time(state.circuit)
    roots = small_signal(without_load(state.circuit)).roots
    decays = -roots.real[(np.abs(roots.imag) <= 1e-6 * np.abs(roots)) & (roots.real < 0.0)]
    bias = 1.0 / float(decays.min()) if decays.size else 0.0
    return math.hypot(bias * math.log(1.0 / (1.0 - REACHED)), GROWTH_TIMES / growth)
