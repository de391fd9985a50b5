"""The lessons to play: for each the stages with what the pointer moves, what to hear, and the sounds to choose from."""

from __future__ import annotations

from dataclasses import dataclass

from models.detector.rectified_sum import curved_detector_lines
from models.pitch_field import PitchField
from synth.lessons.beats import FIRST
from synth.lessons.bench import LessonBench
from synth.lessons.hand import AT, CLOSED
from synth.lessons.live_voice import Axis, LiveSource
from synth.lessons.slide import CURVATURE, DIFFERENCE, LOW, RATIO
from synth.lessons.sources import Mixture, Played, Pulled, Rectified, Tone, filtered_parts
from synth.lessons.table import LESSONS, checked_name
from synth.lessons.taps import FACTOR

WEAKER = 0.3
HIGHEST_DIFFERENCE = 2000.0  # Hz, of the last stage of slide
DETUNED = 400.0  # Hz
NEAR, FAR = 0.02, 0.60  # m
RESTING = Tone(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a stage's sounds: its name, what to hear in it, and the source."""

    name: str
    hear: str
    source: LiveSource


@dataclass(frozen=True, slots=True)
class LiveStage:
    """One page: what the pointer does, the sounds to choose from, and what is drawn: spectrum `band` (Hz), trace `span`
    (s; None: four periods of the note).
    """

    slug: str
    title: str
    pointer: str
    choices: tuple[Choice, ...]
    band: tuple[float, float]
    span: float | None = None


@dataclass(frozen=True, slots=True)
class LiveLesson:
    """A lesson's pages in order."""

    name: str
    title: str
    stages: tuple[LiveStage, ...]


def live_lesson(name: str, bench: LessonBench) -> LiveLesson:
    """The lesson of that name to play, with its numbers computed for the instruments of `bench`; DesignError."""
    stages = {"beats": _beats, "slide": _slide, "taps": _taps, "hand": _hand, "locking": _locking, "octaves": _octaves}
    about = LESSONS[checked_name(name)]
    return LiveLesson(name, about[0].upper() + about[1:], stages[name](bench))


def _marks(*values: float, scale: float = 1.0, decimals: int = 0) -> tuple[tuple[float, str], ...]:
    return tuple((value, f"{scale * value:.{decimals}f}") for value in values)


def _beats(_bench: LessonBench) -> tuple[LiveStage, ...]:
    """Beats near a unison, then out to an octave."""

    def pair(ratio: float) -> Mixture:
        return Mixture(Tone(FIRST, 0.0), Tone(0.0, 1.0), ((1, 0, 1.0), (0, 1, ratio)))

    near = Axis("second tone", "Hz", 430.0, 470.0, marks=_marks(430, 440, 450, 460, 470), decimals=1)
    wide = Axis("second tone", "Hz", 440.0, 880.0, True, _marks(440, 550, 660, 770, 880), decimals=1)
    return (
        LiveStage(
            "beats",
            "Beats",
            "Left and right: the second tone. The first stays at 440 Hz.",
            (
                Choice(
                    "equal",
                    "Two tones, equally strong. Close together you hear one note that swells: as many times a "
                    "second as they are hertz apart. At 440 Hz the swelling stops. In the spectrum there are two lines "
                    "and nothing between or below them.",
                    LiveSource(near, pair(1.0)),
                ),
                Choice(
                    "weaker",
                    "The second tone is 0.3 times as strong. It swells as often as before, but never falls "
                    "silent: the weaker wave cannot cancel the stronger.",
                    LiveSource(near, pair(WEAKER)),
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
                Choice(
                    "equal",
                    "Move slowly to the right. First you can count the swelling, then it is a roughness, then "
                    "you hear two notes. The difference grows steadily all the while; it is the ear that changes its "
                    "way of hearing. The octave at the far end sounds smooth again.",
                    LiveSource(wide, pair(1.0)),
                ),
            ),
            (300.0, 1000.0),
            0.1,
        ),
    )


def _bent(first: Tone, second: Tone, curvature: float = CURVATURE) -> Mixture:
    """Two tones through a detector of that curvature."""
    parts = curved_detector_lines(LOW, LOW + DIFFERENCE, RATIO, curvature)
    return Mixture(first, second, tuple(part for part in parts if part[2] > 0.0))


def _slide(bench: LessonBench) -> tuple[LiveStage, ...]:
    """Sum and detector, both tones upwards, the second oscillator alone."""
    top = bench.built_in.reference_frequency
    second = Axis("second tone", "Hz", LOW, 2.0 * LOW, marks=_marks(1000, 1200, 1400, 1600, 1800, 2000))
    upwards = Axis("first tone", "kHz", LOW, top, True, _marks(1e3, 3e3, 1e4, 3e4, 1e5, top, scale=1e-3), 1e-3, 2)
    radio = Axis(
        "second oscillator",
        "kHz",
        top,
        top - HIGHEST_DIFFERENCE,
        scale=1e-3,
        decimals=3,
        marks=_marks(top, top - 500, top - 1000, top - 1500, top - 2000, scale=1e-3, decimals=2),
    )
    still, moved = Tone(LOW, 0.0), Tone(0.0, 1.0)
    return (
        LiveStage(
            "detector",
            "A new tone",
            "Left and right: the second tone. The first stays at 1000 Hz.",
            (
                Choice(
                    "plain sum",
                    "Two tones added. Sweep the second one: there are two lines and no more. (The ear may "
                    "add a faint low note of its own; it is not in the sound.)",
                    LiveSource(second, _bent(still, moved, 0.0)),
                ),
                Choice(
                    "detector",
                    "The same through a detector, the sum plus half of its square. Now a low note moves "
                    "with your hand: the difference. The sum and twice each tone are there as well, above.",
                    LiveSource(second, _bent(still, moved)),
                ),
            ),
            (20.0, 6000.0),
            0.02,
        ),
        LiveStage(
            "slide",
            "Up until only the beat is left",
            f"Left and right: both tones together, always {DIFFERENCE:.0f} Hz apart.",
            (
                Choice(
                    "detector",
                    "Slide to the right. One after another the high tones leave your hearing, and between "
                    "20 and 22 kHz they leave this sound too. What stays is the low note, where it was all the time: "
                    "its pitch depends on the difference and on nothing else.",
                    LiveSource(upwards, _bent(Tone(0.0, 1.0), Tone(DIFFERENCE, 1.0))),
                ),
            ),
            (20.0, 22_000.0),
            0.02,
        ),
        LiveStage(
            "theremin",
            "Two oscillators nobody can hear",
            f"Left and right: the second oscillator. The first stays at {1e-3 * top:.2f} kHz.",
            (
                Choice(
                    "detector",
                    "Both oscillators are far above hearing; only their difference sounds. A shift of two "
                    "kilohertz, less than a hundredth of the oscillator's frequency, takes the note through all the "
                    "middle of hearing. Below some 20 Hz, left, it fades out. This is the theremin.",
                    LiveSource(radio, _bent(Tone(top, 0.0), Tone(0.0, 1.0))),
                ),
            ),
            (20.0, 22_000.0),
            0.02,
        ),
    )


def _taps(bench: LessonBench) -> tuple[LiveStage, ...]:
    """Three taps seven octaves down, and the last at its true pitch."""
    top = bench.built_in.reference_frequency
    note = Axis(
        "note",
        "Hz",
        65.40639,
        1046.502,
        True,
        ((65.40639, "C2"), (130.8128, "C3"), (261.6256, "C4"), (523.2511, "C5"), (1046.502, "C6")),
        decimals=1,
    )
    high, low, slow = Tone(top / FACTOR, 0.0), Tone(top / FACTOR, -1.0 / FACTOR), Tone(0.0, 1.0 / FACTOR)
    parts = filtered_parts(RATIO)
    return (
        LiveStage(
            "taps",
            "Three taps inside the instrument",
            f"Left and right: the note. Taps 1 to 3 are {FACTOR} times, seven octaves, lower than in the instrument.",
            (
                Choice(
                    "sum",
                    f"Both oscillators added, {FACTOR} times lower: a whistle near {top / FACTOR:.0f} Hz that "
                    f"swells as often as the note's frequency over {FACTOR}. No line lies at that slow frequency.",
                    LiveSource(note, Mixture(high, low, ((1, 0, 1.0), (0, 1, RATIO)))),
                ),
                Choice(
                    "rectified",
                    "Behind a diode that passes only the upper half. The whistle is still there; new are "
                    "the slow line itself, too low to hear, and lines around twice, four times the whistle and so on.",
                    LiveSource(note, Rectified(high, low, RATIO)),
                ),
                Choice(
                    "filtered",
                    "Behind a low-pass only the slow wave is left, below hearing: you hear almost nothing. "
                    "Do not turn it up, the next tap would be far too loud.",
                    LiveSource(note, Mixture(slow, RESTING, parts, slow_too=False, gain=0.5)),
                ),
                Choice(
                    "true pitch",
                    f"The same wave {FACTOR} times faster, as it is in the instrument: the note, with "
                    "the overtones that the detector gives it.",
                    LiveSource(note, Mixture(Tone(0.0, 1.0), RESTING, parts)),
                ),
            ),
            (0.5, 22_000.0),
            0.5,
        ),
    )


def _octave_marks(field: PitchField) -> tuple[tuple[float, str], ...]:
    """The notes C of a field at their hand distances."""
    return tuple(
        (line.distance, line.name) for line in field.notes() if line.number % 12 == 0 and NEAR <= line.distance <= FAR
    )


def _distance(marks: tuple[tuple[float, str], ...], far: float = FAR, near: float = NEAR) -> Axis:
    return Axis("hand", "cm", far, near, marks=marks, scale=100.0, decimals=2 if far - near < 0.1 else 1)


def _hand(bench: LessonBench) -> tuple[LiveStage, ...]:
    """Hand and fist over the whole field; a centimetre far and near."""
    whole = _distance(_marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.02, scale=100.0))
    drawn_back = _distance(_marks(0.6, 0.5, 0.4, 0.3, 0.2, 0.12, scale=100.0), FAR + CLOSED - AT, NEAR + CLOSED - AT)
    far = _distance(_marks(0.305, 0.3, 0.295, scale=100.0, decimals=1), 0.305, 0.295)
    near = _distance(_marks(0.055, 0.05, 0.045, scale=100.0, decimals=1), 0.055, 0.045)
    open_hand, fist = Played(bench.built_in), Played(bench.fist)
    return (
        LiveStage(
            "capacitor",
            "The hand as a capacitor",
            "Left and right: the hand, nearest skin to rod. The rod is right.",
            (
                Choice(
                    "open hand",
                    "Hand and rod are the plates of a capacitor. Zero beat is at "
                    f"{100 * bench.zero_beat:.0f} cm. Nearer, the added capacitance slows the variable oscillator, "
                    "the difference grows, and the note rises. Beyond zero beat it rises too, from the other side.",
                    LiveSource(whole, open_hand),
                ),
                Choice(
                    "fist",
                    "The hand closes, the wrist stays: the nearest skin draws back by "
                    f"{100 * (CLOSED - AT):.0f} cm and the capacitance falls. On the near side of zero beat the note "
                    "falls with it.",
                    LiveSource(drawn_back, fist),
                ),
            ),
            (20.0, 5000.0),
        ),
        LiveStage(
            "centimetre",
            "One centimetre",
            "Left and right: the hand, within one centimetre. The rod is right.",
            (
                Choice("far", "One centimetre at 30 cm. Listen how far the note goes.", LiveSource(far, open_hand)),
                Choice(
                    "near",
                    "One centimetre at 5 cm. In hertz the note goes much farther, in cents only a little: a "
                    "player's hand has to be about as steady here as there.",
                    LiveSource(near, open_hand),
                ),
            ),
            (20.0, 5000.0),
        ),
    )


def _locking(_bench: LessonBench) -> tuple[LiveStage, ...]:
    """Detuning against the lock range."""
    axis = Axis("free difference", "Hz", 0.0, DETUNED, marks=_marks(0, 40, 120, 200, 300, 400))
    pulled = (
        "The oscillators leak into each other and lock within {0} Hz. Come down from the right: the note goes "
        "flat, turns reedy, falls faster and faster and is gone at {0} Hz. Below, the two run in step and there "
        "is no difference to hear."
    )
    return (
        LiveStage(
            "locking",
            "Pulling and locking",
            "Left and right: how far apart the oscillators would be if free.",
            (
                Choice(
                    "no leak",
                    "Free oscillators. The note is the difference itself, a pure tone all the way down.",
                    LiveSource(axis, Pulled(0.0)),
                ),
                Choice("small leak", pulled.format(40), LiveSource(axis, Pulled(40.0))),
                Choice("strong leak", pulled.format(120), LiveSource(axis, Pulled(120.0))),
            ),
            (20.0, 2000.0),
            0.05,
        ),
    )


def _octaves(bench: LessonBench) -> tuple[LiveStage, ...]:
    """The same hand on two instruments."""
    marks = [_octave_marks(field) for field in (bench.bare_field, bench.field)]
    far = max(place for each in marks for place, _ in each)
    bare, coil = (_distance(each, far) for each in marks)
    return (
        LiveStage(
            "octaves",
            "Two instruments under one hand",
            "Left and right: the hand. The marks are the notes C.",
            (
                Choice(
                    "bare rod",
                    "The rod directly on the tank. Look how the marks crowd towards the rod at the right "
                    "(and towards zero beat at the left). The same movement is a wider interval near the rod.",
                    LiveSource(bare, Played(bench.bare)),
                ),
                Choice(
                    "series inductor",
                    "The same rod and hand with an inductor between tank and rod. The upper octaves "
                    "have more room: near the rod each femtofarad counts less than it does far away. It is a spread, "
                    "not a cure.",
                    LiveSource(coil, Played(bench.built_in)),
                ),
            ),
            (20.0, 5000.0),
        ),
    )
