"""Waveforms that change with the offset: rows against the models, no folding, no steps, with amplitudes that move."""

import math
from dataclasses import replace

import numpy as np
import pytest
from slow_ones import slow_ones
from small_instrument import STEEP, make_instrument

from models.circuit.mixer_table import DrawnDetector, MixerTable
from models.circuit.variable_law import VariableLaw
from models.detector.diode import DiodeLoad
from models.detector.diode_response import beat_cycle
from models.detector.memoryless import DETECTORS, Detector
from synth.hands.hand_path import HandBlock
from synth.sound.band_edges import FADE_TO
from synth.sound.beat_phase import fixed_from_radians
from synth.sound.row_table import note_rows, row_offsets, row_table
from synth.sound.voice import Voice

RATE = 48000
PLAIN = make_instrument()
DIODE = Detector("diode", 0.9, amplitude=0.5, diode=DiodeLoad(radio_frequency=3e5))


def lawful(detector, **changes):
    """An instrument whose variable oscillator loses half its amplitude as the hand comes near."""
    capacitances = np.linspace(8e-12, float(STEEP.capacitance(STEEP.nearest)), 24)
    swing = (capacitances - 8e-12) / (capacitances[-1] - 8e-12)
    law = VariableLaw(capacitances, PLAIN.frequency_with(capacitances), 0.5 - 0.25 * swing)
    made = replace(PLAIN, detector=detector, variable_law=law, reference_amplitude=0.5)
    return replace(made, **{"reference_frequency": float(made.variable_frequency(0.6)), **changes})


@pytest.mark.parametrize("lock_range", [0.0, 30.0])
def test_rows_reach_from_rest_to_silence(lock_range):
    offsets = row_offsets(RATE, lock_range)
    assert offsets[0] == 0.0
    assert offsets[-1] == FADE_TO * RATE
    assert (np.diff(offsets) > 0.0).all()
    if lock_range:
        assert offsets[1] == pytest.approx(lock_range, rel=1e-5)
        assert offsets[1] > lock_range


@pytest.mark.parametrize("capacitance", [1e-9, 20e-9])
@pytest.mark.parametrize(
    ("offset", "lock_range"), [*slow_ones((50.0, 0.0), (317.0, 0.0)), (-317.0, 0.0), (317.0, 40.0), (45.0, 40.0)]
)
def test_sound_is_the_diodes_cycle(offset, lock_range, capacitance):
    """Between rows too, within 1e-3 of full scale: what straight lines between rows and the band's limit leave."""
    diode = replace(DIODE, diode=replace(DIODE.diode, capacitance=capacitance))
    table = row_table(replace(PLAIN, detector=diode, lock_range=lock_range), RATE)
    phases = np.arange(512) * (2.0 * math.pi / 512)
    got = table.sound(fixed_from_radians(phases), np.full(512, offset))
    cycle = beat_cycle(diode.diode, 0.5, 0.45, [offset], lock_range, points=512)[:, 0]
    expected = (cycle - diode.harmonics(0)[0]) / diode.peak
    assert np.abs(got - expected).max() < 1e-3
    assert table.steady(offset) == pytest.approx(expected.mean(), abs=3e-4)


def test_locked_oscillators_give_the_output_at_rest_but_for_a_steady_part():
    table = row_table(replace(PLAIN, detector=DIODE, lock_range=40.0), RATE)
    phases = np.arange(512) * (2.0 * math.pi / 512)
    at_rest = table.sound(fixed_from_radians(phases), np.zeros(512))
    expected = (DIODE.waveform(phases) - DIODE.harmonics(0)[0]) / DIODE.peak
    assert np.abs(at_rest - expected).max() < 1e-4
    edge = table.sound(fixed_from_radians(np.full(2, math.pi / 2)), np.array([40.0, 40.001]))
    resting = float(DIODE.waveform(math.pi / 2) - DIODE.harmonics(0)[0]) / DIODE.peak
    assert np.abs(edge - resting).max() < 1e-3


