"""What many builds of one design do once tuned: every build has part values of its own in both oscillators.

Each build is tuned as a person would: the reference's trimmer is turned until zero beat lies at the wanted distance, or
as far as it goes. Neglected: what `models.builds.build_law` neglects. Whether parts of one build deviate together is
said by their values (`models.builds.tolerance.Trial`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.arrays import Floats
from models.builds.build_law import BuildLaw, Builds, gauss
from models.builds.circuit_share import CircuitShare
from models.checks import finite_array, positive
from models.pitch_field import HIGHEST_AUDIBLE, LOWEST_AUDIBLE
from models.pulling import pulled_beat
from models.quick_dataclass import dataclass

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
"""Columns of the part values, H and F, that the resonance knows. variable_trimmer: as set; reference_trimmer: all in.
With a circuit the columns of its other values come after them (`TunedBuilds.quantities`)."""
EVEN_RULE = gauss(32)


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
class _Reference:
    """Reference oscillators, columns (n, 1): inductance, H; capacitance across it with the trimmer all in, and what
    goes as it is turned out, F, both with what the circuit adds.
    """

    inductance: Floats
    all_in: Floats
    span: Floats

    def frequency(self, setting: ArrayLike) -> Floats:
        """Frequencies, Hz (n, 1), trimmers at `setting` (0 to 1; a number or (n, 1))."""
        total = self.all_in - self.span * (1.0 - np.asarray(setting))
        return np.asarray(1.0 / (2.0 * math.pi * np.sqrt(self.inductance * total)))

    def setting(self, frequency: Floats) -> Floats:
        """The inverse."""
        needed = (1.0 / (2.0 * math.pi * frequency)) ** 2 / self.inductance
        return np.asarray(1.0 - (self.all_in - needed) / self.span)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TunedBuilds:
    """The law of builds with their reference: set-up, and what is read off. SI units.

    zero_beat: wanted distance of zero beat. nearest, farthest: playing distances for the highest and lowest note.
    even_from, even_to: range of notes whose evenness is judged, Hz. trimmer_ratio: reference's trimmer,
    all out over all in. trimmer_setting: of the nominal design. circuit: what solved circuits add (None: nothing).
    Raises ValueError for a value out of its domain or a distance outside the curve.
    """

    law: BuildLaw
    zero_beat: float
    nearest: float
    farthest: float
    trimmer_ratio: float = 0.0
    trimmer_setting: float = 0.5
    even_from: float = 65.406
    even_to: float = 1046.502
    circuit: CircuitShare | None = None

    def __post_init__(self) -> None:
        near, far = self.law.curve.nearest, self.law.curve.farthest
        for name in ("zero_beat", "nearest", "farthest"):
            if not near <= positive(name, getattr(self, name)) <= far:
                raise ValueError(
                    f"{name} must be within the hand field, {near:g} to {far:g} m; got {getattr(self, name):g}"
                )
        if not self.nearest < self.farthest:
            raise ValueError(f"nearest must be < farthest; got {self.nearest:g} and {self.farthest:g}")
        if not positive("even_from", self.even_from) < positive("even_to", self.even_to):
            raise ValueError(f"even_from must be < even_to; got {self.even_from:g} and {self.even_to:g}")
        if not 0.0 <= self.trimmer_ratio < 1.0:
            raise ValueError(f"trimmer_ratio must be from 0 to below 1; got {self.trimmer_ratio:g}")

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the columns of the part values."""
        return QUANTITIES if self.circuit is None else QUANTITIES + self.circuit.names

    def variable_parts(self, values: Floats, added: Floats | None = None) -> Builds:
        """The variable oscillators of builds with these part values (n, columns); `added`, F (n, terms): what their
        circuits add, where that is known.
        """
        part = _columns(values)
        names = ("branch_inductance", "branch_self_capacitance", "antenna_stray")
        rows = [part["variable_inductance"], _tank(part, "variable"), *(part[name] for name in names)]
        builds = Builds(*(row[:, 0] for row in rows))
        if self.circuit is None:
            return builds
        return replace(builds, added=self.circuit.added(values)[0] if added is None else added)

    def variable_frequency(self, values: Floats, hand: ArrayLike) -> Floats:
        """Frequency of the variable oscillators, Hz (n, m), with antenna capacitances, F, stray not included (m,)."""
        return self.law.frequency(self.variable_parts(values), np.atleast_1d(np.asarray(hand, dtype=np.float64)))

    def reference_frequency(self, values: Floats, setting: ArrayLike) -> Floats:
        """Frequency of the reference oscillators, Hz (n, 1), trimmers at `setting` (0 to 1; a number or (n, 1))."""
        return self._reference(values).frequency(setting)

    def needed_setting(self, values: Floats, frequency: Floats) -> Floats:
        """The inverse of `reference_frequency`: settings (n, 1) for frequencies (n, 1), Hz; beyond 0..1 too."""
        return self._reference(values).setting(frequency)

    def _reference(self, values: Floats, added: Floats | None = None) -> _Reference:
        """The reference oscillators; `added`, F (n, 1): what their circuits add, where that is known."""
        part = _columns(values)
        most, total, inductance = part["reference_trimmer"], _tank(part, "reference"), part["reference_inductance"]
        span = most * (1.0 - self.trimmer_ratio)
        if self.circuit is None:
            return _Reference(inductance, total, span)
        more = self.circuit.reference_added + (self.circuit.added(values)[1] if added is None else added)
        by_trimmer = self.circuit.by_trimmer * (most - self.circuit.trimmer)
        return _Reference(inductance, total + more + by_trimmer, span * (1.0 + self.circuit.by_trimmer))

    def outcomes(
        self, values: ArrayLike, always_tuned: bool = False, evenness: bool = True, distances: bool = True
    ) -> Outcomes:
        """What builds with these part values (n, columns) do; ValueError for a table of another shape.

        With `always_tuned` the reference is brought to zero beat whatever that takes, beyond its trimmer's ends too.
        Without `evenness` and without `distances` (of zero beat) these are left out (NaN): they take most of the time.
        """
        table = finite_array("values", values)
        if table.ndim != 2 or table.shape[1] != len(self.quantities):
            raise ValueError(f"values must have {len(self.quantities)} columns; got shape {table.shape}")
        added = (None, None) if self.circuit is None else self.circuit.added(table)
        builds, reference, curve = (
            self.variable_parts(table, added[0]),
            self._reference(table, added[1]),
            self.law.curve,
        )
        places = [self.zero_beat, self.nearest, self.farthest]
        if evenness or distances:
            places += [curve.nearest, curve.farthest]
        variable = self.law.frequency(builds, curve.capacitance(places))
        setting = reference.setting(variable[:, :1])
        nominal = reference.frequency(self.trimmer_setting)
        tunable = (setting >= 0.0) & (setting <= 1.0) | always_tuned
        tuned = np.where(tunable, variable[:, :1], reference.frequency(np.clip(setting, 0.0, 1.0)))
        offset = tuned - variable
        zero_beat = np.full(len(table), np.nan)
        if distances:
            crosses = (offset[:, 3] >= 0.0) & (offset[:, 4] <= 0.0)
            zero_beat = np.where(crosses, self.law.distance_at(builds, tuned)[:, 0], np.nan)
        lowest, highest = self._range(offset)
        return Outcomes(
            reference_frequency=nominal[:, 0],
            variable_frequency=variable[:, 0],
            trimmer_setting=setting[:, 0],
            zero_beat_distance=zero_beat,
            lowest=lowest,
            highest=highest,
            unevenness=self._unevenness(builds, tuned, offset) if evenness else np.full(len(table), np.nan),
        )

    def _range(self, offset: Floats) -> tuple[Floats, Floats]:
        """Lowest and highest pitch, Hz; NaN where the nearest hand gives nothing audible on the rising side."""
        near, far = (pulled_beat(offset[:, column], self.law.lock_range) for column in (1, 2))
        silent = near < LOWEST_AUDIBLE
        highest = np.where(silent, np.nan, np.minimum(near, HIGHEST_AUDIBLE))
        lowest = np.where(silent | (far > HIGHEST_AUDIBLE), np.nan, np.maximum(far, LOWEST_AUDIBLE))
        return lowest, np.where(np.isnan(lowest), np.nan, highest)

    def _unevenness(self, builds: Builds, tuned: Floats, offset: Floats) -> Floats:
        """Unevenness over the range of notes; NaN where a build does not hold them, or not at one distance each: one
        whose parts bring it near its other mode."""
        ends = np.hypot([self.even_to, self.even_from], self.law.lock_range)
        within = (offset[:, 3] >= ends[0]) & (offset[:, 4] <= ends[1])
        result = np.full(within.shape, np.nan)
        if within.any():
            held, reference = builds.each(lambda row: row[within]), tuned[within]
            near, far = self.law.distance_at(held, reference - ends).T
            found = np.isfinite(near) & np.isfinite(far)
            held = held.each(lambda row: row[found])
            inside = np.full(found.shape, np.nan)
            inside[found] = self.law.unevenness(held, reference[found, 0], near[found], far[found], EVEN_RULE)
            result[within] = inside
        return result


def _columns(values: Floats) -> dict[str, Floats]:
    return {name: values[:, place : place + 1] for place, name in enumerate(QUANTITIES)}


def _tank(part: dict[str, Floats], which: str) -> Floats:
    names = ("capacitance", "stray", "divider", "junction", "trimmer")
    return np.asarray(sum(part[f"{which}_{name}"] for name in names))
