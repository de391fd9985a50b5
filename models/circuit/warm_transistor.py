"""What temperature does to a transistor: thermal voltage, saturation current, current gain, junctions.

Symbols: T0 its written temperature, T = T0 + rise, Eg band gap of silicon, k Boltzmann's constant, n emission factor (1
of a transistor and of the gate of a field-effect one), phi built-in potential of a junction, m its grading, C0 its
capacitance without voltage.

    IS(T) = IS ((T / T0)^3 exp((Eg / k) (1 / T0 - 1 / T)))^(1 / n),  Eg = 1.12 eV   (textbook, from memory)
    phi(T) = phi - 2 mV/K rise                                                      (rule of thumb, from memory)
    C0(T) = C0 (1 + m (400 ppm/K rise - (phi(T) - phi) / phi))                      (textbook, from memory)
    beta(T) = beta (1 + b rise),  b some +0.5 %/K                                   (rule of thumb, from memory)

With the thermal voltage these give the well-known fall of the base-emitter voltage, and of a silicon diode's forward
voltage, at a given current by about 2 mV/K.
Neglected: transit times and base resistance with temperature, self-heating, leakage other than IS.
"""

from __future__ import annotations

import math
from dataclasses import replace

from models.checks import finite
from models.circuit.diode import Diode
from models.circuit.drawing import Device, Drawing
from models.circuit.inverter import Inverter
from models.circuit.transistor import DepletionJunction, Transistor
from models.circuit.triode import Triode
from models.constants import BOLTZMANN, ELEMENTARY_CHARGE

BAND_GAP = 1.12 * ELEMENTARY_CHARGE  # J, of silicon near 300 K, from memory
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
    gain = 1.0 + gain_per_kelvin * rise
    return replace(
        transistor,
        temperature=after,
        saturation_current=transistor.saturation_current * _saturation(before, after),
        forward_gain=transistor.forward_gain * gain,
        reverse_gain=transistor.reverse_gain * gain,
        emitter_junction=_warmed_junction(transistor.emitter_junction, rise),
        collector_junction=_warmed_junction(transistor.collector_junction, rise),
    )


def _saturation(before: float, after: float, emission_factor: float = 1.0) -> float:
    """By what the saturation current grows from one temperature, K, to another."""
    exponent = BAND_GAP / BOLTZMANN * (1.0 / before - 1.0 / after)
    return math.exp((3.0 * math.log(after / before) + exponent) / emission_factor)


def _warmed_junction(junction: DepletionJunction, rise: float) -> DepletionJunction:
    potential = junction.potential + POTENTIAL_SLOPE * rise
    change = CAPACITANCE_SLOPE * rise - (potential - junction.potential) / junction.potential
    return replace(
        junction,
        potential=potential,
        zero_bias_capacitance=junction.zero_bias_capacitance * (1.0 + junction.grading * change),
    )


def warmed_drawing(drawing: Drawing, rise: float, gain_per_kelvin: float = USUAL_GAIN) -> Drawing:
    """The drawing with every semiconductor in it `rise` K warmer; valves and linear parts as they are."""
    for part in drawing.devices:
        assert isinstance(part.what, Device)
        drawing = drawing.with_part(part.name, warmed_device(part.what, rise, gain_per_kelvin))
    return drawing


def warmed_device(device: Device, rise: float, gain_per_kelvin: float = USUAL_GAIN) -> Device:
    """A device `rise` K warmer; a triode is not changed. ValueError beyond LARGEST_RISE.

    Of junctions as above; of a channel, K(T) = K (T / T0)^-1.5 and V_P(T) = V_P - 2 mV/K rise (from memory); of an
    inverter, R(T) = R (T / T0)^1.5 (the mobility of its channels, from memory).
    """
    if isinstance(device, Transistor):
        return warmed(device, rise, gain_per_kelvin)
    if isinstance(device, Triode):
        return device
    if abs(finite("rise", rise)) > LARGEST_RISE:
        raise ValueError(f"rise must be within {LARGEST_RISE:g} K either way; got {rise:g}")
    before, after = device.temperature, device.temperature + rise
    if isinstance(device, Inverter):
        return replace(device, temperature=after, output_resistance=device.output_resistance * (after / before) ** 1.5)
    if isinstance(device, Diode):
        current = device.saturation_current * _saturation(before, after, device.emission_factor)
        junction = _warmed_junction(device.junction, rise)
        return replace(device, temperature=after, saturation_current=current, junction=junction)
    return replace(
        device,
        temperature=after,
        saturation_current=device.saturation_current * _saturation(before, after),
        factor=device.factor * (after / before) ** -1.5,
        pinch_off=device.pinch_off + POTENTIAL_SLOPE * rise,
        source_junction=_warmed_junction(device.source_junction, rise),
        drain_junction=_warmed_junction(device.drain_junction, rise),
    )
