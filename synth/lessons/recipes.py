"""What sounds in a lesson: recipes of tones that follow one value (Hz or m), for the files and for live play.

A recipe is plain data, so that it can be sent to the audio process; `start` makes its running sound there, and the
voice of the instruments plays it. In a file the value takes a set course (`performed`), live it follows the pointer
(`synth.lessons.live.OnAxis`). Every recipe names the lines it sounds at a value, and the tests find them.

All sounds peak at PEAK of full scale or below, as the lesson's files do. Lines fade out between 20 and 22 kHz at a
sample rate of 48 kHz (in proportion at others), so that nothing folds back; where a recipe says so, lines also fade out
between 20 and 8 Hz, where a difference that comes to rest would become a steady push.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import replace
from functools import cache
from typing import Protocol

import numpy as np

from models.arrays import Floats, Ints
from models.detector.memoryless import envelope_harmonics
from models.detector.rectified_sum import half_wave_rectified, rectified_side_line, sum_of_tones
from models.instrument import Instrument
from models.pulling import advance_phase, pulled_beat, pulled_line_ratio
from models.quick_dataclass import dataclass
from synth.hands.hand_path import HandBlock
from synth.lessons.waves import Tone, Waves, oscillators
from synth.sound.beat_phase import STEPS_PER_TURN, TURN_MASK, accumulate
from synth.sound.filters import FirstOrder, dc_block_coefficients
from synth.sound.source import Sound
from synth.sound.strand import InstrumentSource
from synth.sound.voice import CrossfadingVoice

PEAK = 0.2  # of full scale: -14 dB
FADE_FROM, FADE_TO = 20_000.0 / 48_000.0, 22_000.0 / 48_000.0  # of the sample rate
SLOWEST, SLOW = 8.0, 20.0  # Hz
DC_BLOCK = 10.0  # Hz
ROOM = 0.9  # the DC block may raise a bent wave by a tenth
PAIRS = 4  # of the rectifier's series

Line = tuple[float, float]  # frequency, Hz, and amplitude


class Recipe(Protocol):
    """Plain data from which a sound starts; `waves`: what it comes from, to be drawn (value: Hz, of the waves)."""

    @property
    def waves(self) -> Waves | None:
        """The waves behind the sound."""

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin; its hand is the value."""

    def lines(self, value: float) -> tuple[Line, ...]:
        """The lines that sound while the value rests, with their amplitudes before fading at the band's ends."""


class RecipeSound:
    """What the sounds of all recipes have in common: the value is known everywhere, and they peak at PEAK or below."""

    level = PEAK
    change_time = 0.02  # s
    frequency = 0.0

    def within(self, hand: Floats) -> Floats:
        """The value, Hz."""
        return hand


def _angle(phase: Ints) -> Floats:
    """A phase in steps as an angle, rad: whole turns fall away, whatever a sum of phases wrapped to."""
    return np.asarray((phase & TURN_MASK) * (2.0 * math.pi / STEPS_PER_TURN))


def band_gain(frequency: Floats, sample_rate: float, slow_too: bool) -> Floats:
    """1 within the band, 0 beyond its ends, cos^2 between."""
    size = np.abs(frequency)
    over = (size / sample_rate - FADE_FROM) / (FADE_TO - FADE_FROM)
    gain = np.cos(0.5 * math.pi * np.clip(over, 0.0, 1.0)) ** 2
    if slow_too:
        gain = gain * np.sin(0.5 * math.pi * np.clip((size - SLOWEST) / (SLOW - SLOWEST), 0.0, 1.0)) ** 2
    return np.asarray(gain)


