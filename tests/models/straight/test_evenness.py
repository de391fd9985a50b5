"""Evenness of candidate circuits against closed forms, the pitch field of the instrument, and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import ROD

from models.branch.antenna_branch import SeriesInductor, starting_conductances
from models.branch.loss import mode_starts
from models.builds.build_law import PARTS, BuildLaw, Builds, gauss
from models.hand.capacitance_curve import CapacitanceCurve
from models.straight.evenness import (
    FieldGoal,
    Tolerances,
    builds_of,
    evenness,
    retuned_spread,
    spread,
    starting_margin,
    tuned_rms,
)
from models.straight.front import lossy_rms, magnetic_share
from models.straight.search import FieldParts
from models.tank import Tank

HIGH, LOW = BuildLaw(ROD, "high", 1.0), BuildLaw(ROD, "low", 1.0)
GOAL = FieldGoal(65.4, 1046.5, 0.05, 0.50, lock_range=1.0)


def row(**changes: float) -> Builds:
    values = {
        "tank_inductance": 1e-3,
        "tank_capacitance": 340e-12,
        "branch_inductance": 40e-3,
        "self_capacitance": 1e-12,
        "antenna_stray": 3e-12,
    } | changes
    return Builds(*(np.array([values[name]]) for name in PARTS))


DIRECT_ROW = row(branch_inductance=0.0, self_capacitance=0.0)


def test_exponential_field_is_perfectly_even():
    """A capacitance made so that the pitch falls exponentially with distance (closed form): 0 cents, known places."""
    places = np.geomspace(0.01, 0.80, 800)
    per_metre = np.log(3000.0 / 30.0) / 0.59
    notes = 3000.0 * np.exp(-per_metre * (places - 0.01))  # Hz: 30 Hz at 0.60 m, on the way to zero beat beyond it
    notes = np.where(places > 0.6, notes - 3000.0 * (places - 0.6) ** 2, notes)
    tank = row(branch_inductance=0.0, self_capacitance=0.0, tank_capacitance=100e-12)
    reference = 480_000.0
    antenna = LOW.hand_with(tank, (reference - notes)[None, :])[0]
    beyond = float(LOW.hand_with(tank, np.array([[reference + 500.0]]))[0, 0])
    field = BuildLaw(CapacitanceCurve(places, antenna, beyond))
    at = {note: 0.01 + np.log(3000.0 / note) / per_metre for note in (65.4, 1046.5)}
    even = evenness(field, tank, np.array([at[65.4]]), FieldGoal(65.4, 1046.5, 0.05, 0.5))
    assert even.rms_cents[0] == pytest.approx(0.0, abs=0.05)
    assert even.high_distance[0] == pytest.approx(at[1046.5], rel=1e-4)
    assert even.carrier[0] == pytest.approx(reference - 65.4, abs=0.05)
    assert even.zero_beat[0] == pytest.approx(np.interp(0.0, notes[::-1], places[::-1]), rel=1e-3)


def test_margin_of_starting_is_first_order_of_the_exact_one():
    circuit = row()
    parts = Tank(1e-3, 340e-12, quality_factor=200.0), SeriesInductor(40e-3, 150.0, 1e-12)
    found = starting_margin(HIGH, circuit, np.array([0.3]), 200.0, 150.0)[0]
    low, high = starting_conductances(*parts, float(ROD.capacitance(0.3)) + 3e-12)
    assert_allclose(found, low / high, rtol=0.02)
    assert np.isinf(starting_margin(LOW, DIRECT_ROW, np.array([0.3]), 90.0, 60.0))


def test_loss_vanishes_with_high_quality_and_follows_the_exact_start():
    circuit = row()
    even = evenness(HIGH, circuit, np.array([0.36]), GOAL)
    zero = float(even.zero_beat[0])
    ideal = lossy_rms(HIGH, circuit, FieldParts(tank_q=1e6, branch_q=1e6), GOAL, zero)
    assert ideal == pytest.approx(float(even.rms_cents[0]), abs=0.05)
    lossy = lossy_rms(HIGH, circuit, FieldParts(tank_q=60.0, branch_q=30.0), GOAL, zero)
    w = 1.0 / np.sqrt(1e-3 * 340e-12)
    places = np.linspace(0.02, zero, 30_000)
    start = mode_starts(
        1e-3, 340e-12, 40e-3, ROD.capacitance(places[::300]) + 3e-12, 1e-12, w * 1e-3 / 60.0, w * 40e-3 / 30.0
    ).frequencies[1]
    beat = start[-1] - start
    assert (np.diff(start) > 0.0).all()
    inside = (np.hypot(65.4, 1.0) <= beat) & (beat <= np.hypot(1046.5, 1.0))
    at = places[::300][inside]
    brute = 600.0 * np.log2(beat[inside] ** 2 - 1.0)
    residual = brute - np.polynomial.Polynomial.fit(at, brute, 1)(at)
    assert lossy == pytest.approx(float(np.sqrt(np.mean(residual**2))), rel=0.05)
    assert abs(lossy - float(even.rms_cents[0])) > 0.01


def test_magnetic_share_is_the_slope_with_inductance():
    """d ln f / d ln La = -m / 2, by central difference."""
    circuit, step = row(), 1e-4
    share, hand = magnetic_share(HIGH, circuit, 0.3), ROD.capacitance([0.3])
    up, down = (HIGH.frequency(row(branch_inductance=40e-3 * side), hand)[0, 0] for side in (1 + step, 1 - step))
    assert share == pytest.approx(-np.log(up / down) / step, rel=1e-5)
    assert magnetic_share(LOW, DIRECT_ROW, 0.3) == 0.0


def test_builds_without_tolerance_are_the_nominal_one():
    circuit = row()
    even = evenness(HIGH, circuit, np.array([0.36]), GOAL)
    exact = Tolerances(0.0, 0.0, 0.0).factors(5, 1)
    found = spread(HIGH, GOAL, circuit, float(even.zero_beat[0]), exact)
    assert found.mean_cents == pytest.approx(float(even.rms_cents[0]), rel=1e-3)
    assert found.held == 1.0
    assert found.worst_cents == pytest.approx(found.mean_cents, rel=1e-9)


def test_few_places_are_enough():
    """The search looks at 16 places of a played range, and at 10 where builds are many: against 300."""
    for distance in (0.30, 0.36, 0.42):
        few, coarse, many = (
            float(evenness(HIGH, row(), np.array([distance]), GOAL, gauss(points)).rms_cents[0])
            for points in (16, 10, 300)
        )
        assert few == pytest.approx(many, rel=1e-4)
        assert coarse == pytest.approx(many, rel=2e-3)


def test_builds_stay_in_their_bands_and_are_seeded():
    factors = Tolerances(0.05, 0.02, 0.2).factors(4000, 3)
    assert np.array_equal(factors, Tolerances(0.05, 0.02, 0.2).factors(4000, 3))
    assert not np.array_equal(factors, Tolerances(0.05, 0.02, 0.2).factors(4000, 4))
    assert_allclose(np.abs(factors - 1.0).max(axis=0), [0.05, 0.02, 0.05, 0.2, 0.2], rtol=0.01)
    assert_allclose(factors.std(axis=0), np.array([0.05, 0.02, 0.05, 0.2, 0.2]) / np.sqrt(3.0), rtol=0.05)


def test_retuning_never_harms_and_wider_tolerances_do():
    circuit = row()
    zero = float(evenness(HIGH, circuit, np.array([0.36]), GOAL).zero_beat[0])
    found = []
    for size in (0.01, 0.03, 0.06):
        factors = Tolerances(size, size, 0.1).factors(120, 2)
        coarse = np.nanmean(tuned_rms(HIGH, GOAL, builds_of(circuit, factors), np.full(120, zero), gauss(10)))
        retuned = retuned_spread(HIGH, GOAL, circuit, zero, factors, (-30e-12, 30e-12))
        assert retuned.held >= spread(HIGH, GOAL, circuit, zero, factors).held
        if spread(HIGH, GOAL, circuit, zero, factors).held == 1.0:
            assert retuned.mean_cents <= coarse
        found.append(spread(HIGH, GOAL, circuit, zero, factors).worst_cents)
    assert found[0] < found[1] < found[2]


@pytest.mark.parametrize("arguments", [(0.0, 1.0, 0.1, 0.2), (9.0, 3.0, 0.1, 0.2), (1.0, 2.0, 0.3, 0.2)])
def test_goals_are_checked(arguments):
    with pytest.raises(ValueError, match="must be >"):
        FieldGoal(*arguments)
