"""The voice's parts: filters against their circuits, fades, guard, whole-number phase, pitch law, tables."""

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal
from small_instrument import make_instrument

from models.detector.memoryless import Detector
from models.pulling import pulled_beat
from synth.sound.band_edges import FADE_TO, FOLDED_LINE, crossings, highest_offsets, line_bound
from synth.sound.beat_phase import (
    STEPS_PER_TURN,
    TURN_MASK,
    PitchLaw,
    accumulate,
    fixed_from_radians,
    fixed_from_tangent,
    radians_from_fixed,
)
from synth.sound.fades import Fade, Slew, guard
from synth.sound.filters import (
    Smoother,
    ToneFilter,
    dc_block_coefficients,
    low_pass_coefficients,
    smoothing_pole,
)
from synth.sound.strand import Strand
from synth.sound.wavetable import Cycles, Wavetable, significant_harmonics, top_harmonics

RATE = 48000
INSTRUMENT = make_instrument(reference_frequency=316e3)


def test_smoother_reaches_1_minus_1_over_e_after_its_time_constant():
    smoother = Smoother(0.005, RATE)
    smoother.smooth(np.zeros(1))
    assert smoother.smooth(np.ones(240))[0][-1] == pytest.approx(1.0 - math.exp(-1.0), rel=1e-12)
    assert smoothing_pole(1e9, RATE) == pytest.approx(1.0)


def test_smoother_starts_settled_and_dies_away_to_zero():
    smoother = Smoother(0.005, RATE)
    first = smoother.smooth(np.full(10, 0.3), np.full(10, 7.0))
    np.testing.assert_allclose(first, [[0.3] * 10, [7.0] * 10], rtol=1e-14)
    for _ in range(100):
        fading, steady = smoother.smooth(np.zeros(1000), np.full(1000, 7.0))
    assert (fading == 0.0).all()  # no subnormal numbers, which slow a processor down
    np.testing.assert_allclose(steady, 7.0, rtol=1e-12)  # and no row leaks into the next


@pytest.mark.parametrize("rest", [0.0, 1.0, 0.3])
def test_a_row_that_rests_for_a_while_is_smoothed_like_any_other(rest):
    values, other = np.repeat([rest, 0.4, rest], 500), np.linspace(0.2, 0.3, 1500)
    whole, cut = Smoother(0.005, RATE), Smoother(0.005, RATE)
    pieces = [cut.smooth(values[start : start + 100], other[start : start + 100]) for start in range(0, 1500, 100)]
    smoothed = np.array(whole.smooth(values, other))
    assert np.concatenate(pieces, axis=1).tobytes() == smoothed.tobytes()
    pole = smoothing_pole(0.005, RATE)
    assert smoothed[0, 500] == pytest.approx(pole * rest + (1.0 - pole) * 0.4, rel=1e-12)


@pytest.mark.parametrize(("corner", "error_db"), [(200.0, 0.3), (2000.0, 0.3), (8000.0, 0.3), (30000.0, 0.15)])
def test_low_pass_is_the_rc_stages(corner, error_db):
    """Against 1 / sqrt(1 + (f / f_c)^2), the RC low-pass of every textbook, up to 20 kHz at 48 kHz."""
    frequencies = np.geomspace(10.0, 20000.0, 200)
    _, response = signal.freqz(*low_pass_coefficients(corner, RATE), worN=frequencies, fs=RATE)
    expected = 1.0 / np.hypot(1.0, frequencies / corner)
    error = np.abs(20.0 * np.log10(np.abs(response) / expected))
    assert error.max() < error_db
    assert error[frequencies < 5000.0].max() < 0.05


def test_low_pass_far_above_the_band_does_nothing():
    _, response = signal.freqz(*low_pass_coefficients(1e7, RATE), worN=np.array([100.0, 20000.0]), fs=RATE)
    np.testing.assert_allclose(np.abs(response), 1.0, rtol=1e-4)


def test_dc_block_is_a_coupling_capacitors():
    """Against (f / f_c) / sqrt(1 + (f / f_c)^2)."""
    frequencies = np.geomspace(0.5, 20000.0, 200)
    _, response = signal.freqz(*dc_block_coefficients(10.0, RATE), worN=frequencies, fs=RATE)
    expected = (frequencies / 10.0) / np.hypot(1.0, frequencies / 10.0)
    np.testing.assert_allclose(np.abs(response), expected, rtol=1e-3)


@pytest.mark.parametrize("build", [low_pass_coefficients, dc_block_coefficients])
@pytest.mark.parametrize("corner", [0.0, -1.0, math.nan, True])
def test_filters_refuse_bad_corners(build, corner):
    with pytest.raises(ValueError, match="corner must be"):
        build(corner, RATE)


