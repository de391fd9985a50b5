"""The waves behind a lesson's sound on one time axis, which runs slower than they do: what is drawn, as numbers.

Each row is a wave: the two that are added, their sum, the bent wave, the tone that is left. Where waves turn too fast
for the picture's columns, the band that they fill stands in their place. The page for a browser draws the same in
`synth/pages/assets/picture.js`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from models.pulling import advance_phase, pulled_beat_of
from models.quick_dataclass import dataclass
from synth.lessons.recipes import Recipe, difference_of
from synth.lessons.waves import Waves

SCREEN_SECONDS = 4.0  # what the picture's width takes to pass on the screen
BEATS_SHOWN = 3.0  # at first, where the beat is not slow enough to be seen as it sounds
SLOWEST_WAVE = 1.0  # Hz on the screen: waves that can be counted
DENSE = 0.4  # cycles in a column, beyond which only the band is drawn
FINE = 4  # points in a column
TURN = 2.0 * math.pi
Band = tuple[Floats, Floats]


@dataclass(frozen=True, slots=True, eq=False)
class WaveRow:
    """One wave: name, and lowest and highest value in each column of the picture, from 0 (bottom) to 1 (top)."""

    name: str
    low: Floats
    high: Floats
    heard: bool


class WavePicture:
    """The waves of a recipe, running `slow` times slower than they are."""

    def __init__(self) -> None:
        self.slow = 1.0
        self._recipe: Recipe | None = None
        self._value = 0.0
        self._time = self._one = self._difference = 0.0
        self._past: list[tuple[float, float, float]] = []

    @property
    def span(self) -> float:
        """Time that the picture's width stands for, s."""
        return SCREEN_SECONDS / self.slow

    @property
    def beats(self) -> int:
        """Beats that have passed in the picture."""
        return math.floor(abs(self._difference) + 1e-6)

    def show(self, recipe: Recipe, value: float) -> None:
        """Draw this recipe from now on, at a slowing that shows some beats."""
        waves = recipe.waves
        if waves is None:
            raise ValueError("a recipe must say which waves stand behind it to be drawn")
        self._recipe, self._value = recipe, value
        self._time = self._one = self._difference = 0.0
        self._past = []
        wanted = SCREEN_SECONDS * abs(waves.beat(difference_of(recipe, value))) / BEATS_SHOWN
        self.slow = waves.slowed if wanted < 10.0 else max(waves.slowed, wanted)

    def slow_by(self, factor: float) -> None:
        """Slow the picture down by a factor, between the sound's own time and waves that can be counted.

        Nothing happens before a recipe is shown: a window too small to draw one hears its keys all the same.
        """
        if self._recipe is None:
            return
        waves = self._waves
        most = max(waves.frequencies(self._free)[0] / SLOWEST_WAVE, 100.0 * waves.slowed)
        self.slow = min(max(self.slow * factor, waves.slowed), most)

    def step(self, seconds: float, value: float, heard: float | None = None) -> None:
        """Let `seconds` pass on the screen; `heard`: the beat's phase in the sound, rad, which is then taken over."""
        self._value = value
        if seconds <= 0.0:
            return
        one, two = self._waves.frequencies(self._free)
        passed, lock = seconds / self.slow, self._waves.lock_range
        self._one += one * passed
        steps = max(1, math.ceil(4.0 * lock * passed))
        offsets = np.full(steps + 1, one - two)
        turned = advance_phase(TURN * self._difference, offsets, lock, passed / steps)
        self._difference = float(turned[-1]) / TURN
        if heard is not None:
            turns = math.copysign(heard / TURN, one - two)
            self._difference += math.remainder(turns - self._difference, 1.0)
        self._time += passed
        self._past.append((self._time, self._one, self._difference))
        keep = self._time - 1.5 * self.span
        while len(self._past) > 2 and self._past[1][0] < keep:
            self._past.pop(0)

    def rows(self, columns: int) -> list[WaveRow]:
        """The waves in that many columns, the last of them now."""
        waves = self._waves
        one, _ = waves.frequencies(self._free)
        dense = abs(one) * self.span / columns > DENSE
        times = self._time - self.span * (1.0 - np.arange(columns * FINE + 1) / (columns * FINE))
        first, difference = self._phases(times)
        first_turn, turn = TURN * (first % 1.0), TURN * (difference % 1.0)
        second_turn = first_turn - turn
        ratio, whole = waves.ratio, 1.0 + waves.ratio
        ones = np.ones_like(turn)

        def row(name: str, wave: Callable[[], Floats], band: Callable[[], Band], reach: tuple[float, float]) -> WaveRow:
            low, high = band() if dense else (wave(),) * 2
            bottom, height = reach[0], reach[1] - reach[0]
            least, most = ((values - bottom) / height for values in (low, high))
            heard = name == waves.heard or (name == waves.bend and waves.heard == "bent")
            return WaveRow(name, _least(least, columns), -_least(-most, columns), heard)

        rows = [row("first", lambda: np.cos(first_turn), lambda: (-ones, ones), (-1.0, 1.0))]
        if ratio == 0.0:
            return rows
        size = waves.envelope(turn)
        rows += [
            row("second", lambda: ratio * np.cos(second_turn), lambda: (-ratio * ones, ratio * ones), (-1.0, 1.0)),
            row(
                "sum",
                lambda: np.cos(first_turn) + ratio * np.cos(second_turn),
                lambda: (-size, size),
                (-whole, whole),
            ),
        ]
        if waves.bend == "none":
            return rows
        reach = _reach(waves)
        tone = waves.tone(turn)
        ends = waves.tone(np.array([math.pi, 0.0]))
        rows.append(row(waves.bend, lambda: waves.bent(first_turn, second_turn), lambda: waves.bent_band(turn), reach))
        rows.append(row("filtered", lambda: tone, lambda: (tone, tone), (min(float(ends[0]), 0.0), float(ends[1]))))
        return rows

    @property
    def _waves(self) -> Waves:
        if self._recipe is None or self._recipe.waves is None:
            raise ValueError("show a recipe first")
        return self._recipe.waves

    @property
    def _free(self) -> float:
        if self._recipe is None:
            raise ValueError("show a recipe first")
        return difference_of(self._recipe, self._value)

    def _phases(self, times: Floats) -> Band:
        """Turns of the first wave and of the phase between both; before the picture began, as it began."""
        one, two = self._waves.frequencies(self._free)
        beat = pulled_beat_of(one - two, self._waves.lock_range)
        past = np.array(self._past or [(self._time, self._one, self._difference)])
        back = np.minimum(times - past[0, 0], 0.0)
        first, difference = (np.interp(times, past[:, 0], past[:, column]) for column in (1, 2))
        return first + one * back, difference + beat * back


def _reach(waves: Waves) -> tuple[float, float]:
    """Lowest and highest value that a bent wave takes."""
    phases = np.linspace(0.0, math.pi, 65)
    low, high = waves.bent_band(phases)
    return min(float(low.min()), 0.0), float(high.max())


def _least(values: Floats, columns: int) -> Floats:
    """The lowest value in each column, its end counted in."""
    inner = values[:-1].reshape(columns, FINE).min(axis=1)
    return np.asarray(np.minimum(inner, values[FINE::FINE]))


def heard_phase(samples: NDArray[np.float32], sample_rate: float, beat: float, squared: bool) -> float | None:
    """Phase of a slow beat, rad, in the newest samples, from the last two of its cycles; None where they are too few.

    `squared`: the beat is a swelling of the loudness, else it is a wave of its own.
    """
    if beat <= 0.0:
        return None
    count = round(2.0 * sample_rate / beat)
    if not 0 < count <= samples.size:
        return None
    newest = samples[-count:].astype(np.float64)
    wave = newest**2 if squared else newest
    back = (np.arange(count) - count) / sample_rate
    return float(-np.angle(np.sum((wave - wave.mean()) * np.exp(1j * TURN * beat * back))))
