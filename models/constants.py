"""Constants of nature, SI.

The first two are exact by the definition of the units (BIPM, The International System of Units, 9th edition, 2019); the
others are the CODATA recommended values of 2022.
"""

from typing import Final

BOLTZMANN: Final = 1.380649e-23  # J/K
ELEMENTARY_CHARGE: Final = 1.602176634e-19  # C
VACUUM_PERMITTIVITY: Final = 8.8541878188e-12  # F/m
VACUUM_PERMEABILITY: Final = 1.25663706127e-6  # H/m
