"""The pitch tracker against a published phonetics library's and against the peak of a plain spectrum, on made sounds.

The library (installed with the test tools) tracks by autocorrelation: P. Boersma, IFA Proc. 17 (1993) 97 (from memory).
Where it is missing its rows are left out. A note that rests is judged by each in its own best way: here by the line
through the phase, there by the median of the pitches, and by the highest peak of one spectrum.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module

import numpy as np

from models.arrays import Floats
from models.pitch import cents
from synth.comparisons.benchmark_report import BenchmarkGoal, Cell, Column, Comparison, timed
from synth.comparisons.made_sound import RATE, disturbed, note, reverberated
from synth.listening.phases import resting_frequency
from synth.listening.tracker import HIGHEST, LOWEST, STEP, track_pitch

SECONDS = 0.6
VOICE = "bright"
VIBRATO = 30.0  # cents each way
OCTAVE = 600.0  # cents off counts as an octave error
QUICK_NOTES, NOTES = 6, 40
LOW, HIGH = 30.0, 4000.0  # Hz
OWN, LIBRARY, PEAK = "this tracker", "phonetics library", "peak of a spectrum"
COLUMNS = (
    Column("sound", "sound"),
    Column("way", "way"),
    Column("octaves", "pitches an octave off, %", shown=".2f"),
    Column("pitch", "pitches off by, cents, RMS", shown=".2f"),
    Column("rest", "rest off by, cents, at worst", shown=".3f"),
    Column("time", "ms a second of sound", "s", 1e3, ".0f"),
)
SOUNDS: dict[str, tuple[Callable[[float], Floats], float]] = {
    "clean": (lambda frequency: note(frequency, SECONDS, VOICE), 1.0),
    "20 dB of noise and hum": (lambda frequency: disturbed(note(frequency, SECONDS, VOICE)), 1.0),
    "with vibrato": (lambda frequency: disturbed(note(frequency, SECONDS, VOICE, VIBRATO)), 5.0),
    "with reverberation": (lambda frequency: reverberated(disturbed(note(frequency, SECONDS, VOICE))), 5.0),
}
"""Name: sound of a note, and the most its rest may be off, cents."""

Heard = tuple[Floats, float]
"""Pitches against time, Hz, and the frequency of the rest, Hz."""


def by_phases(sound: Floats) -> Heard:
    """By this project."""
    track = track_pitch(sound, RATE)
    middle = float(np.nanmedian(track.frequencies[8:-8]))
    return track.frequencies, resting_frequency(sound, RATE, middle)[0]


def by_library(sound: Floats) -> Heard:
    """By the library's autocorrelation, in the range of this project."""
    library = import_module("parselmouth")
    pitch = library.Sound(sound, RATE).to_pitch_ac(time_step=STEP, pitch_floor=LOWEST, pitch_ceiling=HIGHEST)
    found = np.array(pitch.selected_array["frequency"])
    heard = found[found > 0.0]
    return heard, float(np.median(heard)) if heard.size else np.nan


def by_peak(sound: Floats) -> Heard:
    """By the highest peak of the spectrum, refined by a parabola through its logarithms; no pitch against time."""
    levels = np.log(np.abs(np.fft.rfft(sound * np.hanning(sound.size))) + 1e-12)
    peak = int(np.argmax(levels[1:-1])) + 1
    left, middle, right = levels[peak - 1 : peak + 2]
    found = float((peak + 0.5 * (left - right) / (left - 2.0 * middle + right)) * RATE / sound.size)
    return np.array([found]), found


def listening_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """Measure every sound by every way."""
    notes = np.geomspace(LOW, HIGH, QUICK_NOTES if quick else NOTES)
    ways = {OWN: by_phases, LIBRARY: by_library, PEAK: by_peak}
    left_out = ""
    try:
        import_module("parselmouth")
    except ImportError:
        del ways[LIBRARY]
        left_out = "the phonetics library is not installed (pip install praat-parselmouth)"
    rows: list[tuple[Cell, ...]] = []
    goals: list[BenchmarkGoal] = []
    for name, (made, most) in SOUNDS.items():
        each(f"listening: {name}")
        for way, judge in ways.items():
            octaves, spread, worst, time = figures_of(made, judge, notes, VIBRATO if "vibrato" in name else 0.0)
            rows.append((name, way, octaves, spread, worst, time))
            if way == OWN:
                goals += [
                    BenchmarkGoal(name, "pitches an octave off, %", octaves, 0.0, at_least=False),
                    BenchmarkGoal(name, "rest off by, cents, at worst", worst, most, at_least=False),
                ]
    told = (
        f"{notes.size} notes from {LOW:g} Hz to {HIGH:g} Hz of {SECONDS:g} s, white noise over the whole band, hum at "
        "50 and 100 Hz as strong as the noise; reverberation of 0.6 s with 30 % of the direct sound's energy",
        "the first and the last 8 pitches, where the note begins and ends, count for nothing",
    )
    notices = (*told, left_out) if left_out else told
    return Comparison("listening", "Pitch of a sound that is heard", COLUMNS, tuple(rows), tuple(goals), notices)


def figures_of(
    made: Callable[[float], Floats], judge: Callable[[Floats], Heard], notes: Floats, vibrato: float
) -> tuple[float, float | None, float, float]:
    """Octave errors in per cent, RMS error in cents without them (None where the pitch is meant to move or there is no
    pitch against time), the worst rest in cents, and the processor time for a second of sound, s.
    """
    errors: list[Floats] = []
    worst = spent = 0.0
    for frequency in notes:
        (pitches, rest), time = timed(partial(judge, made(float(frequency))))
        inner = pitches[8:-8] if pitches.size > 20 else pitches
        errors.append(np.asarray(cents(inner[np.isfinite(inner)], frequency)))
        worst = max(worst, abs(float(cents(rest, frequency))) if rest > 0.0 else np.inf)
        spent += time
    off = np.concatenate(errors)
    wrong = np.abs(off) > OCTAVE
    spread = float(np.sqrt(np.mean(off[~wrong] ** 2)))
    known = vibrato == 0.0 and judge is not by_peak
    return 100.0 * float(wrong.mean()), spread if known else None, worst, spent / (notes.size * SECONDS)
