"""Many builds at once against one instrument at a time, the line fit against its closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from small_instrument import ROD

from models.branch.antenna_branch import SeriesInductor
from models.branch.modes import MODES, mode_frequencies
from models.builds.build_law import BuildLaw, Builds, gauss
from models.builds.circuit_share import CircuitShare, polynomials, resonance_slopes
from models.builds.tuned_builds import QUANTITIES, TunedBuilds, joined
from models.instrument import Instrument
from models.pitch_field import pitch_field
from models.tank import Tank

LAW = TunedBuilds(
    law=BuildLaw(ROD, lock_range=1.0, fine=True), zero_beat=0.5, nearest=0.05, farthest=0.3, trimmer_ratio=0.1
)
HIGH = replace(LAW, law=replace(LAW.law, mode="high"))
DIRECT = {
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
BRANCHED = {
    "variable_inductance": 1e-3,
    "variable_capacitance": 270e-12,
    "variable_stray": 25e-12,
    "variable_trimmer": 60e-12,
    "branch_inductance": 40e-3,
    "branch_self_capacitance": 1e-12,
    "antenna_stray": 3e-12,
    "reference_inductance": 1e-3,
    "reference_capacitance": 240e-12,
    "reference_stray": 22e-12,
    "reference_trimmer": 120e-12,
}


def table(parts: dict[str, float], builds: int = 1, spread: float = 0.0, seed: int = 0) -> np.ndarray:
    nominal = np.array([parts.get(name, 0.0) for name in QUANTITIES])
    return nominal * (1.0 + spread * np.random.default_rng(seed).uniform(-1.0, 1.0, (builds, nominal.size)))


@pytest.mark.parametrize(
    ("parts", "law"),
    [
        (DIRECT, replace(LAW, even_from=80.0, even_to=400.0)),
        (BRANCHED, HIGH),
        (BRANCHED | {"branch_inductance": 20e-3}, replace(LAW, even_from=60.0, even_to=300.0)),
    ],
    ids=["direct", "high", "low"],
)
def test_builds_agree_with_one_instrument_at_a_time(parts, law):
    """Brute force: each build as an `Instrument` of its own, its field found by bisection and a fit of 2000 points."""
    values = table(parts, 12, 0.02, 5)
    found = law.outcomes(values)
    judged = 0
    for place, row in enumerate(values):
        part = dict(zip(QUANTITIES, row, strict=True))
        variable = Tank(
            part["variable_inductance"],
            part["variable_capacitance"],
            part["variable_stray"],
            part["variable_trimmer"],
            part["variable_trimmer"],
        )
        most = part["reference_trimmer"]
        reference = Tank(
            part["reference_inductance"], part["reference_capacitance"], part["reference_stray"], 0.1 * most, most
        )
        branch = SeriesInductor(part["branch_inductance"], 60.0, part["branch_self_capacitance"])
        one = Instrument(ROD, variable, reference.frequency, branch, part["antenna_stray"], law.law.mode, 1.0)
        target = float(one.variable_frequency(law.zero_beat))
        assert found.variable_frequency[place] == pytest.approx(target, rel=1e-13)
        assert found.reference_frequency[place] == pytest.approx(reference.frequency, rel=1e-13)
        setting = found.trimmer_setting[place]
        lowest, highest = reference.trimmer_range()
        assert found.reached[place] == (lowest <= target <= highest)
        if found.reached[place]:
            assert setting == pytest.approx(reference.setting_for(target), abs=1e-10)
        tuned = reference.with_trimmer(min(max(setting, 0.0), 1.0)).frequency
        one = replace(one, reference_frequency=tuned)
        field = pitch_field(one)
        if field.direction == "rising" and field.reaches([law.even_from, law.even_to]).all():
            judged += 1
            expected = field.linearity_error_between(law.even_from, law.even_to)
            assert found.unevenness[place] == pytest.approx(expected, rel=1e-5)
            assert found.highest[place] == pytest.approx(float(one.beat_frequency(law.nearest)), rel=1e-8)
            low = max(20.0, float(one.beat_frequency(law.farthest)))
            assert found.lowest[place] == pytest.approx(low, rel=1e-7)
        if field.zero_beat_distance is not None:
            assert found.zero_beat_distance[place] == pytest.approx(field.zero_beat_distance, rel=1e-9)
    assert judged >= 4


def test_a_build_whose_pitch_falls_has_no_notes():
    """The reference far below the variable oscillator, its trimmer too small: silent or falling towards the rod."""
    found = replace(LAW, trimmer_ratio=0.99).outcomes(table(DIRECT | {"reference_capacitance": 140e-12}))
    assert found.trimmer_setting[0] < 0.0
    assert np.isnan([found.lowest[0], found.highest[0], found.unevenness[0], found.zero_beat_distance[0]]).all()
    forced = replace(LAW, trimmer_ratio=0.99).outcomes(table(DIRECT | {"reference_capacitance": 140e-12}), True)
    assert forced.zero_beat_distance[0] == pytest.approx(0.5, rel=1e-6)
    assert forced.highest[0] > 100.0


def test_capacitance_is_the_inverse_of_frequency():
    law, values = HIGH, table(BRANCHED, 20, 0.05)
    wanted = np.linspace(6.3e-12, 7.4e-12, 7)
    found = law.law.hand_with(law.variable_parts(values), law.variable_frequency(values, wanted))
    np.testing.assert_allclose(found, np.broadcast_to(wanted, found.shape), rtol=1e-9, atol=0)
    part = dict(zip(QUANTITIES, values[3], strict=True))
    tank = part["variable_capacitance"] + part["variable_stray"] + part["variable_trimmer"]
    modes = mode_frequencies(
        part["variable_inductance"],
        tank,
        part["branch_inductance"],
        wanted + part["antenna_stray"],
        part["branch_self_capacitance"],
    )
    np.testing.assert_allclose(law.variable_frequency(values, wanted)[3], modes[MODES.index("high")], rtol=1e-13)


def test_what_a_circuit_adds_lies_across_the_tank_and_is_inverted():
    """The same as a tank capacitance that is larger by it, build by build; by its reciprocal where it is told so."""
    grid = np.linspace(6.2e-12, 7.6e-12, 50)
    table_of = 2e-12 + 4e-14 * np.sin(np.linspace(0.0, 2.0, 50))
    plain, values = HIGH, table(BRANCHED, 5, 0.03)
    nominal = np.array([BRANCHED.get(name, 0.0) for name in QUANTITIES] + [50.0])
    columns = nominal.size
    shares, of_reference = np.zeros((columns, 2)), np.zeros(columns)
    coil = QUANTITIES.index("variable_inductance")
    shares[coil], shares[-1] = (3e-12, 1e-13), (5e-12, 0.0)
    of_reference[QUANTITIES.index("reference_inductance")] = -4e-12
    trimmer = 0.6 * BRANCHED["reference_trimmer"]
    names, inverse = ("variable.gain",), np.array([False] * (columns - 1) + [True])
    circuit = CircuitShare(names, nominal, shares, of_reference, 1e-12, trimmer, 0.01, inverse)
    law = replace(plain, law=replace(plain.law, circuit_capacitances=grid, circuit_added=table_of), circuit=circuit)
    gains = np.array([25.0, 40.0, 50.0, 80.0, 100.0])[:, None]
    rows, there = np.hstack([values, gains]), np.array([6.4e-12, 7.0e-12])
    off = rows[:, coil] / nominal[coil] - 1.0
    turn = (there - 6.9e-12) / 0.7e-12
    added = np.interp(there, grid, table_of) + off[:, None] * (3e-12 + 1e-13 * turn) + 5e-12 * (1.0 - 50.0 / gains)
    expected = []
    for column, hand in enumerate(there):
        larger = values.copy()
        larger[:, QUANTITIES.index("variable_capacitance")] += added[:, column]
        expected.append(plain.variable_frequency(larger, hand)[:, 0])
    np.testing.assert_allclose(law.variable_frequency(rows, there), np.transpose(expected), rtol=1e-13)
    back = law.law.hand_with(law.variable_parts(rows), np.transpose(expected))
    np.testing.assert_allclose(back, np.tile(there, (5, 1)), rtol=1e-9, atol=0)

    larger = values.copy()
    reference = values[:, QUANTITIES.index("reference_inductance")] / BRANCHED["reference_inductance"] - 1.0
    turned_in = values[:, QUANTITIES.index("reference_trimmer")]
    as_set = turned_in * (plain.trimmer_ratio + 0.4 * (1.0 - plain.trimmer_ratio))
    larger[:, QUANTITIES.index("reference_capacitance")] += 1e-12 - 4e-12 * reference + 0.01 * (as_set - trimmer)
    np.testing.assert_allclose(law.reference_frequency(rows, 0.4), plain.reference_frequency(larger, 0.4), rtol=1e-13)
    np.testing.assert_allclose(law.needed_setting(rows, law.reference_frequency(rows, 0.4)), 0.4, rtol=1e-9)
    with pytest.raises(ValueError, match="every column must have its shares"):
        replace(circuit, reference=np.zeros(3))


def test_a_polynomial_goes_through_its_points():
    turns = np.array([-1.0, 0.25, 1.0])
    values = np.array([[1.0, 2.0, -1.0], [0.0, 0.5, 3.0]])
    found = polynomials(turns, values)
    np.testing.assert_allclose(found @ np.vander(turns, increasing=True).T, values, atol=1e-13)


def test_the_slopes_of_the_resonance_are_the_closed_ones():
    """A tank alone: -1/2 for its coil, -C/2(C + Ca) for its capacitor, -Ca/2(C + Ca) for the antenna."""
    builds = Builds(*(np.array([value]) for value in (1e-3, 300e-12, 0.0, 0.0, 4e-12)))
    slopes, by_capacitance = resonance_slopes(BuildLaw(ROD), builds, 6e-12)
    np.testing.assert_allclose(slopes, [-0.5, -150.0 / 310.0, 0.0, 0.0, -2.0 / 310.0], rtol=1e-8)
    assert by_capacitance == pytest.approx(-0.5 / 310e-12, rel=1e-8)


def test_direct_frequency_goes_with_the_root_of_inductance():
    near = LAW.outcomes(table(DIRECT)), LAW.outcomes(table(DIRECT | {"variable_inductance": 4 * 2.7e-3}))
    assert near[1].variable_frequency[0] == pytest.approx(0.5 * near[0].variable_frequency[0], rel=1e-14)


def test_a_nearer_hand_plays_higher():
    values = table(BRANCHED, 30, 0.01)
    highest = [replace(HIGH, nearest=place).outcomes(values).highest for place in (0.03, 0.06, 0.12)]
    assert (highest[0] > highest[1]).all()
    assert (highest[1] > highest[2]).all()


@pytest.mark.parametrize(("parts", "mode"), [(DIRECT, "low"), (BRANCHED, "high"), (BRANCHED, "low")])
def test_the_law_is_that_of_the_single_instrument_and_its_field(parts, mode):
    """Frequency, capacitance, distance and evenness of every build, each as an `Instrument` with its `PitchField`."""
    law, values = BuildLaw(ROD, mode, 1.0, fine=True), table(parts, 8, 0.02, 3)
    builds = LAW.variable_parts(values)
    places = np.array([0.03, 0.12, 0.31, 0.5, 0.77])
    frequencies = law.frequency(builds, ROD.capacitance(places))
    reference, checked = frequencies[:, 3], 0
    for row in range(8):
        part = builds.each(lambda column, row=row: column[row : row + 1])
        tank, coil = (float(part.tank_inductance[0]), float(part.tank_capacitance[0])), float(part.branch_inductance[0])
        branch = SeriesInductor(coil, 60.0, float(part.self_capacitance[0]))
        one = Instrument(ROD, Tank(*tank), reference[row], branch, float(part.antenna_stray[0]), mode, 1.0)
        np.testing.assert_allclose(frequencies[row], one.variable_frequency(places), rtol=1e-12)
        found = law.hand_with(part, one.variable_frequency(places)[None, :])[0]
        np.testing.assert_allclose(found, ROD.capacitance(places), rtol=1e-9, atol=0)
        field = pitch_field(one)
        if field.direction != "rising" or not field.reaches([80.0, 400.0]).all():
            continue
        checked += 1
        ends = field.distance_at([400.0, 80.0])
        wanted = reference[row] - np.hypot([400.0, 80.0], 1.0)
        np.testing.assert_allclose(law.distance_at(part, wanted[None, :])[0], ends, rtol=1e-9)
        even = law.unevenness(part, reference[row : row + 1], ends[:1], ends[1:], gauss(300))
        assert even[0] == pytest.approx(field.linearity_error_between(80.0, 400.0), rel=1e-5)
        few = law.unevenness(part, reference[row : row + 1], ends[:1], ends[1:], gauss(24))
        assert few[0] == pytest.approx(even[0], rel=1e-5)
    assert checked >= 4


def test_the_table_of_the_search_keeps_the_curve():
    places, law = np.geomspace(0.011, 0.79, 777), BuildLaw(ROD)
    empty = ROD.empty_capacitance
    np.testing.assert_allclose(law.hand_at(places) - empty, ROD.capacitance(places) - empty, rtol=1e-5)
    np.testing.assert_allclose(law.distance_of(ROD.capacitance(places)), places, rtol=1e-5)
    for kind in (law, replace(law, fine=True)):
        assert np.isnan(kind.distance_of(np.array([empty, 1e-10]))).all()
        ends = ROD.capacitance([0.01, 0.8])
        np.testing.assert_allclose(kind.distance_of(ends * np.array([1.0 + 1e-15, 1.0 - 1e-15])), [0.01, 0.8])


def test_joined_keeps_order():
    values = table(BRANCHED, 6, 0.02)
    parts = joined([LAW.outcomes(values[:2]), LAW.outcomes(values[2:])])
    np.testing.assert_array_equal(parts.trimmer_setting, LAW.outcomes(values).trimmer_setting)
    assert len(joined([])) == 0


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"zero_beat": 0.9}, "zero_beat must be within the hand field"),
        ({"nearest": math.nan}, "nearest must be"),
        ({"nearest": 0.4}, "nearest must be < farthest"),
        ({"even_from": 2000.0}, "even_from must be <"),
        ({"trimmer_ratio": 1.0}, "trimmer_ratio must be from"),
    ],
)
def test_bad_input_is_refused(changes, match):
    with pytest.raises(ValueError, match=match):
        replace(LAW, **changes)


def test_a_bad_law_is_refused():
    with pytest.raises(ValueError, match="mode must be one of"):
        BuildLaw(ROD, "middle")
    with pytest.raises(ValueError, match="lock_range must be >= 0"):
        BuildLaw(ROD, lock_range=-1.0)


def test_a_table_of_another_shape_is_refused():
    for bad in (np.ones(15), np.ones((2, 3)), np.full((1, len(QUANTITIES)), math.nan)):
        with pytest.raises(ValueError, match="values must"):
            LAW.outcomes(bad)


@pytest.mark.parametrize("fine", [False, True])
def test_where_no_distance_sounds_a_note_there_is_no_capacitance_either(fine):
    law = replace(LAW.law, fine=fine)
    found = law.hand_at(np.array([[0.2, np.nan], [np.nan, 0.9]]))
    assert np.isnan(found).tolist() == [[False, True], [True, False]]
    assert found[1, 1] == pytest.approx(float(ROD.capacitance(0.8)), rel=1e-12, abs=0)


def test_a_build_near_a_resonance_is_found_where_stepping_does_not_settle():
    """What the circuit adds is made to change with the hand more than the antenna's own part of the tank does."""
    parts = BRANCHED | {"branch_inductance": 55e-3}
    grid = np.linspace(float(ROD.capacitances[-1]), float(ROD.capacitances[0]), 5)
    law = BuildLaw(ROD, "high", 1.0, fine=True, circuit_capacitances=grid, circuit_added=np.zeros(5))
    plain = LAW.variable_parts(table(parts, 6, 0.02, 5))
    places = np.array([0.05, 0.2, 0.6])
    for steep in (0.0, 2e-12, 8e-12, 30e-12):
        builds = replace(plain, added=np.outer(np.linspace(0.5, 1.0, 6), [0.0, steep]))
        frequencies = law.frequency(builds, ROD.capacitance(places))
        np.testing.assert_allclose(law.distance_at(builds, frequencies), np.tile(places, (6, 1)), rtol=1e-6)
    beyond = law.frequency(builds, np.array([float(ROD.capacitances[0])])) - 2e4
    assert np.isnan(law.distance_at(builds, beyond)).all()
