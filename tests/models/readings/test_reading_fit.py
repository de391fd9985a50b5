"""The fit of readings against closed forms, brute force, and the coverage of its intervals on made-up tanks."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from scipy.optimize import minimize

from models.branch.modes import mode_frequencies
from models.pulling import pulled_beat
from models.readings.fit import Fit, Problem, fit_readings, solved
from models.readings.identify import best_next_reading, entangled, not_told, sums_told
from models.readings.instrument_model import (
    BeatOf,
    ControlOf,
    FrequencyOf,
    InstrumentModel,
    LevelOf,
    Rows,
    TunedFrequency,
)
from models.readings.unknowns import NORMAL_95, Unknown, values_of
from models.stray import tank_from_readings
from models.tank import resonant_frequency

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
COIL = Unknown("inductance", "H", 1e-3, math.log(30.0) / NORMAL_95, by_ratio=True)
STRAY = Unknown("stray", "F", 0.0, 400 * P, least=0.0)


def tank(
    capacitors: list[float],
    frequencies: list[float],
    unknowns: tuple[Unknown, ...] = (COIL, STRAY),
    counter: float = 1e-4,
    tolerance: float = 0.01,
    shares: dict[int, list[float]] | None = None,
) -> Problem:
    """A plain tank with fitted capacitors, F; `shares`: of further unknowns in the tank's capacitance, by place."""
    marks = sorted(set(capacitors))
    errors = [Unknown(f"capacitor {mark}", "ratio", 0.0, tolerance / NORMAL_95, nuisance=True) for mark in marks]
    whole = (*unknowns, *errors)
    offsets, of = np.zeros((5, len(capacitors))), np.zeros((5, len(capacitors), len(whole)))
    of[0, :, 0], of[1, :, 1], offsets[1] = 1.0, 1.0, capacitors
    for place, share in (shares or {}).items():
        of[1, :, place] = share
    for row, value in enumerate(capacitors):
        of[1, row, len(unknowns) + marks.index(value)] = value
    rows = Rows(offsets, of, np.zeros(len(capacitors), dtype=bool), np.zeros((len(capacitors), len(whole))))
    model = InstrumentModel(rows, tuple(FrequencyOf(row) for row in range(len(capacitors))))
    return Problem(whole, model, np.log(frequencies), np.full(len(capacitors), counter / NORMAL_95))


def read(capacitors: list[float], inductance: float = 1.1e-3, stray: float = 62 * P) -> list[float]:
    return [float(resonant_frequency(inductance, value + stray)) for value in capacitors]


FOUR = [47 * P, 100 * P, 220 * P, 470 * P]


def branched(truth: np.ndarray, high: list[bool], fitted: list[float]) -> Problem:
    """A tank with an antenna of 9 pF behind 40 mH: inductance, stray, antenna stray."""
    unknowns = (
        Unknown("inductance", "H", 1e-3, 0.025, by_ratio=True),
        STRAY,
        Unknown("antenna stray", "F", 3 * P, 2.5 * P, least=0.0),
    )
    count = len(fitted)
    offsets, of = np.zeros((5, count)), np.zeros((5, count, 3))
    of[0, :, 0], of[1, :, 1], of[3, :, 2] = 1.0, 1.0, 1.0
    offsets[1], offsets[2], offsets[3], offsets[4] = fitted, 40e-3, 9 * P, 1 * P
    frequencies = [
        float(mode_frequencies(truth[0], value + truth[1], 40e-3, 9 * P + truth[2], 1 * P)[one])
        for value, one in zip(fitted, high, strict=True)
    ]
    rows = Rows(offsets, of, np.zeros(count, dtype=bool), np.zeros((count, 3)))
    model = InstrumentModel(rows, tuple(FrequencyOf(row) for row in range(count)))
    return Problem(unknowns, model, np.log(frequencies), np.full(count, 5e-5))


def test_two_readings_of_common_practice():
    # common practice: 400 pF -> 147 kHz, 100 pF -> 172.278 kHz; 1.063 mH and 703 pF by the closed form
    fit = solved(tank([400 * P, 100 * P], [147e3, 172.278e3]))
    closed = tank_from_readings(400 * P, 147e3, 100 * P, 172.278e3)
    assert fit.values[0] == close(closed.inductance, rel=2e-4)  # what is assumed beforehand moves it by so little
    assert fit.values[1] == close(closed.elsewhere, rel=5e-4)
    assert np.abs(fit.residuals).max() < 1e-6


