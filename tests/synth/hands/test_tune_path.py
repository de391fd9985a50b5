"""A tune played by a hand: the pitch that is wanted, missed by a seeded human error."""

from __future__ import annotations

import numpy as np
import pytest

from models.pitch import frequency_of_note
from synth.analysis.tune import load_tune
from synth.hands.tune_path import LEAD, Manner, perform
from synth.sound.voice import Voice
from synth.tunes.melody import Tune, TuneNote

EXACT = Manner(tremor=0.0, placement=0.0)


def test_demo_tunes_sound_as_written(demos, plain_workpiece):
    """Every note within 0.1 cents of equal temperament (ISO 16), with a hand without error."""
    for name in ("lark.txt", "tide.txt"):
        tune = load_tune(demos / name)
        played = perform(tune, plain_workpiece.field, EXACT)
        off = [note.cents for note in played.notes if note.cents is not None]
        assert len(off) == len(tune.notes)
        assert np.abs(off).max() < 0.1


def test_rendered_sound_has_the_wanted_pitch(plain_workpiece):
    """Phase of the voice over the held part of a note, through the 5 ms pole: within 1 cent."""
    tune = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(67, 1.0, 1.0)))
    path = perform(tune, plain_workpiece.field, EXACT).path
    voice = Voice(plain_workpiece.instrument, 48000)
    for note in tune.notes:
        start = round((LEAD + note.start + 0.3) * 48000)
        voice.reset()
        samples = voice.render(path.block(start, 24000, 48000), 24000)
        spectrum = np.abs(np.fft.rfft(samples * np.hanning(24000), 480000))
        band = np.fft.rfftfreq(480000, 1 / 48000)
        wanted = float(frequency_of_note(note.number))
        spectrum[np.abs(band / wanted - 1.0) > 0.05] = 0.0
        peak = int(spectrum.argmax())
        low, mid, high = np.log(spectrum[peak - 1 : peak + 2])
        found = band[peak] + 0.1 * 0.5 * (low - high) / (low - 2 * mid + high)
        assert 1200 * abs(np.log2(found / wanted)) < 1.0


def test_error_in_cents_is_steepness_times_error_in_mm(plain_workpiece):
    """Small placing errors: RMS cents = cents per mm x RMS mm, on a note that is left and found again."""
    notes = tuple(TuneNote((60, 64)[i % 2], 0.2 * i, 0.2) for i in range(1000))
    played = perform(Tune("x", notes), plain_workpiece.field, Manner(tremor=0.0, placement=0.1e-3, seed=4)).notes
    for number in (60, 64):
        chosen = [note for note in played if note.note.number == number]
        rms = np.sqrt(np.mean([note.cents**2 for note in chosen]))
        slope = float(plain_workpiece.field.cents_per_mm(chosen[0].distance))
        missed = 1e3 * np.sqrt(np.mean([(note.placed - note.distance) ** 2 for note in chosen]))
        assert missed == pytest.approx(0.1, rel=0.1)  # 500 draws: 3 % standard error
        assert rms == pytest.approx(slope * missed, rel=0.01)


def test_same_seed_same_person(plain_workpiece, demos):
    tune = load_tune(demos / "lark.txt")
    one, again = (perform(tune, plain_workpiece.field, Manner(seed=5)) for _ in range(2))
    other = perform(tune, plain_workpiece.field, Manner(seed=6))
    np.testing.assert_array_equal(one.path.distances, again.path.distances)
    assert not np.array_equal(one.path.distances, other.path.distances)
