"""The voice: hand positions in, sound out, block by block; the same code feeds the speaker and the file.

Chain: hand and volume -> limit to what the sound knows -> one 5 ms pole each -> the sound -> volume -> guard -> fades.
The sound of an instrument (`synth/sound/strand.py`) is: offset frequency -> beat phase (pulled if the oscillators leak
into each other) -> detector waveform without aliasing -> tone low-pass -> DC block; those of the lessons are in
`synth/lessons/recipes.py`. The radio frequency itself is never sampled. How a performance is cut into blocks does not
change its samples.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, positive
from models.instrument import Instrument
from synth.hands.hand_path import HandBlock
from synth.sound.extent import extent
from synth.sound.fades import KNEE, Fade, Gate, guard
from synth.sound.filters import Smoother
from synth.sound.source import Sound
from synth.sound.strand import InstrumentSource, Strand

SMOOTHING_TIME = 0.005  # s, pole on the hand and on the volume
FADE_TIME = 0.008  # s, start and mute
LARGEST = float(np.finfo(np.float64).max)
FULL = np.broadcast_to(1.0, 1)  # a volume that stands: one number, read as often as there are frames
PIECE = 24000  # frames at once: longer blocks are rendered piece by piece, within the processor's cache


class CrossfadingVoice:
    """Plays a sound at `sample_rate` (Hz) and changes to others without a click, carrying all state between calls.

    One thread at a time calls `render`; `mute` and `change` may be called from another and act from the next render on.
    """

    def __init__(self, sound: Sound, sample_rate: float) -> None:
        self.sample_rate = positive("sample_rate", sample_rate)
        self._here = self._latest = sound
        self._waiting: deque[Sound] = deque(maxlen=1)
        self._leaving: Sound | None = None
        self._hands = Smoother(SMOOTHING_TIME, self.sample_rate)
        self._opening = Gate(FADE_TIME, self.sample_rate, is_open=True)
        self._coming = Fade(FADE_TIME, self.sample_rate)
        self._last_hand: float | None = None

    @property
    def frequency(self) -> float:
        """The sound's frequency at the last rendered sample, Hz; 0 before the first."""
        return self._here.frequency if self._last_hand is not None else 0.0

    def change(self, sound: Sound) -> None:
        """Cross over to another sound, one that has not been played.

        A change asked for during a change starts when that one has ended; of several waiting the last counts.
        """
        self._latest = sound
        self._waiting.append(sound)

    def mute(self, muted: bool) -> None:
        """Fade the sound out or in over 8 ms; it runs on."""
        self._opening.set(not muted)

    def reset(self) -> None:
        """Forget the past: the next render starts like the first, with the latest sound; mute stays."""
        self._waiting.clear()
        self._here = self._latest
        self._leaving = None
        self._last_hand = None
        for part in (self._hands, self._opening, self._coming):
            part.reset()

    def render(self, hand: HandBlock | ArrayLike, frames: int) -> Floats:
        """The next `frames` samples, float64 (frames,), within -1..1; the first start with an 8 ms fade.

        `hand`: a block of positions, or distances alone (m, a number or (frames,)), then at full volume.
        Distances are >= 0; those outside what the sound knows count as its nearest or farthest point. Raises
        ValueError for a number of frames below 0, for other shapes, for values that are not finite, negative distances
        and volumes outside 0..1; the state is then unchanged.
        """
        if isinstance(frames, bool | np.bool_) or not isinstance(frames, int | np.integer) or frames < 0:
            raise ValueError(f"frames must be a whole number >= 0; got {frames!r}")
        if isinstance(hand, HandBlock):
            distances = _row("distance", hand.distance, int(frames), np.inf)
            return self.render_known(HandBlock(distances, _row("volume", hand.volume, int(frames), 1.0)))
        distances = _row("distance", hand, int(frames), np.inf)
        return self.render_known(HandBlock(distances, np.ndarray(distances.shape, buffer=FULL, strides=(0,))))

    def render_known(self, hand: HandBlock) -> Floats:
        """As `render`, for a block that is known to be in order: what live play calls with every block."""
        distances, volumes, frames = hand.distance, hand.volume, hand.distance.size
        samples = np.empty(frames)
        start = 0
        while start < frames:
            self._take_over()
            end = min(start + PIECE, frames)
            if self._leaving is not None:
                end = min(end, start + self._coming.left)
            piece = self._piece(distances[start:end], volumes[start:end])
            if piece.size == frames:
                return piece
            samples[start:end] = piece
            start = end
        return samples

    def _take_over(self) -> None:
        """End a change that is complete and begin the one that waits."""
        if self._leaving is not None and self._coming.left == 0:
            self._leaving = None
        if not self._waiting or self._leaving is not None:
            return
        sound = self._waiting.popleft()
        if self._last_hand is not None:
            sound.begin(self._last_hand, self._here)
            self._leaving = self._here
            self._coming = Fade(sound.change_time, self.sample_rate)
        self._here = sound

    def _piece(self, distances: Floats, volumes: Floats) -> Floats:
        """Samples of a piece in which no change begins or ends."""
        smoothed, gains = self._hands.smooth(self._here.within(distances), volumes)
        if self._last_hand is None:
            self._here.begin(float(smoothed[0]))
        self._last_hand = float(smoothed[-1])
        samples = self._here.sound(smoothed)
        knee = max(KNEE, self._here.level)
        if self._leaving is not None:
            leaving = self._leaving.sound(self._leaving.within(smoothed))
            samples = leaving + self._coming.gains(samples.size, up=True) * (samples - leaving)
            knee = max(knee, self._leaving.level)
        if gains is not volumes or gains[0] != 1.0:  # a row that rests at 0 or 1 comes back as it is
            samples *= gains
        guard(samples, knee)
        self._opening.apply(samples)
        return samples


