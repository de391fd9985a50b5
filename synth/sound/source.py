"""What a voice plays and where it comes from: the contract of an instrument's strand and of the lessons' recipes."""

from __future__ import annotations

from typing import Protocol

from models.arrays import Floats


class Sound(Protocol):
    """What a voice plays: a running sound that a hand moves. The hand is a distance, m, or what else the sound says."""

    @property
    def level(self) -> float:
        """Peak at full volume, of full scale."""

    @property
    def frequency(self) -> float:
        """The note at the last sample, Hz, signed where the sound knows a sign."""

    @property
    def change_time(self) -> float:
        """How long it takes to come in after another sound, s."""

    def within(self, hand: Floats) -> Floats:
        """A copy of the hand (n,), limited to where this sound is known."""

    def begin(self, hand: float, before: Sound | None = None) -> None:
        """Start anew, as if the hand had been there for long, or take over from the sound `before`."""

    def sound(self, hand: Floats) -> Floats:
        """The next samples (n,), n >= 1, at full volume, for a smoothed hand (n,)."""


class Source(Protocol):
    """Plain data that a sound starts from, in this process or another."""

    @property
    def level(self) -> float:
        """Peak of its sound at full volume, of full scale."""

    @property
    def resting(self) -> float:
        """Where the hand counts as being before it is known."""

    def start(self, sample_rate: float) -> Sound:
        """The sound, ready to begin."""
