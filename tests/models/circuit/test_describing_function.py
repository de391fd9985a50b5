"""Describing function of the exponential device."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import i0e, i1e

from models.circuit.oscillator_start import bias_shift, drive_at, relative_transconductance


def test_table_of_relative_transconductance():
    # 2 I_1(x) / (x I_0(x)), Clarke & Hess (1971); the digits computed with general-purpose Bessel functions
    expected = [0.8927799, 0.6977747, 0.3573533, 0.1897200]
    assert_allclose(relative_transconductance([1.0, 2.0, 5.0, 10.0]), expected, rtol=3e-7)


def test_limits():
    assert relative_transconductance(0.0) == 1.0
    assert_allclose(relative_transconductance(0.01), 1 - 0.01**2 / 8, rtol=1e-9)
    assert_allclose(relative_transconductance(1e4), 2e-4, rtol=1e-4)


def test_fundamental_of_the_exponential_by_direct_fourier_sum():
    angle = 2 * np.pi * np.arange(4096) / 4096
    current = np.exp(7.0 * np.cos(angle))
    ratio = 2 * np.mean(current * np.cos(angle)) / np.mean(current) / 7.0
    assert_allclose(relative_transconductance(7.0), ratio, rtol=1e-12)
    assert_allclose(bias_shift(7.0), np.log(np.mean(current)), rtol=1e-12)


def test_both_are_those_of_a_librarys_bessel_functions():
    drive = np.geomspace(1e-3, 1e6, 40)
    assert_allclose(relative_transconductance(drive), 2.0 * i1e(drive) / (drive * i0e(drive)), rtol=1e-12)
    assert_allclose(bias_shift(drive), np.log(i0e(drive)) + drive, rtol=1e-9, atol=1e-14)


@pytest.mark.parametrize("drive", [0.05, 1.0, 12.0, 300.0])
def test_drive_is_the_inverse(drive):
    assert_allclose(drive_at(float(relative_transconductance(drive))), drive, rtol=1e-8)


@pytest.mark.parametrize("ratio", [0.0, 1.0, -0.2, float("nan")])
def test_bad_ratio(ratio):
    with pytest.raises(ValueError, match="ratio"):
        drive_at(ratio)
