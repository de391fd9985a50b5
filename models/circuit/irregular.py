"""What is read on an oscillation that does not settle: bursts, a pattern of several cycles, or two tones at once.

Bursts: the peak-to-peak of every cycle (or of the envelope) rises and falls; a peak counts where the swing falls by
PROMINENT of its whole range on both sides of it. They are periodic where neither the time between two peaks nor their
height varies by more than REGULAR (standard deviation over mean).
A pattern of several cycles (a subharmonic): the voltage comes back to itself, shifted by the pattern's length, within
REPEATED (root mean square over that of two voltages with nothing in common). What does so within LONGEST_PATTERN cycles
at no shift and has no periodic bursts either is called irregular; whether it is chaos is not told.
Two tones: the two strongest lines of the tank's spectrum (Hann window), the second near another mode of the circuit
than the first. With a the ratio of a line's larger neighbour to its largest bin, it lies d = (2 a - 1) / (a + 1) of a
bin towards that neighbour, and is (1 - d^2) / sinc(d) times the largest bin (T. Grandke, IEEE Trans. Instrum. Meas. 32
(1983) 350, from memory).
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats
from models.quick_dataclass import dataclass
from models.spline import spline

PROMINENT = 0.3
REPEATED = 0.01
LONGEST_PATTERN = 40.0
STILL = 0.01
"""A swing that varies by less than this, relative, stands still."""
REGULAR = 0.1
FEWEST_BURSTS = 4
"""Peaks needed to call bursts periodic."""
MANY_BURSTS = 16
"""Peaks after which bursts that are still not alike are called irregular."""
WEAKEST_TONE = 0.02
"""Of the stronger tone: a weaker line is no tone."""
NEAR_MODE = 0.06
"""Relative distance within which a line belongs to a mode of the linearised circuit (its junctions shift it)."""
APART = 4
"""Bins of the spectrum between two lines that are told apart."""


@dataclass(frozen=True, slots=True)
class Bursts:
    """Bursts in an envelope: how many peaks, time between them, s, and how alike they are.

    highest, lowest: of the swing, V peak to peak; spread: relative standard deviation of the times between peaks or of
    the heights of the peaks, whichever is larger.
    """

    count: int
    period: float
    spread: float
    highest: float
    lowest: float

    @property
    def periodic(self) -> bool:
        """Whether there are enough of them, all alike."""
        return self.count >= FEWEST_BURSTS and self.spread <= REGULAR

    @property
    def irregular(self) -> bool:
        """Whether there are so many of them that they cannot be called alike any more."""
        return self.count >= MANY_BURSTS and self.spread > REGULAR

    @property
    def depth(self) -> float:
        """Share of the highest swing that it loses between two bursts."""
        return 1.0 - self.lowest / self.highest


def bursts_of(times: Floats, swings: Floats) -> Bursts | None:
    """Return the bursts of an envelope at times (m,), s, with swings (m,), V.

    None where it stands still or has fewer than three peaks.
    """
    reach, inner = float(np.ptp(swings)), swings[1:-1]
    turns = np.count_nonzero((inner > swings[:-2]) & (inner >= swings[2:]))
    if turns < 3 or reach < STILL * float(swings.max()):
        return None
    from scipy.signal import find_peaks  # heavy, and seldom needed

    peaks = find_peaks(swings, prominence=PROMINENT * reach)[0]
    if peaks.size < 3:
        return None
    between, heights = np.diff(times[peaks]), swings[peaks]
    inside = swings[peaks[0] : peaks[-1] + 1]
    return Bursts(
        count=int(peaks.size),
        period=float(between.mean()),
        spread=max(float(between.std() / between.mean()), float(heights.std() / heights.mean())),
        highest=float(inside.max()),
        lowest=float(inside.min()),
    )


@dataclass(frozen=True, slots=True)
class Pattern:
    """So many unlike cycles that repeat after `period`, s."""

    cycles: int
    period: float


def pattern_of(times: Floats, values: Floats, cycle: float) -> Pattern | None:
    """Return the shortest pattern in a voltage (m,), V, at equal steps `times` (m,), s; None where none comes back.

    cycle: some length of one cycle, s, well above which nothing is looked for (LONGEST_PATTERN times).
    """
    from scipy.optimize import minimize_scalar  # these are heavy, and seldom needed
    from scipy.signal import fftconvolve

    step, half = float(times[1] - times[0]), values.size // 2
    most = min(half, int(LONGEST_PATTERN * cycle / step))
    base, size = values[:half], math.sqrt(2.0) * float(values.std())
    # the mean square of the difference at every lag, by sums and a correlation
    squares = np.concatenate([[0.0], np.cumsum(values**2)])
    shifted = squares[half : half + most] - squares[:most]
    together = fftconvolve(values[: half + most - 1], base[::-1])[half - 1 : half - 1 + most]
    differences = np.sqrt(np.maximum(shifted + float(base @ base) - 2.0 * together, 0.0) / half) / size
    inner = np.arange(int(0.5 * cycle / step), most - 1)
    lowest = inner[(differences[inner] < differences[inner - 1]) & (differences[inner] <= differences[inner + 1])]
    along = spline(times - times[0], values)
    for lag in lowest[differences[lowest] < 0.3]:
        found = minimize_scalar(
            lambda shift: float(np.mean((along(times[:half] - times[0] + shift) - base) ** 2)),
            bounds=((lag - 1.0) * step, (lag + 1.0) * step),
            method="bounded",
            options={"xatol": 1e-4 * step},
        )
        if math.sqrt(found.fun) < REPEATED * size:
            up = np.count_nonzero((values[1:] >= values.mean()) & (values[:-1] < values.mean()))
            return Pattern(max(1, round(float(found.x) * up / (values.size * step))), float(found.x))
    return None


@dataclass(frozen=True, slots=True)
class TwoTones:
    """Two oscillations at once: frequencies, Hz, and peak amplitudes, V, across the tank, the stronger one first."""

    frequencies: tuple[float, float]
    amplitudes: tuple[float, float]

    def still(self, before: TwoTones | None, share: float = 0.01) -> bool:
        """Whether neither amplitude has moved by more than `share` since an earlier reading."""
        if before is None:
            return False
        return bool(np.all(np.abs(np.array(self.amplitudes) / np.array(before.amplitudes) - 1.0) < share))


def two_tones(times: Floats, values: Floats, modes: Floats) -> TwoTones | None:
    """Return both tones of the tank's voltage `values` (m,), V, at equal steps `times` (m,), s; None for one.

    modes: frequencies, Hz, of the circuit's modes. Bursts of one mode have lines as well, but none at another mode.
    """
    count, step = values.size, float(times[1] - times[0])
    window = np.hanning(count + 1)[:-1]
    size = np.abs(np.fft.rfft((values - values.mean()) * window)) * 2.0 / float(window.sum())
    inner = np.arange(2, size.size - 2)
    lines = inner[(size[inner] > size[inner - 1]) & (size[inner] >= size[inner + 1])]
    lines = lines[np.argsort(-size[lines])]
    if lines.size < 2:
        return None

    def read(place: int) -> tuple[float, float]:
        side = 1 if size[place + 1] > size[place - 1] else -1
        ratio = float(size[place + side] / size[place])
        off = (2.0 * ratio - 1.0) / (ratio + 1.0)
        return (place + side * off) / (count * step), float(size[place] * (1.0 - off * off) / np.sinc(off))

    def mode_of(frequency: float) -> int | None:
        nearest = int(np.argmin(np.abs(modes - frequency)))
        return nearest if abs(modes[nearest] / frequency - 1.0) < NEAR_MODE else None

    first = read(int(lines[0]))
    own = mode_of(first[0])
    for place in lines[1:]:
        if size[place] < WEAKEST_TONE * size[lines[0]]:
            return None
        if abs(int(place) - int(lines[0])) < APART:
            continue
        second = read(int(place))
        other = mode_of(second[0])
        whole = second[0] / first[0]
        if other is not None and other != own and abs(whole - round(whole)) > 0.5 / (first[0] * count * step):
            return TwoTones((first[0], second[0]), (first[1], second[1]))
    return None
