"""The pitch law of many builds of one design at once: every build has part values of its own, all share the hand field.

Symbols: X = omega^2; L0, C0 tank; La, Cs series inductor and its self-capacitance; Ca antenna with stray; C(d) antenna
capacitance against hand distance. The mode equation of `models.branch.modes` is linear in Ca, so the capacitance that
gives a frequency, and with it the hand distance of a note, needs no search:

    Ca = A B / (A X La + X L0 B),    A = 1 - X L0 C0,    B = 1 - X La Cs            (derived here)

Each build is tuned as a person would: the reference's trimmer is turned until zero beat lies at the wanted distance, or
as far as it goes. Neglected: what `models.instrument` neglects; that coils and capacitors of one build may come from
one batch (parts are taken as independent); any change of the hand field between builds. With a solved circuit the law
of the parts is the lossless one times the ratio of solved to lossless frequency of the nominal design, for the
variable oscillator against the antenna's capacitance: right to first order, the ratio being close to 1 (a test solves
changed circuits anew).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.branch.modes import MODES, squared_frequencies
from models.checks import finite_array, non_negative, one_of, positive
from models.hand.capacitance_curve import CapacitanceCurve
from models.pitch import cents
from models.pitch_field import HIGHEST_AUDIBLE, LOWEST_AUDIBLE

Floats = NDArray[np.float64]
QUANTITIES = (
    "variable_inductance",
    "variable_capacitance",
    "variable_stray",
    "variable_divider",
    "variable_junction",
    "variable_trimmer",
    "branch_inductance",
    "branch_self_capacitance",
    "antenna_stray",
    "reference_inductance",
    "reference_capacitance",
    "reference_stray",
    "reference_divider",
    "reference_junction",
    "reference_trimmer",
)
"""Columns of the part values, H and F. variable_trimmer: as set; reference_trimmer: all the way in."""
TABLE_POINTS = 8192
CORRECTION_STEPS = 6
EVEN_POINTS = 24
"""Notes of the evenness: at the nodes of a Gauss-Legendre rule, exact for polynomials of degree 47."""


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What the builds do; every array (n,), NaN where there is no such thing.

    reference_frequency: Hz, before tuning, trimmer at the nominal setting. variable_frequency: Hz, hand at zero beat's
    wanted distance. trimmer_setting: the setting zero beat needs, reached only from 0 to 1. zero_beat_distance: m,
    after tuning. lowest, highest: Hz, pitch with the hand at the farthest and nearest playing distance, within hearing.
    unevenness: cents RMS from the best straight line over the range of notes; NaN where the range is not all in reach.
    """

    reference_frequency: Floats
    variable_frequency: Floats
    trimmer_setting: Floats
    zero_beat_distance: Floats
    lowest: Floats
    highest: Floats
    unevenness: Floats

    @property
    def reached(self) -> NDArray[np.bool_]:
        """Whether the trimmer reaches zero beat."""
        return np.asarray((self.trimmer_setting >= 0.0) & (self.trimmer_setting <= 1.0))

    def __len__(self) -> int:
        return self.trimmer_setting.size


OUTCOMES = tuple(Outcomes.__dataclass_fields__)


def joined(parts: Iterable[Outcomes]) -> Outcomes:
    """Many runs as one."""
    runs = list(parts)
    return Outcomes(*(np.concatenate([np.empty(0), *(getattr(run, name) for run in runs)]) for name in OUTCOMES))


