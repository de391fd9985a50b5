"""No clicks: starts, mutes, changes of instrument, steps of volume and jumps of the hand stay smooth.

Measure: the largest second difference of the samples. A note of amplitude A at f has at most A (2 pi f /
f_s)^2; a click of height h adds about h to it, some hundred to a thousand times as much.
"""

import dataclasses
import math

import numpy as np
import pytest
from scipy import signal
from small_instrument import STEEP, make_instrument

from models.detector.memoryless import Detector
from synth.hands.hand_path import HandBlock
from synth.sound.voice import Voice

RATE = 48000


def sounding(beat, lock_range=0.0, **changes):
    """An instrument that sounds `beat` (Hz) with the hand at the far end of its curve."""
    plain = make_instrument(lock_range=lock_range)
    variable = float(plain.variable_frequency(STEEP.farthest))
    return dataclasses.replace(plain, reference_frequency=variable + math.hypot(beat, lock_range), **changes)


def roughness(samples):
    return np.abs(np.diff(samples, 2)).max()


def steady_roughness(frequency, amplitude):
    return amplitude * (2.0 * math.pi * frequency / RATE) ** 2


def play(voice, frames=4800, distance=0.8, volume=1.0):
    return voice.render(HandBlock(np.full(frames, distance), np.full(frames, volume)), frames)


def test_the_measure_sees_a_click():
    voice = Voice(sounding(300.0), RATE)
    samples = np.concatenate([play(voice), play(voice)])
    assert roughness(samples[1000:]) < 1.01 * steady_roughness(300.0, 0.5)
    samples[5000 + np.argmax(samples[5000:5200]) :] *= 0.9
    assert roughness(samples[1000:]) > 50.0 * steady_roughness(300.0, 0.5)


@pytest.mark.parametrize("lock_range", [0.0, 20.0])
def test_start_is_smooth(lock_range):
    samples = play(Voice(sounding(300.0, lock_range), RATE))
    assert roughness(np.concatenate([np.zeros(2), samples])) < 1.5 * steady_roughness(300.0 + 2 * lock_range, 0.5)
    assert np.abs(samples[4000:]).max() > 0.45


def test_mute_and_back_are_smooth_and_silent():
    voice = Voice(sounding(300.0), RATE)
    parts = [play(voice)]
    voice.mute(True)
    parts.append(play(voice, 500))
    silent = play(voice, 1000)
    assert np.abs(silent).max() == 0.0
    voice.mute(False)
    parts += [silent, play(voice, 1000)]
    assert roughness(np.concatenate(parts)) < 1.5 * steady_roughness(300.0, 0.5)
    voice.mute(True)
    parts.append(play(voice, 200))
    voice.mute(False)  # turns round half-way: a kink of at most twice the fade's steepest slope, 1.5 / 384
    parts.append(play(voice, 1000))
    assert roughness(np.concatenate(parts)) < 1.5 * steady_roughness(300.0, 0.5) + 0.5 * 3.0 / 384
    assert np.abs(parts[-1]).max() > 0.48


LOW = signal.butter(3, 60.0, fs=RATE, output="sos")
CHANGES = {
    "nothing at all": {},
    "pitch": {"reference_frequency": sounding(300.0).reference_frequency + 150.0},
    "level": {"level": 0.2},
    "tone": {"tone_low_pass": 600.0},
    "detector": {"detector": Detector("envelope", 0.5)},
    "diode": {"detector": Detector("diode", 0.7)},
    "pulling": {"lock_range": 40.0},
    "dc block": {"dc_block": 60.0},
}


@pytest.mark.parametrize("what", CHANGES)
def test_change_of_instrument_is_smooth(what):
    """And back while the first change still runs; no low thump either: little lies below 60 Hz."""
    first = sounding(300.0)
    second = dataclasses.replace(first, **CHANGES[what])
    for wait in range(0, 160, 23):  # various places of the cycle
        voice = Voice(first, RATE)
        parts = [play(voice, 4800 + wait)]
        voice.set_instrument(second)
        parts.append(play(voice, 200))
        voice.set_instrument(first)
        parts.append(play(voice, 4800))
        samples = np.concatenate(parts)
        assert roughness(samples) < 2.0 * steady_roughness(450.0, 0.5)
        low = signal.sosfiltfilt(LOW, samples)[3000:-2000]
        assert np.abs(low).max() < 0.01


def test_change_to_the_same_instrument_is_not_heard():
    changed, steady = (Voice(sounding(300.0, 20.0, detector=Detector("envelope", 0.8)), RATE) for _ in range(2))
    play(changed), play(steady)
    changed.set_instrument(steady.instrument)
    np.testing.assert_allclose(play(changed), play(steady), rtol=0, atol=1e-9)


def test_change_between_locked_instruments_is_silent():
    first = sounding(0.0, 20.0)  # at the edge of its lock range
    first = dataclasses.replace(first, reference_frequency=first.reference_frequency - 15.0)
    voice = Voice(first, RATE)
    play(voice)
    voice.set_instrument(dataclasses.replace(first, detector=Detector("envelope"), level=0.9))
    assert np.abs(play(voice)).max() < 1e-9


@pytest.mark.parametrize(("before", "after"), [(0.0, 1.0), (1.0, 0.0), (0.2, 0.9)])
def test_steps_of_volume_are_smooth(before, after):
    voice = Voice(sounding(300.0), RATE)
    samples = np.concatenate([play(voice, volume=before), play(voice, volume=after)])
    # the 5 ms pole turns the step into a kink of slope 1 / (5 ms f_s)
    assert roughness(samples) < 1.2 * steady_roughness(300.0, 0.5) + 0.5 * abs(after - before) / (0.005 * RATE)


@pytest.mark.parametrize("lock_range", [0.0, 20.0])
@pytest.mark.parametrize("places", [(0.8, 0.05), (0.05, 0.8), (0.3, 0.01)])
def test_jumps_of_the_hand_are_smooth(places, lock_range):
    made = dataclasses.replace(sounding(60.0, lock_range), detector=Detector("product"))
    voice = Voice(made, RATE)
    samples = np.concatenate([play(voice, distance=place) for place in (*places, *places)])
    highest = float(np.abs(made.offset_frequency(np.array(places))).max()) + lock_range
    assert roughness(samples) < 1.05 * steady_roughness(highest, 0.5)


def test_glide_through_every_level_of_the_tables_is_smooth():
    """Every harmonic has faded out at 0.45 f_s; a step from one level to the next would sound above that as well."""
    made = dataclasses.replace(sounding(30.0), detector=Detector("envelope"), dc_block=0.5, tone_low_pass=1e6)
    distances = np.geomspace(0.8, 0.01, 3 * RATE)
    samples = Voice(made, RATE).render(distances, distances.size)
    spectrum = np.abs(np.fft.rfft(samples[2000:] * np.blackman(samples.size - 2000)))
    top = spectrum[round(0.47 * spectrum.size * 2) :]
    assert top.max() < 1e-5 * spectrum.max()