def test_two_readings_have_the_spread_of_the_closed_form():
    """First-order propagation through the closed form: differences of it in each of its four inputs."""
    given = [400 * P, 147e3, 100 * P, 172.278e3]
    fit = solved(tank([given[0], given[2]], [given[1], given[3]], counter=2e-5, tolerance=0.02))
    spreads = [0.02 / NORMAL_95, 2e-5 / NORMAL_95] * 2
    change = []
    for index, spread in enumerate(spreads):
        up, down = list(given), list(given)
        up[index] *= 1.0 + 1e-5
        down[index] *= 1.0 - 1e-5
        first, second = tank_from_readings(*up), tank_from_readings(*down)
        moved = [math.log(first.inductance / second.inductance), first.elsewhere - second.elsewhere]
        change.append([one / 2e-5 * spread for one in moved])
    expected = np.sqrt((np.array(change) ** 2).sum(axis=0))
    assert fit.told(0) * COIL.deviation == close(expected[0], rel=2e-3)
    assert fit.told(1) * STRAY.deviation == close(expected[1], rel=2e-3)


def test_derivatives_of_every_kind_of_reading():
    """Against central differences, in both modes, with a beat, a tuned reference and a level."""
    truth = np.array([1.02e-3, 60 * P, 3.5 * P, 202.5e3, 20.0, 1e-4])
    base = branched(truth, [True, False], [270 * P, 470 * P]).model.rows
    wide = Rows(
        base.offsets,
        np.concatenate([base.shares, np.zeros((5, 2, 3))], axis=2),
        np.array([True, False]),
        np.array([[0.0] * 5 + [1.0], [0.0] * 5 + [0.3]]),
    )
    level = LevelOf(1.0, np.array([0.0, 2e9, 0.0, 0.0, 0.1, 0.0]))
    model = InstrumentModel(wide, (FrequencyOf(0), FrequencyOf(1), BeatOf(1, 3, 4), TunedFrequency(3), level))
    read_, slopes = model.predicted(truth)
    variable = math.exp(read_[1])
    assert read_[2] == close(abs(float(pulled_beat(202.5e3 - variable, 20.0))), rel=1e-12)
    for place in range(truth.size):
        step = np.zeros(truth.size)
        step[place] = 1e-6 * truth[place]
        numeric = (model.predicted(truth + step)[0] - model.predicted(truth - step)[0]) / (2e-6 * truth[place])
        np.testing.assert_allclose(slopes[:, place], numeric, rtol=1e-4, atol=2e-6 * abs(numeric).max())


@pytest.mark.parametrize("away", [0.98, 0.999, 1.01])
def test_derivatives_of_the_voltage_behind_the_volume_sides_resonance(away):
    """Against central differences; the resonator `away` from the oscillator, its Q 40, with and without its diode."""
    tuned = tank([100 * P], read([100 * P]))
    model = InstrumentModel(
        Rows(
            tuned.model.rows.offsets,
            np.pad(tuned.model.rows.shares, ((0, 0), (0, 0), (0, 3))),
            np.zeros(1, dtype=bool),
            np.zeros((1, 6)),
        ),
        (ControlOf(0, 3, 4, 5, 0.5),),
    )
    truth = np.array([1.1e-3, 62 * P, 0.0, away * read([100 * P])[0], 40.0, 5.0])
    voltage, slopes = model.predicted(truth)
    # a single tuned circuit near its resonance, any textbook: 1 / sqrt(1 + Q^2 (f / f0 - f0 / f)^2)
    expected = 5.0 / math.sqrt(1.0 + (40.0 * (1.0 / away - away)) ** 2) - 0.5
    assert voltage[0] == close(expected, rel=1e-9)
    for place in (0, 1, 3, 4, 5):
        step = np.zeros(truth.size)
        step[place] = 1e-6 * truth[place]
        numeric = (model.predicted(truth + step)[0] - model.predicted(truth - step)[0]) / (2e-6 * truth[place])
        assert slopes[:, place] == close(numeric, rel=1e-4)
    faint = truth.copy()
    faint[5] = 0.3
    assert not np.any(model.predicted(faint)[0])
    assert not np.any(model.predicted(faint)[1])


