"""The voice against both oscillators sampled at the radio rate (synth/comparisons/radio_rate), over a moving hand.

Tone filter, DC block and level behind the detector are the voice's own on both sides; their circuits are checked in
test_voice_parts. The difference is counted once the DC block has settled, as RMS over the RMS of the sound.
"""

from dataclasses import replace

import numpy as np
import pytest
from slow_ones import slow_ones

from models.circuit.variable_law import VariableLaw
from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from synth.comparisons.radio_rate import (
    RATE,
    detected_with,
    difference_db,
    example_curve,
    example_instrument,
    moving_hand,
    radio,
    sound_from_radio,
    to_audio,
)
from synth.sound.filters import Smoother, ToneFilter
from synth.sound.voice import SMOOTHING_TIME, Voice

CURVE = example_curve()


def diode(ratio, amplitude, **parts):
    return Detector("diode", ratio, amplitude=amplitude, diode=DiodeLoad(radio_frequency=2.85e5, **parts))


CASES = {
    "product": (Detector("product", 0.8), -100.0),
    "square-law": (Detector("square-law", 0.8), -100.0),
    "envelope": (Detector("envelope", 0.95), -80.0),  # its highest harmonics lie where the FIR already closes
    "junction": (Detector("junction", 0.8, 4.0), -100.0),
    "diode": (diode(0.9, 1.0), -60.0),
    "diode, weak": (diode(0.7, 0.1), -60.0),
    "diode behind 5 kohm": (diode(0.9, 1.0, source_resistance=5e3), -60.0),
    "diode that clips": (diode(0.9, 0.5, capacitance=8e-9), -60.0),
}


@pytest.mark.parametrize("name", ["product", "junction"])
def test_audio_is_that_of_the_radio_rate(name):
    detector, bound = CASES[name]
    made = example_instrument(detector)
    hand = moving_hand(0.16)
    assert difference_db(Voice(made, RATE).render(hand, hand.size), sound_from_radio(made, hand)) < bound


@pytest.mark.slow
@pytest.mark.parametrize(("name", "lock_range"), [(name, 0.0 if name == "diode" else 40.0) for name in CASES])
def test_audio_is_that_of_the_radio_rate_for_every_detector(name, lock_range):
    detector, bound = CASES[name]
    made = example_instrument(detector, lock_range)
    hand = moving_hand(0.25 if name == "diode that clips" else 0.16)  # the one that settles last
    assert difference_db(Voice(made, RATE).render(hand, hand.size), sound_from_radio(made, hand)) < bound


@pytest.mark.slow
def test_through_zero_beat_into_the_lock_and_out():
    """The hand goes from a note to beyond zero beat and back, with pulling: the sound stops and starts again."""
    made = example_instrument(diode(0.9, 0.3), 8.0)
    hand = np.concatenate([moving_hand(0.2, 0.3, 0.7), moving_hand(0.2, 0.7, 0.3)])
    offsets = made.offset_frequency(hand)
    assert offsets.min() < -8.0 < 8.0 < offsets.max()
    assert difference_db(Voice(made, RATE).render(hand, hand.size), sound_from_radio(made, hand)) < -60.0


def lawful(detector):
    """An instrument whose variable oscillator weakens by a third toward the near end of this hand's way."""
    plain = example_instrument(detector)
    capacitances = np.linspace(8e-12, float(CURVE.capacitance(CURVE.nearest)), 24)
    swing = (capacitances - 8e-12) / (float(CURVE.capacitance(0.1)) - 8e-12)
    amplitudes = detector.amplitude * (0.9 - 0.3 * np.tanh(swing))
    law = VariableLaw(capacitances, plain.frequency_with(capacitances), amplitudes)
    made = replace(plain, variable_law=law, reference_amplitude=detector.amplitude)
    return replace(made, reference_frequency=float(made.variable_frequency(0.6)))


@pytest.mark.parametrize("kind", ["product", *slow_ones("envelope"), "junction", *slow_ones("square-law", "diode")])
def test_amplitudes_that_go_with_the_hand(kind):
    detector = Detector("junction", 0.9, 2.0) if kind == "junction" else Detector(kind, 0.9)
    if kind == "junction":
        detector = detector.with_amplitudes(0.06, 0.054)
    if kind == "diode":
        detector = diode(0.9, 0.5)
    made = lawful(detector)
    hand = moving_hand(0.16)
    [smoothed] = Smoother(SMOOTHING_TIME, RATE).smooth(hand)
    phases = radio(made, smoothed)
    audio_times = np.arange(hand.size + 1) / RATE
    radio_times = np.arange(phases.beat.size) / (RATE * phases.times)
    weaker = np.append(made.variable_amplitude(smoothed[:1]), made.variable_amplitude(smoothed)) / detector.amplitude
    radio_amplitude = np.interp(radio_times, audio_times, weaker)
    heard = to_audio(detected_with(detector, phases, 1.0, radio_amplitude), phases.times)
    # in units of the waveform with the detector's own amplitudes; the voice scales to its loudest place
    places = np.geomspace(CURVE.nearest, CURVE.farthest, 300)
    there = [made.detector_at(float(place)) for place in places]
    loudest = max(one.strength * one.peak for one in there) / detector.strength
    slowest = made.detector_at(0.6)
    steady = slowest.harmonics(0)[0] * slowest.strength / detector.strength
    tone = ToneFilter(made.tone_low_pass, made.dc_block, RATE)
    wanted = made.level * tone.filter((heard - steady) / loudest)
    got = Voice(made, RATE).render(hand, hand.size)
    assert difference_db(got, wanted) < -60.0
