"""What temperature does to a transistor: thermal voltage, saturation current, current gain, junctions.

Symbols: T0 its written temperature, T = T0 + rise, Eg band gap of silicon, k Boltzmann's constant, phi built-in
potential of a junction, m its grading, C0 its capacitance without voltage.

    IS(T) = IS (T / T0)^3 exp((Eg / k) (1 / T0 - 1 / T)),  Eg = 1.12 eV           (textbook, from memory)
    phi(T) = phi - 2 mV/K rise                                                      (rule of thumb, from memory)
    C0(T) = C0 (1 + m (400 ppm/K rise - (phi(T) - phi) / phi))                      (textbook, from memory)
    beta(T) = beta (1 + b rise),  b some +0.5 %/K                                   (rule of thumb, from memory)

With the thermal voltage these give the well-known fall of the base-emitter voltage at a given current by about 2 mV/K.
Neglected: transit times and base resistance with temperature, self-heating, leakage other than IS.
"""

from __future__ import annotations

import math
from dataclasses import replace

from scipy import constants

from models.checks import finite
from models.circuit.transistor import DepletionJunction, Transistor

BAND_GAP = 1.12 * constants.elementary_charge  # J, of silicon near 300 K, from memory
POTENTIAL_SLOPE = -2e-3  # V/K
CAPACITANCE_SLOPE = 400e-6  # 1/K, before the potential's share
USUAL_GAIN = 5e-3  # 1/K, of the current gain, from memory
LARGEST_RISE = 120.0  # K either way: beyond, the rules of thumb say nothing


def warmed(transistor: Transistor, rise: float, gain_per_kelvin: float = USUAL_GAIN) -> Transistor:
    """The transistor `rise` K warmer (negative: colder); ValueError beyond LARGEST_RISE, and where no gain is left."""
    if abs(finite("rise", rise)) > LARGEST_RISE:
        raise ValueError(f"rise must be within {LARGEST_RISE:g} K either way; got {rise:g}")
    finite("gain_per_kelvin", gain_per_kelvin)
    before, after = transistor.temperature, transistor.temperature + rise
    exponent = BAND_GAP / constants.Boltzmann * (1.0 / before - 1.0 / after)
    gain = 1.0 + gain_per_kelvin * rise
    return replace(
        transistor,
        temperature=after,
        saturation_current=transistor.saturation_current * (after / before) ** 3 * math.exp(exponent),
        forward_gain=transistor.forward_gain * gain,
        reverse_gain=transistor.reverse_gain * gain,
        emitter_junction=_warmed_junction(transistor.emitter_junction, rise),
        collector_junction=_warmed_junction(transistor.collector_junction, rise),
    )


def _warmed_junction(junction: DepletionJunction, rise: float) -> DepletionJunction:
    potential = junction.potential + POTENTIAL_SLOPE * rise
    change = CAPACITANCE_SLOPE * rise - (potential - junction.potential) / junction.potential
    return replace(
        junction,
        potential=potential,
        zero_bias_capacitance=junction.zero_bias_capacitance * (1.0 + junction.grading * change),
    )
