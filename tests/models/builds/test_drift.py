"""Drift with temperature against its closed forms: -(alpha_L + alpha_C) / 2, tracking oscillators, tau ln(D / x)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from small_instrument import ROD

from models.builds.build_law import BuildLaw
from models.builds.drift import (
    CAUSES,
    Coefficients,
    DriftLaw,
    hold_time,
    hold_time_of_note,
    relative_drift,
    warm_up_rise,
)
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.pitch import cents
from models.tank import resonant_frequency

NOTES = np.array([0.05, 0.15, 0.25])
ANTENNA = float(ROD.capacitance(0.5)) + 3e-12
PARTS = {
    "variable_inductance": 2.7e-3,
    "variable_capacitance": 98e-12,
    "antenna_stray": 3e-12,
    "reference_inductance": 2.7e-3,
    "reference_capacitance": 88e-12,
    "reference_trimmer": 30e-12,
}
SETTING = (98e-12 + ANTENNA - 88e-12 - 3e-12) / 27e-12
LAW = TunedBuilds(
    law=BuildLaw(ROD, fine=True),
    zero_beat=0.5,
    nearest=0.05,
    farthest=0.3,
    trimmer_ratio=0.1,
    trimmer_setting=SETTING,
)
NOMINAL = np.array([PARTS.get(name, 0.0) for name in QUANTITIES])


def drifting(**coefficients: float) -> DriftLaw:
    return DriftLaw(LAW, NOMINAL, Coefficients(**coefficients), NOTES)


def test_relative_drift_is_the_slope_of_the_resonance():
    """Closed form -(alpha_L + alpha_C) / 2; by differences of 1 / (2 pi sqrt(L C)). Polystyrene -125 ppm/K makes up
    for a ferrite coil of +125 ppm/K (coefficients from memory)."""
    assert relative_drift(30e-6, -125e-6) == pytest.approx(47.5e-6)
    assert relative_drift(125e-6, -125e-6) == 0.0
    one = [float(resonant_frequency(1e-3 * (1 + 30e-6 * rise), 5e-10 * (1 - 125e-6 * rise))) for rise in (-1.0, 1.0)]
    assert (one[1] - one[0]) / (one[1] + one[0]) == pytest.approx(float(relative_drift(30e-6, -125e-6)), rel=1e-4)


def test_a_tank_drifts_by_the_closed_form():
    found = drifting(reference_coil=40e-6, variable_coil=40e-6).drift([10.0])
    frequency = float(LAW.reference_frequency(NOMINAL[None, :], SETTING)[0, 0])
    exact = frequency * (1.0 / math.sqrt(1.0 + 40e-5) - 1.0)
    assert found.reference[0] == pytest.approx(exact, rel=1e-9)
    assert found.reference[0] == pytest.approx(10.0 * frequency * float(relative_drift(40e-6, 0.0)), rel=1e-3)
    assert found.variable[0] == pytest.approx(exact, rel=1e-6)


def test_identical_oscillators_track():
    """Same frequency, same coefficient of every part: both drift alike, the zero beat and its place stay."""
    part = drifting(variable_coil=200e-6, reference_coil=200e-6).drift([-10.0, 5.0, 20.0])
    assert np.abs(part.zero_beat).max() < 1e-5
    assert np.abs(part.reference).min() > 100.0
    np.testing.assert_allclose(part.zero_beat_distance, 0.5, atol=1e-6)
    # notes keep their place but for the common factor 1 / sqrt(1 + alpha T), a few cents per thousand ppm
    shift = float(cents(1.0 / math.sqrt(1.0 + 200e-6 * 20.0), 1.0))
    np.testing.assert_allclose(part.note_cents[2], shift, atol=1e-3)


def test_mismatch_is_what_is_left():
    mismatched = drifting(variable_coil=50e-6, reference_coil=60e-6)
    frequency = float(LAW.reference_frequency(NOMINAL[None, :], SETTING)[0, 0])
    assert mismatched.zero_beat_drift(1.0)[0] == pytest.approx(-0.5 * 10e-6 * frequency, rel=1e-3)
    rises = mismatched.zero_beat_drift([1.0, 2.0, 10.0])
    np.testing.assert_allclose(rises / rises[0], [1.0, 2.0, 10.0], rtol=1e-3)
    other = drifting(variable_coil=60e-6, reference_coil=50e-6)
    assert other.zero_beat_drift(1.0)[0] == pytest.approx(-float(rises[0]), rel=1e-3)


def test_the_zero_beat_stands_where_the_oscillators_meet():
    found = drifting(reference_coil=0.5e-6).drift([-2.0, 0.0, 2.0])
    place = found.zero_beat_distance[2]
    values = drifting(reference_coil=0.5e-6).values([2.0])
    there = LAW.variable_frequency(values, ROD.capacitance([place]))[0, 0]
    assert there == pytest.approx(float(LAW.reference_frequency(values, SETTING)[0, 0]), abs=1e-4)
    assert found.zero_beat_distance[0] > 0.5 > place  # a slower reference meets the oscillator nearer to the rod
    assert math.isnan(drifting(reference_coil=100e-6).drift([-20.0]).zero_beat_distance[0])


def test_notes_drift_by_the_zero_beat_over_their_frequency():
    law = drifting(reference_capacitor=2e-6)
    found, (reference, variable) = law.drift([1.0]), law.oscillators(0.0)
    beat = (reference - variable[:, 1:])[0]
    np.testing.assert_allclose(found.note_cents[0], cents(beat + found.zero_beat[0], beat), rtol=1e-9)
    assert (np.abs(np.diff(found.note_cents[0])) > 0.0).all()
    pulled = replace(LAW, law=replace(LAW.law, lock_range=float(beat[2]) - 0.01))
    locked = DriftLaw(pulled, NOMINAL, law.coefficients, NOTES)
    assert math.isnan(locked.drift([50.0]).note_cents[0, 2])


def test_warm_up_is_exponential():
    rise = warm_up_rise([0.0, 600.0, 6000.0], 10.0, 600.0)
    np.testing.assert_allclose(rise, [0.0, 10.0 * (1.0 - 1.0 / math.e), 10.0 * (1.0 - math.exp(-10.0))], rtol=1e-13)


def test_hold_time_against_its_closed_form():
    """t = tau ln(D / x) where drift goes with the rise; the law is straight within a part in a thousand here."""
    law = drifting(reference_coil=20e-6)
    whole = abs(float(law.zero_beat_drift(10.0)[0]))
    for limit in (0.5, 2.0, 10.0):
        assert hold_time(law, 10.0, 600.0, limit) == pytest.approx(600.0 * math.log(whole / limit), abs=1.0)
    assert hold_time(law, 10.0, 600.0, 1.01 * whole) == 0.0
    assert hold_time(drifting(), 10.0, 600.0, 1e-3) == 0.0
    assert hold_time(law, 10.0, 1200.0, 2.0) == pytest.approx(2.0 * hold_time(law, 10.0, 600.0, 2.0), rel=1e-6)


def test_hold_time_of_a_note():
    """By brute force: just before it the note still leaves the limit, after it never."""
    law = drifting(reference_coil=20e-6)
    for note in range(3):
        time = hold_time_of_note(law, note, 10.0, 600.0, 5.0)
        later = law.note_change(warm_up_rise(np.linspace(time + 0.01, 9000.0, 200), 10.0, 600.0), 10.0)[:, note]
        assert np.abs(later).max() < 5.0
        assert abs(law.note_change(warm_up_rise(time - 0.01, 10.0, 600.0), 10.0)[0, note]) > 5.0
    assert hold_time_of_note(law, 2, 10.0, 600.0, 5.0) > hold_time_of_note(law, 0, 10.0, 600.0, 5.0)


def test_each_cause_alone_adds_up_to_the_whole():
    law = drifting(
        variable_coil=30e-6,
        variable_capacitor=-20e-6,
        reference_coil=45e-6,
        reference_capacitor=10e-6,
        antenna_stray=300e-6,
    )
    whole = float(law.zero_beat_drift(5.0)[0])
    parts = [float(replace(law, coefficients=law.coefficients.only(cause)).zero_beat_drift(5.0)[0]) for cause in CAUSES]
    assert sum(parts) == pytest.approx(whole, abs=1e-3 * max(map(abs, parts)))


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="variable_coil must be a finite number"):
        Coefficients(variable_coil=math.nan)
    with pytest.raises(ValueError, match="rise must leave every part"):
        drifting(variable_coil=5e-3).drift([200.0])
    with pytest.raises(ValueError, match="hertz must be > 0"):
        hold_time(drifting(), 10.0, 600.0, 0.0)
    with pytest.raises(ValueError, match="time must be >= 0"):
        warm_up_rise(-1.0, 10.0, 600.0)
    with pytest.raises(ValueError, match="time_constant must be > 0"):
        warm_up_rise(1.0, 10.0, 0.0)
    with pytest.raises(ValueError, match="cannot be told from rounding"):
        hold_time(drifting(reference_coil=1e-3), 10.0, 600.0, 1e-13)