def test_what_is_considered_widens_the_interval_as_much_as_it_may_be():
    """y = u + c + e, of which c is not fitted: u is read as y / (1 + s^2), wrong by (c + e - s^2 u) / (1 + s^2).

    u and c are 0 +- 1, e is 0 +- s.
    """
    spread = 0.5
    unknowns = (Unknown("u", "V", 0.0, 1.0), Unknown("c", "V", 0.0, 1.0, considered=True))
    rows = Rows(np.zeros((5, 0)), np.zeros((5, 0, 2)), np.zeros(0, dtype=bool), np.zeros((0, 2)))
    model = InstrumentModel(rows, (LevelOf(0.0, np.array([1.0, 1.0])),))
    fit = solved(Problem(unknowns, model, np.array([0.4]), np.array([spread])))
    assert fit.values[0] == close(0.4 / (1.0 + spread**2), rel=1e-9)
    assert fit.told(0) ** 2 == close((1.0 + spread**2 + spread**4) / (1.0 + spread**2) ** 2, rel=1e-9)


def test_needed_capacitance_lands_on_the_frequency():
    truth = np.array([1.02e-3, 60 * P, 3.5 * P])
    rows = branched(truth, [True], [270 * P]).model.rows.with_modes(np.array([True]))
    more = rows.needed(0, truth, 290e3)
    there = mode_frequencies(1.02e-3, 330 * P + more, 40e-3, 12.5 * P, 1 * P)
    assert float(there[1]) == close(290e3, rel=1e-10)


def test_exact_readings_give_back_the_truth():
    fit = solved(tank(FOUR, read(FOUR)))
    assert fit.values[:2] == close(np.array([1.1e-3, 62 * P]), rel=2e-4)
    for place, truth in ((0, 1.1e-3), (1, 62 * P)):
        value, low, high = fit.interval(place)
        assert low < truth < high
        assert low < value < high


def test_minimum_agrees_with_a_search_that_knows_no_derivatives():
    generator = np.random.default_rng(5)
    frequencies = [value * (1.0 + 5e-4 * generator.normal()) for value in read(FOUR)]
    problem = tank(FOUR, frequencies, counter=1e-3, tolerance=0.02)
    fit = solved(problem)

    def cost(point: np.ndarray) -> float:
        """Readings, capacitor errors and what is assumed beforehand, squared: written out, searched line by line."""
        inductance, stray, off = 1e-3 * math.exp(point[0]), point[1] * P, point[2:] * 0.02 / NORMAL_95
        model = resonant_frequency(inductance, np.array(FOUR) * (1 + off) + stray)
        ratios = np.log(frequencies / model) * NORMAL_95 / 1e-3
        priors = (point[0] * NORMAL_95 / math.log(30.0)) ** 2 + (point[1] / 400.0) ** 2
        return float((ratios**2).sum() + (point[2:] ** 2).sum() + priors)

    start = np.array([0.1, 60.0, 0.0, 0.0, 0.0, 0.0])
    found = minimize(cost, start, method="Powell", options={"xtol": 1e-10, "ftol": 1e-14, "maxiter": 3000})
    assert fit.objective <= found.fun * (1 + 1e-6)
    assert fit.objective == close(found.fun, rel=1e-3)


def test_interval_shrinks_with_the_errors_and_with_more_readings():
    widths = [solved(tank(FOUR, read(FOUR), counter=1e-4 * k, tolerance=0.01 * k)).told(1) for k in (1.0, 0.5)]
    assert widths[1] == close(0.5 * widths[0], rel=1e-3)
    assert solved(tank(FOUR[:3], read(FOUR[:3]))).told(1) > widths[0]


TRIMMER = (
    COIL,
    STRAY,
    Unknown("trimmer_minimum", "F", 8 * P, 10 * P, least=0.0),
    Unknown("trimmer_maximum", "F", 60 * P, 60 * P, least=0.0),
)


def test_trimmer_always_fitted_leaves_sums():
    settings = [(100 * P, 0.0), (100 * P, 1.0), (330 * P, 0.0), (470 * P, 1.0)]
    capacitors = [value for value, _ in settings]
    frequencies = [float(resonant_frequency(1.1e-3, value + 69 * P + at * 51 * P)) for value, at in settings]
    turned = {2: [1.0 - at for _, at in settings], 3: [at for _, at in settings]}
    fit = solved(tank(capacitors, frequencies, TRIMMER, shares=turned))
    assert not_told(fit) == ("trimmer_minimum",)
    sums = {part.parts: part.value for part in sums_told(fit)}
    assert sums[("stray", 1), ("trimmer_minimum", 1)] == close(69 * P, rel=5e-3)
    apart = [*settings, (100 * P, None)]
    turned = {2: [0.0 if at is None else 1.0 - at for _, at in apart], 3: [at or 0.0 for _, at in apart]}
    more = [*frequencies, float(resonant_frequency(1.1e-3, 162 * P))]
    assert not_told(solved(tank([*capacitors, 100 * P], more, TRIMMER, shares=turned))) == ()


