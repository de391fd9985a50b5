"""A tapped tank coil: against the whole network by other means, and its limits."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from oracles import tapped_conductances, tapped_modes
from scipy.optimize import brentq

from models.branch.antenna_branch import SeriesInductor, starting_conductances
from models.branch.modes import mode_frequencies
from models.branch.tapped_coil import (
    Tap,
    branch_from_tap,
    seen_from_tap,
    with_leakage,
)
from models.tank import Tank

TANK = Tank(1e-3, 270e-12, 25e-12, 10e-12, 110e-12, 0.5, 90.0)
BRANCH = SeriesInductor(40e-3, 60.0, 1e-12)
ANTENNA = np.array([9.0e-12, 9.4e-12, 10.0e-12])


def equivalent(tank: Tank, branch: SeriesInductor, tap: Tap, antenna):
    """What the instrument is computed with."""
    tank, branch = seen_from_tap(tank, tap), branch_from_tap(branch, tank, tap)
    return np.stack(
        mode_frequencies(tank.inductance, tank.total_capacitance, branch.inductance, antenna, branch.self_capacitance),
        axis=-1,
    )


def zeros_of_admittance(tank: Tank, branch: SeriesInductor, tap: Tap, antenna: float, guesses) -> list[float]:
    """Independent: zeros of the determinant of the nodal admittance, mesh of coupled coils inverted by hand."""
    below, above, mutual = tap.parts(tank.inductance)
    whole = below * above - mutual**2

    def determinant(frequency: float) -> float:
        w = 2.0 * np.pi * frequency
        bottom, top, cross = above / whole / w, below / whole / w, -mutual / whole / w  # inverse of [[L1, M], [M, L2]]
        choke = 1.0 / (w * branch.inductance) - w * branch.self_capacitance
        rows = np.array(
            [
                [w * tank.total_capacitance - top, top - cross, 0.0],
                [top - cross, -(bottom + top - 2.0 * cross) - choke, choke],
                [0.0, choke, w * antenna - choke],
            ]
        )
        return float(np.linalg.det(rows * 1e5))

    return [brentq(determinant, guess * 0.999, guess * 1.001, xtol=1e-7) for guess in guesses]


@pytest.mark.parametrize("turns", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("coupling", [0.5, 0.95])
def test_modes_against_nodal_admittance(turns, coupling):
    tap = Tap(turns, coupling)
    found = tapped_modes(1e-3, TANK.total_capacitance, tap, 40e-3, ANTENNA[1], 1e-12)
    assert_allclose(found, zeros_of_admittance(TANK, BRANCH, tap, ANTENNA[1], found), rtol=1e-9, atol=0.0)


@pytest.mark.parametrize("coupling", [0.5, 0.95])
@pytest.mark.parametrize("own", [0.0, 1e-12])
def test_equivalent_is_the_whole_network(own, coupling):
    """Exact without self-capacitance; with it, the mode near the tank's frequency within a part in a million."""
    branch, tap = SeriesInductor(40e-3, 60.0, own), Tap(0.3, coupling)
    whole = tapped_modes(1e-3, TANK.total_capacitance, tap, 40e-3, ANTENNA, own)
    near = np.argmin(np.abs(whole[0] - TANK.frequency))
    found = equivalent(TANK, branch, tap, ANTENNA)
    assert_allclose(found[:, near], whole[:, near], rtol=1e-10 if own == 0.0 else 1e-6, atol=0.0)
    # and what the hand does, which is what is played
    assert_allclose(np.diff(found[:, near]), np.diff(whole[:, near]), rtol=1e-8 if own == 0.0 else 1e-3, atol=0.0)


def test_tap_at_the_hot_end_is_the_plain_branch():
    end = Tap(1.0, 0.6)
    assert end.ratio == 1.0
    assert end.leakage_share == 0.0
    assert seen_from_tap(TANK, end) == TANK
    assert branch_from_tap(BRANCH, TANK, end) == BRANCH
    nearly = equivalent(TANK, BRANCH, Tap(1.0 - 1e-9, 0.6), ANTENNA)
    assert_allclose(nearly, equivalent(TANK, BRANCH, end, ANTENNA), rtol=1e-7, atol=0.0)


def test_full_coupling_is_an_ideal_transformer():
    """k = 1 (textbook autotransformer): ratio of the turns, no leakage; tap low down: the antenna hardly counts."""
    tap = Tap(0.25, 1.0)
    assert tap.ratio == pytest.approx(0.25, rel=1e-12)
    assert tap.leakage_share == 0.0
    assert_allclose(
        tapped_modes(1e-3, 3e-10, Tap(0.25, 1.0 - 1e-9), 40e-3, 10e-12),
        np.stack(mode_frequencies(1e-3 / 16, 4.8e-9, 40e-3, 10e-12)),
        rtol=1e-6,
        atol=0.0,
    )


def test_pull_of_the_hand_falls_with_the_square_of_the_ratio():
    """Far from the branch's resonance the hand's pull goes with p^2 (to first order in a small pull)."""
    branch = SeriesInductor(2e-3, 60.0)
    pull = [-np.diff(equivalent(TANK, branch, tap, ANTENNA[:2])[:, 0])[0] for tap in (Tap(0.1, 1.0), Tap(0.2, 1.0))]
    assert pull[1] / pull[0] == pytest.approx(4.0, rel=0.02)


def test_loss_by_perturbation_agrees_with_the_equivalent():
    """Starting conductance across the whole coil: first order here, exact roots there, turned by p^2."""
    tap = Tap(0.3, 0.95)
    ohms = TANK.series_resistance, BRANCH.series_resistance(TANK.frequency)
    found = tapped_conductances(1e-3, TANK.total_capacitance, tap, 40e-3, ANTENNA, 1e-12, *ohms)
    tank, branch = seen_from_tap(TANK, tap), branch_from_tap(BRANCH, TANK, tap)
    exact = np.stack(starting_conductances(tank, branch, ANTENNA), axis=-1) * tap.ratio**2
    near = np.argmin(found[0])
    assert_allclose(found[:, near], exact[:, near], rtol=0.03, atol=0.0)


def test_parts_of_the_coil_add_up():
    for tap in (Tap(0.3, 0.4), Tap(0.7, 0.99)):
        below, above, mutual = tap.parts(2e-3)
        assert below + above + 2.0 * mutual == pytest.approx(2e-3, rel=1e-12, abs=0.0)
        assert mutual / np.sqrt(below * above) == pytest.approx(tap.coupling, rel=1e-12)
        leak = below - (below + mutual) ** 2 / 2e-3
        assert tap.leakage_share * 2e-3 == pytest.approx(leak, rel=1e-9, abs=0.0)


@pytest.mark.parametrize("bad", [0.0, -0.1, 1.1, np.nan])
def test_bad_input(bad):
    for name in ("turns", "coupling"):
        with pytest.raises(ValueError, match=name):
            Tap(**{name: bad})
    with pytest.raises(ValueError, match="self-resonance"):
        with_leakage(40e-3, 20e-12, 1e-5, 250e3)
