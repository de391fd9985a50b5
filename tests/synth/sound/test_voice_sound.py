"""What the voice sounds like, measured on its samples: pitch, spectrum, level, steady part, silence."""

import dataclasses
import math

import numpy as np
import pytest
from slow_ones import slow_ones
from small_instrument import STEEP, make_instrument

from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from models.tank import Tank
from synth.hands.hand_path import HandBlock
from synth.sound.voice import Voice

RATE = 48000
DETECTORS = (
    Detector("product"),
    Detector("square-law", 0.3),
    Detector("envelope", 1.0),
    Detector("envelope", 0.9),
    Detector("junction", 1.0, 1.0),
    Detector("junction", 0.8, 30.0),
    Detector("diode", 0.9, amplitude=0.5, diode=DiodeLoad(capacitance=0.2e-9)),
)


def sounding(beat, lock_range=0.0, **changes):
    """An instrument that sounds `beat` (Hz, signed) with the hand at the far end of its curve; open tone."""
    offset = math.copysign(math.hypot(beat, lock_range), beat)
    plain = make_instrument(**{"tone_low_pass": 1e6, "lock_range": lock_range, **changes})
    variable = float(plain.variable_frequency(STEEP.farthest))
    return dataclasses.replace(plain, reference_frequency=variable + offset)


def settled(made, frames, rate=RATE, distance=STEEP.farthest, wait=0.5):
    """The last `frames` of a sound that has run for `wait` seconds before."""
    voice = Voice(made, rate)
    voice.render(distance, round(wait * rate))
    return voice.render(distance, frames)


def spectrum(samples):
    """Amplitudes of the bins, Blackman window: side lobes below -130 dB five and more bins away."""
    window = np.blackman(samples.size)
    return np.abs(np.fft.rfft(samples * window)) * 2.0 / window.sum()


