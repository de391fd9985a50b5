"""Circuits on which harmonic balance is compared with the integration in time: our own, light to heavy.

The decouplings are 22 nF instead of 100 nF so that the bias settles within some hundred cycles after switch-on.
"""

from __future__ import annotations

from dataclasses import replace

from models.circuit.bias import Bias
from models.circuit.common_base import AntennaLoad, Load, OscillatorCircuit

SMALL = Bias(wiper_capacitor=22e-9, base_capacitor=22e-9)
NORMAL = OscillatorCircuit(bias=SMALL)

CIRCUITS: dict[str, OscillatorCircuit] = {
    "normal": NORMAL,
    "light drive": replace(NORMAL, bias=replace(SMALL, emitter_resistor=220e3)),
    "heavy drive": replace(
        NORMAL,
        feedback_capacitor=470e-12,
        emitter_capacitor=4.7e-9,
        fixed_capacitor=47e-12,
        inductor_q=30.0,
        bias=replace(SMALL, emitter_resistor=18e3),
    ),
    "supply-limited": replace(
        NORMAL,
        feedback_capacitor=470e-12,
        emitter_capacitor=4.7e-9,
        fixed_capacitor=47e-12,
        bias=replace(SMALL, emitter_resistor=22e3, upper_resistor=22e3, lower_resistor=22e3),
    ),
    "low Q": replace(NORMAL, inductor_q=12.0),
    "heavy load": replace(NORMAL, output_resistor=15e3, load=Load(8.2e3, 100e-12)),
    "pot at 0": NORMAL.with_pot(0.0),
    "pot at 1": NORMAL.with_pot(1.0),
    "100 kHz": replace(NORMAL, inductance=2.2e-3, inductor_q_frequency=100e3, fixed_capacitor=910e-12),
    "500 kHz": replace(
        NORMAL,
        inductance=220e-6,
        inductor_q_frequency=500e3,
        fixed_capacitor=200e-12,
        bias=replace(SMALL, emitter_resistor=33e3),
    ),
    "antenna branch": replace(
        NORMAL, fixed_capacitor=100e-12, antenna=AntennaLoad(12e-12, 40e-3, 1000.0, 2e-12), load=None
    ),
}
