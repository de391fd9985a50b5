"""Fades of a set length, values that change gradually, and the guard at full scale."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from models.checks import positive
from synth.sound.extent import extent

KNEE = 0.9  # of full scale


class Fade:
    """A gain between 0 and 1 that takes `duration` (s) from one end to the other along 3 x^2 - 2 x^3.

    It counts samples, so that it may turn round half-way and be cut into any blocks.
    """

    def __init__(self, duration: float, sample_rate: float) -> None:
        self._length = max(1, round(positive("duration", duration) * sample_rate))
        share = np.arange(self._length + 1) / self._length
        self._shape = np.asarray(share * share * (3.0 - 2.0 * share))
        self._place = 0

    def reset(self) -> None:
        """Back to gain 0."""
        self._place = 0

    @property
    def left(self) -> int:
        """Samples until gain 1 is reached."""
        return self._length - self._place

    def rests_at(self, place: float) -> bool:
        """Whether the gain is 0 (`place` 0) or 1 (`place` 1) at this moment."""
        return self._place == place * self._length

    def gains(self, frames: int, up: bool) -> Floats:
        """The next gains (frames,), on the way up or down."""
        if up and frames <= self.left:
            start, self._place = self._place + 1, self._place + frames
            return self._shape[start : start + frames]
        steps = np.arange(1, frames + 1)
        places = np.minimum(self._place + steps, self._length) if up else np.maximum(self._place - steps, 0)
        self._place = int(places[-1])
        return self._shape.take(places)


class Gate:
    """Opens and closes a sound along a fade of `duration`, s; it starts silent."""

    def __init__(self, duration: float, sample_rate: float, is_open: bool = False) -> None:
        self._fade = Fade(duration, sample_rate)
        self._open = is_open

    def set(self, is_open: bool) -> None:
        """Open or close from the next samples on (any thread)."""
        self._open = is_open

    @property
    def is_open(self) -> bool:
        """Whether it is open, or opens."""
        return self._open

    def reset(self) -> None:
        """Start silent again."""
        self._fade.reset()

    @property
    def closed(self) -> bool:
        """True once the fade-out has ended."""
        return not self._open and self._fade.rests_at(0.0)

    def apply(self, samples: Floats) -> None:
        """Fade `samples` in place."""
        is_open = self._open
        if self.closed:
            samples[:] = 0.0
        elif is_open:
            rising = samples[: self._fade.left]  # after these the gain is 1
            if rising.size:
                rising *= self._fade.gains(rising.size, up=True)
                rising += 0.0  # a negative zero becomes a plain one, as in a block that is silent from its start
        elif samples.size:
            samples *= self._fade.gains(samples.size, up=False)
            samples += 0.0


class Slew:
    """A value that follows a wanted one by at most `rate` a second; it starts at the first it is given or `value`."""

    def __init__(self, rate: float, sample_rate: float, value: float | None = None) -> None:
        self._rate, self._sample_rate = rate, sample_rate
        self.value = value

    def towards(self, wanted: float, frames: int) -> Floats | float:
        """The next values (frames,) on the way to `wanted`; a number while it stands there."""
        if self.value is None or self.value == wanted:
            self.value = wanted
            return wanted
        longest = self._rate * frames / self._sample_rate
        change = min(max(wanted - self.value, -longest), longest)
        ramp = self.value + change * np.arange(1, frames + 1) / frames
        self.value = wanted if abs(wanted - self.value) <= longest else self.value + change
        return np.asarray(ramp)


def guard(samples: Floats, knee: float = KNEE) -> None:
    """Keep samples within full scale, in place: untouched up to `knee`, above it bent towards 1.

    Above: knee + r tanh((|x| - knee) / r), r = 1 - knee: same slope at the knee. A knee of 1 cuts off at full
    scale.
    """
    if not samples.size:
        return
    lowest, highest = extent(samples)
    if max(highest, -lowest) <= knee:
        return
    sizes = np.abs(samples)
    over = sizes > knee
    room = 1.0 - knee
    bent = knee + room * np.tanh((sizes[over] - knee) / room) if room > 0.0 else 1.0
    samples[over] = np.copysign(np.minimum(bent, 1.0), samples[over])