@dataclass(frozen=True, slots=True, eq=False)
class BuildLaw:
    """What all builds share: hand field, set-up and what is read off. SI units.

    zero_beat: wanted distance of zero beat. nearest, farthest: playing distances for the highest and lowest note.
    even_from, even_to: range of notes whose evenness is judged, Hz. trimmer_ratio: reference's trimmer,
    all out over all in. trimmer_setting: of the nominal design. reference_correction and variable_correction: solved
    over lossless frequency; the latter a row of values at `correction_capacitances` (F, without stray), both empty
    without a circuit. Raises ValueError for a value out of its domain or a distance outside the curve.
    """

    curve: CapacitanceCurve
    zero_beat: float
    nearest: float
    farthest: float
    mode: str = "low"
    lock_range: float = 0.0
    trimmer_ratio: float = 0.0
    trimmer_setting: float = 0.5
    even_from: float = 65.406
    even_to: float = 1046.502
    reference_correction: float = 1.0
    correction_capacitances: Floats = field(default_factory=lambda: np.empty(0))
    variable_correction: Floats = field(default_factory=lambda: np.empty(0))
    _table: tuple[Floats, Floats] = field(init=False, repr=False)
    _notes: Floats = field(init=False, repr=False)
    _rule: tuple[Floats, Floats] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        one_of("mode", self.mode, MODES)
        non_negative("lock_range", self.lock_range)
        positive("reference_correction", self.reference_correction)
        for name in ("zero_beat", "nearest", "farthest"):
            if not self.curve.nearest <= positive(name, getattr(self, name)) <= self.curve.farthest:
                raise ValueError(
                    f"{name} must be within the hand field, {self.curve.nearest:g} to "
                    f"{self.curve.farthest:g} m; got {getattr(self, name):g}"
                )
        if not self.nearest < self.farthest:
            raise ValueError(f"nearest must be < farthest; got {self.nearest:g} and {self.farthest:g}")
        if not positive("even_from", self.even_from) < positive("even_to", self.even_to):
            raise ValueError(f"even_from must be < even_to; got {self.even_from:g} and {self.even_to:g}")
        if not 0.0 <= self.trimmer_ratio < 1.0:
            raise ValueError(f"trimmer_ratio must be from 0 to below 1; got {self.trimmer_ratio:g}")
        distances = np.geomspace(self.curve.nearest, self.curve.farthest, TABLE_POINTS)
        distances[[0, -1]] = self.curve.nearest, self.curve.farthest
        falling = self.curve.capacitance(distances)[::-1].copy(), distances[::-1].copy()
        object.__setattr__(self, "_table", falling)
        nodes, weights = np.polynomial.legendre.leggauss(EVEN_POINTS)
        octaves = math.log2(self.even_to / self.even_from)
        object.__setattr__(self, "_notes", self.even_from * np.exp2(0.5 * octaves * (nodes + 1.0)))
        object.__setattr__(self, "_rule", (weights, differentiation_matrix(nodes)))

    def variable_frequency(self, values: Floats, antenna_capacitance: ArrayLike) -> Floats:
        """Frequency of the variable oscillators, Hz (n, m), with antenna capacitances, F, stray not included (m,)."""
        part = _columns(values)
        hand = np.atleast_1d(np.asarray(antenna_capacitance, dtype=np.float64))
        roots = squared_frequencies(
            part["variable_inductance"],
            _tank(part, "variable"),
            part["branch_inductance"],
            hand + part["antenna_stray"],
            part["branch_self_capacitance"],
        )
        frequency = np.sqrt(roots[MODES.index(self.mode)]) / (2.0 * math.pi)
        return np.asarray(frequency * self._correction(hand))

    def antenna_capacitance(self, values: Floats, frequency: Floats) -> Floats:
        """The inverse of `variable_frequency`: antenna capacitance without stray, F, for frequencies (n, m) in Hz."""
        part = _columns(values)
        tank, inductance = _tank(part, "variable"), part["variable_inductance"]
        branch, own, stray = part["branch_inductance"], part["branch_self_capacitance"], part["antenna_stray"]
        found = _inverse(frequency / self._correction(None), inductance, tank, branch, own) - stray
        if self.variable_correction.size:
            for _ in range(CORRECTION_STEPS):  # the ratio changes little along the hand's range: it settles at once
                found = _inverse(frequency / self._correction(found), inductance, tank, branch, own) - stray
        return np.asarray(found)

    def reference_frequency(self, values: Floats, setting: ArrayLike) -> Floats:
        """Frequency of the reference oscillators, Hz (n, 1), trimmers at `setting` (0 to 1; a number or (n, 1))."""
        part = _columns(values)
        most = part["reference_trimmer"]
        total = _tank(part, "reference") - most * (1.0 - self.trimmer_ratio) * (1.0 - np.asarray(setting))
        root = np.sqrt(part["reference_inductance"] * total)
        return np.asarray(self.reference_correction / (2.0 * math.pi * root))

    def needed_setting(self, values: Floats, frequency: Floats) -> Floats:
        """The inverse of `reference_frequency`: settings (n, 1) for frequencies (n, 1), Hz; beyond 0..1 too."""
        part = _columns(values)
        needed = (self.reference_correction / (2.0 * math.pi * frequency)) ** 2 / part["reference_inductance"]
        span = part["reference_trimmer"] * (1.0 - self.trimmer_ratio)
        return np.asarray(1.0 - (_tank(part, "reference") - needed) / span)

    def outcomes(self, values: ArrayLike, always_tuned: bool = False) -> Outcomes:
        """What builds with these part values (n, len(QUANTITIES)) do; ValueError for a table of another shape.

        With `always_tuned` the reference is brought to zero beat whatever that takes, beyond its trimmer's ends too.
        """
        table = finite_array("values", values)
        if table.ndim != 2 or table.shape[1] != len(QUANTITIES):
            raise ValueError(f"values must have {len(QUANTITIES)} columns; got shape {table.shape}")
        places = [self.zero_beat, self.nearest, self.farthest, self.curve.nearest, self.curve.farthest]
        variable = self.variable_frequency(table, self.curve.capacitance(places))
        setting = self.needed_setting(table, variable[:, :1])
        nominal = self.reference_frequency(table, np.full_like(setting, self.trimmer_setting))
        tunable = (setting >= 0.0) & (setting <= 1.0) | always_tuned
        tuned = np.where(tunable, variable[:, :1], self.reference_frequency(table, np.clip(setting, 0.0, 1.0)))
        offset = tuned - variable
        lowest, highest = self._range(offset)
        return Outcomes(
            reference_frequency=nominal[:, 0],
            variable_frequency=variable[:, 0],
            trimmer_setting=setting[:, 0],
            zero_beat_distance=self._zero_beat(table, tuned, offset),
            lowest=lowest,
            highest=highest,
            unevenness=self._unevenness(table, tuned, offset),
        )

    def _correction(self, capacitance: Floats | None) -> Floats | float:
        """Solved over lossless frequency at an antenna capacitance without stray, F; None: in the middle."""
        if not self.variable_correction.size:
            return 1.0
        if capacitance is None:
            return float(self.variable_correction.mean())
        return np.asarray(np.interp(capacitance, self.correction_capacitances, self.variable_correction))

    def _zero_beat(self, values: Floats, tuned: Floats, offset: Floats) -> Floats:
        """Hand distance of zero beat, m; NaN where it lies outside the field."""
        distance = self.distance_of(self.antenna_capacitance(values, tuned))[:, 0]
        return np.where((offset[:, 3] >= 0.0) & (offset[:, 4] <= 0.0), distance, np.nan)

    def _range(self, offset: Floats) -> tuple[Floats, Floats]:
        """Lowest and highest pitch, Hz; NaN where the nearest hand gives nothing audible on the rising side."""
        near, far = (_pulled(offset[:, column], self.lock_range) for column in (1, 2))
        silent = near < LOWEST_AUDIBLE
        highest = np.where(silent, np.nan, np.minimum(near, HIGHEST_AUDIBLE))
        lowest = np.where(silent | (far > HIGHEST_AUDIBLE), np.nan, np.maximum(far, LOWEST_AUDIBLE))
        return lowest, np.where(np.isnan(lowest), np.nan, highest)

    def distance_of(self, capacitance: Floats) -> Floats:
        """Hand distances, m, for antenna capacitances without stray, F (any shape); the end of the field beyond it."""
        return np.asarray(np.interp(capacitance, *self._table))

    def _unevenness(self, values: Floats, tuned: Floats, offset: Floats) -> Floats:
        """RMS cents between the pitch and its least-squares line against hand distance, every distance alike."""
        wanted = np.hypot(self._notes, self.lock_range)
        ends = np.hypot([self.even_from, self.even_to], self.lock_range)
        within = (offset[:, 3] >= ends[1]) & (offset[:, 4] <= ends[0])
        result = np.full(within.shape, np.nan)
        if not within.any():
            return result
        distance = self.distance_of(self.antenna_capacitance(values[within], tuned[within] - wanted))
        weights, derivative = self._rule
        result[within] = line_residual(distance, np.asarray(cents(self._notes, self.even_from)), weights, derivative)
        return result