def test_tone_filter_settled_on_a_value_makes_no_step():
    tone = ToneFilter(3000.0, 10.0, RATE)
    tone.settle(0.7)
    assert np.abs(tone.filter(np.full(5000, 0.7))).max() < 1e-12


def test_tone_filter_that_follows_its_like_goes_on_the_same():
    noise = np.random.default_rng(3).normal(size=300)
    one, other = ToneFilter(3000.0, 10.0, RATE), ToneFilter(3000.0, 10.0, RATE)
    one.filter(noise[:99])
    one.filter(noise[99:100])
    other.follow(one)
    np.testing.assert_allclose(one.filter(noise[100:]), other.filter(noise[100:]), rtol=0, atol=1e-12)


@pytest.mark.parametrize("corner", [150.0, 3000.0, 1e6])
def test_tone_filter_is_its_two_stages_in_a_row(corner):
    """Against scipy's general filter, one stage after the other: in blocks, and where one filter follows another."""
    noise = np.random.default_rng(4).normal(size=900)
    stages = [low_pass_coefficients(corner, RATE), dc_block_coefficients(20.0, RATE)]
    tone = ToneFilter(corner, 20.0, RATE)
    cut = np.concatenate([tone.filter(row) for row in np.split(noise, [1, 2, 5, 300])])
    passed = signal.lfilter(*stages[0], noise)
    np.testing.assert_allclose(cut, signal.lfilter(*stages[1], passed), rtol=0, atol=1e-11)
    whole = ToneFilter(corner, 20.0, RATE).filter(noise)
    assert whole.tobytes() == cut.tobytes()
    before = ToneFilter(700.0, 10.0, RATE)
    left = before.filter(noise)[-1]
    entered, raised = signal.lfilter(*low_pass_coefficients(700.0, RATE), noise)[-1], 0.2
    tone.follow(before, raised)
    again = noise[::-1] + 0.3
    state = signal.lfiltic(*stages[0], [entered + raised], [noise[-1] + raised])
    passed, _ = signal.lfilter(*stages[0], again, zi=state)
    state = signal.lfiltic(*stages[1], [entered - 2.0 * (entered - left)], [entered + raised])
    np.testing.assert_allclose(tone.filter(again), signal.lfilter(*stages[1], passed, zi=state)[0], rtol=0, atol=1e-11)


@pytest.mark.parametrize("level", [0.25, 0.0])
def test_a_tone_filters_level_scales_what_comes_out_and_nothing_it_remembers(level):
    noise = np.random.default_rng(5).normal(size=700)
    whole, scaled = ToneFilter(3000.0, 20.0, RATE), ToneFilter(3000.0, 20.0, RATE, level)
    np.testing.assert_allclose(scaled.filter(noise), level * whole.filter(noise), rtol=0, atol=1e-14)
    if level > 0.0:
        one, other = ToneFilter(700.0, 20.0, RATE), ToneFilter(700.0, 20.0, RATE)
        one.follow(whole)
        other.follow(scaled)
        np.testing.assert_allclose(one.filter(noise), other.filter(noise), rtol=0, atol=1e-13)


def test_fade_takes_its_time_and_turns_round():
    fade = Fade(0.008, RATE)
    assert fade.left == 384
    up = fade.gains(384, up=True)
    assert up[-1] == 1.0
    assert up[191] == 0.5
    assert fade.rests_at(1.0)
    down = fade.gains(100, up=False)
    assert (np.diff(np.concatenate([up, down, fade.gains(100, up=True)]))[383:483] < 0.0).all()
    assert fade.rests_at(1.0)


def test_guard_is_exactly_linear_below_the_knee_and_never_beyond_full_scale():
    samples = np.linspace(-3.0, 3.0, 6001)
    guarded = samples.copy()
    guard(guarded)
    low = np.abs(samples) <= 0.9
    np.testing.assert_array_equal(guarded[low], samples[low])
    assert np.abs(guarded).max() <= 1.0
    assert (np.diff(guarded[np.abs(samples) < 1.1]) > 0.0).all()
    np.testing.assert_allclose(np.diff(guarded) / np.diff(samples), np.gradient(guarded, samples)[:-1], atol=0.02)
    huge = np.array([1e300, -1e300, 0.0])
    guard(huge, knee=1.0)
    np.testing.assert_array_equal(huge, [1.0, -1.0, 0.0])


def test_phase_is_exact_for_hours():
    """An hour is 3600 f turns to better than 1e-6 of a turn: the sum is exact, only the step is rounded."""
    for frequency in (440.0, -261.6255653, 0.01, 19000.0):
        phase = 0
        for _ in range(100):
            phase = int(accumulate(phase, np.full(4801, frequency), RATE)[-1]) & TURN_MASK
        step = int(accumulate(0, np.full(2, frequency), RATE)[0])
        assert (480000 * step - phase) % 2**56 == 0  # no rounding ever adds up
        assert abs(step / STEPS_PER_TURN - frequency / RATE) * 3600 * RATE < 1e-6


