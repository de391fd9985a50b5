"""Ripple as it sounds: lines measured in the samples against the two signals themselves, and what must not change."""

import dataclasses
import math
import pickle

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from small_instrument import STEEP, make_instrument

from models.circuit.ripple_law import RippleLaw
from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from synth.sound.strand import InstrumentSource
from synth.sound.voice import Voice

RATE = 48000
RIPPLE = 100.0
AT_REFERENCE, AT_VARIABLE = 4e-3 - 2e-3j, -1e-3 + 3e-3j
DEVIATION = 0.5 + 0.8j
HAND = STEEP.farthest
RATIO = 0.6


def rippling(beat, lock_range=0.0, detector=None, deviation=DEVIATION, shares=(AT_REFERENCE, AT_VARIABLE), **changes):
    """An instrument that sounds `beat` (Hz, signed) with the hand far, under ripple; wide tone filter."""
    made = make_instrument(
        detector=detector or Detector("product", RATIO), tone_low_pass=1e6, dc_block=1e-3, lock_range=lock_range
    )
    ripple = RippleLaw(RIPPLE, (8e-12, 12e-12), (deviation, deviation), (shares[1], shares[1]), shares[0])
    offset = math.copysign(math.hypot(beat, lock_range), beat)
    reference = float(made.variable_frequency(HAND)) + offset
    return dataclasses.replace(made, reference_frequency=reference, ripple=ripple, **changes)


def second(made, rate=RATE):
    """A second of the sound, after a second."""
    voice = Voice(made, rate)
    voice.render(HAND, rate)
    return voice.render(HAND, rate)


def line(samples, frequency, rate=RATE):
    """Amplitude of a line of a whole number of Hz in a second."""
    return 2.0 * abs(np.mean(samples * np.exp(-2j * math.pi * frequency * np.arange(samples.size) / rate)))


def swing(peak, times):
    return (peak * np.exp(2j * math.pi * RIPPLE * times)).real


def beat_phase(beat, times, deviation=DEVIATION):
    """2 pi integral of beat + Re(deviation exp(j W t))."""
    return 2.0 * math.pi * beat * times + (deviation * np.exp(2j * math.pi * RIPPLE * times) / (1j * RIPPLE)).real


def test_lines_of_a_note_are_those_of_the_formula():
    """A multiplier: (1 + m) cos(2 pi f t + phi): |m + j phi| / 2 above, |m - j phi| / 2 below (textbook, small m, phi).

    m = m_r + m_v, phi = deviation / (j F): frequency modulation and amplitude modulation at one frequency.
    """
    samples = second(rippling(730.0))
    swelling, turning = AT_REFERENCE + AT_VARIABLE, DEVIATION / (1j * RIPPLE)
    levels = [20.0 * math.log10(line(samples, 730.0 + side * RIPPLE) / line(samples, 730.0)) for side in (1, -1)]
    expected = [20.0 * math.log10(0.5 * abs(swelling + side * 1j * turning)) for side in (1, -1)]
    assert levels == pytest.approx(expected, abs=0.01)
    assert abs(levels[0] - levels[1]) > 1.0  # the two are told apart
    # a beat on the other side of zero turns backwards: above and below change places
    mirrored = second(rippling(-730.0))
    found = [20.0 * math.log10(line(mirrored, 730.0 - side * RIPPLE) / line(mirrored, 730.0)) for side in (1, -1)]
    assert found == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("kind", ["envelope", "square-law", "junction"])
def test_lines_are_those_of_the_two_signals_themselves(kind):
    """The sum of two vectors whose lengths and angle ripple, detected at every sample: the note, its lines, the hum."""
    detector = Detector(kind, RATIO, 3.0)
    samples, times = second(rippling(730.0, detector=detector)), 1.0 + np.arange(1, RATE + 1) / RATE
    strong, weak = 1.0 + swing(AT_REFERENCE, times), RATIO * (1.0 + swing(AT_VARIABLE, times))
    reach = np.abs(strong + weak * np.exp(1j * beat_phase(730.0, times)))
    heard = {"envelope": lambda x: x, "square-law": np.square, "junction": lambda x: np.i0(3.0 * x)}[kind](reach)
    scale = line(samples, 730.0) / line(heard, 730.0)
    for place in (RIPPLE, 730.0 - RIPPLE, 730.0 + RIPPLE, 1460.0 - RIPPLE, 1460.0 + RIPPLE):
        expected = pytest.approx(scale * line(heard, place), rel=0.01, abs=2e-9)  # tables of single precision
        assert line(samples, place) == expected, place
    assert line(samples, RIPPLE) > 1e-3 * line(samples, 730.0)  # the hum itself


def test_a_product_gives_no_hum_of_its_own():
    samples = second(rippling(730.0))
    assert line(samples, RIPPLE) < 1e-6 * line(samples, 730.0)