@dataclass(frozen=True, slots=True)
class TonePair(ABC):
    """What two tones, whose frequencies follow the value, become."""

    first: Tone
    second: Tone

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin."""
        return TonePairSound(self, sample_rate)

    def at(self, values: Floats | float) -> tuple[Floats, Floats]:
        """The frequencies of both, Hz; broadcasts."""
        return self.first.at(np.asarray(values)), self.second.at(np.asarray(values))

    @abstractmethod
    def samples(self, frequencies: tuple[Floats, Floats], phases: tuple[Ints, Ints], sample_rate: float) -> Floats:
        """The sound (n,) at frequencies (n,), Hz, and phases (n,), in steps of a turn, of both tones."""


class TonePairSound(RecipeSound):
    """A pair of tones at work; their phases run on, in whole steps of a turn, from 0 at the beginning."""

    def __init__(self, recipe: TonePair, sample_rate: float) -> None:
        self._recipe, self._rate = recipe, sample_rate
        self.begin(0.0)

    def begin(self, hand: float, before: Sound | None = None) -> None:
        """Start anew at that value."""
        self._value, self._phase = hand, (0, 0)

    def sound(self, hand: Floats) -> Floats:
        """The next samples."""
        one, two = self._recipe.at(np.concatenate([[self._value], hand]))
        first, second = (
            accumulate(phase, each, self._rate) for phase, each in zip(self._phase, (one, two), strict=True)
        )
        self._phase = int(first[-1]) & TURN_MASK, int(second[-1]) & TURN_MASK
        self._value = float(hand[-1])
        self.frequency = abs(float(one[-1] - two[-1])) or abs(float(one[-1]))
        return self._recipe.samples((one[1:], two[1:]), (first, second), self._rate)


@dataclass(frozen=True, slots=True)
class Mixture(TonePair):
    """Lines at p f1 + q f2 of two tones: (p, q, amplitude) each. Their amplitudes together are PEAK times `gain`."""

    parts: tuple[tuple[int, int, float], ...]
    slow_too: bool = True
    gain: float = 1.0
    waves: Waves | None = None

    def lines(self, value: float) -> tuple[Line, ...]:
        """Every line."""
        one, two = (float(frequency) for frequency in self.at(value))
        return tuple((abs(p * one + q * two), abs(amplitude)) for p, q, amplitude in self.parts)

    def samples(self, frequencies: tuple[Floats, Floats], phases: tuple[Ints, Ints], sample_rate: float) -> Floats:
        """All lines, each faded at the ends of the band."""
        (one, two), (phase_one, phase_two) = frequencies, phases
        scale = self.gain * PEAK / sum(abs(amplitude) for _, _, amplitude in self.parts)
        samples = np.zeros(one.size)
        for p, q, amplitude in self.parts:
            gain = band_gain(p * one + q * two, sample_rate, self.slow_too)
            if gain.any():
                samples += scale * amplitude * gain * np.cos(_angle(p * phase_one + q * phase_two))
        return samples


def filtered_parts(ratio: float, count: int = 40) -> tuple[tuple[int, int, float], ...]:
    """The mean of the rectified sum over a carrier cycle: multiples of the difference, without the steady part."""
    amplitudes = envelope_harmonics(count, ratio) / math.pi
    return tuple((order, 0, float(amplitudes[order])) for order in range(1, count + 1))


@dataclass(frozen=True, slots=True)
class Rectified(TonePair):
    """Two tones added, the positive half kept, the steady part left out."""

    ratio: float
    waves: Waves | None = None

    def lines(self, value: float) -> tuple[Line, ...]:
        """The strongest: both tones, their difference, and the first two around twice the carrier."""
        one, two = (float(frequency) for frequency in self.at(value))
        slow = abs(float(envelope_harmonics(1, self.ratio)[1])) / math.pi
        side = [abs(rectified_side_line(1, order, self.ratio)) for order in range(2)]
        return ((one, 0.5), (two, 0.5 * self.ratio), (abs(one - two), slow), (2.0 * one, side[0]), (one + two, side[1]))

    def samples(self, frequencies: tuple[Floats, Floats], phases: tuple[Ints, Ints], sample_rate: float) -> Floats:
        """The rectifier's series, without its steady part."""
        first, second = (_angle(phase) for phase in phases)
        half = half_wave_rectified(*sum_of_tones(first, second, self.ratio), PAIRS) - steady_part(self.ratio)
        return np.asarray(PEAK / (1.0 + self.ratio) * half)


