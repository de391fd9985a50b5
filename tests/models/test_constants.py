"""The constants of nature against those of scipy, which keeps the CODATA values of its own accord."""

import scipy.constants
from numpy.testing import assert_allclose

from models.constants import BOLTZMANN, ELEMENTARY_CHARGE, VACUUM_PERMEABILITY, VACUUM_PERMITTIVITY


def test_constants_are_the_published_ones():
    """Within 1e-9: two editions of CODATA differ by less than that in the last two."""
    ours = (BOLTZMANN, ELEMENTARY_CHARGE, VACUUM_PERMITTIVITY, VACUUM_PERMEABILITY)
    theirs = (
        scipy.constants.Boltzmann,
        scipy.constants.elementary_charge,
        scipy.constants.epsilon_0,
        scipy.constants.mu_0,
    )
    assert_allclose(ours, theirs, rtol=1e-9, atol=0)


def test_permittivity_and_permeability_make_the_speed_of_light():
    """mu0 eps0 c^2 = 1, c = 299 792 458 m/s by definition (BIPM, The International System of Units, 9th edition)."""
    assert_allclose(VACUUM_PERMITTIVITY * VACUUM_PERMEABILITY * 299_792_458.0**2, 1.0, rtol=1e-9)