def test_a_known_value_is_kept():
    exact = Unknown("inductance", "H", 1.1e-3, 0.0, by_ratio=True)
    fit = solved(tank([100 * P], read([100 * P]), (exact, STRAY)))
    assert fit.values[1] == close(62 * P, rel=1e-3)
    assert fit.interval(0) == (1.1e-3, 1.1e-3, 1.1e-3)


def test_one_marking_only_leaves_the_inductance_as_assumed():
    fit = solved(tank([100 * P, 100 * P], read([100 * P, 100 * P])))
    assert set(not_told(fit)) >= {"inductance"}
    assert fit.problem.model.predicted(fit.values)[0] == close(np.log(read([100 * P, 100 * P])), rel=1e-7)


def test_neighbouring_capacitors_hardly_tell_apart():
    near = [100 * P, 110 * P]
    assert entangled(solved(tank(near, read(near))))[0][:2] == ("inductance", "stray")
    far = [10 * P, 10e-9]
    assert not entangled(solved(tank(far, read(far))))


def test_best_next_reading_is_the_one_that_refits_find():
    """Brute force: each candidate appended with its exact frequency and fitted again."""
    first = [100 * P, 150 * P]
    fit = solved(tank(first, read(first)))
    more = [22 * P, 68 * P, 220 * P, 470 * P, 1000 * P]
    left, rows = [], []
    for value in more:
        again = solved(tank([*first, value], read([*first, value])))
        left.append(again.told(0) ** 2 + again.told(1) ** 2)
        truth = np.array([1.1e-3, 62 * P])
        step = 1e-6 * truth[1]
        by_stray = math.log(read([value], stray=62 * P + step)[0] / read([value])[0]) / step
        own = by_stray * value * 0.01 / NORMAL_95
        row = np.zeros(4)
        row[:2] = np.array([-0.5 / 1.1e-3, by_stray]) / math.hypot(1e-4 / NORMAL_95, own)
        rows.append(row)
    best = best_next_reading(fit, rows)
    assert best is not None
    assert best.place == int(np.argmin(left))
    assert best.remaining == close(min(left) / (fit.told(0) ** 2 + fit.told(1) ** 2), rel=1e-2)
    assert best_next_reading(fit, []) is None


def test_one_slip_is_left_out_and_the_others_are_not_spoilt():
    five = [47 * P, 100 * P, 220 * P, 330 * P, 470 * P]
    frequencies = read(five)
    marked = [47 * P, 100 * P, 220 * P, 390 * P, 470 * P]  # 330 pF read as 390 pF
    fit, slips, kept = fit_readings(tank(marked, frequencies))
    assert [slip.place for slip in slips] == [3]
    assert kept == (0, 1, 2, 4)
    assert fit.values[:2] == close(np.array([1.1e-3, 62 * P]), rel=1e-3)
    assert math.exp(slips[0].expected) == close(read([390 * P])[0], rel=1e-3)
    clean = fit_readings(tank(five, frequencies))
    assert clean[1] == ()
    assert clean[2] == (0, 1, 2, 3, 4)


def test_two_slips_of_seven_are_both_found():
    seven = [47 * P, 68 * P, 100 * P, 150 * P, 220 * P, 330 * P, 470 * P]
    frequencies = read(seven)
    frequencies[1] *= 1.1
    frequencies[5] *= 0.97
    _, slips, _ = fit_readings(tank(seven, frequencies))
    assert {slip.place for slip in slips} == {1, 5}


def test_three_readings_cannot_say_which_of_them_slipped():
    three = [100 * P, 220 * P, 470 * P]
    frequencies = read(three)
    frequencies[1] *= 1.05
    _, slips, kept = fit_readings(tank(three, frequencies))
    assert slips[0].others
    assert len(kept) == 3


