"""Relative permittivity of air: pressure, temperature, humidity.

Symbols: p pressure of all the air, e that of the water vapour in it, hPa; T temperature, K; t the same, degrees C; h
relative humidity, 0 to 1; n refractive index of air for radio waves, the same at every frequency up to some 10 GHz;
N = 1e6 (n - 1).
    N = 77.6 p / T - 5.6 e / T + 3.75e5 e / T^2,   permittivity = n^2
    e = h 6.1121 exp((18.678 - t / 234.5) t / (257.14 + t))
Sources: E. K. Smith, S. Weintraub, Proc. IRE 41 (1953) 1035, in the form of Recommendation ITU-R P.453; vapour pressure
over water after A. L. Buck, J. Appl. Meteorol. 20 (1981) 1527, revised 1996 (all from memory). To some 0.5 % of N.
Neglected: what moisture does to wood, boards, dust and coil formers, which differs from instrument to instrument.
"""

from __future__ import annotations

import math

from models.checks import fraction, positive

ICE_POINT = 273.15  # K


def air_permittivity(temperature: float = 293.15, humidity: float = 0.5, pressure: float = 101325.0) -> float:
    """Relative permittivity at a temperature, K, relative humidity, 0 to 1, and pressure, Pa."""
    kelvin, total = positive("temperature", temperature), 0.01 * positive("pressure", pressure)
    celsius = kelvin - ICE_POINT
    saturated = 6.1121 * math.exp((18.678 - celsius / 234.5) * celsius / (257.14 + celsius))
    vapour = fraction("humidity", humidity) * saturated
    refractivity = (77.6 * total - 5.6 * vapour + 3.75e5 * vapour / kelvin) / kelvin
    return (1.0 + 1e-6 * refractivity) ** 2