@cache
def steady_part(ratio: float) -> float:
    """What a rectified sum of two tones, the second `ratio` times the first, is in the mean."""
    return float(envelope_harmonics(0, ratio)[0]) / math.pi


@dataclass(frozen=True, slots=True)
class Pulled:
    """A balanced mixer behind two oscillators whose free difference is the value (Hz), with a lock range (Hz)."""

    lock_range: float
    waves: Waves | None = None

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin; locked oscillators rest at their phase."""
        return PulledSound(self.lock_range, sample_rate)

    def lines(self, value: float) -> tuple[Line, ...]:
        """The beat and its overtones down to a thousandth; none where locked."""
        if abs(value) <= self.lock_range:
            return ()
        beat, ratio = abs(float(pulled_beat(value, self.lock_range))), pulled_line_ratio(value, self.lock_range)
        return tuple((order * beat, ratio ** (order - 1)) for order in range(1, 9) if ratio ** (order - 1) > 1e-3)


class PulledSound(RecipeSound):
    """A pulled beat at work, without its steady part."""

    def __init__(self, lock_range: float, sample_rate: float) -> None:
        self._lock = lock_range
        self._step = 1.0 / sample_rate
        self._offset = self._phase = 0.0
        self._filter = FirstOrder(dc_block_coefficients(DC_BLOCK, sample_rate))

    def begin(self, hand: float, before: Sound | None = None) -> None:
        """Start anew at that free difference."""
        self._offset = hand
        self._phase = math.asin(hand / self._lock) if abs(hand) < self._lock else 0.5 * math.pi
        self._filter.settle(math.cos(self._phase), 0.0)

    def sound(self, hand: Floats) -> Floats:
        """The next samples."""
        phases = advance_phase(self._phase, np.concatenate([[self._offset], hand]), self._lock, self._step)
        self._phase = math.remainder(float(phases[-1]), 2.0 * math.pi)
        self._offset = float(hand[-1])
        self.frequency = abs(float(pulled_beat(self._offset, self._lock)))
        return np.asarray(ROOM * PEAK * self._filter.filter(np.cos(phases)))


@dataclass(frozen=True, slots=True)
class Instrumental:
    """An instrument; the value is the hand's distance, m."""

    instrument: Instrument

    @property
    def waves(self) -> Waves:
        """Both oscillators; the value is then their free difference, Hz."""
        return oscillators(self.instrument.reference_frequency, self.instrument.lock_range)

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin, at the level of the other recipes."""
        return InstrumentSource(replace(self.instrument, level=PEAK)).start(sample_rate)

    def lines(self, value: float) -> tuple[Line, ...]:
        """The note and what the leak adds above it, of a product detector; the tone filter is left out."""
        return Pulled(self.instrument.lock_range).lines(float(self.instrument.offset_frequency(value)))


def difference_of(recipe: Recipe, value: float) -> float:
    """What a recipe's waves follow at its value: for an instrument the free difference, Hz, at that distance, m."""
    return float(recipe.instrument.offset_frequency(value)) if isinstance(recipe, Instrumental) else value


def added_capacitance(recipe: Recipe, value: float) -> float | None:
    """What the hand adds to the rod, F; None where there is none."""
    if not isinstance(recipe, Instrumental):
        return None
    instrument = recipe.instrument
    return float(instrument.antenna_capacitance(value)) - instrument.curve.empty_capacitance - instrument.antenna_stray


def performed(recipe: Recipe, course: Floats | HandBlock, sample_rate: float) -> Floats:
    """The sound of a recipe while the value (n,), and with a block the volume, takes its course: (n,), with the
    voice's pole and opening.
    """
    frames = course.distance.size if isinstance(course, HandBlock) else course.size
    return CrossfadingVoice(recipe.start(sample_rate), sample_rate).render(course, frames)
