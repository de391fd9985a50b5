"""Evenness of candidate circuits against closed forms, the pitch field of the instrument, and brute force."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.branch.antenna_branch import SeriesInductor, starting_conductances
from models.branch.loss import mode_starts
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.pitch_field import pitch_field
from models.straight.build_spread import Tolerances, builds_of, retuned_spread, spread, tuned_rms
from models.straight.cost import lossy_rms, magnetic_share
from models.straight.evenness import Candidates, FieldTable, Goal, rms_from_line
from models.straight.search import Parts
from models.tank import Tank

DISTANCES = np.geomspace(0.01, 0.80, 60)
EMPTY = 6.5e-12


def curve_like_a_hand() -> CapacitanceCurve:
    """An invented curve of the usual shape: steep near the rod, dying away far from it."""
    return CapacitanceCurve(DISTANCES, EMPTY + 0.09e-12 / (DISTANCES + 0.03) * np.exp(-2.0 * DISTANCES), EMPTY)


CURVE = curve_like_a_hand()
TABLE = FieldTable(CURVE)
GOAL = Goal(65.4, 1046.5, 0.05, 0.50, lock_range=1.0)


def row(low_distance: float = 0.38, mode: str = "high", **changes: float) -> Candidates:
    values = {
        "tank_inductance": 1e-3,
        "tank_capacitance": 340e-12,
        "branch_inductance": 40e-3,
        "self_capacitance": 1e-12,
        "antenna_stray": 3e-12,
    } | changes
    return Candidates(
        **{name: np.array([value]) for name, value in values.items()}, low_distance=np.array([low_distance]), mode=mode
    )


def test_straight_rows_are_straight_and_a_bow_is_known():
    steps = np.linspace(0.0, 1.0, 4001)
    assert_allclose(rms_from_line([3.0 - 700.0 * steps, 2.0 + steps]), 0.0, atol=1e-9)
    # x^2 on 0..1 leaves x^2 - x + 1/6, whose mean square is 1/180
    assert_allclose(rms_from_line(steps**2), np.sqrt(1.0 / 180.0), rtol=1e-3)


def test_exponential_field_is_perfectly_even():
    """A capacitance made so that the pitch falls exponentially with distance (closed form): 0 cents, known places."""
    places = np.geomspace(0.01, 0.80, 800)
    per_metre = np.log(3000.0 / 30.0) / 0.59
    notes = 3000.0 * np.exp(-per_metre * (places - 0.01))  # Hz: 30 Hz at 0.60 m, on the way to zero beat beyond it
    notes = np.where(places > 0.6, notes - 3000.0 * (places - 0.6) ** 2, notes)
    tank = row(mode="low", branch_inductance=0.0, self_capacitance=0.0, tank_capacitance=100e-12)
    reference = 480_000.0
    antenna = tank.capacitance_at(reference - notes) - 3e-12
    beyond = float(tank.capacitance_at(np.array([reference + 500.0]))[0]) - 3e-12
    field = FieldTable(CapacitanceCurve(places, antenna, beyond))
    at = {note: 0.01 + np.log(3000.0 / note) / per_metre for note in (65.4, 1046.5)}
    even = field.evenness(tank.with_low_distance(np.array([at[65.4]])), Goal(65.4, 1046.5, 0.05, 0.5))
    assert even.rms_cents[0] == pytest.approx(0.0, abs=0.05)
    assert even.high_distance[0] == pytest.approx(at[1046.5], rel=1e-4)
    assert even.carrier[0] == pytest.approx(reference - 65.4, abs=0.05)
    assert even.zero_beat[0] == pytest.approx(np.interp(0.0, notes[::-1], places[::-1]), rel=1e-3)


def test_inverse_is_closed_form():
    for circuit in (row(), row(mode="low"), row(mode="low", branch_inductance=0.0, self_capacitance=0.0)):
        for capacitance in (9e-12, 10e-12, 12e-12):
            frequency = circuit.frequency(np.array([[capacitance]]))[0]
            assert_allclose(circuit.capacitance_at(frequency), capacitance, rtol=1e-8)


def test_table_keeps_the_curve():
    places = np.geomspace(0.011, 0.79, 777)
    assert_allclose(TABLE.capacitance(places) - EMPTY, CURVE.capacitance(places) - EMPTY, rtol=1e-5)
    assert_allclose(TABLE.distance_of(CURVE.capacitance(places)), places, rtol=1e-5)
    assert np.isnan(TABLE.distance_of(np.array([EMPTY, 1e-10]))).all()


@pytest.mark.parametrize("mode", ["high", "low"])
def test_agrees_with_the_pitch_field_of_the_instrument(mode):
    """The same circuit through models.instrument and models.pitch_field: another path to every figure."""
    circuit = row(0.33, mode)
    even = TABLE.evenness(circuit, GOAL)
    tank = Tank(1e-3, 340e-12)
    reference = float(even.carrier[0]) + float(np.hypot(65.4, 1.0))
    field = pitch_field(Instrument(CURVE, tank, reference, SeriesInductor(40e-3, 60.0, 1e-12), 3e-12, mode, 1.0))
    if not np.isfinite(even.rms_cents[0]):
        assert not (field.reaches(1046.5) and field.zero_beat_distance)
        return
    assert_allclose(even.high_distance[0], field.distance_at(1046.5), rtol=1e-4)
    assert_allclose(even.zero_beat[0], field.zero_beat_distance, rtol=1e-4)
    # 40 samples against the 2000 of the pitch field
    assert_allclose(even.rms_cents[0], field.linearity_error_between(65.4, 1046.5), rtol=0.02)


def test_margin_of_starting_is_first_order_of_the_exact_one():
    circuit = row()
    parts = Tank(1e-3, 340e-12, quality_factor=200.0), SeriesInductor(40e-3, 150.0, 1e-12)
    found = TABLE.starting_margin(circuit, np.array([0.3]), 200.0, 150.0)[0]
    low, high = starting_conductances(*parts, float(CURVE.capacitance(0.3)) + 3e-12)
    assert_allclose(found, low / high, rtol=0.02)
    assert np.isinf(TABLE.starting_margin(row(branch_inductance=0.0, mode="low"), np.array([0.3]), 90.0, 60.0))


def test_loss_vanishes_with_high_quality_and_follows_the_exact_start():
    circuit = row(0.36)
    even = TABLE.evenness(circuit, GOAL)
    zero = float(even.zero_beat[0])
    ideal = lossy_rms(CURVE, circuit, Parts(tank_q=1e6, branch_q=1e6), GOAL, zero)
    assert ideal == pytest.approx(float(even.rms_cents[0]), abs=0.05)
    lossy = lossy_rms(CURVE, circuit, Parts(tank_q=60.0, branch_q=30.0), GOAL, zero)
    w = 1.0 / np.sqrt(1e-3 * 340e-12)
    places = np.linspace(0.02, zero, 30_000)
    start = mode_starts(
        1e-3, 340e-12, 40e-3, CURVE.capacitance(places[::300]) + 3e-12, 1e-12, w * 1e-3 / 60.0, w * 40e-3 / 30.0
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
    share = magnetic_share(CURVE, circuit, 0.3)
    capacitance = np.array([[float(CURVE.capacitance(0.3)) + 3e-12]])
    up, down = (row(branch_inductance=40e-3 * factor).frequency(capacitance)[0, 0] for factor in (1 + step, 1 - step))
    assert share == pytest.approx(-np.log(up / down) / step, rel=1e-5)
    assert magnetic_share(CURVE, row(branch_inductance=0.0, mode="low"), 0.3) == 0.0


def test_builds_without_tolerance_are_the_nominal_one():
    circuit = row(0.36)
    even = TABLE.evenness(circuit, GOAL)
    exact = Tolerances(0.0, 0.0, 0.0).factors(5, 1)
    found = spread(TABLE, GOAL, circuit, even.zero_beat, exact)
    assert found.mean_cents == pytest.approx(float(even.rms_cents[0]), rel=1e-3)
    assert found.held == 1.0
    assert found.worst_cents == pytest.approx(found.mean_cents, rel=1e-9)


def test_builds_stay_in_their_bands_and_are_seeded():
    factors = Tolerances(0.05, 0.02, 0.2).factors(4000, 3)
    assert np.array_equal(factors, Tolerances(0.05, 0.02, 0.2).factors(4000, 3))
    assert not np.array_equal(factors, Tolerances(0.05, 0.02, 0.2).factors(4000, 4))
    assert_allclose(np.abs(factors - 1.0).max(axis=0), [0.05, 0.02, 0.05, 0.2, 0.2], rtol=0.01)
    assert_allclose(factors.std(axis=0), np.array([0.05, 0.02, 0.05, 0.2, 0.2]) / np.sqrt(3.0), rtol=0.05)


def test_retuning_never_harms_and_wider_tolerances_do():
    circuit = row(0.36)
    zero = TABLE.evenness(circuit, GOAL).zero_beat
    found = []
    for size in (0.01, 0.03, 0.06):
        factors = Tolerances(size, size, 0.1).factors(120, 2)
        rows, places = builds_of(circuit, zero, factors)
        coarse = np.nanmean(tuned_rms(TABLE, GOAL, rows, places, 24))
        retuned = retuned_spread(TABLE, GOAL, circuit, zero, factors, (-30e-12, 30e-12))
        assert retuned.held >= spread(TABLE, GOAL, circuit, zero, factors).held
        if spread(TABLE, GOAL, circuit, zero, factors).held == 1.0:
            assert retuned.mean_cents <= coarse
        found.append(spread(TABLE, GOAL, circuit, zero, factors).worst_cents)
    assert found[0] < found[1] < found[2]


@pytest.mark.parametrize("arguments", [(0.0, 1.0, 0.1, 0.2), (9.0, 3.0, 0.1, 0.2), (1.0, 2.0, 0.3, 0.2)])
def test_goals_are_checked(arguments):
    with pytest.raises(ValueError, match="must be >"):
        Goal(*arguments)
