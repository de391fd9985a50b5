"""Choices of tank values against brute force over all corners and over random builds, and the IEC 60063 series."""

from __future__ import annotations

import itertools
import math
from functools import partial

import numpy as np
import pytest

from models.branch.modes import mode_frequencies
from models.builds.choose_values import (
    TankAntenna,
    TankChoice,
    TankTarget,
    ValueRange,
    antenna_load,
    choice_of,
    choose_values,
    upper_mode,
)
from models.preferred_values import nearest
from models.tank import resonant_frequency

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
STRAY = ValueRange(20 * P, 14 * P, 26 * P)
GOAL = TankTarget(250e3, STRAY)
COIL = ValueRange(40e-3, 38.5e-3, 41.5e-3)
ROD = TankAntenna(ValueRange(9 * P, 8.5 * P, 9.5 * P), COIL, 1e-12)
BEHIND = TankTarget(280e3, STRAY, antenna=ROD)


def build_frequency(goal: TankTarget, choice: TankChoice, signs: np.ndarray, ends: bool) -> np.ndarray:
    """Frequencies of builds; signs (6, n), -1..1, of coil, capacitor, stray, trimmer, antenna, branch; `ends`: trimmer
    in."""

    def between(spread: ValueRange, sign: np.ndarray) -> np.ndarray:
        return spread.value + sign * np.where(sign > 0, spread.most - spread.value, spread.value - spread.least)

    coil = choice.inductance * (1 + signs[0] * goal.inductor_tolerance)
    end = choice.trimmer_maximum if ends else choice.trimmer_minimum
    total = (
        choice.capacitance * (1 + signs[1] * goal.capacitor_tolerance)
        + between(goal.board_stray, signs[2])
        + end * (1 + signs[3] * goal.trimmer_tolerance)
    )
    if goal.antenna is None:
        return resonant_frequency(coil, total)
    rod = between(goal.antenna.capacitance, signs[4])
    branch = between(goal.antenna.branch_inductance, signs[5])
    both = mode_frequencies(coil, total, branch, rod, goal.antenna.self_capacitance)
    return both[upper_mode(goal.antenna, goal.frequency)]


CORNERS = np.array(list(itertools.product((-1.0, 1.0), repeat=6))).T
NOMINAL = np.zeros((6, 1))


def corners(goal: TankTarget, choice: TankChoice) -> tuple[float, float]:
    """Over all 64 corners: the highest frequency with the trimmer in, the lowest with it out."""
    return (
        float(build_frequency(goal, choice, CORNERS, True).max()),
        float(build_frequency(goal, choice, CORNERS, False).min()),
    )


@pytest.mark.parametrize("goal", [GOAL, BEHIND, TankTarget(280e3, STRAY, 0.02, 0.01, antenna=ROD)])
@pytest.mark.parametrize(
    "values", [(1e-3, 330e-12, 20e-12, 100e-12), (1e-3, 220e-12, 30e-12, 150e-12), (0.82e-3, 390e-12, 10e-12, 47e-12)]
)
def test_reach_is_that_of_all_corners(goal, values):
    choice = choice_of(goal, *values)
    low, high = corners(goal, choice)
    assert choice.reaches == (low <= goal.frequency <= high)
    if choice.sure_range is None:
        assert low > high
    else:
        assert choice.sure_range == close((low, high), rel=1e-12)
    assert choice.range[0] == close(float(build_frequency(goal, choice, NOMINAL, True)[0]), rel=1e-12)
    assert choice.range[1] == close(float(build_frequency(goal, choice, NOMINAL, False)[0]), rel=1e-12)


@pytest.mark.parametrize("goal", [GOAL, BEHIND])
def test_random_builds_of_a_choice_all_reach_the_target(goal):
    best = choose_values({1e-3: goal})[0]
    assert best.reaches
    signs = np.random.default_rng(9).uniform(-1, 1, (6, 3000))
    assert (build_frequency(goal, best, signs, True) <= goal.frequency).all()
    assert (build_frequency(goal, best, signs, False) >= goal.frequency).all()