def test_phase_does_not_depend_on_the_order_of_addition():
    frequency = np.random.default_rng(5).uniform(-9e4, 9e4, 5001)
    whole = accumulate(123456789, frequency, RATE)
    first = accumulate(123456789, frequency[:1001], RATE)
    second = accumulate(int(first[-1]) & TURN_MASK, frequency[1000:], RATE)
    np.testing.assert_array_equal(whole & TURN_MASK, np.concatenate([first, second]) & TURN_MASK)


def test_phase_of_a_glide_is_its_integral():
    """f from 100 to 300 Hz in 1 s, straight: 100 t + 100 t^2 turns."""
    time = np.arange(RATE + 1) / RATE
    turns = accumulate(0, 100.0 + 200.0 * time, RATE) / STEPS_PER_TURN
    wanted = (100.0 * time + 100.0 * time**2)[1:]
    error = (turns - wanted + 0.5) % 1.0 - 0.5
    assert np.abs(error).max() < 1e-10


def test_radians_there_and_back():
    angles = np.array([0.0, 1.0, 6.28, -1.0, 1e4, -1e4])
    back = [radians_from_fixed(int(step)) for step in fixed_from_radians(angles)]
    np.testing.assert_allclose(np.exp(1j * np.array(back)), np.exp(1j * angles), atol=1e-11)


def test_angles_from_their_tangents_are_numpys_arc_tangents_within_1e_8():
    tangents = np.concatenate([np.tan(np.linspace(-1.57, 1.57, 100_001)), [0.0, -1e-300, 1e9, -1e9, 1e260, -1e260]])
    steps = fixed_from_tangent(tangents)
    np.testing.assert_allclose(steps * (math.pi / STEPS_PER_TURN), np.arctan(tangents), rtol=0, atol=0.5e-8)
    turned = fixed_from_tangent(-tangents) + steps  # an odd function
    assert (np.abs(turned) < 1e-8 * STEPS_PER_TURN).all()


@pytest.mark.parametrize("zero_beat", [0.03, 0.25, 0.6])
def test_pitch_law_is_within_a_hundredth_of_a_cent(zero_beat):
    reference = float(INSTRUMENT.variable_frequency(zero_beat))
    instrument = dataclasses.replace(INSTRUMENT, reference_frequency=reference)
    distances = np.random.default_rng(7).uniform(0.01, 0.8, 200_000)
    exact = instrument.offset_frequency(distances)
    made = PitchLaw(instrument)
    law = made.offset(distances)
    heard = np.abs(exact) >= 20.0
    assert np.abs(1200.0 * np.log2(law[heard] / exact[heard])).max() < 0.01
    assert np.abs(law - exact).max() < 1e-3
    assert made.offset(np.array([0.01, 0.8])) == pytest.approx(instrument.offset_frequency([0.01, 0.8]), rel=1e-12)
    assert [made.at(place) for place in distances[:50].tolist()] == pytest.approx(law[:50], rel=1e-12, abs=1e-9)
    assert [made.at(0.01), made.at(0.8)] == pytest.approx(instrument.offset_frequency([0.01, 0.8]), rel=1e-12)


def test_oscillators_too_far_apart_for_the_rate_are_refused():
    far = dataclasses.replace(INSTRUMENT, reference_frequency=3e6)
    with pytest.raises(ValueError, match="sample_rate must be >="):
        Strand(far, 8000)


def test_levels_fall_to_silence():
    for highest in (1, 2, 7, 1024):
        tops = top_harmonics(highest)
        assert tops[0] == highest
        assert tops[-2:] == (1, 0)
        assert all(later < earlier for earlier, later in pairwise(tops))


def test_only_harmonics_that_matter_are_kept():
    assert significant_harmonics(Detector("product", 0.3)).size == 2
    assert significant_harmonics(Detector("junction", 1.0, 1.0)).size < 15
    assert significant_harmonics(Detector("envelope", 1.0)).size == 1025


@pytest.mark.parametrize("kind", ["product", "envelope", "square-law", "junction"])
def test_table_is_the_detectors_waveform(kind):
    """Low beats, where all harmonics fit, against the detector's own formula without its steady part."""
    detector = Detector(kind, 0.8, 3.0)
    table = Wavetable(detector, RATE)
    phases = np.random.default_rng(2).uniform(0.0, 2.0 * math.pi, 3000)
    sound = table.sound(fixed_from_radians(phases), np.full(3000, 1.0))
    expected = (detector.waveform(phases) - detector.harmonics(0)[0]) / detector.peak
    np.testing.assert_allclose(sound, expected, rtol=0, atol=2e-6)


