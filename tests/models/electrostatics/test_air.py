"""The permittivity of air against measured values, and its limits."""

import pytest

from models.electrostatics.air import air_permittivity


def test_dry_air_at_0_degrees():
    # L. G. Hector, D. L. Woernley, Phys. Rev. 69 (1946) 101: 1.000 5899 at 0 degrees C and 1 atm (from memory).
    assert air_permittivity(273.15, 0.0) - 1.0 == pytest.approx(589.9e-6, rel=0.03)


def test_radio_refractivity_of_the_average_atmosphere():
    # N = 315 at sea level: ITU-R P.453 (from memory), an average over the globe; 15 degrees C and 60 % are usual there.
    assert 1e6 * (air_permittivity(288.15, 0.6) ** 0.5 - 1.0) == pytest.approx(315.0, rel=0.05)


def test_vapour_adds_more_the_warmer_it_is():
    at = [air_permittivity(kelvin, 0.6) - air_permittivity(kelvin, 0.4) for kelvin in (273.15, 293.15, 303.15)]
    assert 0.0 < at[0] < at[1] < at[2]
    # vapour of 23.39 hPa at 20 degrees C (steam tables, from memory), a fifth of it, in the formula
    assert at[1] == pytest.approx(2e-6 * (3.75e5 / 293.15**2 - 5.6 / 293.15) * 0.2 * 23.39, rel=3e-3)


@pytest.mark.parametrize("values", [(0.0, 0.5, 1e5), (293.0, 1.2, 1e5), (293.0, 0.5, -1.0)])
def test_bad_air_is_refused(values):
    with pytest.raises(ValueError, match="must be"):
        air_permittivity(*values)
