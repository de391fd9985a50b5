"""Tolerances: distributions against scipy.stats, linear estimates against closed forms, shares against brute force."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from small_instrument import ROD

from models.branch.antenna_branch import SeriesInductor, preferred_mode
from models.builds import tolerance
from models.builds.build_law import BuildLaw
from models.builds.tolerance import (
    BuildGoals,
    ToleratedPart,
    Trial,
    build_runs,
    build_values,
    joined,
    linear_estimates,
    monte_carlo,
    other_mode_share,
    reached_by_both,
    reached_by_selection,
    share_of,
    tighter_parts,
    worst_cases,
)
from models.builds.tuned_builds import OUTCOMES, QUANTITIES, Outcomes, TunedBuilds
from models.tank import Tank

LAW = TunedBuilds(
    law=BuildLaw(ROD, fine=True),
    zero_beat=0.5,
    nearest=0.05,
    farthest=0.3,
    trimmer_ratio=0.1,
    even_from=80.0,
    even_to=400.0,
)
NOMINAL = {
    "variable_inductance": 2.7e-3,
    "variable_capacitance": 68e-12,
    "variable_stray": 15e-12,
    "variable_trimmer": 15e-12,
    "antenna_stray": 3e-12,
    "reference_inductance": 2.7e-3,
    "reference_capacitance": 68e-12,
    "reference_stray": 14e-12,
    "reference_trimmer": 50e-12,
}


def trial(limits: dict[str, float], scatter: str = "uniform", **changes: float) -> Trial:
    nominal = NOMINAL | changes
    parts = [ToleratedPart(name, name, nominal.get(name, 0.0), limits.get(name, 0.0), scatter) for name in QUANTITIES]
    return Trial(LAW, tuple(parts))


FEW = {"variable_inductance": 0.01, "variable_capacitance": 0.02, "reference_capacitance": 0.02, "antenna_stray": 0.2}


def estimate(made: Trial, outcome: str):
    return next(found for found in linear_estimates(made) if found.outcome == outcome)


@pytest.mark.parametrize("scatter", ["uniform", "normal"])
def test_scatter_is_the_distribution_it_says(scatter):
    """Reference: scipy.stats.uniform and scipy.stats.truncnorm; Kolmogorov-Smirnov on 20 000 seeded deviations."""
    part = ToleratedPart("antenna_stray", "stray", 3e-12, 0.2, scatter)
    known = stats.uniform(-0.2, 0.4) if scatter == "uniform" else stats.truncnorm(-3.0, 3.0, scale=0.2 / 3.0)
    share = np.random.default_rng(3).random(20_000)
    drawn = part.deviation(share)
    np.testing.assert_allclose(drawn, known.ppf(share), atol=1e-12)
    assert stats.kstest(drawn, known.cdf).pvalue > 0.01
    assert part.sigma == pytest.approx(known.std(), rel=1e-12)
    assert np.abs(drawn).max() <= 0.2


def test_sensitivities_against_their_derivatives():
    """df/dlnL = -f/2, df/dlnC = -(f/2) C / C_total; setting = (C_needed - base) / span, C_needed = L_v C_v / L_r."""
    made = trial(dict.fromkeys(NOMINAL, 0.02))
    reference = estimate(made, "reference_frequency")
    total, least = 68e-12 + 14e-12 + 27.5e-12, 0.1  # trimmer half in: 5 + 0.5 * 45 pF
    slopes = {held.part.quantity: held.slope for held in reference.sensitivities}
    expected = {
        "reference_inductance": 1.0,
        "reference_capacitance": 68e-12 / total,
        "reference_stray": 14e-12 / total,
        "reference_trimmer": 27.5e-12 / total,
    }
    for name in NOMINAL:
        value = -0.5 * reference.nominal * expected.get(name, 0.0)
        assert slopes[name] == pytest.approx(value, rel=1e-5, abs=1e-6)
    setting = estimate(made, "trimmer_setting")
    slopes = {held.part.quantity: held.slope for held in setting.sensitivities}
    antenna = float(ROD.capacitance(0.5)) + 3e-12
    needed, span = 98e-12 + antenna, 50e-12 * (1.0 - least)
    assert setting.nominal == pytest.approx((needed - 82e-12 - 5e-12) / span, rel=1e-9)
    assert slopes["variable_inductance"] == pytest.approx(needed / span, rel=1e-6)
    assert slopes["reference_inductance"] == pytest.approx(-needed / span, rel=1e-6)
    assert slopes["antenna_stray"] == pytest.approx(3e-12 / span, rel=1e-6)
    assert slopes["reference_capacitance"] == pytest.approx(-68e-12 / span, rel=1e-6)


def test_rss_and_shares_against_their_closed_form():
    """Two parts alone on the reference: RSS = (f/2) sqrt(t_L^2 + (t_C C / C_total)^2), shares in that proportion."""
    made = trial({"reference_inductance": 0.01, "reference_capacitance": 0.03})
    found = estimate(made, "reference_frequency")
    coil, capacitor = 0.01, 0.03 * 68.0 / 109.5
    assert found.rss == pytest.approx(0.5 * found.nominal * math.hypot(coil, capacitor), rel=1e-5)
    assert found.sigma == pytest.approx(found.rss / math.sqrt(3.0), rel=1e-12)  # all uniform
    assert [held.part.quantity for held in found.sensitivities] == ["reference_capacitance", "reference_inductance"]
    assert found.sensitivities[0].share == pytest.approx(capacitor**2 / (coil**2 + capacitor**2), rel=1e-5)
    still = estimate(made, "zero_beat_distance")  # tuned away
    assert all(held.share == 0.0 for held in still.sensitivities)


def test_small_deviations_follow_normal_theory():
    """With limits of parts in a thousand the law is straight: sigma of 20 000 builds is the linear one (2 %)."""
    limits = dict.fromkeys(NOMINAL, 2e-3)
    for scatter in ("uniform", "normal"):
        made = trial(limits, scatter)
        runs = monte_carlo(made, 20_000, seed=11)
        for name in ("reference_frequency", "variable_frequency", "trimmer_setting", "highest", "unevenness"):
            linear = estimate(made, name)
            drawn = getattr(runs, name)
            assert drawn.std(ddof=1) == pytest.approx(linear.sigma, rel=0.02)
            assert drawn.mean() == pytest.approx(linear.nominal, abs=5.0 * linear.sigma / math.sqrt(20_000))


def test_share_within_reach_against_its_closed_form():
    """One uniform capacitor: the trimmer reaches where base + least <= C_needed <= base + most, part of its range."""
    made = trial({"reference_capacitance": 0.5})
    needed = 98e-12 + float(ROD.capacitance(0.5)) + 3e-12
    low, high = needed - 14e-12 - 50e-12, needed - 14e-12 - 5e-12
    expected = (min(high, 102e-12) - max(low, 34e-12)) / 68e-12
    reached = monte_carlo(made, 50_000, seed=2).reached
    assert 0.3 < expected < 0.9
    assert stats.binomtest(int(reached.sum()), 50_000, expected).pvalue > 0.01


def test_a_seed_gives_the_same_builds_in_any_chunks():
    made = trial(FEW)
    whole = monte_carlo(made, 200, seed=7)
    for chunk in (1, 77, 200, 4096):
        pieces = joined(build_runs(made, 200, 7, chunk))
        for name in OUTCOMES:
            np.testing.assert_allclose(getattr(pieces, name), getattr(whole, name), rtol=1e-12)
    assert not np.array_equal(monte_carlo(made, 200, seed=8).trimmer_setting, whole.trimmer_setting)
    values = np.concatenate(list(build_values(made, 500, 7)))
    column = QUANTITIES.index("variable_capacitance")
    assert np.abs(values[:, column] / 68e-12 - 1.0).max() <= 0.02
    assert (values[:, QUANTITIES.index("reference_inductance")] == 2.7e-3).all()


def test_worst_cases_against_every_corner_by_hand():
    made = trial(FEW)
    found = worst_cases(made, linear_estimates(made))
    corners = []
    for signs in itertools.product((-1.0, 1.0), repeat=4):
        moved = {name: sign * limit for sign, (name, limit) in zip(signs, FEW.items(), strict=True)}
        row = [NOMINAL.get(name, 0.0) * (1.0 + moved.get(name, 0.0)) for name in QUANTITIES]
        corners.append(LAW.outcomes(np.array([row]), always_tuned=True))
    for name in OUTCOMES:
        values = [float(getattr(corner, name)[0]) for corner in corners]
        assert found[name] == pytest.approx((min(values), max(values)), rel=1e-12)
    linear = estimate(made, "trimmer_setting")
    assert found["trimmer_setting"][1] > linear.nominal + linear.rss
    runs = monte_carlo(made, 3000, 1)
    for name in ("reference_frequency", "variable_frequency", "trimmer_setting"):
        drawn = getattr(runs, name)
        assert found[name][0] <= drawn.min()
        assert drawn.max() <= found[name][1]


def test_share_has_wilsons_interval():
    """Reference: scipy.stats.binomtest(...).proportion_ci(method="wilson")."""
    for hits, count in ((0, 50), (3, 40), (950, 1000), (20, 20)):
        met = np.arange(count) < hits
        share, low, high = share_of(met)
        known = stats.binomtest(hits, count).proportion_ci(method="wilson")
        assert share == hits / count
        assert low == pytest.approx(known.low, abs=1e-12)
        assert high == pytest.approx(known.high, abs=1e-12)
    with pytest.raises(ValueError, match="1 build or more"):
        share_of(np.zeros(0, dtype=bool))


def test_goals_count_what_is_missing_as_missed():
    runs = Outcomes(
        *(np.array([1.0, 1.0, 1.0, 1.0]) for _ in range(2)),
        np.array([0.5, 1.2, 0.1, 0.0]),
        np.ones(4),
        np.array([60.0, 60.0, 70.0, math.nan]),
        np.full(4, 2000.0),
        np.array([30.0, 30.0, 30.0, math.nan]),
    )
    np.testing.assert_array_equal(BuildGoals().met(runs), [True, False, True, True])
    np.testing.assert_array_equal(BuildGoals(lowest=65.0).met(runs), [True, False, False, False])
    np.testing.assert_array_equal(BuildGoals(unevenness=29.0).met(runs), [False] * 4)
    np.testing.assert_array_equal(BuildGoals(highest=2000.0, unevenness=30.0).met(runs), [True, False, True, False])


@pytest.mark.parametrize("reel", [0.0, 0.2])
def test_the_part_to_buy_tighter_is_the_one_that_spoils(reel):
    """By brute force: the share with each limit halved, from builds made anew, in the same order."""
    made = trial({"variable_inductance": 0.2, "reference_capacitance": 0.05, "reference_inductance": 0.1})
    made = replace(made, reel=reel)
    found = tighter_parts(made, linear_estimates(made), BuildGoals(), 4000, seed=4)
    assert found[0].part.quantity == "variable_inductance"
    for choice in found:
        quantity, limit = choice.part.quantity, choice.limit
        tighter = (replace(part, limit=limit) if part.quantity == quantity else part for part in made.parts)
        other = replace(made, parts=tuple(tighter))
        again = monte_carlo(other, 4000, 4)
        assert choice.reached == again.reached.mean()
        same = next(build_values(other, 50, 4))
        np.testing.assert_allclose(made.halved(next(build_values(made, 50, 4)), quantity), same, rtol=1e-13)
    assert found[0].reached > monte_carlo(made, 4000, 4).reached.mean() + (0.05 if reel == 0.0 else 0.02)
    spread = replace(made, parts=tuple(replace(part, bought=False) for part in made.parts))
    assert tighter_parts(spread, linear_estimates(spread), BuildGoals(), 100, 1) == ()


@pytest.mark.slow
def test_share_that_starts_in_the_other_mode():
    """By brute force: `preferred_mode` of every build as a tank and series inductor of its own, Q 80 and 60."""
    antenna = float(ROD.capacitance(0.5)) + 3e-12
    assert other_mode_share(trial(FEW), 200, 1, 40.0, 900.0)[0] == 0.0
    for inductance, low, high in ((25e-3, 0.05, 0.95), (15e-3, 0.0, 0.01), (40e-3, 0.99, 1.0)):
        made = trial({"branch_inductance": 0.1, "variable_inductance": 0.05}, branch_inductance=inductance)
        tank = Tank(2.7e-3, 98e-12, quality_factor=80.0)
        branch = SeriesInductor(inductance, 60.0)
        share = other_mode_share(made, 300, 1, tank.series_resistance, branch.series_resistance(tank.frequency))[0]
        modes = []
        for row in np.concatenate(list(build_values(made, 300, 1))):
            part = dict(zip(QUANTITIES, row, strict=True))
            one = Tank(part["variable_inductance"], 98e-12, quality_factor=80.0)
            modes.append(preferred_mode(one, SeriesInductor(part["branch_inductance"], 60.0), antenna))
        assert low <= share <= high
        assert share == pytest.approx(modes.count("high") / 300, abs=0.02)
        swapped = replace(made, law=replace(made.law, law=replace(made.law.law, mode="high")))
        other = other_mode_share(swapped, 300, 1, tank.series_resistance, branch.series_resistance(tank.frequency))[0]
        assert other == pytest.approx(1.0 - share, abs=1e-12)


@pytest.mark.slow
def test_share_with_both_trimmers_against_turning_them_step_by_step():
    limits = {"variable_inductance": 0.05, "reference_inductance": 0.05, "reference_capacitance": 0.05}
    made = trial(limits, reference_trimmer=12e-12, reference_capacitance=89e-12)
    (values,) = build_values(made, 400, 3)
    found = reached_by_both(made, values, (0.8, 1.1))
    column = QUANTITIES.index("variable_trimmer")
    reached = np.zeros(400, dtype=bool)
    for turn in np.linspace(0.8, 1.1, 301):
        turned = values.copy()
        turned[:, column] *= turn
        reached |= made.law.outcomes(turned).reached
    alone = monte_carlo(made, 400, 3).reached
    assert np.array_equal(found, reached)
    assert alone.mean() < found.mean() < 1.0
    assert np.array_equal(reached_by_both(made, values, (1.0, 1.0)), alone)


def test_corners_that_are_searched_are_the_worst(monkeypatch):
    """All corners of nine parts looked at, against the search that takes over where there are more."""
    limits = dict.fromkeys(NOMINAL, 0.03)
    made = trial(limits)
    estimates = linear_estimates(made)
    every = worst_cases(made, estimates)
    monkeypatch.setattr(tolerance, "MOST_CORNERS", 3)
    found = worst_cases(made, estimates)
    for name, ends in every.items():
        assert found[name] == pytest.approx(ends, rel=1e-12, nan_ok=True), name

    no_slopes = [  # nothing to start from
        replace(one, sensitivities=tuple(replace(held, slope=0.0) for held in one.sensitivities)) for one in estimates
    ]
    monkeypatch.setattr(tolerance, "RANDOM_CORNERS", 3)
    for name, ends in worst_cases(made, no_slopes).items():
        assert ends == pytest.approx(every[name], rel=1e-11, nan_ok=True), name


def test_only_the_parts_that_hold_most_are_bought_tighter(monkeypatch):
    made, goals = trial(FEW), BuildGoals()
    every = tighter_parts(made, linear_estimates(made), goals, 200, 1)
    assert {choice.part.quantity for choice in every} == set(FEW)
    monkeypatch.setattr(tolerance, "MOST_TIGHTER", 2)
    few = tighter_parts(made, linear_estimates(made), goals, 200, 1)
    hold = {
        name: max(
            held.share for found in linear_estimates(made) for held in found.sensitivities if held.part.quantity == name
        )
        for name in FEW
    }
    assert {choice.part.quantity for choice in few} == set(sorted(hold, key=lambda name: -hold[name])[:2])
    assert set(few) <= set(every)


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="limit must be < 1"):
        ToleratedPart("antenna_stray", "stray", 1e-12, 1.0)
    for changes in (
        {"limit": -0.1},
        {"limit": math.nan},
        {"scatter": "even"},
        {"nominal": -1.0},
        {"nominal": True},
    ):
        with pytest.raises(ValueError, match=next(iter(changes))):
            replace(ToleratedPart("antenna_stray", "stray", 1e-12, 0.1), **changes)
    with pytest.raises(ValueError, match="parts must be one for each"):
        Trial(LAW, trial(FEW).parts[1:])
    with pytest.raises(ValueError, match="parts must be one for each"):
        Trial(LAW, (replace(trial(FEW).parts[0], quantity="resistor"), *trial(FEW).parts[1:]))
    with pytest.raises(ValueError, match="builds must be >= 1"):
        monte_carlo(trial(FEW), 0, 1)


def test_parts_of_one_reel_go_together():
    """The deviation of the reference's coil is r of the variable one's and 1 - r of its own: so its correlation with it
    is r / sqrt(r^2 + (1 - r)^2) (textbook), and what both do to the trimmer's setting nearly cancels.
    """
    limits = {"variable_inductance": 0.05, "reference_inductance": 0.05, "variable_stray": 0.2, "reference_stray": 0.2}
    made = trial(limits)
    made = replace(made, parts=tuple(replace(part, bought="stray" not in part.quantity) for part in made.parts))
    column = [QUANTITIES.index(f"{which}_inductance") for which in ("variable", "reference")]
    stray = [QUANTITIES.index(f"{which}_stray") for which in ("variable", "reference")]
    share = 0.7
    values = np.concatenate(list(build_values(replace(made, reel=share), 20_000, 4)))
    expected = share / math.hypot(share, 1.0 - share)
    assert np.corrcoef(values[:, column].T)[0, 1] == pytest.approx(expected, abs=0.02)
    assert abs(np.corrcoef(values[:, stray].T)[0, 1]) < 0.03, "strays are no parts of a reel"
    assert np.abs(values[:, column[1]] / NOMINAL["reference_inductance"] - 1.0).max() <= 0.05
    apart, together = (estimate(replace(made, reel=reel), "trimmer_setting").sigma for reel in (0.0, 1.0))
    assert together < 0.5 * apart
    run = monte_carlo(replace(made, reel=share), 4000, 5)
    linear = estimate(replace(made, reel=share), "trimmer_setting")
    assert np.std(run.trimmer_setting) == pytest.approx(linear.sigma, rel=0.05)


def test_a_capacitor_selected_on_test_against_a_loop():
    made, factors = trial(dict.fromkeys(NOMINAL, 0.08)), (0.8, 1.0, 1.2)
    (values,) = build_values(made, 400, 6)
    found = reached_by_selection(made, values, factors)
    column, reached = QUANTITIES.index("reference_capacitance"), []
    for row in values:
        tried = [row.copy() for _ in factors]
        for one, factor in zip(tried, factors, strict=True):
            one[column] *= factor
        reached.append(any(LAW.outcomes(one[None, :], evenness=False).reached[0] for one in tried))
    assert found.tolist() == reached
    alone = reached_by_selection(made, values, (1.0,))
    assert np.array_equal(alone, LAW.outcomes(values, evenness=False).reached)
    assert found.sum() > alone.sum()