def test_no_level_sounds_beyond_its_band():
    harmonics = significant_harmonics(Detector("envelope"))
    tops = top_harmonics(harmonics.size - 1)
    for lock_range in (0.0, 3.0, 50.0):
        edges, numbers = crossings(harmonics, tops, RATE, lock_range)
        assert (np.diff(edges) >= 0.0).all()
        assert (np.diff(numbers) >= 0.0).all()
        gone = edges[1::2]  # a level has gone here
        assert (gone * np.array(tops[:-1]) <= FADE_TO * RATE * 1.0001).all()
    assert highest_offsets(harmonics, np.array([1024]), RATE, 500.0) == 0.0


def test_the_place_where_lines_begin_to_fold_is_that_of_a_search_step_by_step():
    harmonics = significant_harmonics(Detector("envelope", 0.9))
    for lock_range in (0.3, 40.0, 900.0):
        for top in (2, 9, 60):
            highest, found = FADE_TO * RATE / top, 0.0
            for offset in np.geomspace(1.001 * lock_range, max(highest, 1.001 * lock_range), 200).tolist():
                beat, order = math.sqrt(offset**2 - lock_range**2), np.arange(1.0, top + 1.0)
                rho = np.float64(lock_range / (offset + beat))
                bounds = line_bound(np.maximum(0.5 * RATE / beat, order), order, rho) * np.abs(harmonics[1 : top + 1])
                if offset > highest or (bounds > FOLDED_LINE * np.abs(harmonics[1:]).max()).any():
                    break
                found = offset
            [got] = highest_offsets(harmonics, np.array([top]), RATE, lock_range)
            assert got == pytest.approx(found, rel=0.03, abs=1e-9)  # a step is up to 5 % wide


@pytest.mark.parametrize("size", [16, 4096])
def test_cycles_of_cosines_are_those_of_a_fourier_transform(size):
    rng = np.random.default_rng(8)
    waves = rng.normal(size=(21, 6)) * 0.5 ** np.arange(6.0) + 0j
    turned = waves.copy()
    turned[:, 5] += 1e-12j  # takes the transform
    one, other = (Cycles.of_waves(each, size) for each in (waves, turned))
    phases = rng.integers(0, TURN_MASK, 200)
    for row in (0, 7, 20):
        angles = np.outer(np.arange(6.0), phases * (2.0 * math.pi / STEPS_PER_TURN))
        np.testing.assert_allclose(one.row(phases, row), other.row(phases, row), rtol=0, atol=1e-6)
        if size > 16:
            np.testing.assert_allclose(one.row(phases, row), waves[row].real @ np.cos(angles), rtol=0, atol=2e-5)


@pytest.mark.parametrize("harmonic", [1, 4, 20])
@pytest.mark.parametrize("ratio", [1.05, 1.5, 8.0])
def test_line_bound_holds_for_pulled_spectra(harmonic, ratio):
    """Against the spectrum of the exact phase, tan(phi/2) = (1 + sqrt(K^2 - 1) tan(pi b t)) / K (Adler 1946)."""
    points = 1 << 14
    half_turn = math.pi * (np.arange(points) + 0.5) / points
    tangent = (1.0 + math.sqrt(ratio**2 - 1.0) * np.tan(half_turn)) / ratio
    lines = np.abs(np.fft.fft(np.exp(2j * harmonic * np.arctan(tangent)))) / points
    rho = ratio - math.sqrt(ratio**2 - 1.0)
    assert float(pulled_beat(ratio, 1.0)) == pytest.approx(math.sqrt(ratio**2 - 1.0))
    numbers = np.arange(harmonic, 400)
    bound = line_bound(numbers.astype(float), np.float64(harmonic), np.float64(rho))
    assert (lines[harmonic:400] <= bound * 1.0001 + 1e-12).all()
    near = lines[harmonic:400] > 1e-11
    assert bound[near][-1] < 1e-8  # and falls as the lines do


@pytest.mark.parametrize("sizes", [[480] * 30, [1, 7, 128, 1024, 4096, 3000]])
def test_a_slew_goes_at_its_rate_and_ends_where_it_is_wanted(sizes):
    """From 0.2 to 0.7 at 10 a second takes 2400 samples; the last block shares out the rest."""
    slew = Slew(10.0, 48_000.0)
    assert slew.towards(0.2, 100) == 0.2  # the first value it is given
    values = np.concatenate([np.broadcast_to(slew.towards(0.7, size), size) for size in sizes])
    assert values[959] == pytest.approx(0.4)
    assert np.diff(values).max() == pytest.approx(10.0 / 48_000.0)
    assert np.diff(values).min() >= 0.0
    assert values[2398] < 0.7 == values[-1]
