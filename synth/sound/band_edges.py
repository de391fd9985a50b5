"""Up to which beat a table may sound: nothing may fold back at half the sample rate.

Symbols: f offset frequency, Hz; f_L lock range, Hz; b = sqrt(f^2 - f_L^2) beat, Hz; f_s sample rate, Hz; K
highest harmonic. Without pulling the waveform holds K b and nothing above: it may sound up to K f = FADE_TO
f_s. With pulling the beat phase phi turns unevenly, so harmonic n of phi spreads over all multiples l b of
the beat, also above n b:

    exp(j phi) = (z - rho) / (1 - rho z) but for constant phases,  z = exp(j 2 pi b t),  rho = f_L / (f + b)

(|c_l| = (1 - rho^2) rho^(l-1) for n = 1, as in B. Razavi, IEEE JSSC 39 (2004) 1415). On a circle |z| = r, 1 <
r < 1/rho, Cauchy's estimate bounds each line of exp(j n phi):

    |c_l| <= r^-l ((r - rho) / (1 - rho r))^n,  least at  r = B + sqrt(B^2 - 1),
    B = (l (1 + rho^2) - n (1 - rho^2)) / (2 rho l)

and is no bound where B <= 1, within the reach of the instantaneous frequency. (Derived here; the spectrum
test is the check.)

The fundamental alone is left where no other harmonic fits. Of its lines those from L up do not fit; with the constant
phases, and phi turning by phi' = 2 pi (f - f_L sin phi), they are a geometric series and are taken away as one:

    sum over l >= L of c_l z^l = (1 - rho^2) (j rho)^(L-1) z^L / (1 - j rho z),
    z = (exp(j phi) - j rho) / (1 + j rho exp(j phi))
"""

from __future__ import annotations

import numpy as np

from models.arrays import Complexes, Floats, Ints
from synth.sound.beat_phase import STEPS_PER_TURN, TURN_MASK

FADE_FROM, FADE_TO = 0.38, 0.45  # of the sample rate: a level's highest harmonic fades between
FOLDED_LINE = 5e-6  # -106 dB: strongest line, against the strongest harmonic, that may fold back
_SEARCH_POINTS, _ORDERS = 200, 24
_FAINTEST_TAIL = 1e-6  # -120 dB of the fundamental: weaker tails are left


def line_bound(line: Floats, harmonic: Floats, rho: Floats) -> Floats:
    """Upper bound of |c_l| in exp(j n phi) for l = `line` >= n = `harmonic` and 0 < rho < 1; broadcasts."""
    middle = (line * (1.0 + rho**2) - harmonic * (1.0 - rho**2)) / (2.0 * rho * line)
    middle = np.maximum(middle, 1.0)
    radius = middle + np.sqrt(middle * middle - 1.0)
    exponent = harmonic * np.log((radius - rho) / (1.0 - rho * radius)) - line * np.log(radius)
    return np.asarray(np.exp(np.minimum(exponent, 0.0)))