@pytest.mark.slow
def test_a_law_of_constant_amplitudes_sounds_like_none():
    capacitances = np.linspace(8e-12, float(STEEP.capacitance(STEEP.nearest)), 24)
    law = VariableLaw(capacitances, PLAIN.frequency_with(capacitances), np.full(24, 0.45))
    without = replace(PLAIN, detector=DIODE, variable_law=law)
    with_law = replace(without, reference_amplitude=0.5)
    hand = 0.35 + 0.25 * np.cos(8.0 * np.arange(RATE // 2) / RATE)
    one, other = (Voice(made, RATE).render(hand, hand.size) for made in (without, with_law))
    np.testing.assert_allclose(one, other, rtol=0, atol=2e-4)
    simple = replace(without, detector=Detector("envelope", 0.9))
    varying = replace(simple, reference_amplitude=0.5)
    one, other = (Voice(made, RATE).render(hand, hand.size) for made in (simple, varying))
    np.testing.assert_allclose(one, other, rtol=0, atol=2e-4)


def worst_spur_db(samples, bin_):
    window = np.blackman(samples.size)
    amplitudes = np.abs(np.fft.rfft(samples * window))
    distance = np.abs((np.arange(amplitudes.size) + bin_ // 2) % bin_ - bin_ // 2)
    return 20.0 * math.log10(amplitudes[distance > 5].max() / amplitudes.max())


@pytest.mark.parametrize(
    ("kind", "lock_range"),
    [
        pytest.param(kind, lock, marks=[pytest.mark.slow] if kind == "diode" else [])
        for kind in DETECTORS
        for lock in (0.0, 20.0)
    ],
)
def test_no_spurs_with_a_law(kind, lock_range):
    made = lawful(replace(DIODE, kind=kind), lock_range=lock_range, tone_low_pass=1e6)
    far = float(made.variable_frequency(0.2))
    for beat in (101, 877, 4001):
        tuned = replace(made, reference_frequency=far + math.hypot(beat, lock_range))
        voice = Voice(tuned, RATE)
        voice.render(0.2, RATE)
        assert worst_spur_db(voice.render(0.2, RATE), beat) < -100.0


@pytest.mark.parametrize("kind", [pytest.param("diode", marks=pytest.mark.slow), "product"])
def test_blocks_and_changes_with_a_law(kind):
    first, second = lawful(replace(DIODE, kind=kind)), lawful(replace(DIODE, kind=kind), lock_range=15.0)
    hand = 0.35 + 0.3 * np.cos(40.0 * np.arange(4000) / RATE)

    def play(size):
        voice, parts = Voice(first, RATE), []
        for start in range(0, 4000, size):
            if start == 2000:
                voice.set_instrument(second)
            parts.append(voice.render(hand[start : start + size], len(hand[start : start + size])))
        return np.concatenate(parts)

    whole = play(2000)
    for size in (8, 125, 400):
        np.testing.assert_allclose(play(size), whole, rtol=0, atol=1e-9)


def test_change_between_steady_parts_does_not_thump():
    """A change of tuning at a clipping diode moves its steady part: below 60 Hz hardly any of it is heard."""
    from scipy import signal

    clipping = Detector("diode", 0.9, amplitude=0.5, diode=DiodeLoad(capacitance=10e-9))
    first = replace(PLAIN, detector=clipping)
    second = replace(first, reference_frequency=first.reference_frequency + 1200.0)
    table = row_table(first, RATE)
    offset = float(first.offset_frequency(0.1))
    assert offset > 300.0
    assert abs(table.steady(offset + 1200.0) - table.steady(offset)) > 0.1
    voice = Voice(first, RATE)
    parts = [voice.render(0.1, 9600)]
    voice.set_instrument(second)
    parts.append(voice.render(0.1, 9600))
    low = signal.sosfiltfilt(signal.butter(3, 60.0, fs=RATE, output="sos"), np.concatenate(parts))
    assert np.abs(low[3000:-2000]).max() < 0.012


def test_jumps_of_the_hand_do_not_click():
    """Against the largest second difference of the same jump through an ideal detector of the same amplitudes."""
    hand = np.repeat([0.6, 0.05, 0.3, 0.8, 0.1], 4000)
    block = HandBlock(hand, np.ones(hand.size))
    rough = [
        np.abs(np.diff(Voice(replace(PLAIN, detector=detector), RATE).render(block, hand.size), 2)).max()
        for detector in (replace(DIODE, kind="envelope"), DIODE)
    ]
    assert rough[1] < 1.2 * rough[0]


def drawn_mixer():
    """A made-up mixer: its fundamental turns with the beat's logarithm, the other way for beats of the other sign."""
    beats = 8.0 * np.sinh(np.linspace(-8.0, 8.0, 17))
    turned = np.exp(0.1j * np.arcsinh(beats / 8.0))
    lines = np.stack([np.full(17, 2.0), turned, 0.1 * turned**2], axis=1).astype(complex)
    bends = np.zeros((17, 4, 3), dtype=complex)
    bends[:, 0], bends[:, 1] = -0.25 * lines, 0.25 * lines  # in proportion to the variable oscillator's swing
    return DrawnDetector(MixerTable(beats, lines, beats, bends, (0.5, 0.4), (0.03, 0.25), 3e5), 0.5, 0.4)


def test_a_drawn_mixer_is_read_at_the_signed_beat_and_the_swing_there():
    made = lawful(drawn_mixer(), lock_range=5.0)
    places = np.array([0.1, 0.3, 0.79])
    offsets = made.offset_frequency(places)
    assert offsets[0] > 0.0 > offsets[2]
    swings = made.variable_amplitude(places) / 0.4
    beats = np.sign(offsets) * np.sqrt(offsets**2 - 25.0)
    expected = swings * np.exp(0.1j * np.arcsinh(beats / 8.0))
    np.testing.assert_allclose(note_rows(made, places)[:, 1], expected, rtol=1e-6)
    np.testing.assert_allclose(note_rows(made, places, variable=1.1)[:, 1], 1.1 * expected, rtol=1e-6)
    table = row_table(made, RATE)
    phases = np.arange(64) * (2.0 * math.pi / 64)
    for offset in (200.0, float(made.offset_frequency(0.75))):
        wave = table.sound(fixed_from_radians(phases), np.full(64, offset))
        turn = 0.1 * math.copysign(math.asinh(math.sqrt(offset**2 - 25.0) / 8.0), offset)
        assert abs(np.angle(np.fft.rfft(wave)[1]) - turn) < 2e-3


def test_a_drawn_mixer_needs_solved_oscillators():
    with pytest.raises(ValueError, match="driven by solved oscillators"):
        replace(PLAIN, detector=drawn_mixer())