def test_nominal_setting_lands_on_the_target():
    best = choose_values({1e-3: GOAL})[0]
    trimmer = best.trimmer_minimum + best.setting * (best.trimmer_maximum - best.trimmer_minimum)
    total = best.capacitance + STRAY.value + trimmer
    assert resonant_frequency(best.inductance, total) == close(250e3, rel=1e-12)


def test_best_choice_is_that_of_a_plain_search():
    found = choose_values({1e-3: GOAL, 0.82e-3: GOAL}, count=1000)
    tops = [figures * 10.0**decade * P for figures in (1.0, 1.5, 2.2, 3.3, 4.7, 6.8) for decade in (0, 1, 2)]
    fixed = [
        figures * 10.0**decade * P
        for figures in (1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
        for decade in (1, 2)
    ]
    able = []
    for coil, value, top in itertools.product((1e-3, 0.82e-3), fixed, tops):
        if max(value, top) > 1 / (2 * math.pi * 250e3) ** 2 / coil - STRAY.value:
            continue  # alone too large for the tank
        choice = choice_of(GOAL, coil, value, 0.2 * top, top)
        low, high = corners(GOAL, choice)
        if low <= GOAL.frequency <= high:
            able.append(top)
    assert found[0].trimmer_maximum == close(min(able), rel=1e-9)
    assert len(found) == len(able)


def test_values_are_preferred_ones():
    for choice in choose_values({1e-3: GOAL}, "E24", "E12"):
        assert nearest("E24", choice.capacitance) == choice.capacitance
        assert nearest("E12", choice.trimmer_maximum) == choice.trimmer_maximum


def test_tighter_parts_need_no_larger_trimmer():
    tops = [
        choose_values({1e-3: TankTarget(250e3, STRAY, tolerance, tolerance)}, "E48", "E48")[0].trimmer_maximum
        for tolerance in (0.0, 0.01, 0.02, 0.05)
    ]
    assert tops == sorted(tops)
    assert tops[0] < tops[-1]


def test_nothing_reaches_is_said_with_the_smallest_miss():
    found = choose_values({1e-3: TankTarget(250e3, STRAY, 0.6, 0.6)})
    assert 1 <= len(found) <= 3
    assert not found[0].reaches
    assert min(found[0].margins) >= min(found[-1].margins)


def test_antenna_load_makes_up_the_tank():
    """1 mH, 400 pF, 10 pF behind 40 mH: 232 536.862 and 272 325.597 Hz (computed from the circuit's determinant)."""
    for frequency in (232536.862, 272325.597):
        load = antenna_load(
            TankAntenna(ValueRange(10 * P, 10 * P, 10 * P), ValueRange(40e-3, 40e-3, 40e-3)), frequency
        ).value
        assert resonant_frequency(1e-3, 400 * P + load) == close(frequency, rel=1e-7)
    direct = antenna_load(TankAntenna(ValueRange(10 * P, 9 * P, 12 * P)), 1e5)
    assert (direct.least, direct.value, direct.most) == (9 * P, 10 * P, 12 * P)


def test_bad_input():
    with pytest.raises(ValueError, match="resonates at the target"):
        antenna_load(ROD, 1 / (2 * math.pi * math.sqrt(40e-3 * 10e-12)))
    with pytest.raises(ValueError, match="less capacitance"):
        choose_values({1e-3: TankTarget(5e6, STRAY)})
    for bad in (
        lambda: TankTarget(0.0, STRAY),
        lambda: TankTarget(1e5, STRAY, 1.0),
        lambda: TankTarget(1e5, STRAY, -0.1),
        lambda: ValueRange(1.0, 2.0, 3.0),
        lambda: ValueRange(math.nan, 0.0, 1.0),
        lambda: choose_values({}),
        lambda: choice_of(GOAL, 1e-3, 1e-10, 2e-12, 1e-12),
    ):
        with pytest.raises(ValueError, match="must"):
            bad()
