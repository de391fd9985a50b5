"""Warmer devices: the fall of junction voltages, the bias at which a channel does not drift, limits, bad input."""

from __future__ import annotations

import numpy as np
import pytest

from models.circuit.diode import Diode
from models.circuit.field_effect import FieldEffect, FieldEffectPorts
from models.circuit.inverter import Inverter
from models.circuit.transistor import Transistor
from models.circuit.triode import Triode
from models.circuit.warm_transistor import LARGEST_RISE, warmed, warmed_device
from models.junction import thermal_voltage


def base_emitter_voltage(transistor: Transistor, current: float) -> float:
    """V = VT ln(I / IS), far above IS."""
    return float(thermal_voltage(transistor.temperature) * np.log(current / transistor.saturation_current))


@pytest.mark.parametrize("current", [1e-5, 1e-3])
def test_base_emitter_voltage_falls_by_two_millivolt_a_kelvin(current):
    """-2 mV/K is common practice for silicon (from memory; -1.7 to -2.3 by current)."""
    cold = Transistor()
    slope = (base_emitter_voltage(warmed(cold, 10.0), current) - base_emitter_voltage(cold, current)) / 10.0
    assert -2.4e-3 < slope < -1.6e-3


@pytest.mark.parametrize("emission_factor", [1.0, 1.8])
def test_forward_voltage_of_a_diode_falls_as_much_whatever_its_emission_factor(emission_factor):
    """-2 mV/K at 0.6 V is common practice for silicon diodes (from memory; -1.7 to -2.3 by current)."""
    drop = 0.6
    scale = emission_factor * thermal_voltage(300.0)
    cold = Diode(saturation_current=1e-3 * np.exp(-drop / scale), emission_factor=emission_factor)
    warm = warmed_device(cold, 10.0)
    after = emission_factor * thermal_voltage(warm.temperature) * np.log(1e-3 / warm.saturation_current)
    assert -2.3e-3 < (after - drop) / 10.0 < -1.7e-3


def test_a_channel_does_not_drift_some_0_7_volts_above_pinch_off():
    """There the fall of the mobility and that of the pinch-off cancel: 0.6 to 0.8 V, common practice (from memory)."""

    def drain_current(part, above):
        voltages = np.array([[part_cold.pinch_off + above], [part_cold.pinch_off - 5.0]])
        return float(-FieldEffectPorts(part).evaluate(voltages).currents[1, 0])

    part_cold = FieldEffect(channel_slope=0.0)
    part_warm = warmed_device(part_cold, 10.0)
    assert drain_current(part_warm, 0.5) > drain_current(part_cold, 0.5)
    assert drain_current(part_warm, 1.0) < drain_current(part_cold, 1.0)


def test_an_inverter_gets_more_resistance_and_a_triode_stays():
    cold = Inverter()
    assert warmed_device(cold, 30.0).output_resistance == pytest.approx(cold.output_resistance * 1.1**1.5, rel=1e-12)
    assert warmed_device(Triode(), 30.0) == Triode()
    with pytest.raises(ValueError, match="rise"):
        warmed_device(Diode(), LARGEST_RISE + 1.0)


def test_saturation_current_doubles_in_some_five_kelvin():
    """Common practice (from memory): a saturation current doubles in about 5 K near room temperature."""
    cold = Transistor()
    assert 1.7 < warmed(cold, 5.0).saturation_current / cold.saturation_current < 2.5


def test_no_rise_changes_nothing_and_a_round_trip_returns():
    cold = Transistor()
    assert warmed(cold, 0.0) == cold
    back = warmed(warmed(cold, 20.0, 0.0), -20.0, 0.0)
    assert back.saturation_current == pytest.approx(cold.saturation_current, rel=1e-12, abs=0.0)
    assert back.collector_junction.potential == pytest.approx(0.75, rel=1e-12)


def test_junctions_and_gain_go_up():
    cold, warm = Transistor(), warmed(Transistor(), 20.0, 5e-3)
    assert warm.forward_gain == pytest.approx(1.1 * cold.forward_gain)
    ratio = warm.collector_junction.zero_bias_capacitance / cold.collector_junction.zero_bias_capacitance
    assert ratio == pytest.approx(1.0 + (400e-6 * 20.0 + 0.04 / 0.75) / 3.0, rel=1e-12)


def test_bad_input():
    for rise in (np.nan, 200.0, -200.0):
        with pytest.raises(ValueError, match="rise"):
            warmed(Transistor(), rise)
    with pytest.raises(ValueError, match="forward_gain"):
        warmed(Transistor(), -100.0, 2e-2)
