"""Chokes in series with stray capacitance at their joints: the chain between a tank and its antenna, without loss.

Circuit: n equal chokes of inductance L, each with its self-capacitance Cs across it, one after another from the tank
to the antenna; a tap stray Ct from each of the n - 1 joints to earth. Chain (ABCD) matrices, one per part, multiply:

    choke [[1, j x], [0, 1]],  x = w L / (1 - w^2 L Cs);      tap [[1, 0], [j w Ct, 1]]

Their product [[A, j b], [j c, A]] is that of a coil of reactance b with a capacitance (1 - A) / (w b) to earth at
either end: the pi equivalent, exact at w. An instrument plays within a percent of one frequency, so a chain behaves
like one coil with some more stray; the tests compare it with the whole ladder.
Derived here. Neglected: loss, magnetic coupling between the chokes, and stray from choke to choke.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import non_negative_array, positive_array, whole

#: F to earth at each joint of two chokes: our assumption for parts in the air above a board, wherever nothing is said.
USUAL_JOINT_STRAY = 0.5e-12
STEP = 1e-4  # of the frequency, for its derivative
ABOVE = "chokes must be used below their self-resonance; the frequency is at or above it"


class PiEquivalent(NamedTuple):
    """One coil in place of a chain: H, F across it, and F to earth at either end."""

    inductance: Floats
    self_capacitance: Floats
    end_stray: Floats


def pi_equivalent(
    choke_inductance: ArrayLike,
    choke_self_capacitance: ArrayLike,
    joint_stray: ArrayLike,
    frequency: ArrayLike,
    chokes: int,
) -> PiEquivalent:
    """The coil and end strays that equal a chain of `chokes` equal chokes at `frequency` (Hz); broadcasts.

    Between the ends a chain has the susceptance B = -1 / b; coil and self-capacitance are those with the same B and
    the same slope with frequency, dB/dw (by central difference): Cs = (B' + B / w) / 2, 1 / L = w (w B' - B) / 2.
    Raises ValueError where the chain is not inductive there (a choke at or above its self-resonance), and where tap
    stray so outweighs the chokes' own that no coil equals it.
    """
    whole("chokes", chokes, 1)
    angular = 2.0 * math.pi * positive_array("frequency", frequency)
    inductance = positive_array("choke_inductance", choke_inductance)
    own = non_negative_array("choke_self_capacitance", choke_self_capacitance)
    tap = non_negative_array("joint_stray", joint_stray)
    if chokes == 1:
        shape = np.broadcast(angular, inductance, own, tap).shape
        if not (angular**2 * inductance * own < 1.0).all():
            raise ValueError(ABOVE)
        return PiEquivalent(np.broadcast_to(inductance, shape), np.broadcast_to(own, shape), np.zeros(shape))
    at = np.array([1.0, 1.0 + STEP, 1.0 - STEP]).reshape(3, *np.ones(np.ndim(inductance + own + tap + angular), int))
    (a, *_), (b, *around) = _chain(inductance, own, tap, angular * at, chokes)
    susceptance, above, below = (-1.0 / reactance for reactance in (b, *around))
    slope = (above - below) / (2.0 * STEP * angular)
    capacitance = 0.5 * (slope + susceptance / angular)
    rounding = 1e-6 * np.abs(susceptance) / angular  # of the difference: a chain without any stray comes out as 0
    if (capacitance < -rounding).any():
        raise ValueError("joint_stray outweighs the chokes' self-capacitance; no single coil equals the chain")
    capacitance = np.maximum(capacitance, 0.0)
    return PiEquivalent(
        inductance=np.asarray(1.0 / (angular * (angular * capacitance - susceptance))),
        self_capacitance=capacitance,
        end_stray=np.asarray((1.0 - a) / (angular * b)),
    )


def _chain(inductance: Floats, own: Floats, tap: Floats, angular: Floats, chokes: int) -> tuple[Floats, Floats]:
    """A and b of the chain matrix [[A, j b], [j c, A]] at an angular frequency."""
    room = 1.0 - angular**2 * inductance * own
    if not (room > 0.0).all():
        raise ValueError(ABOVE)
    reactance, shunt = np.broadcast_arrays(angular * inductance / room, angular * tap)
    a, b, c, d = np.ones_like(reactance), reactance, np.zeros_like(reactance), np.ones_like(reactance)
    for _ in range(chokes - 1):
        a, c = a - b * shunt, c + d * shunt
        b, d = b + a * reactance, d - c * reactance
    if not (b > 0.0).all():
        raise ValueError("the chain of chokes must be inductive; its taps resonate below the frequency")
    return a, b
