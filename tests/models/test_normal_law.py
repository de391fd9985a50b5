"""The normal law against scipy.special, a general-purpose reference library."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr, ndtri

from models.normal_law import quantile, share_below


def test_quantiles_are_those_of_the_reference_library() -> None:
    shares = np.concatenate([np.linspace(0.0005, 0.9995, 1999), np.geomspace(1e-300, 0.1, 400), [0.075, 0.925, 0.5]])
    assert_allclose(quantile(shares), ndtri(shares), rtol=4e-15, atol=1e-15)
    assert_allclose(quantile(1.0 - shares[:100]), -quantile(shares[:100]), rtol=1e-12, atol=0.0)


def test_what_it_is_asked_keeps_its_shape() -> None:
    assert quantile(np.full((3, 2), 0.3)).shape == (3, 2)
    # 1.959964: the two-sided 95 % point of every handbook's table
    assert float(quantile(0.975)) == pytest.approx(1.959963984540054, rel=1e-15)
    assert quantile(np.array([0.0, 1.0])).tolist() == [-np.inf, np.inf]


@pytest.mark.parametrize("value", [-8.0, -5.0, -1.0, 0.0, 0.3, 2.0, 9.0])
def test_shares_are_those_of_the_reference_library_and_lead_back(value: float) -> None:
    assert_allclose(share_below(value), ndtr(value), rtol=2e-14, atol=0.0)
    if abs(value) <= 2.0:
        assert_allclose(quantile(share_below(value)), value, rtol=1e-14, atol=1e-15)
