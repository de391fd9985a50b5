"""What a lesson is made of: stages with a text, a sound, and claims about the lines in it."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from models.checks import finite, non_negative, one_of, positive
from models.quick_dataclass import dataclass
from synth.lessons.live import LiveStage
from synth.lessons.passage import FADE_TIME, SAMPLE_RATE, Passage, joined
from synth.lessons.words import said

PEAK_DB = -14.0  # of full scale: the loudest sample of a stage, unless it asks for less
ABSENT_DB = -60.0  # below the strongest line of the same stretch of sound
KINDS = ("line", "absent", "beat", "softer", "silent")


@dataclass(frozen=True, slots=True)
class Claim:
    """One statement about the sound between `start` and `end` (s), checked by tests and printed in the script.

    line: a spectral line at `frequency` (Hz), `level_db` against the strongest line of that stretch.
    absent: within the line width, nothing at `frequency` above ABSENT_DB against the strongest line.
    beat: the loudness swells `frequency` times a second. softer: by `level_db` under the stage's peak.
    silent: the stretch is below ABSENT_DB of that peak.
    """

    kind: str
    start: float
    end: float
    frequency: float = 0.0
    level_db: float = 0.0

    def __post_init__(self) -> None:
        one_of("kind", self.kind, KINDS)
        if not non_negative("start", self.start) < finite("end", self.end):
            raise ValueError(f"start must be < end; got {self.start:g} and {self.end:g}")
        if self.kind not in ("softer", "silent"):
            positive("frequency", self.frequency)
        if finite("level_db", self.level_db) > 0.0:
            raise ValueError(f"level_db is against the strongest line and must be <= 0; got {self.level_db:g}")

    @property
    def text(self) -> str:
        """The claim in words."""
        kind = "strongest" if self.kind == "line" and self.level_db > -0.005 else self.kind
        figures = {"start": self.start, "end": self.end, "frequency": self.frequency, "below": -self.level_db}
        return said("claims", kind, **figures)


@dataclass(frozen=True, slots=True)
class Stage:
    """One step of a lesson: a question, what it plays, one passage after the other, and what is to be found in it.

    `minutes`: what it takes in a class.

    `wave`: (start, length) in s of the stretch drawn as a waveform; `band`: (low, high) Hz of the drawn spectrum.
    """

    slug: str
    title: str
    question: str
    answer: str
    text: str
    minutes: int
    claims: tuple[Claim, ...]
    passages: tuple[Passage, ...]
    wave: tuple[float, float]
    band: tuple[float, float] = (20.0, 22_000.0)
    peak_db: float = PEAK_DB

    @property
    def slides(self) -> bool:
        """Whether the value takes its time from one place to another: what is to be seen is then in time."""
        return any(passage.slides for passage in self.passages)

    def sound(self) -> Floats:
        """The finished sound: peak at `peak_db` of full scale, faded in and out, the first and last sample 0."""
        return self.levelled()[0]

    def levelled(self) -> tuple[Floats, float]:
        """The finished sound, and how many times its recipes' own level that is."""
        samples = joined(self.passages)
        fade = round(FADE_TIME * SAMPLE_RATE)
        rise = np.sin(0.5 * np.pi * np.arange(fade) / fade) ** 2
        samples[:fade] *= rise
        samples[-fade:] *= rise[::-1]
        gain = float(10.0 ** (self.peak_db / 20.0) / np.abs(samples).max())
        return np.asarray(samples * gain), gain


@dataclass(frozen=True, slots=True)
class Experiment:
    """Something to do with things a class has: steps, the figure to expect from the models, and the cautions."""

    title: str
    bring: str
    steps: tuple[str, ...]
    expected: str
    caution: str


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson for a class: what it is about, its stages in order, and the pages to play it live.

    `bring`: what a teacher needs; `sources`: where its facts are from; `experiments`: to do beside it.
    """

    name: str
    title: str
    introduction: str
    bring: str
    sources: str
    stages: tuple[Stage, ...]
    pages: tuple[LiveStage, ...]
    experiments: tuple[Experiment, ...] = ()

    def stem(self, index: int) -> str:
        """Name of a stage's files without their ending."""
        return f"{index + 1:02d}-{self.stages[index].slug}"


def line(frequency: float, level_db: float, start: float, end: float) -> Claim:
    """A spectral line."""
    return Claim("line", start, end, frequency, level_db)


def absent(frequency: float, start: float, end: float) -> Claim:
    """No line."""
    return Claim("absent", start, end, frequency)


def beat(frequency: float, start: float, end: float) -> Claim:
    """A swelling of the loudness."""
    return Claim("beat", start, end, frequency)


def softer(by_db: float, start: float, end: float) -> Claim:
    """Quieter than the loudest of the stage."""
    return Claim("softer", start, end, 0.0, -by_db)


def silent(start: float, end: float) -> Claim:
    """No sound."""
    return Claim("silent", start, end)


def decibels(ratio: float) -> float:
    """20 lg of an amplitude ratio."""
    return float(20.0 * np.log10(ratio))
