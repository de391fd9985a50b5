"""Lesson: two audible tones and their beats."""

from __future__ import annotations

from functools import partial

from synth.lessons.live import Axis, LiveChoice, LiveStage, OnAxis, marks
from synth.lessons.recipes import Mixture, Tone
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Lesson, Stage, absent, beat, decibels, line, rested

FIRST, SECONDS = 440.0, 5.0
WHOLE = (0.05, SECONDS - 0.05)  # s


def two_tones(ratio: float) -> Mixture:
    """A tone of FIRST, and `ratio` times one of the value, Hz."""
    return Mixture(Tone(FIRST, 0.0), Tone(0.0, 1.0), ((1, 0, 1.0), (0, 1, ratio)))


def lesson(_setup: LessonSetup) -> Lesson:
    """Two tones, closer and wider, equal and unequal."""
    unequal = 0.3
    swing = decibels((1.0 + unequal) / (1.0 - unequal))
    stages = (
        Stage(
            "one-tone",
            "One tone",
            "A single tone of 440 Hz, the A that orchestras tune to. It is steady: listen for any swelling, and "
            "find none.",
            (line(FIRST, 0.0, *WHOLE), absent(444.0, *WHOLE)),
            partial(rested, two_tones(0.0), 444.0, SECONDS),
            (1.0, 0.05),
            (400.0, 500.0),
        ),
        Stage(
            "four-beats",
            "A second tone, four hertz higher",
            "Now 440 Hz and 444 Hz together, equally strong. You do not hear two notes. You hear one, near 442 Hz, "
            "that swells and dies away four times a second: 444 - 440 = 4. When both waves push together they add; "
            "an eighth of a second later one pulls while the other pushes, and they cancel. Look at the spectrum: "
            "there are two lines, at 440 and 444 Hz, none at 442 and none at 4 Hz. A beat is a change of loudness. "
            "Nothing in the air vibrates at 4 Hz yet; for that the sum has to pass something that bends it (see the "
            "lessons slide and taps).",
            (
                line(440.0, 0.0, *WHOLE),
                line(444.0, 0.0, *WHOLE),
                absent(442.0, *WHOLE),
                absent(4.0, *WHOLE),
                beat(4.0, *WHOLE),
            ),
            partial(rested, two_tones(1.0), 444.0, SECONDS),
            (0.5, 1.0),
            (400.0, 500.0),
        ),
        Stage(
            "unequal",
            "The second tone weaker",
            f"The same two tones, the second now {unequal:g} times as strong. Still four swells a second, but "
            "shallow: the sound never dies away, because the weaker wave cannot cancel the stronger. From loudest to "
            f"softest the size of the wave changes by {swing:.1f} dB.",
            (line(440.0, 0.0, *WHOLE), line(444.0, decibels(unequal), *WHOLE), beat(4.0, *WHOLE)),
            partial(rested, two_tones(unequal), 444.0, SECONDS),
            (0.5, 1.0),
            (400.0, 500.0),
        ),
        Stage(
            "rough",
            "Thirty hertz apart",
            "440 Hz and 470 Hz. The sum swells thirty times a second, too fast to count. Most people hear a rough, "
            "buzzing sound; further apart still, two separate notes. The arithmetic has not changed, only the ear's "
            "share of the work.",
            (line(440.0, 0.0, *WHOLE), line(470.0, 0.0, *WHOLE), absent(30.0, *WHOLE), beat(30.0, *WHOLE)),
            partial(rested, two_tones(1.0), 470.0, SECONDS),
            (0.5, 0.2),
            (400.0, 500.0),
        ),
    )
    return Lesson(
        "beats",
        "Two tones and their beats",
        "What happens when two tones of nearly the same pitch sound together.",
        stages,
    )


def live(_setup: LessonSetup) -> tuple[LiveStage, ...]:
    """Beats near a unison, then out to an octave."""

    near = Axis("second tone", "Hz", 430.0, 470.0, marks=marks(430, 440, 450, 460, 470), decimals=1)
    wide = Axis("second tone", "Hz", 440.0, 880.0, True, marks(440, 550, 660, 770, 880), decimals=1)
    return (
        LiveStage(
            "beats",
            "Beats",
            "Left and right: the second tone. The first stays at 440 Hz.",
            (
                LiveChoice(
                    "equal",
                    "Two tones, equally strong. Close together you hear one note that swells: as many times a "
                    "second as they are hertz apart. At 440 Hz the swelling stops. In the spectrum there are two lines "
                    "and nothing between or below them.",
                    OnAxis(near, two_tones(1.0)),
                ),
                LiveChoice(
                    "weaker",
                    "The second tone is 0.3 times as strong. It swells as often as before, but never falls "
                    "silent: the weaker wave cannot cancel the stronger.",
                    OnAxis(near, two_tones(0.3)),
                ),
            ),
            (400.0, 500.0),
            0.5,
        ),
        LiveStage(
            "wide",
            "From beats to two notes",
            "Left and right: the second tone, up to an octave above.",
            (
                LiveChoice(
                    "equal",
                    "Move slowly to the right. First you can count the swelling, then it is a roughness, then "
                    "you hear two notes. The difference grows steadily all the while; it is the ear that changes its "
                    "way of hearing. The octave at the far end sounds smooth again.",
                    OnAxis(wide, two_tones(1.0)),
                ),
            ),
            (300.0, 1000.0),
            0.1,
        ),
    )