def differentiation_matrix(nodes: Floats) -> Floats:
    """Matrix (n, n) that turns the values of a polynomial at distinct nodes into its derivative there.

    D_ij = (w_j / w_i) / (x_i - x_j), rows adding up to 0, w_j = 1 / prod (x_j - x_k): J.-P. Berrut, L. N. Trefethen,
    SIAM Review 46 (2004) 501, section 9 (from memory).
    """
    gaps = nodes[:, None] - nodes[None, :] + np.eye(nodes.size)
    weights = 1.0 / np.prod(gaps, axis=1)
    matrix = weights[None, :] / weights[:, None] / gaps
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return np.asarray(matrix)


def line_residual(distance: Floats, pitch_cents: Floats, weights: Floats, derivative: Floats) -> Floats:
    """RMS residual (n,) of pitch (m,) from its least-squares line against distance (n, m), every distance alike.

    Integrals over distance are taken over pitch, integral g dd = sum w_j g_j d'_j, with a quadrature rule (m,) whose
    nodes the pitches are and d' = `derivative` d.
    """
    weight = np.abs(distance @ derivative.T) * weights
    weight /= weight.sum(axis=1, keepdims=True)
    place = distance - np.einsum("ij,ij->i", weight, distance)[:, None]
    pitch = pitch_cents - (weight @ pitch_cents)[:, None]
    weighted = weight * place
    slope = np.einsum("ij,ij->i", weighted, pitch) / np.einsum("ij,ij->i", weighted, place)
    residual = pitch - slope[:, None] * place
    return np.asarray(np.sqrt(np.einsum("ij,ij,ij->i", weight, residual, residual)))


def _pulled(offset: Floats, lock_range: float) -> Floats:
    """Beat where the offset is above the lock range, else 0 (Hz)."""
    return np.sqrt(np.maximum((offset - lock_range) * (offset + lock_range), 0.0)) * (offset > lock_range)


def _columns(values: Floats) -> dict[str, Floats]:
    return {name: values[:, place : place + 1] for place, name in enumerate(QUANTITIES)}


def _tank(part: dict[str, Floats], which: str) -> Floats:
    names = ("capacitance", "stray", "divider", "junction", "trimmer")
    return np.asarray(sum(part[f"{which}_{name}"] for name in names))


def _inverse(frequency: Floats, l0: Floats, c0: Floats, la: Floats, cs: Floats) -> Floats:
    """Antenna capacitance with stray, F, at which the oscillator swings at `frequency`, Hz (module text)."""
    squared = (2.0 * math.pi * frequency) ** 2
    tank, own = 1.0 - squared * (l0 * c0), 1.0 - squared * (la * cs)
    return np.asarray(tank * own / (squared * (tank * la + l0 * own)))
