"""What `beatfield listen` finds in a sound: pitch against time, resting places, and what follows from their beats.

With the frequency of the other oscillator a beat tells that of the one that is listened for; with the whole capacitance
of its tank the shift from rest to rest tells the capacitance that was added.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import field

import numpy as np

from models.arrays import Floats
from models.pitch import REFERENCE_A, cents, nearest_note, note_number
from models.quick_dataclass import dataclass
from models.tank import capacitance_shift
from synth.analysis.figures import DENSE, known
from synth.designs.quantity import format_quantity
from synth.errors import DesignError
from synth.listening.phases import MAINS
from synth.listening.rests import Rest, find_rests
from synth.listening.tracker import SILENCE, PitchTrack, track_pitch

AWAY = "away"
ABOVE, BELOW = "above", "below"
TRACK_COLUMNS = ("time_s", "frequency_hz", "note_number", "confidence", "level_db", "silent", "octave_doubt")
Mark = float | str
"""A hand distance, m, or AWAY."""


@dataclass(frozen=True, slots=True)
class Clock:
    """The sound card's clock by a tone: its stated frequency, Hz, and what this card reads of it, Hz."""

    stated: float = 1.0
    read: float = 1.0

    @property
    def ratio(self) -> float:
        """By which frequencies that are read are multiplied."""
        return self.stated / self.read

    @property
    def parts_per_million(self) -> float:
        """By which the card's clock is fast; a fast clock reads tones too low."""
        return 1e6 * (self.ratio - 1.0)


@dataclass(frozen=True, slots=True)
class Beating:
    """What the beat is taken with: the other oscillator's frequency, Hz; on which side of it the one that is listened
    for lies, ABOVE, BELOW or "" where nobody knows; and the whole capacitance of its tank, F. None: not given.
    """

    other: float | None = None
    side: str = ""
    capacitance: float | None = None

    def __post_init__(self) -> None:
        if self.capacitance is not None and (self.other is None or not self.side):
            raise DesignError(
                "--capacitance tells the added capacitance only with --oscillator, the other oscillator's frequency, "
                "and --side above or below, where yours lies"
            )
        if self.side and self.other is None:
            raise DesignError("--side goes with --oscillator, the frequency of the other oscillator")

    def frequencies(self, beat: float) -> tuple[float, ...]:
        """What the oscillator that is listened for may have, Hz; none where the other is not known."""
        if self.other is None:
            return ()
        both = {BELOW: self.other - beat, ABOVE: self.other + beat}
        return (both[self.side],) if self.side else (both[BELOW], both[ABOVE])

    def added(self, first_beat: float, beat: float) -> float | None:
        """Capacitance, F, added since the first beat."""
        if self.capacitance is None:
            return None
        (before,), (after,) = self.frequencies(first_beat), self.frequencies(beat)
        return float(capacitance_shift(self.capacitance, before, after))


@dataclass(frozen=True, slots=True, kw_only=True)
class RestFigures:
    """One resting place. hand_distance_m: None where no mark belongs to it or the hand was away.

    deviation_hz: standard deviation of the mean frequency.
    oscillator_hz: what the oscillator may have, two where the side is not known. added_capacitance_f: since the first.
    """

    start_s: float
    end_s: float
    hand_distance_m: float | None
    hand_away: bool
    frequency_hz: float
    deviation_hz: float
    note: str
    note_cents: float
    steadiness_cents: float
    level_db: float
    confidence: float
    octave_doubt: bool
    oscillator_hz: tuple[float, ...]
    added_capacitance_f: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ListenFigures:
    """What was heard. track: TRACK_COLUMNS against time, (n, 7). Shares: of the time; doubts: of the time with pitch.

    clock_ppm: by how much the card's clock is fast, None where no tone was stated.
    """

    sound: str
    seconds: float
    sample_rate_hz: int
    lowest_hz: float | None
    highest_hz: float | None
    pitch_share: float
    silent_share: float
    doubt_share: float
    clock_stated_hz: float | None
    clock_read_hz: float | None
    clock_ppm: float | None
    rests: tuple[RestFigures, ...]
    notices: tuple[str, ...]
    track: Floats = field(metadata=DENSE)