def worst_spur_db(samples, bin_):
    """Strongest bin that is no multiple of `bin_`, against the strongest of all."""
    amplitudes = spectrum(samples)
    distance = np.abs((np.arange(amplitudes.size) + bin_ // 2) % bin_ - bin_ // 2)
    return 20.0 * math.log10(amplitudes[distance > 5].max() / amplitudes.max())


# without pulling: at other rates below
@pytest.mark.parametrize("lock_range", [*slow_ones(0.0, 2.0), 20.0])
@pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: f"{d.kind} {d.amplitude_ratio:g} {d.drive:g}")
def test_spurs_are_below_100_db(detector, lock_range):
    """Beats of 37 Hz to 4 kHz on primes of 1 Hz bins: every folded harmonic lands between the harmonics."""
    for beat in (37, 443, 1301, 2203, 4001):
        samples = settled(sounding(float(beat), lock_range, detector=detector), RATE)
        assert worst_spur_db(samples, beat) < -100.0, beat


@pytest.mark.parametrize("rate", [44100, *slow_ones(96000, 192000)])
def test_spurs_at_other_rates(rate):
    for detector in DETECTORS[2:]:
        for bin_ in (211, 1999):
            beat = bin_ * rate / 48000.0
            samples = settled(sounding(beat, detector=detector), 48000, rate)
            assert worst_spur_db(samples, bin_) < -100.0


@pytest.mark.parametrize("lock_range", [40.0, *slow_ones(400.0)])
@pytest.mark.parametrize("detector", [DETECTORS[0], DETECTORS[3], DETECTORS[6]], ids=lambda d: d.kind)
def test_a_wide_lock_at_a_low_rate_does_not_fold(detector, lock_range):
    """Pulled beats at 8 kHz: what of the fundamental's own lines lies above the band is left out."""
    for beat in (101, 877, 1301, 1999, 2203, -2903, 3407):
        samples = settled(sounding(float(beat), lock_range, detector=detector), 8000, 8000)
        assert worst_spur_db(samples, abs(beat)) < -90.0, beat
        if abs(beat) == 877:  # its second line fits and is there
            second, first = spectrum(samples)[[1754, 877]]
            pulled = lock_range / (math.hypot(beat, lock_range) + beat)
            assert detector.kind != "product" or second / first == pytest.approx(pulled, rel=1e-3)


@pytest.mark.parametrize("beat", [6007.0, *slow_ones(11003.0, 17011.0), 19001.0])
def test_high_beats_do_not_fold(beat):
    samples = settled(sounding(beat, detector=Detector("envelope")), RATE)
    assert worst_spur_db(samples, int(beat)) < -100.0


@pytest.mark.parametrize("beat", [21700.0, 24000.0, 47990.0, 48000.0, 96440.0, -30000.0])
def test_ultrasonic_beats_are_silent(beat):
    made = sounding(beat, detector=Detector("envelope"))
    assert np.abs(settled(made, RATE)).max() < 1e-12


def test_a_sweep_into_ultrasound_leaves_no_trace_of_folding():
    """15 kHz to 40 kHz in 2 s: folded at half the rate it would come back down below 15 kHz."""
    made = sounding(15000.0, detector=Detector("product"))
    far = float(made.variable_frequency(STEEP.farthest))
    tuned = dataclasses.replace(made, reference_frequency=far + 15000.0, variable_tank=Tank(820e-6, 40e-12))
    tuned = dataclasses.replace(tuned, reference_frequency=float(tuned.variable_frequency(0.8)) + 15000.0)
    highest = float(tuned.offset_frequency(STEEP.nearest))
    assert highest > 40000.0
    voice = Voice(tuned, RATE)
    voice.render(STEEP.farthest, RATE)
    samples = voice.render(np.geomspace(STEEP.farthest, STEEP.nearest, 2 * RATE), 2 * RATE)
    assert np.abs(samples[-RATE // 4 :]).max() < 1e-9
    low = np.arange(RATE + 1) < 14000
    assert spectrum(samples)[low].max() < 1e-6


def measured_frequency(samples, guess, rate=RATE):
    """Frequency near `guess` from the phase of its line in two overlapping Hann-windowed halves."""
    half = samples.size // 2
    window = np.hanning(half)
    turn = np.exp(-2j * math.pi * guess / rate * np.arange(samples.size))
    first = (window * (samples * turn)[:half]).sum()
    second = (window * (samples * turn)[half : 2 * half]).sum()
    return guess + np.angle(second / first) * rate / (2.0 * math.pi * half)


@pytest.mark.parametrize(
    ("kind", "lock_range"),
    [
        ("product", 0.0),
        ("product", 10.0),
        ("junction", 10.0),
        ("diode", 10.0),
        *slow_ones(*((kind, 0.0) for kind in ("envelope", "square-law", "junction", "diode"))),
        *slow_ones(("envelope", 10.0), ("square-law", 10.0)),
    ],
)
def test_pitch_is_the_instruments(kind, lock_range):
    made = make_instrument(detector=Detector(kind, 0.9, 3.0), lock_range=lock_range)
    for distance in (0.02, 0.0511, 0.123, 0.2, 0.31, 0.45, 0.77):
        expected = float(made.beat_frequency(distance))
        samples = settled(made, 2 * RATE, distance=distance)
        heard = measured_frequency(samples, abs(expected))
        assert abs(1200.0 * math.log2(heard / abs(expected))) < 0.1
        voice = Voice(made, RATE)
        voice.render(distance, 1)
        assert voice.frequency == pytest.approx(expected, rel=1e-5)


def test_frequency_carries_the_sign_of_the_beat():
    voice = Voice(make_instrument(), RATE)
    assert voice.frequency == 0.0
    voice.render(0.3, 10)
    assert voice.frequency > 0.0
    voice.render(0.8, RATE)
    assert voice.frequency < 0.0


def test_phase_turns_at_the_beat():
    voice = Voice(sounding(123.0), RATE)
    voice.render(STEEP.farthest, 1000)
    start = voice.phase
    voice.render(STEEP.farthest, 480)  # 10 ms: 1.23 turns
    assert (voice.phase - start) % (2.0 * math.pi) == pytest.approx(2.0 * math.pi * 0.23, abs=1e-6)


@pytest.mark.parametrize(("offset", "lock_range"), [(200.0, 100.0), *slow_ones((150.0, 120.0), (400.0, 20.0))])
def test_pulled_spectrum_is_razavis(offset, lock_range):
    """|c_n| = (1 - rho^2) rho^(n-1), rho = K - sqrt(K^2 - 1), K = offset / lock range.

    Source: B. Razavi, IEEE JSSC 39 (2004) 1415, after R. Adler, Proc. IRE 34 (1946) 351. A product detector
    shows the real part of exp(j phi), whose lines lie on one side, so each appears at the level times |c_n|.
    """
    beat = math.sqrt(offset**2 - lock_range**2)
    made = sounding(beat, lock_range, level=0.5, dc_block=0.5)
    samples = settled(made, 4 * RATE, wait=4.0)
    ratio = offset / lock_range
    rho = ratio - math.sqrt(ratio**2 - 1.0)
    time = np.arange(samples.size) / RATE
    window = np.blackman(samples.size)
    for order in range(1, 6):
        line = 2.0 * abs((window * samples * np.exp(-2j * math.pi * order * beat * time)).sum()) / window.sum()
        assert line / 0.5 == pytest.approx((1.0 - rho**2) * rho ** (order - 1), rel=1e-3, abs=1e-7)


def test_pulled_beat_of_the_worked_example():
    """Lock range 2 Hz: 10 Hz apart beats at 9.797959 Hz, 4 Hz at 3.464102 Hz (by hand from Adler's formula)."""
    for offset, beat in ((10.0, 9.797959), (4.0, 3.464102)):
        made = sounding(offset, dc_block=0.01)
        pulled = dataclasses.replace(made, lock_range=2.0)
        samples = settled(pulled, 8 * RATE, wait=8.0)
        assert measured_frequency(samples, beat) == pytest.approx(beat, abs=2e-4)


@pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: f"{d.kind} {d.amplitude_ratio:g} {d.drive:g}")
def test_full_volume_peaks_at_the_level(detector):
    made = sounding(101.0, detector=detector, level=0.4, dc_block=0.05)
    samples = settled(made, RATE, wait=20.0)
    # a sharp peak loses what lies above the band: the narrowest here some 0.2 %
    assert np.abs(samples).max() == pytest.approx(0.4, rel=3e-3)


def test_harmonics_keep_their_strength_as_others_leave():
    """Envelope of equal signals: A_n = 8 (-1)^(n+1) / (pi (4 n^2 - 1)); the peak, at the cusp, 4/pi (by hand)."""
    for beat in (37, 443, 2203, 4001):
        amplitudes = spectrum(
            settled(sounding(float(beat), detector=Detector("envelope"), dc_block=0.1), RATE, wait=8.0)
        )
        for order in (1, 2, 3):
            expected = 0.5 * 8.0 / (math.pi * (4 * order**2 - 1)) / (4.0 / math.pi)
            assert amplitudes[order * beat] == pytest.approx(expected, rel=2e-3)


def test_volume_is_a_plain_gain():
    made = sounding(440.0)
    for volume, gain_db in ((1.0, 0.0), (0.5, -6.0206), (0.1, -20.0)):
        voice = Voice(made, RATE)
        samples = voice.render(HandBlock(np.full(RATE, 0.8), np.full(RATE, volume)), RATE)[RATE // 2 :]
        assert 20.0 * math.log10(np.abs(samples).max() / 0.5) == pytest.approx(gain_db, abs=0.01)


def test_tone_filter_takes_3_db_at_its_corner():
    made = dataclasses.replace(sounding(2000.0), tone_low_pass=2000.0)
    amplitude = spectrum(settled(made, RATE))[2000]
    assert 20.0 * math.log10(amplitude / 0.5) == pytest.approx(-3.01, abs=0.1)


@pytest.mark.parametrize("detector", DETECTORS, ids=lambda d: f"{d.kind} {d.amplitude_ratio:g} {d.drive:g}")
@pytest.mark.parametrize("lock_range", [0.0, *slow_ones(60.0)])
def test_no_steady_part(detector, lock_range):
    samples = settled(sounding(100.0, lock_range, detector=detector), RATE, wait=3.0)
    assert abs(samples.mean()) < 1e-7


@pytest.mark.parametrize("kind", ["product", *slow_ones("envelope", "junction", "diode")])
def test_silence_within_the_lock_range(kind):
    """At the start, after the hand comes in from a note, and exactly at zero beat without pulling."""
    made = make_instrument(detector=Detector(kind), lock_range=10.0)
    locked = 0.58
    assert made.beat_frequency(locked) == 0.0
    voice = Voice(made, RATE)
    assert np.abs(voice.render(locked, RATE)).max() < 1e-12
    assert np.abs(voice.render(0.3, RATE)).max() > 0.4
    assert np.abs(voice.render(locked, 2 * RATE)[-RATE:]).max() < 1e-9
    assert voice.frequency == 0.0
    assert np.abs(Voice(sounding(0.0, detector=Detector(kind)), RATE).render(0.8, RATE)).max() < 1e-9


def test_pulled_phase_keeps_time():
    """A minute of a pulled note: its phase stays where the formula for the beat puts it."""
    beat, lock_range = 100.0, 15.0
    voice = Voice(sounding(beat, lock_range), RATE)
    voice.render(STEEP.farthest, RATE)
    start = voice.phase
    for _ in range(59):
        voice.render(STEEP.farthest, RATE)
    assert abs(math.remainder(voice.phase - start, 2.0 * math.pi)) < 1e-5
