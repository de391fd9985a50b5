"""Lesson: two audible tones and their beats; live, beats near a unison, then out to an octave."""

from __future__ import annotations

from synth.lessons.draft import Draft
from synth.lessons.live import Axis, OnAxis, marks
from synth.lessons.passage import rested
from synth.lessons.recipes import Mixture
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Claim, Lesson, Stage, absent, beat, decibels, line
from synth.lessons.waves import Tone, Waves
from synth.lessons.words import said

FIRST, SECONDS, UNEQUAL = 440.0, 5.0, 0.3
WHOLE = (0.05, SECONDS - 0.05)  # s
BAND = (400.0, 500.0)  # Hz


def two_tones(ratio: float) -> Mixture:
    """A tone of FIRST, and `ratio` times one of the value, Hz."""
    tones = Tone(FIRST, 0.0), Tone(0.0, 1.0)
    return Mixture(*tones, ((1, 0, 1.0), (0, 1, ratio)), waves=Waves(*tones, ratio))


def lesson(_setup: LessonSetup) -> Lesson:
    """Two tones, closer and wider, equal and unequal."""
    draft = Draft("beats", unequal=UNEQUAL, swing=decibels((1.0 + UNEQUAL) / (1.0 - UNEQUAL)))

    def stage(slug: str, ratio: float, second: float, wave: tuple[float, float], *claims: Claim) -> Stage:
        return draft.stage(
            slug,
            (line(FIRST, 0.0, *WHOLE), *claims),
            rested(two_tones(ratio), second, SECONDS),
            wave,
            BAND,
        )

    stages = (
        stage("one-tone", 0.0, 444.0, (1.0, 0.05), absent(444.0, *WHOLE)),
        stage(
            "four-beats",
            1.0,
            444.0,
            (0.5, 1.0),
            line(444.0, 0.0, *WHOLE),
            absent(442.0, *WHOLE),
            absent(4.0, *WHOLE),
            beat(4.0, *WHOLE),
        ),
        stage("unequal", UNEQUAL, 444.0, (0.5, 1.0), line(444.0, decibels(UNEQUAL), *WHOLE), beat(4.0, *WHOLE)),
        stage("rough", 1.0, 470.0, (0.5, 0.2), line(470.0, 0.0, *WHOLE), absent(30.0, *WHOLE), beat(30.0, *WHOLE)),
    )
    second = said("axes", "second-tone")
    near = Axis(second, "Hz", 430.0, 470.0, marks=marks(430, 440, 450, 460, 470), decimals=1)
    wide = Axis(second, "Hz", 440.0, 880.0, True, marks(440, 550, 660, 770, 880), decimals=1)
    sounds = {"equal": OnAxis(near, two_tones(1.0)), "weaker": OnAxis(near, two_tones(UNEQUAL))}
    pages = (
        draft.page("beats", sounds, BAND, 0.5),
        draft.page("wide", {"equal": OnAxis(wide, two_tones(1.0))}, (300.0, 1000.0), 0.1),
    )
    return draft.lesson(stages, pages)