@pytest.mark.slow
def test_the_diode_hums_too():
    """Slow beside its RC the diode follows: like its own answer at rest to amplitudes that are a little larger."""
    detector = Detector("diode", RATIO, amplitude=1.0, diode=DiodeLoad(capacitance=0.2e-9))
    both = (4e-3 + 0j, 4e-3 + 0j)
    samples = second(rippling(73.0, detector=detector, deviation=0.0, shares=both))
    larger = detector.with_amplitudes(1.004, RATIO * 1.004)
    rises = (larger.harmonics(1) - detector.harmonics(1)) / detector.harmonics(1)[1]
    note = line(samples, 73.0)
    assert line(samples, RIPPLE) / note == pytest.approx(rises[0], rel=0.02)
    assert line(samples, RIPPLE + 73.0) / note == pytest.approx(0.5 * rises[1], rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("beat", [31.0, 730.0])
def test_pulled_lines_are_those_of_adlers_equation(beat):
    """d(phi)/dt = 2 pi (offset + deviation(t)) - 2 pi lock sin(phi), integrated by a library; R. Adler 1946."""
    lock = 12.0
    samples = second(rippling(beat, lock))
    offset = math.hypot(beat, lock)

    def slope(time, phase):
        return 2.0 * math.pi * (offset + swing(DEVIATION, time) - lock * math.sin(phase[0]))

    times = np.arange(2 * RATE + 1) / RATE
    run = solve_ivp(slope, (0.0, 2.0), [0.0], "DOP853", t_eval=times, rtol=1e-10, atol=1e-10, max_step=1e-3)
    share = 1.0 + swing(AT_REFERENCE, times) + swing(AT_VARIABLE, times)
    heard = (share * np.cos(run.y[0]))[RATE + 1 :]
    window = np.blackman(RATE)
    found, expected = (np.abs(np.fft.rfft(window * row)) for row in (samples, heard))
    found, expected = found / found.max(), expected / expected.max()
    strong = expected > 1e-5
    assert np.abs(found - expected)[strong].max() < 2e-5
    assert found[round(beat + RIPPLE)] > 1e-3


def test_any_partition_gives_the_same_bits():
    made = rippling(443.0, 5.0, Detector("envelope", RATIO))
    hands = np.geomspace(0.3, 0.1, 9000)
    whole = Voice(made, RATE).render(hands, hands.size)
    voice, pieces, start = Voice(made, RATE), [], 0
    for size in (1, 2, 127, 128, 1000, 64, 3, 6001, 1674):
        pieces.append(voice.render(hands[start : start + size], size))
        start += size
    assert start == hands.size
    np.testing.assert_array_equal(np.concatenate(pieces), whole)


@pytest.mark.parametrize("lock_range", [0.0, 20.0])
@pytest.mark.parametrize("beat", [1301, 7001])
def test_nothing_folds(beat, lock_range):
    """Every line lies at a multiple of the beat and a few of the ripple; the rest is below -100 dB."""
    samples = second(rippling(float(beat), lock_range, Detector("envelope", 0.95)))
    spectrum = np.abs(np.fft.rfft(samples * np.blackman(RATE)))
    places = np.arange(spectrum.size)
    off = (places + beat // 2) % beat - beat // 2
    apart = np.min([np.abs(off - side * RIPPLE) for side in range(-4, 5)], axis=0)
    assert spectrum[(apart > 5) & (places > 5)].max() < 1e-5 * spectrum.max()


def test_hum_stays_where_the_note_is_locked_or_too_high_to_hear():
    envelope = Detector("envelope", RATIO)
    for made in (rippling(0.0, 20.0, envelope), rippling(30000.0, 0.0, envelope)):
        samples = second(made)
        spectrum = np.abs(np.fft.rfft(samples * np.blackman(RATE)))
        spectrum[:6] = 0.0
        assert np.argmax(spectrum) == RIPPLE


def test_ripple_runs_on_through_a_change_of_instrument():
    made = rippling(443.0, 0.0, Detector("envelope", RATIO))
    steady, changed = Voice(made, RATE), Voice(made, RATE)
    for voice in (steady, changed):
        voice.render(HAND, 1234)
    changed.set_instrument(dataclasses.replace(made))
    assert np.abs(changed.render(HAND, 4800) - steady.render(HAND, 4800)).max() < 1e-6


def test_the_audio_process_gets_the_same_sound():
    """Live sound starts from a copy sent to another process: the same samples to the last bit."""
    made = rippling(443.0, 5.0, Detector("envelope", RATIO))
    sent = pickle.loads(pickle.dumps(InstrumentSource(made))).instrument
    np.testing.assert_array_equal(Voice(sent, RATE).render(0.3, 2000), Voice(made, RATE).render(0.3, 2000))


def test_without_ripple_nothing_changes():
    made = rippling(443.0, 0.0, Detector("envelope", RATIO))
    still = dataclasses.replace(made, ripple=None)
    none = dataclasses.replace(made, ripple=made.ripple.times(0.0))
    np.testing.assert_array_equal(second(none), second(still))