def highest_offsets(harmonics: Floats, tops: Ints, sample_rate: float, lock_range: float) -> Floats:
    """Greatest offset, Hz, at which harmonics 1..top of A_0, A_1, ... stay within the band, for each of `tops`; 0 if
    none.

    For top = 1 pulling is left out of account: `FoldingLines` takes away what would fold. Above an offset that folds
    all others do too: the place is found by halves.
    """
    highest = FADE_TO * sample_rate / tops
    if lock_range == 0.0:
        return highest
    lowest = 1.001 * lock_range
    orders = np.append(np.geomspace(1, tops, _ORDERS, axis=-1).astype(int), tops[:, None], axis=1)
    strengths = np.abs(harmonics[orders]) / np.abs(harmonics[1:]).max()
    ratios = np.maximum(highest / lowest, 1.0)

    def offsets_at(places: Ints) -> Floats:
        return np.asarray(lowest * ratios ** (places / (_SEARCH_POINTS - 1.0)))

    fitting, folding = np.zeros(tops.size, dtype=int), np.where(highest > lowest, _SEARCH_POINTS, 0)
    while (fitting < folding).any():
        middle = np.minimum((fitting + folding) // 2, _SEARCH_POINTS - 1)
        offsets = offsets_at(middle)[:, None]
        beats = np.sqrt((offsets - lock_range) * (offsets + lock_range))
        lines = np.maximum(0.5 * sample_rate / beats, orders)
        folded = strengths * line_bound(lines, orders.astype(float), lock_range / (offsets + beats))
        allowed = (folded <= FOLDED_LINE).all(axis=1)
        searched = fitting < folding
        fitting = np.where(searched & allowed, middle + 1, fitting)
        folding = np.where(searched & ~allowed, middle, folding)
    reached = np.where(fitting > 0, offsets_at(np.maximum(fitting - 1, 0)), 0.0)
    return np.asarray(np.where(tops == 1, highest, reached))


def crossings(harmonics: Floats, tops: tuple[int, ...], sample_rate: float, lock_range: float) -> tuple[Floats, Floats]:
    """Offsets, Hz, at which each level starts and ends giving way to the next, and the level numbers there.

    `tops`: K of each level, falling, the last one 0. A level takes over only once the one before has gone.
    """
    edges = [0.0]
    for reached in highest_offsets(harmonics, np.array(tops[:-1]), sample_rate, lock_range).tolist():
        end = max(reached, edges[-1])
        edges += [max(FADE_FROM / FADE_TO * end, edges[-1]), end]
    levels = np.arange(len(tops) - 1.0)
    return np.array(edges[1:]), np.stack([levels, levels + 1.0], axis=1).ravel()


class FoldingLines:
    """The lines of a pulled fundamental that do not fit the band, at a sample rate and a lock range, Hz."""

    def __init__(self, sample_rate: float, lock_range: float) -> None:
        self._highest, self._lock = FADE_TO * sample_rate, lock_range
        self.lowest = np.inf  # Hz: offset from which there are any to speak of
        if lock_range > 0.0:
            offsets = np.geomspace(1.001 * lock_range, max(self._highest, 1.01 * lock_range), 4 * _SEARCH_POINTS)
            rho, first, _ = self._tail(offsets)
            strong = np.flatnonzero(np.abs(rho) ** (first - 1.0) > _FAINTEST_TAIL)
            self.lowest = float(offsets[max(strong[0] - 1, 0)]) if strong.size else np.inf

    def _tail(self, offset: Floats) -> tuple[Floats, Floats, Floats]:
        """rho, L, and the share of the way to the next L, for offsets beyond the lock range."""
        beat = np.sign(offset) * np.sqrt((np.abs(offset) - self._lock) * (np.abs(offset) + self._lock))
        first = np.maximum(self._highest / np.maximum(np.abs(beat), 1e-9), 2.0)
        whole = np.floor(first)
        return self._lock / (offset + beat), whole, first - whole

    def wave(self, phase: Ints, offset: Floats) -> Complexes:
        """Their sum (n,) in exp(j phi) at beat phases (n,), in steps of synth.sound.beat_phase, and offsets (n,), Hz.

        A line leaves gradually while the next lower one still fits.
        """
        found = np.zeros(offset.shape, dtype=np.complex128)
        there = np.flatnonzero(np.abs(offset) > max(self.lowest, 1.0001 * self._lock))
        rho, first, share = self._tail(offset[there])
        angle = (phase[there] & TURN_MASK) * (2.0 * np.pi / STEPS_PER_TURN)
        even = angle - 2.0 * np.arctan2(rho * np.cos(angle), 1.0 - rho * np.sin(angle))
        ratio = 1j * rho * np.exp(1j * even)
        tail = (1.0 - rho**2) * ratio ** (first - 1.0) * np.exp(1j * even) / (1.0 - ratio)
        found[there] = tail * (1.0 - share + share * ratio)
        return found
