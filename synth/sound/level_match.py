"""One gesture through several designs at one loudness: renderings brought to equal level, and pips that count them.

Level is the root mean square over the 50 ms blocks that sound (those within 40 dB of the loudest block), in dB of full
scale: a plain measure of loudness, without weighting by frequency. All are brought to the level of the quietest one or
lower, so that no peak passes PEAK. Neglected: the ear's own curve, so a low and a high sound of one level differ a
little in loudness.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from models.arrays import Floats
from models.checks import positive
from models.quick_dataclass import dataclass
from synth.build.workbench import OpenedDesign
from synth.errors import DesignError
from synth.hands.hand_path import HandPath

BLOCK_TIME = 0.05  # s
GATE_DB = 40.0
PEAK = 0.9  # of full scale
PIP_FREQUENCY = 1000.0  # Hz
PIP_TIME, PIP_SPACING, PAUSE = 0.08, 0.2, 0.4  # s
PIP_EDGE = 0.005  # s


@dataclass(frozen=True, slots=True, eq=False)
class Matched:
    """One rendering after matching: samples, the gain it took and the level it has, dB."""

    samples: Floats
    gain_db: float
    level_db: float


def level_db(samples: Floats, sample_rate: float) -> float:
    """Level of the sounding blocks, dB of full scale; minus infinity for silence."""
    size = max(1, round(BLOCK_TIME * positive("sample_rate", sample_rate)))
    whole = samples.size // size * size
    powers = np.mean(samples[:whole].reshape(-1, size) ** 2, axis=1) if whole else np.mean(samples**2, keepdims=True)
    loudest = float(powers.max(initial=0.0))
    if loudest == 0.0:
        return -np.inf
    sounding = powers[powers >= loudest * 10.0 ** (-0.1 * GATE_DB)]
    return float(10.0 * np.log10(sounding.mean()))


def matched(renderings: Sequence[Floats], sample_rate: float) -> list[Matched]:
    """The renderings at one level; one that is silent stays so."""
    levels = [level_db(samples, sample_rate) for samples in renderings]
    peaks = [float(np.abs(samples).max(initial=0.0)) for samples in renderings]
    heard = [(level, peak) for level, peak in zip(levels, peaks, strict=True) if np.isfinite(level)]
    if not heard:
        raise DesignError("none of the designs sounds at these hand distances; choose another gesture")
    room = min(level + 20.0 * np.log10(PEAK / peak) for level, peak in heard)
    target = min(room, *(level for level, _ in heard))
    result = []
    for samples, level in zip(renderings, levels, strict=True):
        gain = target - level if np.isfinite(level) else 0.0
        result.append(Matched(samples * 10.0 ** (0.05 * gain), gain, target if np.isfinite(level) else -np.inf))
    return result


def pips(count: int, level: float, sample_rate: int) -> Floats:
    """`count` short tones of PIP_FREQUENCY at an RMS `level` (dB) while they sound, a pause after them."""
    if count < 1:
        raise ValueError(f"count must be >= 1; got {count}")
    frames, step = round(PIP_TIME * sample_rate), round(PIP_SPACING * sample_rate)
    times = np.arange(frames) / sample_rate
    edge = np.clip(np.minimum(times, times[-1] - times) / PIP_EDGE, 0.0, 1.0)
    tone = min(np.sqrt(2.0) * 10.0 ** (0.05 * level), PEAK) * edge * np.sin(2.0 * np.pi * PIP_FREQUENCY * times)
    sound = np.zeros(count * step + round(PAUSE * sample_rate))
    for number in range(count):
        sound[number * step : number * step + frames] = tone
    return sound


def joined(parts: Sequence[Matched], sample_rate: int) -> Floats:
    """All in one: before the n-th, n pips at its level, then the sound, then a pause."""
    pause = np.zeros(round(PAUSE * sample_rate))
    level = next(part.level_db for part in parts if np.isfinite(part.level_db))
    pieces = [
        piece
        for number, part in enumerate(parts, start=1)
        for piece in (pips(number, level, sample_rate), part.samples, pause)
    ]
    return np.concatenate(pieces)


def rendered(
    workpieces: Sequence[OpenedDesign], path: HandPath, sample_rate: int, progress: Callable[[float], None]
) -> list[Floats]:
    """The same hand path through each design."""
    from synth.sound.offline import RELEASE_TIME, rendered_blocks

    total = len(workpieces) * (path.frames(sample_rate) + round(RELEASE_TIME * sample_rate))
    done, sounds = 0, []
    for workpiece in workpieces:
        blocks = []
        for block in rendered_blocks(workpiece, path, sample_rate):
            blocks.append(block)
            done += block.size
            progress(done / total)
        sounds.append(np.concatenate(blocks))
    return sounds
