"""Ripple along the hand: the complex difference of two oscillators, its places of entry, and two circuits in time."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pair_in_time import Pair, integrate_pairs
from scipy.special import j0, j1

from models.branch.antenna_branch import SeriesInductor
from models.circuit import modulation
from models.circuit.adjoint import oscillator_adjoint
from models.circuit.coupled import Coupling
from models.circuit.modulation import both_ripples, stronger_sideband
from models.circuit.oscillator import steady_state
from models.circuit.ripple_law import (
    BOTH_BASES,
    ENTRIES,
    REFERENCE_BASE,
    SUPPLY,
    VARIABLE_BASE,
    RippleLaw,
    ripple_laws,
)
from models.circuit.variable_oscillator import solve_along, with_antenna
from synth.build.circuit_assembly import circuit_of
from tests.models.circuit.willow import AT_ZERO_BEAT, DESIGN, willow

BRANCH = SeriesInductor(DESIGN.branch.inductance, DESIGN.branch.quality_factor, DESIGN.branch.self_capacitance)
POINTS = AT_ZERO_BEAT + np.array([0.0, 0.35e-12, 0.7e-12])  # as far apart as five along the rod of the demo


@pytest.fixture(scope="module")
def solved():
    along = solve_along(circuit_of(DESIGN, "variable"), BRANCH, POINTS)
    return oscillator_adjoint(willow()[0]), tuple(oscillator_adjoint(state) for state in along.states)


@pytest.fixture(scope="module")
def laws(solved):
    return ripple_laws(solved[0], POINTS.tolist(), solved[1], 100.0)


def test_slow_ripple_of_the_supply_leaves_the_difference(solved):
    # two whole circuits in time by an independent program: 0.87 Hz/V in the beat; -55 Hz per volt at one base (its sign
    # turns round at the base of the variable oscillator, whose frequency is taken off)
    slow = ripple_laws(solved[0], POINTS[:1].tolist(), solved[1][:1], 0.01)
    assert_allclose(slow[SUPPLY].deviation(AT_ZERO_BEAT).real, 0.87, rtol=0.02)
    assert_allclose(slow[REFERENCE_BASE].deviation(AT_ZERO_BEAT).real, -55.0, rtol=0.07)
    low, high = (steady_state(solved[1][0].state.circuit.with_pot(place)) for place in (0.49, 0.51))
    volts = high.coefficients("base")[0].real - low.coefficients("base")[0].real
    by_pot = (high.frequency - low.frequency) / volts  # the pot does nothing but move the base
    assert_allclose(slow[VARIABLE_BASE].deviation(AT_ZERO_BEAT).real, -by_pot, rtol=0.01)


def test_both_bases_are_one_and_the_other(laws):
    one, other, both = (laws[entry] for entry in (REFERENCE_BASE, VARIABLE_BASE, BOTH_BASES))
    assert_allclose(both.deviation(POINTS), one.deviation(POINTS) + other.deviation(POINTS), rtol=1e-12)
    assert both.reference_amplitude == one.reference_amplitude
    assert other.reference_amplitude == 0.0
    assert not np.any(one.variable_amplitude(POINTS))
    assert list(laws) == list(ENTRIES)


def test_each_oscillator_answers_with_a_phase_of_its_own(laws, solved):
    first, second = (both_ripples(each, 100.0)[0].deviation for each in (solved[0], solved[1][0]))
    assert_allclose(complex(laws[SUPPLY].deviation(AT_ZERO_BEAT)), first - second, rtol=1e-12)
    # the difference of the two sizes alone would be 7 % less
    assert abs(first - second) > 1.05 * abs(abs(first) - abs(second))


def exactly(solved, capacitance):
    """The law of the circuit solved with that antenna."""
    circuit = with_antenna(circuit_of(DESIGN, "variable"), capacitance, BRANCH)
    there = oscillator_adjoint(steady_state(circuit, warm_start=solved[1][0].state))
    return ripple_laws(solved[0], [capacitance], [there], 100.0)[SUPPLY]


@pytest.mark.parametrize(("place", "off"), [(0.2e-12, 1e-3), (0.5e-12, 1e-3), (1.05e-12, 3e-3)])
def test_between_and_beyond_solved_points_it_runs_smoothly(place, off, laws, solved):
    there = AT_ZERO_BEAT + place
    exact = exactly(solved, there)
    assert_allclose(laws[SUPPLY].deviation(there), exact.deviation(there), rtol=off)
    assert_allclose(laws[SUPPLY].variable_amplitude(there), exact.variable_amplitude(there), rtol=0.1 * off)
    # one point alone stands for all
    assert exact.deviation(AT_ZERO_BEAT) == exact.deviation(there)


def test_faint_harmonics_take_no_part(solved, monkeypatch):
    short = both_ripples(solved[0], 100.0)
    monkeypatch.setattr(modulation, "FAINT", 0.0)
    for found, whole in zip(short, both_ripples(solved[0], 100.0), strict=True):
        assert_allclose(found.deviation, whole.deviation, rtol=1e-7)
        assert_allclose(found.amplitude, whole.amplitude, rtol=1e-7)


def test_volts_count_in_proportion(laws):
    tenth = laws[SUPPLY].times(0.1)
    assert_allclose(tenth.deviation(POINTS), 0.1 * laws[SUPPLY].deviation(POINTS), rtol=1e-12)
    assert_allclose(tenth.reference_amplitude, 0.1 * laws[SUPPLY].reference_amplitude, rtol=1e-12)
    with pytest.raises(ValueError, match="volts must be >= 0"):
        laws[SUPPLY].times(-1.0)
    with pytest.raises(ValueError, match="rows of one length"):
        RippleLaw(100.0, (1e-12, 2e-12), (1j,), (0j, 0j), 0j)
    with pytest.raises(ValueError, match="frequency"):
        replace(laws[SUPPLY], frequency=0.0)


def test_lines_beside_a_wave():
    # frequency modulation alone: J_1(b) / J_0(b) (textbook), b small; amplitude modulation alone: m / 2
    assert_allclose(stronger_sideband(0.0, 1.0, 100.0), j1(0.01) / j0(0.01), rtol=1e-4)
    assert_allclose(stronger_sideband(0.02, 0.0, 100.0), 0.01, rtol=1e-12)
    # a single line: (1 + 0.02 exp(j W t)) exp(j w t) has m(t) = 0.02 cos W t and phi(t) = 0.02 sin W t
    deviation = 1j * 100.0 * (0.02 / 1j)
    assert_allclose(stronger_sideband(0.02, deviation, 100.0), 0.02, rtol=1e-12)
    # the same lag of both, a quarter of a turn apart: two equal lines
    assert_allclose(stronger_sideband(0.02, 1j * deviation, 100.0), 0.01 * np.sqrt(2.0), rtol=1e-12)


def peaks(wave, times, ripple):
    """Peaks, complex, of the relative change of amplitude and of the phase, rad, of an envelope that ripples."""
    angle = 2.0 * np.pi * ripple * times
    basis = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle), angle, angle**2]).T
    rows = (np.abs(wave) / np.abs(wave).mean(), np.unwrap(np.angle(wave)))
    return tuple(complex(fit[0], -fit[1]) for fit in (np.linalg.lstsq(basis, row, rcond=None)[0] for row in rows))


@pytest.mark.slow
def test_the_beats_lines_are_those_of_two_circuits_in_time():
    """Product of the two tanks: the line above and below the beat by 4 kHz of ripple on the supply of both."""
    ripple, height = 4e3, 0.3
    reference, variable = willow()
    share = height / reference.circuit.supply_voltage
    run = integrate_pairs(
        [Pair(reference, variable, Coupling())],
        2.2e-3,
        supply=lambda time: 1.0 + share * np.cos(2.0 * np.pi * ripple * time),
    )
    late = run.times > 0.7e-3
    (swell_r, turn_r), (swell_v, turn_v) = (peaks(row[late], run.times[late], ripple) for row in run.amplitudes[0])
    law = ripple_laws(oscillator_adjoint(reference), [AT_ZERO_BEAT], [oscillator_adjoint(variable)], ripple)[
        SUPPLY
    ].times(height)
    swell = law.reference_amplitude + complex(law.variable_amplitude(AT_ZERO_BEAT))
    turn = complex(law.deviation(AT_ZERO_BEAT)) / (1j * ripple)
    found, expected = (
        np.array([0.5 * (m + 1j * phi), 0.5 * (m - 1j * phi)])
        for m, phi in ((swell, turn), (swell_r + swell_v, turn_r - turn_v))
    )
    assert_allclose(found, expected, rtol=0.01)
    assert_allclose(swell, swell_r + swell_v, rtol=0.01)
    alone = both_ripples(oscillator_adjoint(reference), ripple)[0]
    assert_allclose(turn_r, height * alone.deviation / (1j * ripple), rtol=0.03)  # what settles yet is in it
    assert_allclose(swell_r, height * alone.amplitude, rtol=0.01)
    # what is left of both phases is a twentieth of what each of them turns, and found within 4 % of itself
    assert_allclose(turn, turn_r - turn_v, rtol=0.04)
    assert abs(turn) < 0.05 * abs(turn_r)
