"""The volume side: rectifier and gain stage, then the whole chain from hand to gain in dB, its inverse and faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import RING_CURVE

from models.hand.capacitance_curve import CapacitanceCurve
from models.tank import Tank
from models.volume.loudness import GainStage, PeakRectifier
from models.volume.volume_antenna import VolumeAntenna, VolumeFault

TANK = Tank(2.2e-3, 33e-12, 12e-12, 5e-12, 30e-12)
RESONATOR = Tank(2.2e-3, 72e-12, quality_factor=100.0)


def tuned(full_height: float = 0.25, **changes) -> VolumeAntenna:
    """A volume antenna set up for full volume at this height."""
    raw = replace(VolumeAntenna(RING_CURVE, TANK, RESONATOR, ring_stray=3e-12), **changes)
    needed = raw.trimmer_for_full_at(full_height)
    assert needed is not None
    span = raw.tank.trimmer_maximum - raw.tank.trimmer_minimum
    return replace(raw, tank=raw.tank.with_trimmer((needed - raw.tank.trimmer_minimum) / span))


# Rectifier and stage


def test_the_rectifier_takes_one_diode_drop_and_no_less_than_nothing():
    rectifier = PeakRectifier(amplitude=8.0, diode_drop=0.3)
    assert_allclose(rectifier.voltage([1.0, 0.5, 0.0375, 0.01, 0.0]), [7.7, 3.7, 0.0, 0.0, 0.0], rtol=1e-12, atol=1e-12)
    assert_allclose(rectifier.voltage(rectifier.response_for([0.0, 2.0, 7.7])), [0.0, 2.0, 7.7], rtol=1e-12, atol=1e-12)
    assert rectifier.highest == pytest.approx(7.7)
    assert PeakRectifier(resistance=100e3, capacitance=22e-9).time_constant == pytest.approx(2.2e-3)
    assert PeakRectifier(amplitude=0.2, diode_drop=0.3).highest == 0.0


def test_the_stage_is_linear_in_volts_between_threshold_and_full():
    stage = GainStage(threshold=2.0, full=6.0)
    assert_allclose(stage.gain([0.0, 2.0, 3.0, 4.0, 6.0, 9.0]), [0.0, 0.0, 0.25, 0.5, 1.0, 1.0], rtol=0, atol=1e-15)
    assert [stage.voltage_for(gain) for gain in (0.0, 0.25, 1.0)] == [2.0, 3.0, 6.0]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: PeakRectifier(amplitude=0.0), "amplitude must be > 0"),
        (lambda: PeakRectifier(diode_drop=-0.1), "diode_drop must be >= 0"),
        (lambda: PeakRectifier(capacitance=float("inf")), "capacitance must be a finite"),
        (lambda: GainStage(threshold=-1.0), "threshold must be >= 0"),
        (lambda: GainStage(threshold=3.0, full=3.0), "full must be > threshold = 3 V"),
        (lambda: GainStage(full=True), "full must be a finite"),
        (lambda: GainStage().voltage_for(1.2), "gain must be between 0 and 1"),
        (lambda: VolumeAntenna(RING_CURVE, TANK, RESONATOR, ring_stray=-1e-12), "ring_stray must be >= 0"),
        (lambda: tuned().gain(0.005), "distance must be between"),
        (lambda: tuned().gain(np.nan), "distance must be"),
        (lambda: tuned().distance_at(-0.1), "gain must be between 0 and 1"),
    ],
)
def test_bad_values_are_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()


# The chain


def test_the_chain_against_the_circuit_by_hand():
    """Every stage at one height, written out; the resonator as complex impedances instead of the universal curve."""
    volume = tuned()
    distance = 0.08
    total = volume.tank.total_capacitance + 3e-12 + 7.4e-12 + 0.10e-12 / 0.11
    frequency = 1.0 / (2.0 * np.pi * np.sqrt(2.2e-3 * total))
    assert_allclose(volume.oscillator_frequency(distance), frequency, rtol=1e-5, atol=0)  # interpolated
    omega = 2.0 * np.pi * float(volume.oscillator_frequency(distance))
    loss = np.sqrt(2.2e-3 / 72e-12) / 100.0
    share = abs(loss / (loss + 1j * omega * 2.2e-3 + 1.0 / (1j * omega * 72e-12)))
    assert_allclose(volume.response(distance), share, rtol=1e-9, atol=0)
    voltage = 8.0 * share - 0.3
    assert_allclose(volume.control_voltage(distance), voltage, rtol=1e-9, atol=0)
    assert_allclose(volume.gain(distance), (voltage - 2.5) / 4.3, rtol=1e-9, atol=0)
    assert_allclose(volume.gain_db(distance), 20.0 * np.log10((voltage - 2.5) / 4.3), rtol=1e-9, atol=0)


def test_hand_near_is_silent_and_hand_away_is_full():
    volume = tuned(0.25)
    assert volume.gain(0.01) == 0.0
    assert volume.gain_db(0.01) == -np.inf
    assert volume.gain(0.25) == pytest.approx(1.0, abs=1e-9)
    assert volume.gain(0.6) == 1.0
    assert volume.gain_db(0.6) == 0.0
    assert volume.faults() == ()


def test_a_rising_hand_is_never_quieter():
    gains = tuned().gain(np.linspace(0.01, 0.6, 2000))
    assert (np.diff(gains) >= 0.0).all()
    sounding = (gains > 0.0) & (gains < 1.0)
    assert (np.diff(gains[sounding]) > 0.0).all()


def test_outside_the_curve_the_hand_counts_as_at_its_border():
    volume = tuned()
    assert_allclose(volume.held_gain([0.001, 5.0, 0.1]), volume.gain([0.01, 0.6, 0.1]), rtol=0, atol=0)


def test_scaling_all_capacitances_and_the_inductance_changes_nothing_heard():
    """C -> k C and L -> L / k leave every frequency, so every gain."""
    volume, k = tuned(), 3.0
    tank, resonator = volume.tank, volume.resonator
    scaled = replace(
        volume,
        curve=CapacitanceCurve(RING_CURVE.distances, k * RING_CURVE.capacitances, k * RING_CURVE.empty_capacitance),
        tank=Tank(tank.inductance / k, k * tank.total_capacitance),
        resonator=Tank(resonator.inductance / k, k * resonator.capacitance, quality_factor=100.0),
        ring_stray=k * volume.ring_stray,
    )
    heights = np.linspace(0.02, 0.5, 25)
    assert_allclose(scaled.gain(heights), volume.gain(heights), rtol=1e-8, atol=1e-10)


def test_inverse_distance():
    volume = tuned()
    for gain in (0.01, 0.1, 0.5, 0.9, 0.999):
        assert volume.gain(volume.distance_at(gain)) == pytest.approx(gain, rel=1e-8)
    edge = volume.distance_at(0.0)
    assert volume.gain(edge - 1e-6) == 0.0
    assert volume.gain(edge + 1e-6) > 0.0
    assert volume.distance_at(1.0) == pytest.approx(0.25, abs=1e-9)


def test_span_and_steepness():
    volume = tuned()
    near, far = volume.span()
    assert volume.gain_db(near) == pytest.approx(-40.0, abs=1e-6)
    assert volume.gain_db(far) == pytest.approx(-3.0, abs=1e-6)
    heights, step = np.linspace(near, 0.24, 60), 1e-6
    slope = (volume.gain_db(heights + step) - volume.gain_db(heights - step)) / (2e2 * step)
    assert_allclose(volume.steepness_db_per_cm(heights), slope, rtol=2e-3, atol=0)
    assert np.isnan(volume.steepness_db_per_cm(0.01))
    assert volume.steepness_db_per_cm(0.5) == 0.0


def test_a_sharper_resonance_is_a_steeper_law():
    blunt, sharp = (tuned(resonator=replace(RESONATOR, quality_factor=quality)) for quality in (80.0, 160.0))
    heights = np.linspace(sharp.distance_at(0.0) + 1e-3, 0.24, 50)
    assert (sharp.gain(heights) < blunt.gain(heights)).all()
    assert (sharp.steepness_db_per_cm(heights) > blunt.steepness_db_per_cm(heights)).all()
    assert (blunt.steepness_db_per_cm(heights) > 0.0).all()


# Set-up and faults


@pytest.mark.parametrize("height", [0.10, 0.25, 0.40])
def test_the_trimmer_puts_full_volume_where_it_was_asked_for(height):
    volume = tuned(height)
    assert volume.distance_at(1.0) == pytest.approx(height, abs=1e-8)
    assert volume.gain(0.98 * height) < 1.0


def test_a_trimmer_out_of_reach_is_told_by_what_it_takes():
    needed, more = (
        replace(tuned(), tank=replace(TANK, capacitance=fixed)).trimmer_for_full_at(0.25) for fixed in (33e-12, 100e-12)
    )
    assert more == pytest.approx(needed - 67e-12, rel=1e-9, abs=0.0)
    assert more < 0.0
    assert replace(tuned(), rectifier=PeakRectifier(amplitude=6.0)).trimmer_for_full_at(0.25) is None


def test_a_resonance_inside_the_range_turns_the_law_and_is_named():
    volume = tuned()
    lower = replace(volume, resonator=Tank(2.2e-3, 73.5e-12, quality_factor=100.0))
    peak = lower.peak_distance
    assert peak is not None
    assert lower.oscillator_frequency(peak) == pytest.approx(lower.resonator.frequency, rel=1e-12)
    assert lower.response(peak) == pytest.approx(1.0, abs=1e-9)
    assert lower.gain(0.6) < lower.gain(peak) == 1.0
    assert lower.playable_far == peak
    assert VolumeFault.CROSSES_THE_RESONANCE in lower.faults()
    # a resonator of higher frequency is the remedy
    assert VolumeFault.CROSSES_THE_RESONANCE not in volume.faults()
    assert volume.peak_distance is None


def test_a_peak_that_full_volume_covers_is_not_complained_of():
    volume = replace(tuned(0.6), stage=GainStage(1.0, 3.0))
    assert VolumeFault.CROSSES_THE_RESONANCE not in replace(volume, resonator=Tank(2.2e-3, 72.6e-12)).faults()


def test_the_wrong_side_of_the_resonance_is_named():
    wrong = replace(tuned(), resonator=Tank(2.2e-3, 100e-12, quality_factor=100.0))
    assert wrong.playable_far == wrong.curve.nearest
    assert VolumeFault.NEARER_IS_LOUDER in wrong.faults()
    assert wrong.span() is None


def test_never_silent_and_never_full_are_named():
    loud = tuned(stage=GainStage(0.5, 6.8))
    assert loud.faults() == (VolumeFault.NEVER_SILENT,)
    with pytest.raises(ValueError, match="what the hand reaches"):
        loud.distance_at(0.0)
    far_off = replace(tuned(), resonator=Tank(2.2e-3, 70e-12, quality_factor=100.0))
    assert VolumeFault.NEVER_FULL in far_off.faults()
    with pytest.raises(ValueError, match="what the hand reaches"):
        far_off.distance_at(1.0)
    weak = replace(tuned(), rectifier=PeakRectifier(amplitude=6.0))
    assert VolumeFault.RECTIFIER_TOO_WEAK in weak.faults()


def test_a_rectifier_too_fast_or_too_slow_is_named():
    assert tuned(rectifier=PeakRectifier(capacitance=100e-12)).faults() == (VolumeFault.RECTIFIER_TOO_FAST,)
    assert tuned(rectifier=PeakRectifier(capacitance=1e-6)).faults() == (VolumeFault.RECTIFIER_TOO_SLOW,)
