"""The fit of bench readings against closed forms, brute force, and the coverage of its intervals on made-up tanks."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from scipy.optimize import minimize

from models.branch.modes import branch_load, mode_frequencies
from models.junction import depletion_capacitance
from models.readings.fit import Fit, fit_readings, unit_direction
from models.readings.identify import best_next_reading, entangled, open_unknowns, sums_held
from models.readings.tank_model import (
    NORMAL_95,
    UNKNOWNS,
    Errors,
    FrequencyReading,
    Known,
    ReadingSet,
    Surroundings,
    reading_model,
)
from models.stray import tank_from_readings
from models.tank import resonant_frequency

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
BRANCH = Surroundings(branch_inductance=40e-3, branch_self_capacitance=1e-12, mode="high")


def read(
    settings: list[FrequencyReading],
    truth: dict[str, float],
    around: Surroundings | None = None,
    errors: Errors | None = None,
    generator: np.random.Generator | None = None,
) -> tuple[FrequencyReading, ...]:
    """The settings with the frequencies of a tank with values `truth`, by formulas of their own; noisy if asked."""
    around = around or Surroundings()
    off: dict[float, float] = {}
    done = []
    for setting in settings:
        marking = setting.fitted_capacitor
        if generator is not None and errors is not None and marking not in off:
            off[marking] = errors.capacitor_deviation * generator.normal()
        total = marking * (1.0 + off.get(marking, 0.0)) + truth["stray"]
        if setting.trimmer is not None:
            low, high = truth["trimmer_minimum"], truth["trimmer_maximum"]
            total += low + setting.trimmer * (high - low)
        if setting.reverse_voltage is not None:
            total += truth["junction"] / (1.0 + setting.reverse_voltage / 0.75) ** (1.0 / 3.0)
        if setting.antenna is None:
            frequency = float(resonant_frequency(truth["inductance"], total))
        else:
            antenna = setting.antenna + truth["antenna_stray"]
            both = mode_frequencies(
                truth["inductance"], total, around.branch_inductance, antenna, around.branch_self_capacitance
            )
            frequency = float(both[around.mode == "high"])
        if generator is not None and errors is not None:
            frequency *= 1.0 + errors.counter_deviation(frequency) * generator.normal()
        done.append(FrequencyReading(marking, frequency, setting.trimmer, setting.antenna, setting.reverse_voltage))
    return tuple(done)


TRUTH = {
    "inductance": 1.1e-3,
    "stray": 62 * P,
    "trimmer_minimum": 7 * P,
    "trimmer_maximum": 58 * P,
    "junction": 9 * P,
    "antenna_stray": 3 * P,
}
CAPACITORS = [FrequencyReading(value * P) for value in (47, 100, 220, 470)]
TRIMMED = [
    FrequencyReading(100 * P, trimmer=0.0),
    FrequencyReading(100 * P, trimmer=1.0),
    FrequencyReading(330 * P, trimmer=0.5),
]


def test_two_readings_of_common_practice():
    # common practice: 400 pF -> 147 kHz, 100 pF -> 172.278 kHz; 1.063 mH and 703 pF by the closed form
    fit = fit_readings(ReadingSet((FrequencyReading(400 * P, 147e3), FrequencyReading(100 * P, 172.278e3))))
    closed = tank_from_readings(400 * P, 147e3, 100 * P, 172.278e3)
    assert fit.inductance == close(closed.inductance, rel=1e-10)
    assert fit.interval("stray")[0] == close(closed.elsewhere, rel=1e-9)
    assert fit.inductance == close(1.063e-3, rel=5e-4)
    assert fit.interval("stray")[0] == close(703e-12, rel=5e-4)
    assert fit.freedom == 0
    assert np.abs(fit.residuals).max() < 1e-6


def test_two_readings_have_the_spread_of_the_closed_form():
    """First-order propagation through the closed form: differences of it in each of its four inputs."""
    given = [400 * P, 147e3, 100 * P, 172.278e3]
    errors = Errors(2e-5, 0.0, 0.02)
    fit = fit_readings(
        ReadingSet((FrequencyReading(given[0], given[1]), FrequencyReading(given[2], given[3])), errors=errors)
    )
    spreads = [0.02 / NORMAL_95, 2e-5 / NORMAL_95] * 2
    change = []
    for index, spread in enumerate(spreads):
        up, down = list(given), list(given)
        up[index] *= 1.0 + 1e-5
        down[index] *= 1.0 - 1e-5
        first, second = tank_from_readings(*up), tank_from_readings(*down)
        change.append(
            [
                math.log(first.inductance / second.inductance) / 2e-5 * spread,
                (first.elsewhere - second.elsewhere) / 2e-5 * spread,
            ]
        )
    expected = np.sqrt((np.array(change) ** 2).sum(axis=0))
    assert fit.combination(unit_direction("inductance"))[1] == close(expected[0], rel=1e-4)
    assert fit.combination(unit_direction("stray"))[1] * P == close(expected[1], rel=1e-4)


@pytest.mark.parametrize("around", [Surroundings(), BRANCH, Surroundings(40e-3, 1e-12, "low")])
def test_derivatives_and_frequencies_of_the_model(around):
    settings = [
        FrequencyReading(100 * P),
        FrequencyReading(220 * P, trimmer=0.3),
        FrequencyReading(47 * P, antenna=10 * P, reverse_voltage=2.0),
    ]
    model = reading_model(settings, around)
    values = np.array([math.log(1.1e-3), 62.0, 7.0, 58.0, 9.0, 3.0])
    logarithm, slopes, by_fitted = model.log_frequency(values, model.fitted)
    expected = [reading.frequency for reading in read(settings, TRUTH, around)]
    np.testing.assert_allclose(np.exp(logarithm), expected, rtol=1e-12)
    for index in range(6):
        step = np.eye(6)[index] * 1e-4
        numeric = (
            model.log_frequency(values + step, model.fitted)[0] - model.log_frequency(values - step, model.fitted)[0]
        ) / 2e-4
        np.testing.assert_allclose(slopes[:, index], numeric, rtol=2e-5, atol=1e-11)
    numeric = (
        model.log_frequency(values, model.fitted + 1e-3)[0] - model.log_frequency(values, model.fitted - 1e-3)[0]
    ) / 2e-3
    np.testing.assert_allclose(by_fitted, numeric, rtol=1e-6)


def test_junction_shares_follow_the_depletion_law():
    model = reading_model([FrequencyReading(0.0, reverse_voltage=3.0)], Surroundings())
    assert model.shares[0, 3] == close(float(depletion_capacitance(-3.0, 1.0, 0.75, 1 / 3)), rel=1e-12)


def test_branch_load_is_what_the_tank_sees():
    squared = (2 * math.pi * 230e3) ** 2
    load = float(branch_load(squared, BRANCH.branch_inductance, 12e-12, BRANCH.branch_self_capacitance))
    own = 1.0 / squared / 1e-3 - load
    modes = [float(mode) for mode in mode_frequencies(1e-3, own, 40e-3, 12e-12, 1e-12)]
    assert min(abs(mode / 230e3 - 1.0) for mode in modes) < 1e-12


@pytest.mark.parametrize(
    ("settings", "around", "names"),
    [
        (CAPACITORS, Surroundings(), ["inductance", "stray"]),
        ([*CAPACITORS, *TRIMMED], Surroundings(), ["inductance", "stray", "trimmer_minimum", "trimmer_maximum"]),
        (
            [*CAPACITORS, *(FrequencyReading(100 * P, reverse_voltage=v) for v in (1.0, 9.0))],
            Surroundings(),
            ["stray", "junction"],
        ),
        (
            [*CAPACITORS, FrequencyReading(100 * P, antenna=10 * P), FrequencyReading(100 * P, antenna=12 * P)],
            BRANCH,
            ["inductance", "stray", "antenna_stray"],
        ),
    ],
)
def test_exact_readings_give_back_the_truth(settings, around, names):
    fit = fit_readings(ReadingSet(read(settings, TRUTH, around), around))
    for name in names:
        value, low, high = fit.interval(name)
        assert value == close(TRUTH[name], rel=1e-6)
        assert low < value < high
    assert np.abs(fit.residuals).max() < 1e-4


def test_minimum_agrees_with_a_search_that_knows_no_derivatives():
    errors = Errors(1e-3, 0.0, 0.02)
    readings = read(CAPACITORS, TRUTH, errors=errors, generator=np.random.default_rng(5))
    fit = fit_readings(ReadingSet(readings, errors=errors))
    fitted = np.array([reading.fitted_capacitor for reading in readings])
    frequency = np.array([reading.frequency for reading in readings])

    def cost(point: np.ndarray) -> float:
        """Readings and capacitor errors in standard deviations, squared: written out, searched line by line."""
        inductance, stray, off = math.exp(point[0]), point[1] * P, point[2:] * errors.capacitor_deviation
        model = resonant_frequency(inductance, fitted * (1 + off) + stray)
        return float((((np.log(frequency / model)) * NORMAL_95 / 1e-3) ** 2).sum() + (point[2:] ** 2).sum())

    start = np.array([math.log(1.1e-3), 60.0, 0.0, 0.0, 0.0, 0.0])
    found = minimize(cost, start, method="Powell", options={"xtol": 1e-10, "ftol": 1e-14, "maxiter": 3000})
    assert fit.fit_quality <= found.fun * (1 + 1e-6)
    assert fit.fit_quality == close(found.fun, rel=1e-4)
    assert fit.inductance == close(math.exp(found.x[0]), rel=1e-4)


def test_interval_shrinks_with_the_errors_and_with_more_readings():
    widths = []
    for scale in (1.0, 0.5):
        fit = fit_readings(ReadingSet(read(CAPACITORS, TRUTH), errors=Errors(1e-4 * scale, 0.0, 0.01 * scale)))
        widths.append(fit.combination(unit_direction("stray"))[1])
    assert widths[1] == close(0.5 * widths[0], rel=1e-6)
    fewer = fit_readings(ReadingSet(read(CAPACITORS[:3], TRUTH), errors=Errors(1e-4, 0.0, 0.01)))
    assert fewer.combination(unit_direction("stray"))[1] > widths[0]


def test_trimmer_always_fitted_leaves_only_sums():
    fit = fit_readings(ReadingSet(read(TRIMMED, TRUTH)))
    assert set(open_unknowns(fit)) == {"stray", "trimmer_minimum", "trimmer_maximum"}
    assert fit.interval("stray") is None
    assert fit.interval("inductance")[0] == close(1.1e-3, rel=1e-6)
    sums = {part.parts: part.value for part in sums_held(fit)}
    assert sums[("stray", 1), ("trimmer_minimum", 1)] == close(69 * P, rel=1e-6)
    assert sums[("stray", 1), ("trimmer_maximum", 1)] == close(120 * P, rel=1e-6)
    assert len(sums) == 2, "the span is the difference of the two"


def test_direct_antenna_stray_is_in_the_sum_with_stray_only_while_plugged():
    plugged = [FrequencyReading(value * P, antenna=10 * P) for value in (100, 220, 470)]
    fit = fit_readings(ReadingSet(read(plugged, TRUTH)))
    assert [part.parts for part in sums_held(fit)] == [(("stray", 1), ("antenna_stray", 1))]
    apart = fit_readings(ReadingSet(read([*plugged, FrequencyReading(100 * P)], TRUTH)))
    assert apart.interval("antenna_stray")[0] == close(3 * P, rel=1e-6)


def test_a_known_value_separates_and_a_known_limit_bounds():
    exact = fit_readings(ReadingSet(read(TRIMMED, TRUTH), known={"trimmer_minimum": Known(7 * P)}))
    assert exact.interval("stray")[0] == close(62 * P, rel=1e-6)
    loose = fit_readings(ReadingSet(read(TRIMMED, TRUTH), known={"trimmer_minimum": Known(7 * P, 2 * P)}))
    assert loose.interval("stray")[0] == close(62 * P, rel=1e-6)
    width = NORMAL_95 * loose.combination(unit_direction("stray"))[1]
    narrow = NORMAL_95 * exact.combination(unit_direction("stray"))[1]
    assert width == close(math.hypot(narrow, 2.0), rel=1e-4)
    by_coil = fit_readings(
        ReadingSet(
            read([FrequencyReading(100 * P), FrequencyReading(100 * P)], TRUTH),
            known={"inductance": Known(1.1e-3, 1e-5)},
        )
    )
    assert by_coil.interval("stray")[0] == close(62 * P, rel=1e-6)


def test_one_marking_only_does_not_tell_inductance_from_stray():
    fit = fit_readings(ReadingSet(read([FrequencyReading(100 * P), FrequencyReading(100 * P)], TRUTH)))
    assert fit.interval("inductance") is None
    assert set(open_unknowns(fit)) == {"inductance", "stray"}
    assert fit.predicted(FrequencyReading(100 * P))[0] == close(
        read([FrequencyReading(100 * P)], TRUTH)[0].frequency, rel=1e-9
    )
    assert fit.predicted(FrequencyReading(220 * P)) is None


def test_neighbouring_capacitors_hardly_tell_apart():
    fit = fit_readings(ReadingSet(read([FrequencyReading(100 * P), FrequencyReading(110 * P)], TRUTH)))
    assert entangled(fit)[0][:2] == ("inductance", "stray")
    assert not entangled(fit_readings(ReadingSet(read([FrequencyReading(10 * P), FrequencyReading(10e-9)], TRUTH))))


def test_best_next_reading_is_the_one_that_refits_find():
    """Brute force: each candidate appended with its exact frequency and fitted again."""
    readings = read([FrequencyReading(100 * P), FrequencyReading(150 * P)], TRUTH)
    fit = fit_readings(ReadingSet(readings))
    candidates = [FrequencyReading(value * P) for value in (22, 68, 100, 220, 470, 1000)]
    best = best_next_reading(fit, candidates)
    scores, strays = {}, {}
    for candidate in candidates:
        again = fit_readings(ReadingSet((*readings, *read([candidate], TRUTH))))
        variances = np.diag(again.covariance)[:2] / fit.scale[:2] ** 2
        scores[candidate] = float(variances.sum() / (np.diag(fit.covariance)[:2] / fit.scale[:2] ** 2).sum())
        strays[candidate] = NORMAL_95 * again.combination(unit_direction("stray"))[1] * P
    assert best.reading == min(scores, key=scores.__getitem__)
    assert best.remaining == close(scores[best.reading], rel=1e-3)
    assert best.half_widths["stray"] == close(strays[best.reading], rel=1e-3)
    assert best.new_directions == 0


def test_best_next_reading_opens_what_is_closed():
    fit = fit_readings(ReadingSet(read(TRIMMED, TRUTH)))
    more = [FrequencyReading(100 * P, trimmer=0.5), FrequencyReading(1000 * P, trimmer=0.0), FrequencyReading(100 * P)]
    best = best_next_reading(fit, more)
    assert best.reading == more[2], "the only one with the trimmer out"
    assert best.new_directions == 1
    assert set(best.half_widths) == {"inductance", "stray", "trimmer_minimum", "trimmer_maximum"}
    assert best_next_reading(fit, []) is None
    # the sensitivities are those at the values the fit stands at, so the brute force reads a tank of those values
    stands = dict(zip(UNKNOWNS[1:], fit.values[1:] * P, strict=True), inductance=fit.inductance)
    again = fit_readings(ReadingSet((*fit.given.readings, *read([more[2]], stands))))
    for name, width in best.half_widths.items():
        spread = NORMAL_95 * again.combination(unit_direction(name))[1]
        assert width == close(spread if name == "inductance" else spread * P, rel=1e-3)


def test_prediction_interval_holds_new_parts():
    """A third reading with a new capacitor lies in its predicted interval 95 times in 100 (normal, seeded)."""
    errors, generator, hits = Errors(1e-4, 0.0, 0.02), np.random.default_rng(3), 0
    for _ in range(200):
        settings = [FrequencyReading(value * P) for value in (100, 470, 220)]
        readings = read(settings, TRUTH, errors=errors, generator=generator)
        low, high = fit_readings(ReadingSet(readings[:2], errors=errors)).predicted(FrequencyReading(220 * P))[1:]
        hits += low <= readings[2].frequency <= high
    assert 0.90 <= hits / 200 <= 0.99


def two_unknowns(generator: np.random.Generator) -> tuple[list[FrequencyReading], dict[str, float], Surroundings]:
    truth = {"inductance": generator.uniform(0.5e-3, 3e-3), "stray": generator.uniform(30, 150) * P}
    return CAPACITORS, truth, Surroundings()


def five_unknowns(generator: np.random.Generator) -> tuple[list[FrequencyReading], dict[str, float], Surroundings]:
    _, truth, _ = two_unknowns(generator)
    truth |= {
        "trimmer_minimum": generator.uniform(4, 9) * P,
        "trimmer_maximum": generator.uniform(40, 80) * P,
        "junction": generator.uniform(5, 15) * P,
    }
    more = [
        FrequencyReading(100 * P, trimmer=0.0),
        FrequencyReading(100 * P, trimmer=1.0),
        FrequencyReading(100 * P, reverse_voltage=1.0),
        FrequencyReading(100 * P, reverse_voltage=9.0),
    ]
    return [*CAPACITORS, *more], truth, Surroundings()


def with_antenna(generator: np.random.Generator) -> tuple[list[FrequencyReading], dict[str, float], Surroundings]:
    _, truth, _ = two_unknowns(generator)
    truth |= {"inductance": generator.uniform(0.9e-3, 1.1e-3), "antenna_stray": generator.uniform(1, 4) * P}
    more = [FrequencyReading(330 * P, antenna=farads * P) for farads in (8.0, 9.0)]
    return [*CAPACITORS, *more], truth, Surroundings(20e-3, 1e-12, "low")


def coverage(make: Callable, count: int, errors: Errors, seed: int) -> dict[str, float]:
    """Share of benches whose 95 % interval holds the truth, per unknown."""
    generator, hits = np.random.default_rng(seed), {}
    for _ in range(count):
        settings, truth, around = make(generator)
        fit: Fit = fit_readings(ReadingSet(read(settings, truth, around, errors, generator), around, errors))
        for name, value in truth.items():
            low, high = fit.interval(name)[1:]
            hits[name] = hits.get(name, 0) + (low <= value <= high)
    return {name: number / count for name, number in hits.items()}


@pytest.mark.slow
@pytest.mark.parametrize("make", [two_unknowns, five_unknowns, with_antenna])
@pytest.mark.parametrize("errors", [Errors(2e-5, 0.0, 0.01), Errors(1e-4, 2.0, 0.05)])
def test_intervals_cover_the_truth_in_250_benches(make, errors):
    for name, share in coverage(make, 250, errors, seed=22).items():
        assert 0.91 <= share <= 0.985, name  # 95 +- 3 standard deviations of 250 draws, rounded


@pytest.mark.slow
def test_intervals_cover_the_truth_in_93_to_97_of_100_benches():
    for name, share in coverage(five_unknowns, 1000, Errors(1e-4, 2.0, 0.05), seed=22).items():
        assert 0.93 <= share <= 0.97, name


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ((FrequencyReading(100 * P, 2e5),), "two or more"),
        ((FrequencyReading(100 * P, 2e5), FrequencyReading(200 * P)), "frequency"),
        ((FrequencyReading(100 * P, 2e5), FrequencyReading(200 * P, 3e5)), "lower frequency"),
    ],
)
def test_readings_that_contradict_a_tank(readings, words):
    with pytest.raises(ValueError, match=words):
        fit_readings(ReadingSet(readings))


def test_known_values_must_leave_something_and_be_of_use():
    readings = read(CAPACITORS, TRUTH)
    with pytest.raises(ValueError, match="everything is known"):
        fit_readings(ReadingSet(readings, known={"inductance": Known(1e-3), "stray": Known(50 * P)}))
    with pytest.raises(ValueError, match="no reading depends"):
        ReadingSet(readings, known={"trimmer_minimum": Known(5 * P)})


def test_nothing_fitted_holds_no_inductance():
    fit = fit_readings(ReadingSet((FrequencyReading(0.0, 400e3), FrequencyReading(0.0, 400.1e3))))
    assert fit.interval("inductance") is None
    assert fit.predicted(FrequencyReading(0.0))[0] == close(400.05e3, rel=1e-6)


def test_a_stray_below_nothing_is_told_as_it_is():
    fit = fit_readings(ReadingSet((FrequencyReading(100 * P, 2e5), FrequencyReading(200 * P, 1e5))))
    assert fit.interval("stray")[0] == close(-200 / 3 * P, rel=1e-9)  # (C1 + S) / (C2 + S) = 1 / 4


@pytest.mark.parametrize(
    "make",
    [
        lambda: FrequencyReading(-1e-12),
        lambda: FrequencyReading(math.nan),
        lambda: FrequencyReading(1e-10, 0.0),
        lambda: FrequencyReading(1e-10, trimmer=1.1),
        lambda: FrequencyReading(1e-10, antenna=0.0),
        lambda: FrequencyReading(1e-10, reverse_voltage=-1.0),
        lambda: Errors(0.0, 0.0),
        lambda: Errors(1e-4, 0.0, 1.0),
        lambda: Surroundings(mode="high"),
        lambda: Known(math.inf),
        lambda: ReadingSet(tuple(CAPACITORS), known={"colour": Known(1.0)}),
        lambda: Known(1e-12, -1.0),
    ],
)
def test_bad_input(make):
    with pytest.raises(ValueError, match=r"must|needs"):
        make()


def test_unknowns_are_named_once():
    assert len(set(UNKNOWNS)) == 6