def listen_figures(
    name: str,
    samples: Floats,
    sample_rate: int,
    marks: Sequence[Mark] = (),
    clock: Clock | None = None,
    beating: Beating | None = None,
    silence: float = SILENCE,
    reference_a: float = REFERENCE_A,
    progress: Callable[[float], None] = lambda share: None,
) -> ListenFigures:
    """What is in `samples`, (n,), called `name`: pitch against time, resting places and what they tell.

    Raises DesignError where `marks` are given and the pitch does not rest as often.
    """
    track = track_pitch(samples, sample_rate, silence, progress)
    ratio = 1.0 if clock is None else clock.ratio
    rests = find_rests(samples, sample_rate, track, len(marks) or None)
    if marks and len(rests) != len(marks):
        raise DesignError(_wrong_number(name, rests, len(marks)))
    heard = np.isfinite(track.frequencies)
    pitches = track.frequencies[heard] * ratio
    sure = pitches[track.confidence[heard] >= 0.8]
    places: Sequence[Mark | None] = marks or [None] * len(rests)
    rows = rest_rows(tuple(zip(rests, places, strict=True)), ratio, beating or Beating(), reference_a)
    return ListenFigures(
        sound=name,
        seconds=samples.size / sample_rate,
        sample_rate_hz=sample_rate,
        lowest_hz=known(sure.min(initial=np.inf)) if sure.size else None,
        highest_hz=known(sure.max(initial=0.0)) if sure.size else None,
        pitch_share=float(heard.mean()) if heard.size else 0.0,
        silent_share=float(track.silent.mean()) if heard.size else 1.0,
        doubt_share=float(track.octave_doubts[heard].mean()) if pitches.size else 0.0,
        clock_stated_hz=None if clock is None else clock.stated,
        clock_read_hz=None if clock is None else clock.read,
        clock_ppm=None if clock is None else clock.parts_per_million,
        rests=rows,
        notices=_notices(rows, samples),
        track=_table(track, ratio, reference_a),
    )


def rest_rows(
    marked: Sequence[tuple[Rest, Mark | None]], ratio: float, beating: Beating, reference_a: float
) -> tuple[RestFigures, ...]:
    """The figures of rests with their marks; `ratio` corrects the card's clock."""
    rows: list[RestFigures] = []
    for rest, mark in marked:
        frequency = rest.frequency * ratio
        note, above = nearest_note(frequency, reference_a)
        first = rows[0].frequency_hz if rows else frequency
        rows.append(
            RestFigures(
                start_s=rest.start,
                end_s=rest.end,
                hand_distance_m=mark if isinstance(mark, float) else None,
                hand_away=mark == AWAY,
                frequency_hz=frequency,
                deviation_hz=rest.deviation * ratio,
                note=note,
                note_cents=above,
                steadiness_cents=rest.steadiness,
                level_db=rest.level,
                confidence=rest.confidence,
                octave_doubt=rest.octave_doubt,
                oscillator_hz=beating.frequencies(frequency),
                added_capacitance_f=beating.added(first, frequency),
            )
        )
    return tuple(rows)


def read_clock(samples: Floats, sample_rate: int, stated: float, name: str) -> Clock:
    """The card's clock from a recording of a tone of `stated` frequency, Hz; DesignError where it does not hold one."""
    rests = find_rests(samples, sample_rate, track_pitch(samples, sample_rate))
    near = [rest for rest in rests if abs(float(cents(rest.frequency, stated))) < 50.0]
    if not near:
        raise DesignError(
            f"{name}: holds no steady tone of {format_quantity(stated, 'Hz', 6)}; record it alone for some seconds"
        )
    longest = max(near, key=lambda rest: rest.end - rest.start)
    return Clock(stated, longest.frequency)


def _table(track: PitchTrack, ratio: float, reference_a: float) -> Floats:
    numbers = np.full(track.times.size, np.nan)
    heard = np.isfinite(track.frequencies)
    numbers[heard] = note_number(track.frequencies[heard] * ratio, reference_a)
    columns = (track.times, track.frequencies * ratio, numbers, track.confidence, track.levels)
    return np.column_stack([*columns, track.silent.astype(np.float64), track.octave_doubts.astype(np.float64)])


def _wrong_number(name: str, rests: Sequence[Rest], wanted: int) -> str:
    shown = [f"{rest.start:.1f} to {rest.end:.1f} s at {rest.frequency:.2f} Hz" for rest in rests[:12]]
    found = "; ".join(shown) + ("; ..." if len(rests) > 12 else "") if rests else "none"
    return (
        f"{name}: the pitch rests at {len(rests)} places, and --marks names {wanted}: rest half a second or more at "
        f"each mark, move quickly between them, and name every mark once, in order. Rests found: {found}"
    )


def _notices(rows: Sequence[RestFigures], samples: Floats) -> tuple[str, ...]:
    found = []
    for number, row in enumerate(rows, 1):
        if row.octave_doubt:
            found.append(
                f"rest {number}: {row.frequency_hz:.2f} Hz may be an octave off; listen to it before you use it"
            )
        apart = 1.0 / max(min(row.end_s - row.start_s, 3.0) * 0.7, 0.1)
        if any(abs(row.frequency_hz - line) < apart for mains in MAINS for line in (mains, 2.0 * mains)):
            found.append(f"rest {number}: {row.frequency_hz:.2f} Hz is so near the mains that hum may have moved it")
    marked = [row for row in rows if row.hand_distance_m is not None]
    distances = [row.hand_distance_m or 0.0 for row in marked]
    pitches = [row.frequency_hz for row in marked]
    if len(marked) > 2 and _one_way(distances) and not _one_way(pitches):
        found.append(
            "the pitch rises and falls while the hand moves one way: zero beat lies between, or a mark is out of order"
        )
    if samples.size and float(np.abs(samples).max()) >= 0.999:
        found.append("the sound reaches full scale: turn the input down, clipped sound is judged less surely")
    return tuple(found)


def _one_way(values: Sequence[float]) -> bool:
    steps = np.diff(values)
    return bool((steps > 0.0).all() or (steps < 0.0).all())