class Voice(CrossfadingVoice):
    """The voice of one instrument. A change crosses over in 8 ms, both instruments from the same beat phase on.

    Full volume peaks at `instrument.level` of full scale (the detector's waveform before the tone filter, which takes
    its part off high notes). Beats above 0.45 of the sample rate are silent. The hand is the distance, m; outside the
    instrument's capacitance curve it counts as the curve's nearest or farthest point, where the computed field ends.
    """

    def __init__(self, instrument: Instrument, sample_rate: float) -> None:
        strand = InstrumentSource(instrument).start(sample_rate)
        super().__init__(strand, sample_rate)
        self._instrument = instrument

    @property
    def instrument(self) -> Instrument:
        """The instrument last set: it sounds, or the sound is on its way to it."""
        return self._instrument

    @property
    def phase(self) -> float:
        """Beat phase at the last rendered sample, rad, 0 to 2 pi."""
        return self._here.phase if isinstance(self._here, Strand) else 0.0

    def set_instrument(self, instrument: Instrument) -> None:
        """Change to `instrument`; its tables are built in the calling thread."""
        self.change(InstrumentSource(instrument).start(self.sample_rate))
        self._instrument = instrument


def _row(name: str, values: ArrayLike, frames: int, most: float) -> Floats:
    """`values` as (frames,) float64 between 0 and `most`; ValueError otherwise."""
    # what a live block brings: two passes settle it, as no comparison holds for what is not a number
    if isinstance(values, np.ndarray) and values.dtype == np.float64 and values.shape == (frames,) and frames > 0:
        lowest, highest = extent(values)
        if lowest >= 0.0 and highest <= min(most, LARGEST):
            return np.asarray(values)
    row = finite_array(name, values)
    if row.ndim == 0:
        row = np.full(frames, row)
    elif row.shape != (frames,):
        raise ValueError(f"{name} must be a number or {frames} of them in a row; got shape {row.shape}")
    if frames and (row.min() < 0.0 or row.max() > most):
        domain = ">= 0" if most == np.inf else f"between 0 and {most:g}"
        worst = row.min() if row.min() < 0.0 else row.max()
        raise ValueError(f"{name} must be {domain}; got {worst:g}")
    return row
