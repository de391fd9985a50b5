"""Live lessons: every source sounds the lines it names, without clicks, whatever the blocks, and nothing folds back."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from scipy.signal.windows import kaiser
from small_setup import small_setup

from models.pulling import pulled_beat
from synth.hands.hand_path import HandBlock
from synth.lessons.live import Axis, OnAxis
from synth.lessons.recipes import PEAK, Instrumental, Mixture, Pulled
from synth.lessons.table import LESSONS, live_lesson
from synth.lessons.waves import Tone
from synth.sound.voice import CrossfadingVoice

RATE = 48_000


@pytest.fixture(scope="module")
def lessons():
    setup = small_setup()
    return {name: live_lesson(name, setup) for name in LESSONS}


def voice_of(source):
    return CrossfadingVoice(source.start(RATE), RATE)


def sources(lessons):
    return [
        (f"{name} {stage.slug} {choice.name}", choice.source)
        for name, lesson in lessons.items()
        for stage in lesson.stages
        for choice in stage.choices
    ]


def levels(samples):
    """Frequencies and amplitudes by a Kaiser window, side lobes below -110 dB."""
    window = kaiser(samples.size, 14.0)
    count = 2 ** math.ceil(math.log2(3 * samples.size))
    size = 2.0 * np.abs(np.fft.rfft(samples * window, count)) / window.sum()
    return np.fft.rfftfreq(count, 1.0 / RATE), size


def at(bins, size, frequency):
    return size[np.abs(bins - frequency) <= 0.5].max()


def test_every_lesson_can_be_played(lessons):
    assert set(lessons) == set(LESSONS)
    for lesson in lessons.values():
        assert lesson.stages
        for stage in lesson.stages:
            assert len({choice.name for choice in stage.choices}) == len(stage.choices)
            for choice in stage.choices:
                axis = choice.source.axis
                for value, _ in axis.marks:
                    assert -1e-9 <= axis.place(value) <= 1.0 + 1e-9
                    assert float(axis.value(axis.place(value))) == pytest.approx(value)


@pytest.mark.slow
@pytest.mark.parametrize("place", [0.15, 0.63])
def test_lines_are_where_the_recipe_says(lessons, place):
    for name, source in sources(lessons):
        if name.startswith("taps") and place == 0.15:
            continue  # fourteen seconds of sound each: at one place
        value = float(source.axis.value(place))
        seconds = 14 if name.startswith("taps") else 3  # lines 0.8 Hz apart
        samples = voice_of(source).render(place, seconds * RATE)[RATE:]
        assert np.abs(samples).max() <= 1.001 * PEAK, name
        bins, size = levels(samples)
        wanted = [(f, a) for f, a in source.recipe.lines(value) if 20.0 <= f <= 20_000.0]
        slow = "filtered" in name
        if slow:
            wanted = [(f, a) for f, a in source.recipe.lines(value) if f >= 2.0][:3]
        if not wanted:
            assert source.recipe.lines(value) or np.abs(samples).max() < 1e-3, name  # else it is below 20 Hz
            continue
        strongest = max(a for _, a in wanted)
        reference = max(at(bins, size, f) for f, _ in wanted)
        for frequency, amplitude in wanted:
            measured = at(bins, size, frequency) / reference
            if amplitude / strongest > 1e-2:  # between two bins the window shows up to some 0.3 dB less
                assert 20 * math.log10(measured) == pytest.approx(20 * math.log10(amplitude / strongest), abs=0.35), (
                    name,
                    frequency,
                )
        if "rectified" in name or slow:
            continue  # they name their strongest lines only
        others = np.ones(bins.size, dtype=bool)
        for frequency, _ in source.recipe.lines(value):
            others &= np.abs(bins - frequency) > 8.0
        assert size[others].max() < 2e-3 * size.max(), (name, bins[others][size[others].argmax()])


@pytest.mark.parametrize("name", LESSONS)
def test_blocks_do_not_matter(lessons, name):
    """A moving hand, cut differently: the same samples to rounding."""
    steps = np.arange(12_000)
    place, volume = 0.5 + 0.45 * np.sin(2e-4 * steps), 0.6 + 0.4 * np.cos(3e-4 * steps)
    for stage in lessons[name].stages:
        for choice in stage.choices:
            source = pickle.loads(pickle.dumps(choice.source))
            whole = voice_of(source).render(HandBlock(place, volume), steps.size)
            voice, parts, start = voice_of(source), [], 0
            for size in (1, 7, 512, 5000, 480, 6000):
                parts.append(voice.render(HandBlock(place[start : start + size], volume[start : start + size]), size))
                start += size
            np.testing.assert_allclose(np.concatenate(parts), whole, atol=1e-9)


def test_change_of_source_is_without_a_click(lessons):
    """High-passed at 12 kHz, a change of stage or tap leaves no more than the sounds themselves do."""
    from scipy.signal import butter, sosfilt

    high = butter(6, 12_000, "high", fs=RATE, output="sos")
    for lesson in (lessons["beats"], lessons["locking"], lessons["hand"], lessons["octaves"]):
        choices = [choice.source for stage in lesson.stages for choice in stage.choices]
        voice = voice_of(choices[0])
        pieces = [voice.render(0.3, 6000)]
        for source in [*choices[1:], choices[0]]:
            voice.change(source.start(RATE))
            pieces.append(voice.render(0.3, 6000))
        voice.mute(True)
        pieces.append(voice.render(0.3, 2000))
        assert np.abs(pieces[-1][-1000:]).max() == 0.0
        assert np.abs(sosfilt(high, np.concatenate(pieces))).max() < 2e-4


def test_changes_asked_for_in_a_change_end_at_the_last(lessons):
    stage = lessons["locking"].stages[0]
    voice = voice_of(stage.choices[0].source)
    voice.render(0.9, 1000)
    for choice in stage.choices:
        voice.change(choice.source.start(RATE))
    voice.change(stage.choices[2].source.start(RATE))
    voice.render(0.9, 5000)
    assert voice.frequency == pytest.approx(float(pulled_beat(360.0, 120.0)))


def test_nothing_folds_back():
    """A tone that leaves the band upwards is gone, not mirrored."""
    axis = Axis("tone", "Hz", 1000.0, 47_000.0)
    source = OnAxis(axis, Mixture(Tone(0.0, 1.0), Tone(0.0, 0.0), ((1, 0, 1.0),)))
    assert np.abs(voice_of(source).render(1.0, 4800)).max() < 1e-12
    assert np.abs(voice_of(source).render(0.2, 4800)).max() > 0.1


def test_locked_is_silent_and_the_edge_is_the_lock_range():
    axis = Axis("free difference", "Hz", 0.0, 400.0)
    for free, silent in ((119.0, True), (130.0, False)):
        samples = voice_of(OnAxis(axis, Pulled(120.0))).render(axis.place(free), 2 * RATE)[RATE:]
        assert (np.abs(samples).max() < 1e-3) == silent


def test_closing_the_hand_lowers_the_note(lessons):
    """What the text says: the wrist stays, the place on the axis too; on the near side of zero beat."""
    open_hand, fist = (choice.source for choice in lessons["hand"].stages[0].choices)
    assert isinstance(open_hand.recipe, Instrumental)
    assert isinstance(fist.recipe, Instrumental)
    for distance in (0.4, 0.3, 0.2, 0.1, 0.05):
        place = open_hand.axis.place(distance)
        beats = [float(s.recipe.instrument.beat_frequency(s.axis.value(place))) for s in (open_hand, fist)]
        assert beats[0] > beats[1] > 0.0


def test_near_centimetre_is_wider_in_hertz_than_in_cents(lessons):
    far, near = (choice.source for choice in lessons["hand"].stages[1].choices)
    hertz, cents = [], []
    for source in (far, near):
        ends = [source.recipe.lines(float(source.axis.value(place)))[0][0] for place in (0.0, 1.0)]
        hertz.append(ends[1] - ends[0])
        cents.append(1200 * math.log2(ends[1] / ends[0]))
    assert hertz[1] > 10 * hertz[0]
    assert 1.0 < cents[1] / cents[0] < 2.0


@pytest.mark.parametrize("hand", [math.nan, math.inf, [0.1, 0.2]])
def test_bad_hands_are_refused(lessons, hand):
    with pytest.raises(ValueError, match=r"must|broadcast"):
        voice_of(lessons["beats"].stages[0].choices[0].source).render(hand, 16)


def test_bad_axes_are_refused():
    with pytest.raises(ValueError, match="differ"):
        Axis("x", "Hz", 1.0, 1.0)
    with pytest.raises(ValueError, match="left"):
        Axis("x", "Hz", 0.0, 1.0, logarithmic=True)
