"""Junctions: limits, charge as the integral of capacitance, and no overflow."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from models.junction import (
    SAFE_EXPONENT,
    depletion,
    depletion_capacitance,
    exponential_junction,
    thermal_voltage,
)


def test_thermal_voltage_from_the_exact_si_constants():
    # k = 1.380649e-23 J/K and q = 1.602176634e-19 C are exact (SI Brochure, 9th edition)
    assert_allclose(thermal_voltage(300.0), 1.380649e-23 * 300.0 / 1.602176634e-19, rtol=1e-15)


@pytest.mark.parametrize("temperature", [0.0, -1.0, float("nan"), True])
def test_bad_temperature_is_refused(temperature):
    with pytest.raises(ValueError, match="temperature"):
        thermal_voltage(temperature)


def test_current_rises_tenfold_in_the_textbook_60_millivolts():
    # 59.5 mV a decade at 300 K: ln(10) V_T
    thermal = thermal_voltage(300.0)
    low, _ = exponential_junction(0.5, 1e-14, thermal)
    high, _ = exponential_junction(0.5 + np.log(10.0) * thermal, 1e-14, thermal)
    assert_allclose(high / low, 10.0, rtol=1e-6)
    assert_allclose(exponential_junction(-5.0, 1e-14, thermal)[0], -1e-14, rtol=1e-12)


def test_conductance_is_the_slope_and_nothing_overflows():
    thermal = 0.0259
    voltages = np.array([-20.0, 0.0, 0.6, SAFE_EXPONENT * thermal + 0.1, 1e4])
    current, slope = exponential_junction(voltages, 1e-14, thermal)
    assert np.isfinite(current).all()
    step = 1e-6
    above, _ = exponential_junction(voltages + step, 1e-14, thermal)
    below, _ = exponential_junction(voltages - step, 1e-14, thermal)
    assert_allclose(slope[1:4], ((above - below) / (2 * step))[1:4], rtol=1e-6)
    assert (np.diff(current) > 0).all()


def test_abrupt_junction_halves_at_three_potentials():
    # m = 1/2: C = C_0 / sqrt(1 + V / V_j), so C_0 / 2 at 3 V_j reverse
    assert_allclose(depletion_capacitance(-3 * 0.7, 10e-12, 0.7, 0.5), 5e-12, rtol=1e-14)
    assert_allclose(depletion_capacitance(0.0, 10e-12, 0.7, 0.5), 10e-12, rtol=1e-15)


@pytest.mark.parametrize("voltage", [-12.0, -1.0, 0.2, 0.36, 0.39, 0.8])
def test_charge_is_the_integral_of_the_capacitance(voltage):
    parameters = (8e-12, 0.75, 1 / 3, 0.5)
    integral, _ = quad(
        lambda v: float(depletion_capacitance(v, *parameters)) * 1e12, 0.0, voltage, points=[0.375], epsabs=1e-13
    )
    capacitance, charge = depletion(voltage, *parameters)
    assert_allclose(charge, integral * 1e-12, rtol=1e-9, atol=0)
    assert_allclose(capacitance, depletion_capacitance(voltage, *parameters), rtol=1e-15, atol=0)


def test_capacitance_rises_with_forward_voltage_without_a_step():
    voltages = np.linspace(-12.0, 1.0, 4001)
    capacitance = depletion_capacitance(voltages, 8e-12, 0.75, 1 / 3)
    assert (np.diff(capacitance) > 0).all()
    assert np.max(np.diff(capacitance)) < 0.03e-12
