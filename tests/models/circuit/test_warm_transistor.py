"""A warmer transistor: the fall of its base-emitter voltage, limits, bad input."""

from __future__ import annotations

import numpy as np
import pytest

from models.circuit.transistor import Transistor
from models.circuit.warm_transistor import warmed
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
