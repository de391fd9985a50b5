"""A drawn mixer as a detector: its tone's lines against the beat and both amplitudes, solved once and read often.

The lines C_n (models.circuit.mixing) are smooth in u = asinh(beat / SLOWEST), and nearly straight in the amplitudes,
which the hand changes by some per cent: between solved beats they are a cubic spline in u, in each amplitude a parabola
through three solved ones, the product of both changes left out. Solved beats are added, each in the middle between two,
until the spline with it must be within ACCURACY of the strongest line. Where the oscillators pull each other, so that
the phase moves unevenly, the lines are those of the mean beat; within the lock range those of phases that stand still.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field, replace

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes, Floats
from models.checks import finite_array, positive
from models.circuit.drawing import Load
from models.circuit.mixer import REFERENCE, VARIABLE, Drive, Mixer
from models.circuit.mixing import Mixed, MixerSolver, solver_for
from models.quick_dataclass import dataclass
from models.spline import Cubic, spline

SLOWEST = 8.0
"""Hz: beats below lie nearly evenly."""
HIGHEST_BEAT = 12e3
"""Hz: beyond, the lines of this beat stand."""
ACCURACY = 1e-3
"""Of the strongest line: -60 dB."""
HALVED = 10.0
"""By how much a cubic spline is better with half the step (16 for a small one)."""
FIRST_NODES, MOST_NODES = 17, 65
AMPLITUDE_STEP = 0.03
"""Relative change of an amplitude at which the parabola is read beside the middle; the reach of the hand, if wider."""
CHANGES = 4
"""Of the amplitudes: either one smaller and larger."""
STILL = 0.01
"""Share by which a filter that does not follow the beat changes the tone, up to which it counts as quasi-static."""


@dataclass(frozen=True, slots=True, eq=False)
class MixerTable:
    """Solved lines of the tone, V.

    beats (b,), Hz, rising, 0 among them; lines (b, N + 1) at the middle amplitudes. sparse (c,): some of the beats;
    bends (c, 4, N + 1): what is added by the variable oscillator's amplitude when smaller and larger by `reach[1]`, and
    by the reference's by `reach[0]` (relative). amplitudes: those in the middle, peak V, as the oscillators' law has
    them. radio: Hz of the reference.
    """

    beats: Floats
    lines: Complexes
    sparse: Floats
    bends: Complexes
    amplitudes: tuple[float, float]
    reach: tuple[float, float]
    radio: float
    _lines: Cubic = field(init=False, repr=False)
    _bends: Cubic = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_lines", spline(_place(self.beats), self.lines))
        object.__setattr__(self, "_bends", spline(_place(self.sparse), self.bends))

    def read(self, beats: ArrayLike, reference: ArrayLike, variable: ArrayLike) -> Complexes:
        """Return C_0..C_N (r, N + 1), V, at beats (r,), Hz, and amplitudes, V (each a number or (r,))."""
        rows = np.clip(np.atleast_1d(finite_array("beats", beats)), self.beats[0], self.beats[-1])
        total, bends = self._lines(_place(rows)), self._bends(_place(rows))
        for first, amplitude, middle, reach in (
            (0, variable, self.amplitudes[1], self.reach[1]),
            (2, reference, self.amplitudes[0], self.reach[0]),
        ):
            step = np.broadcast_to((np.asarray(amplitude) / middle - 1.0) / reach, rows.shape)[:, None]
            low, high = bends[:, first], bends[:, first + 1]
            total = total + 0.5 * step * (high - low) + 0.5 * step**2 * (high + low)
        return np.asarray(total)

    def level(self, beat: float) -> float:
        """Return the peak of the tone's first harmonic at a beat, Hz, V, the amplitudes in the middle."""
        return float(np.abs(self.read(beat, *self.amplitudes)[0, 1]))

    @property
    def quasi_static_up_to(self) -> float:
        """The highest beat, Hz, up to which all of the mixer follows the beat: its first harmonic is within STILL of
        the standing one's, in size and phase; HIGHEST_BEAT where there is no end."""
        return self._first(STILL)

    @property
    def corner(self) -> float:
        """The beat, Hz, at which the first harmonic is off by half its power, either way; HIGHEST_BEAT: none."""
        return self._first(None)

    def _first(self, share: float | None) -> float:
        beats = np.geomspace(1.0, HIGHEST_BEAT, 600)
        rows = self.read(np.concatenate([[0.0], beats]), *self.amplitudes)[:, 1]
        lines, standing = rows[1:], rows[0]
        # products, not quotients: a mixer whose tone leaves through a capacitor has no standing one
        if share is None:
            power, still = np.abs(lines) ** 2, abs(standing) ** 2
            beyond = (power > 2.0 * still) | (still > 2.0 * power)
        else:
            beyond = np.abs(lines - standing) > share * abs(standing)
        return float(beats[int(np.argmax(beyond))]) if beyond.any() else HIGHEST_BEAT


