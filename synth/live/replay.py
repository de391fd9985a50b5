"""A hand path played in the audio process in place of the live hand."""

from __future__ import annotations

import numpy as np

from synth.hands.hand_path import HandBlock, HandPath


class Replay:
    """Reads a hand path block by block, to the sample, whatever the size of the blocks."""

    def __init__(self, path: HandPath, sample_rate: float) -> None:
        self._path = path
        self._rate = sample_rate
        self._frames = path.frames(sample_rate)
        self._place = 0

    @property
    def done(self) -> bool:
        """True once the last time stamp has been played."""
        return self._place >= self._frames

    def block(self, frames: int) -> HandBlock:
        """The hands of the next `frames` samples; after the end they rest."""
        block = self._path.block(self._place, frames, self._rate)
        self._place += frames
        return HandBlock(block.distance, np.clip(block.volume, 0.0, 1.0))
