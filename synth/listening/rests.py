"""Where a pitch rests: pieces of a pitch track that stay within some cents, each with its mean frequency.

A hand that rests still trembles and a voice may have vibrato, so the pitch is averaged over SMOOTHED first. A rest is a
piece that then stays within a width in cents for SHORTEST at least; a slide passes through such a width faster. How
wide, nobody knows beforehand: where the number of rests is known, the widths of WIDTHS are tried in turn.

Hum of the mains that is heard between the notes rests too; it is no note where it is FAINTER than the loudest rest.

The ends of a rest, where the hand still moves and the note before reverberates, count for nothing in its frequency.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.arrays import Floats
from models.pitch import cents
from models.quick_dataclass import dataclass
from synth.listening.phases import MAINS, resting_frequency
from synth.listening.tracker import STEP, PitchTrack

SHORTEST = 0.4  # s, of a rest
SMOOTHED = 0.25  # s
WIDTHS = (20.0, 40.0, 10.0, 80.0)  # cents
SURE = 0.6  # confidence below which a pitch is none of a rest's
GAP = 0.3  # s, without pitch within one rest
END, END_SHARE = 0.2, 0.2  # s, and share of the rest, left out at its beginning; half of it at its end
LONGEST = 3.0  # s, of a rest that is judged: its middle
FAINTER = 10.0  # dB
HUM_WIDTH = 1.0  # Hz
DOUBTFUL = 0.3  # share of doubtful pitches that makes the octave of a rest doubtful


@dataclass(frozen=True, slots=True)
class Rest:
    """A resting place of the pitch: from `start` to `end`, s; mean `frequency` and its standard `deviation`, Hz.

    `steadiness`: RMS of the pitch about its mean, cents. `level`: RMS, dB of full scale. `confidence`: 0 to 1.
    """

    start: float
    end: float
    frequency: float
    deviation: float
    steadiness: float
    level: float
    confidence: float
    octave_doubt: bool


def find_rests(sound: Floats, sample_rate: float, track: PitchTrack, count: int | None = None) -> tuple[Rest, ...]:
    """The resting places of `track`, the pitch of `sound`, in the order of time.

    `count`: how many there should be; where no width gives as many, those of the first width.
    """
    pieces = _notes(track, WIDTHS[0])
    if count is not None and len(pieces) != count:
        for width in WIDTHS[1:]:
            others = _notes(track, width)
            if len(others) == count:
                pieces = others
                break
    rests = (rest_of(sound, sample_rate, track, piece) for piece in pieces)
    return tuple(rest for rest in rests if rest is not None)


def _notes(track: PitchTrack, width: float) -> list[slice]:
    """The pieces within `width` cents without those that are hum alone."""
    pieces = list(_pieces(track, width))
    levels = [float(np.median(track.levels[piece])) for piece in pieces]
    faint = [level < max(levels) - FAINTER for level in levels]
    return [piece for piece, less in zip(pieces, faint, strict=True) if not (less and _is_hum(track, piece))]


def _is_hum(track: PitchTrack, piece: slice) -> bool:
    pitch = float(np.nanmedian(track.frequencies[piece]))
    return any(abs(pitch - line) < HUM_WIDTH for mains in MAINS for line in (mains, 2.0 * mains))


def rest_of(sound: Floats, sample_rate: float, track: PitchTrack, piece: slice) -> Rest | None:
    """The frames `piece` of `track`, the pitch of `sound`, as one rest; None where there is no pitch to speak of."""
    inside = _inner(piece)
    known = np.isfinite(track.frequencies[inside]) & (track.confidence[inside] >= SURE)
    if np.count_nonzero(known) < 5:
        return None
    pitches = track.frequencies[inside][known]
    middle = float(np.median(pitches))
    steps = cents(pitches, middle)
    steps = steps[np.abs(steps) < 300.0]
    first, last = (round(place * STEP * sample_rate) for place in (inside.start, inside.stop))
    spare = max(last - first - round(LONGEST * sample_rate), 0) // 2
    heard = sound[first + spare : last - spare]
    try:
        frequency, deviation = resting_frequency(heard - heard.mean(), sample_rate, middle)
    except ValueError:
        return None
    return Rest(
        start=piece.start * STEP,
        end=piece.stop * STEP,
        frequency=frequency,
        deviation=deviation,
        steadiness=float(np.std(steps)),
        level=float(np.median(track.levels[inside])),
        confidence=float(np.median(track.confidence[inside][known])),
        octave_doubt=bool(track.octave_doubts[inside].mean() > DOUBTFUL),
    )


def _inner(piece: slice) -> slice:
    """A piece without its ends."""
    size = piece.stop - piece.start
    left_out = int(min(END / STEP, END_SHARE * size))
    return slice(piece.start + left_out, piece.stop - left_out // 2)


def _pieces(track: PitchTrack, width: float) -> Iterator[slice]:
    """Pieces of frames whose averaged pitch stays within `width` cents."""
    pitch = _averaged(track)
    ended: slice | None = None
    start = 0
    while start < pitch.size:
        stop = _end_of(pitch, start, width)
        if (stop - start) * STEP < SHORTEST:
            start += 1
            continue
        piece = slice(start, stop)
        if ended is not None:
            if (start - ended.stop) * STEP < GAP and abs(_middle(pitch, piece) - _middle(pitch, ended)) < width:
                piece = slice(ended.start, stop)
            else:
                yield ended
        ended, start = piece, stop
    if ended is not None:
        yield ended


def _averaged(track: PitchTrack) -> Floats:
    """Cents above 1 Hz, averaged over SMOOTHED; NaN where less than half of it has a sure pitch."""
    sure = np.isfinite(track.frequencies) & (track.confidence >= SURE)
    values = np.zeros(track.times.size)
    values[sure] = cents(track.frequencies[sure], 1.0)
    size = round(SMOOTHED / STEP) | 1
    kernel = np.ones(size)
    if values.size < size:
        return np.full(values.size, np.nan)
    sums, counts = np.convolve(values, kernel, "same"), np.convolve(sure.astype(np.float64), kernel, "same")
    return np.where(counts >= 0.5 * size, sums / np.maximum(counts, 1.0), np.nan)


def _end_of(pitch: Floats, start: int, width: float) -> int:
    """The first frame after `start` that is without pitch or would make the piece wider than `width`, cents."""
    low = high = pitch[start]
    for place in range(start, pitch.size):
        low, high = min(low, pitch[place]), max(high, pitch[place])
        if not high - low <= width:
            return place
    return int(pitch.size)


def _middle(pitch: Floats, piece: slice) -> float:
    return float(np.median(pitch[piece]))