@dataclass(frozen=True, slots=True, eq=False)
class DrawnDetector:
    """A drawn mixer as the instrument's detector, at peak voltages of the reference and of the variable oscillator."""

    table: MixerTable
    reference: float
    variable: float
    kind: str = "drawn"

    def __post_init__(self) -> None:
        positive("reference", self.reference)
        positive("variable", self.variable)

    def with_amplitudes(self, reference: float, variable: float) -> DrawnDetector:
        """Return the same mixer with these peak voltages, V, of the two."""
        return replace(self, reference=reference, variable=variable)

    @property
    def amplitudes(self) -> tuple[float, float]:
        """Peak voltages of the reference and of the variable oscillator, V."""
        return self.reference, self.variable

    @property
    def amplitude_ratio(self) -> float:
        """The weaker over the stronger."""
        return min(self.amplitudes) / max(self.amplitudes)

    def lines(self, beats: ArrayLike) -> Complexes:
        """Return C_0..C_N (r, N + 1) of the tone at beats (r,), Hz, V."""
        return self.table.read(beats, self.reference, self.variable)


def mixer_table(
    solver: MixerSolver,
    still: Mixed,
    amplitudes: tuple[float, float],
    spread: float = 0.0,
    progress: Callable[[float], None] = lambda share: None,
) -> MixerTable:
    """Solve a mixer for every beat, from its quasi-static law `still`. amplitudes: V, what the oscillators' law calls
    both at the drive as it is; spread: how far the hand changes the variable oscillator's from there, relative.
    progress: hears the share of the solutions that are done, of those known to be needed.

    Raises NotConvergedError and ValueError where the mixer cannot be solved.
    """
    reach = AMPLITUDE_STEP, max(AMPLITUDE_STEP, spread)
    found: dict[float, Complexes] = {}
    done, needed = 0, FIRST_NODES * (1 + CHANGES) + FIRST_NODES - 1

    def told(solutions: int) -> None:
        nonlocal done
        done += solutions
        progress(done / needed)

    def solved(place: float, near: Complexes) -> Complexes:
        """The lines at u = `place`, from what the ports may be there."""
        mixed = solver.solve(SLOWEST * math.sinh(place), near=near)
        found[place] = mixed.ports
        told(1)
        return mixed.tone()

    def bent(place: float, middle: Complexes) -> Complexes:
        """What the four changes of the amplitudes add there to the lines in the middle."""
        beat, changed = SLOWEST * math.sinh(place), []
        for smaller, larger in (
            ((1.0, 1.0 - reach[1]), (1.0, 1.0 + reach[1])),
            ((1.0 - reach[0], 1.0), (1.0 + reach[0], 1.0)),
        ):
            one = solver.solve(beat, smaller, near=found[place])
            other = solver.solve(beat, larger, near=2.0 * found[place] - one.ports)
            changed += [one.tone() - middle, other.tone() - middle]
        told(CHANGES)
        return np.stack(changed)

    top = float(_place(np.array(HIGHEST_BEAT)))
    first = sorted(np.linspace(-top, top, FIRST_NODES).tolist(), key=abs)
    rows = {}
    for place in first:  # from the slowest on, to either side
        near = found[min(found, key=lambda other: abs(other - place))] if found else still.ports
        rows[place] = solved(place, near)
    bends = {place: bent(place, rows[place]) for place in sorted(rows)}
    every = sorted(rows)
    spans = list(zip(every, every[1:], strict=False))
    while spans and len(rows) < MOST_NODES:
        places = sorted(rows)
        along = spline(places, np.stack([rows[place] for place in places]))
        size = max(float(np.abs(row[1:]).max()) for row in rows.values())
        missed = []
        for low, high in spans:
            middle = 0.5 * (low + high)
            rows[middle] = solved(middle, 0.5 * (found[low] + found[high]))
            if np.abs(rows[middle] - along(middle)).max() > HALVED * ACCURACY * size:
                missed += [(low, middle), (middle, high)]
                needed += 2
        spans = missed
    return MixerTable(
        *_stacked(rows),
        *_stacked(bends),
        amplitudes,
        reach,
        still.drive.frequency,
    )


def _place(beats: Floats) -> Floats:
    """Return u of beats, Hz."""
    return np.arcsinh(beats / SLOWEST)


def _stacked(rows: dict[float, Complexes]) -> tuple[Floats, Complexes]:
    """Return the beats, Hz, of rows by their u, rising, and the rows."""
    places = sorted(rows)
    return SLOWEST * np.sinh(places), np.stack([rows[place] for place in places])


def mixer_loads(mixer: Mixer, drive: Drive) -> tuple[Load, Load]:
    """Return what a mixer loads the reference and the variable oscillator with, at a drive."""
    _, still = solver_for(mixer, drive)
    return still.load(REFERENCE), still.load(VARIABLE)


def loads_at_rest(mixer: Mixer, frequency: float) -> tuple[Load, Load]:
    """Return what a mixer loads both with where they hardly swing, at a frequency, Hz."""
    faint = np.array([0.0, 1e-4], dtype=np.complex128)
    still = MixerSolver(mixer, Drive(frequency, faint, faint), 2, 5).solve(0.0)
    return still.load(REFERENCE), still.load(VARIABLE)