def test_modes_are_settled_for_every_reading():
    truth = np.array([1.02e-3, 60 * P, 3.5 * P])
    for high, fitted in (
        ([True, False, False], [270 * P, 470 * P, 1000 * P]),
        ([False, False, False], [470 * P, 1000 * P, 2200 * P]),
        ([True, True, False, False], [150 * P, 270 * P, 470 * P, 1000 * P]),
    ):
        fit = solved(branched(truth, high, fitted))
        assert fit.problem.model.rows.high.tolist() == high
        for place, value in enumerate(truth):
            _, low, upper = fit.interval(place)
            assert low <= value <= upper


def test_nothing_comes_out_below_its_least():
    fit = solved(tank([100 * P, 200 * P], [2e5, 1e5]))  # (C1 + S) / (C2 + S) = 1 / 4: S would be -66.7 pF
    value, low, high = fit.interval(1)
    assert value == low == 0.0
    assert high > 0.0
    assert all(one >= 0.0 for place in range(2) for one in fit.interval(place))


def coverage(count: int, counter: float, tolerance: float, seed: int) -> list[float]:
    """Share of made-up benches whose 95 % intervals hold the truth: inductance, stray, both trimmer ends."""
    generator, hits = np.random.default_rng(seed), np.zeros(4)
    settings = [(47, None), (100, None), (220, None), (470, None), (100, 0.0), (100, 1.0), (330, 0.5)]
    capacitors = [value * P for value, _ in settings]
    turned = {2: [0.0 if at is None else 1.0 - at for _, at in settings], 3: [at or 0.0 for _, at in settings]}
    for _ in range(count):
        truth = [
            generator.uniform(0.5e-3, 3e-3),
            generator.uniform(3, 150) * P,
            generator.uniform(1, 9) * P,
            generator.uniform(40, 80) * P,
        ]
        off = {value: 1.0 + tolerance / NORMAL_95 * generator.normal() for value in set(capacitors)}
        frequencies = []
        for value, (_, at) in zip(capacitors, settings, strict=True):
            trimmer = 0.0 if at is None else truth[2] + at * (truth[3] - truth[2])
            exact = float(resonant_frequency(truth[0], value * off[value] + truth[1] + trimmer))
            frequencies.append(exact * (1.0 + counter / NORMAL_95 * generator.normal()))
        fit: Fit = solved(tank(capacitors, frequencies, TRIMMER, counter, tolerance, turned))
        for place in range(4):
            _, low, high = fit.interval(place)
            hits[place] += low <= truth[place] <= high
    return [float(one) / count for one in hits]


def test_intervals_hold_the_truth_in_a_few_benches():
    for share in coverage(15, 2e-5, 0.01, seed=21):
        assert share >= 0.8  # 95 %, less more than three standard deviations of 15 draws


@pytest.mark.parametrize(
    ("counter", "tolerance", "benches"),
    [
        pytest.param(2e-5, 0.01, 200, marks=pytest.mark.slow),
        pytest.param(1e-4, 0.05, 200, marks=pytest.mark.slow),
        pytest.param(2e-5, 0.01, 1000, marks=pytest.mark.soak),
        pytest.param(1e-4, 0.05, 1000, marks=pytest.mark.soak),
    ],
)
def test_intervals_hold_the_truth_in_93_of_100_benches(counter, tolerance, benches):
    shares = coverage(benches, counter, tolerance, seed=22)
    assert min(shares) >= 0.93
    assert any(share < 1.0 for share in shares), "intervals that always hold the truth are too wide"


@pytest.mark.parametrize(
    "make",
    [
        lambda: Unknown("x", "F", math.nan, 1.0),
        lambda: Unknown("x", "F", 1.0, -1.0),
        lambda: Unknown("x", "H", 0.0, 1.0, by_ratio=True),
        lambda: Unknown("x", "F", -1.0, 1.0, least=0.0),
        lambda: tank([100 * P], [math.nan]),
        lambda: solved(tank([100 * P], read([100 * P]))).place("colour"),
    ],
)
def test_bad_input(make):
    with pytest.raises(ValueError, match=r"must"):
        make()


def test_coordinates_are_counted_in_deviations():
    assert values_of((COIL, STRAY), np.array([0.0, 0.25])) == close([1e-3, 100 * P], rel=1e-12)
    assert COIL.value(NORMAL_95) == close(30e-3, rel=1e-12)
    assert STRAY.lowest == 0.0
