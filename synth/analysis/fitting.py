"""From a bench to its fit: the unknowns that explain the readings best, and what the fit tells.

Where set-ups are solved as circuits, or the field hangs on the unknowns, the fit is repeated about the solution until
they give the readings that the fit says; else the resonance is exact. Ctrl-C ends that with the fit made last.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.circuit.steady_state import SteadyState
from models.quick_dataclass import dataclass
from models.readings.fit import Fit, Problem, Slip, fit_readings
from models.readings.instrument_model import (
    BeatOf,
    ControlOf,
    FrequencyOf,
    InstrumentModel,
    Reading,
    TunedFrequency,
)
from models.readings.unknowns import values_of
from synth.analysis.fit_bench import Bench, ReadingPlace, SolvedSetting, beat_signs, distance_of
from synth.analysis.fit_unknowns import RESONATOR, Errors, Known
from synth.analysis.readings import CONTROL, VOLTS, BenchRow, Readings, Setting
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design
from synth.errors import DesignError

RESONANCE_STARTS = (0.3, 1.0, 2.0, -0.3, -1.0)  # half bandwidths of the resonance above the loudest reading
MOST_ROUNDS = 6
SETTLED, LEVEL_SETTLED = 5e-7, 0.05
"""Difference of model and solved circuits, relative of a frequency and in standard deviations of a voltage, at which
the fit has settled."""


@dataclass(frozen=True, slots=True)
class SolvedBench:
    """A bench with its fit: `kept` are the places of the readings fitted (others are slips), `solved` the circuits.

    expected: of every reading what the design says before the fit, deviations: its standard deviation, in the units of
    the model. interrupted: by Ctrl-C, before the circuits solved about its values say what it says.
    """

    bench: Bench
    fit: Fit
    slips: tuple[Slip, ...]
    kept: tuple[int, ...]
    solved: Mapping[Setting, SolvedSetting] | None
    model: InstrumentModel
    expected: Floats
    deviations: Floats
    interrupted: bool = False

    @property
    def rows(self) -> tuple[BenchRow, ...]:
        """The lines of the file."""
        return self.bench.rows

    @property
    def which(self) -> str:
        """The oscillator that lines are of which do not say so."""
        return self.bench.which

    @property
    def opened(self) -> OpenedDesign | None:
        """The design that the readings belong to, opened."""
        return self.bench.opened

    @property
    def design(self) -> Design | None:
        """The design that the readings belong to."""
        return self.bench.design

    def place(self, key: str, setting: Setting) -> int | None:
        """The place of an unknown of a set-up's oscillator and board; None where it is not fitted."""
        name = key if key in self.bench.index else self.bench.named(key, setting.oscillator, setting.board)
        return self.bench.index.get(name)

    def value(self, key: str, setting: Setting) -> float | None:
        """The value of an unknown of a set-up's oscillator and board, SI; None where it is not fitted."""
        place = self.place(key, setting)
        return None if place is None else float(self.fit.values[place])

    def capacitor(self, setting: Setting) -> float:
        """The fitted capacitor of a set-up as it is, F."""
        fitted = self.bench.fitted(setting)
        place = self.bench.index.get(self.bench.capacitor_name(fitted))
        return fitted * (1.0 + (0.0 if place is None else float(self.fit.values[place])))

    def last(self, oscillator: str) -> Setting | None:
        """How an oscillator was set for its last reading that was fitted; None where there is none."""
        settings = [self.bench.setting(self.bench.places[one].row.setting) for one in reversed(self.kept)]
        own = [one for one in settings if one.oscillator == oscillator and not one.tuned]
        return next((one for one in own if not one.bare), own[0] if own else None)

    @property
    def whole(self) -> Problem:
        """The problem of all readings, none left out, to start from what was fitted."""
        starts = (self.fit.coordinates,)
        return Problem(self.bench.unknowns, self.model, self.bench.readings(), self.deviations, starts)

    @property
    def freedom(self) -> int:
        """Readings less unknowns that they tell: of the sum of squares with all priors, simply the readings."""
        return len(self.kept)

    @property
    def chance(self) -> float:
        """Chance of a sum of squares as large, if all stated errors and priors are true, those set aside left out."""
        from scipy.special import chdtrc  # heavy: the sheet of a design that was not fitted needs none of it

        aside = sum(float(self.fit.coordinates[self.bench.index[name]]) ** 2 for name in self.bench.set_aside)
        return float(chdtrc(self.freedom, self.fit.objective - aside))


def solved_bench(
    readings: Readings,
    errors: Errors,
    known: Mapping[str, Known] | None = None,
    design: Design | None = None,
    which: str | None = None,
) -> SolvedBench:
    """Fit the lines. The hand field and the branch come from `design`, which hand distances need.

    which: the oscillator the lines are of that do not say so; None: the variable one if an antenna was plugged, else
    the reference. Ctrl-C ends it with the best fit so far, if there is one. Raises DesignError where the readings
    contradict a tank or name what is not there.
    """
    with of_file(readings.source):
        bench = Bench(readings, errors, known or {}, design, which)
        found = _solved_bench(bench)
        if found.interrupted or not _may_lie_beyond(bench):
            return found
        other = Bench(readings, errors, known or {}, design, which)
        other.lowest_beyond = True
        try:
            return min(found, _solved_bench(other), key=lambda one: (len(one.slips), one.fit.objective))
        except DesignError:
            return found
        except KeyboardInterrupt:
            return replace(found, interrupted=True)


def _solved_bench(bench: Bench) -> SolvedBench:
    values = np.array([one.middle for one in bench.unknowns])
    read = bench.readings()
    near = {bench.setting(place.row.setting): place.value for place in bench.places if place.what == "frequency"}
    lines = {bench.setting(row.setting): row.line for row in reversed(bench.rows)}
    solved: dict[Setting, SolvedSetting] | None = None
    kept: dict[Setting, SteadyState] = {}
    starts, expected = bench.start(), None
    best: SolvedBench | None = None
    holds = False
    try:
        if bench.circuits:
            solved = bench.solve(bench.settings, values, near, kept)
        for _ in range(MOST_ROUNDS):
            model = _model(bench, solved, values, lines)
            if expected is None:
                expected = model.predicted(values)[0]
            deviations = bench.deviations(model, values)
            begun = _with_resonance(bench, model, _with_reference(bench, model, starts))
            fit, slips, places = fit_readings(Problem(bench.unknowns, model, read, deviations, begun))
            model = model.with_modes(fit.problem.model.rows.high)
            starts = (fit.coordinates,)
            best = SolvedBench(bench, fit, slips, places, solved, model, expected, deviations)
            holds = not bench.set_aside_what_contradicts(fit)
            if not holds:
                values, starts = fit.values, bench.start()
                continue
            if solved is None and not bench.bends(fit.values) and bench.steady(deviations, model, fit.values):
                break
            values = fit.values
            if solved is not None:
                solved = bench.solve(bench.settings, values, near, kept)
            again = _model(bench, solved, values, lines).with_modes(model.rows.high)
            if _settled(bench, model, again, values, deviations):
                break
    except KeyboardInterrupt:
        if best is None or not holds:
            raise
        return replace(best, interrupted=True)
    except DesignError:
        raise
    except ValueError as error:
        raise DesignError(f"the readings cannot be used: {error}") from None
    assert best is not None
    return replace(best, solved=solved)


def _settled(bench: Bench, fitted: InstrumentModel, again: InstrumentModel, values: Floats, deviations: Floats) -> bool:
    """Whether the model made anew about these values, circuits and field solved, says what the fitted one says."""
    off = np.abs(again.predicted(values)[0] - fitted.predicted(values)[0])
    within = [SETTLED if place.what == "frequency" else math.inf for place in bench.places]
    logs = np.abs(again.rows.log_frequencies(values)[0] - fitted.rows.log_frequencies(values)[0])
    return bool((off <= np.minimum(within, LEVEL_SETTLED * deviations)).all() and (logs <= SETTLED).all())


@contextmanager
def of_file(source: str) -> Iterator[None]:
    """Name the file of readings that cannot be used."""
    try:
        yield
    except DesignError as error:
        text = str(error)
        named = text.startswith(("line ", "the readings "))
        raise DesignError(f"{source}: {text}" if named else text) from error


def _model(
    bench: Bench, solved: Mapping[Setting, SolvedSetting] | None, values: Floats, lines: Mapping[Setting, int]
) -> InstrumentModel:
    rows = bench.rows_of(bench.settings, solved, values, lines)
    place_of = {setting: place for place, setting in enumerate(bench.settings)}
    made: list[Reading] = []
    signs = beat_signs(bench, [one.value for one in bench.places])
    for place, sign in zip(bench.places, signs, strict=True):
        setting = bench.setting(place.row.setting)
        row = place_of[setting]
        if place.what == "pitch":
            made.append(BeatOf(row, bench.index["reference_frequency"], bench.index["lock_range"], sign))
        elif place.what == CONTROL:
            assert bench.opened is not None
            assert bench.opened.volume is not None
            at, quality, amplitude = (bench.index[name] for name in RESONATOR)
            made.append(ControlOf(row, at, quality, amplitude, bench.opened.volume.rectifier.diode_drop))
        elif place.what in VOLTS:
            assert solved is not None
            made.append(solved[setting].levels[place.what])
        elif setting.tuned:
            made.append(TunedFrequency(bench.index["reference_frequency"]))
        else:
            made.append(FrequencyOf(row))
    return InstrumentModel(rows, tuple(made))


def _may_lie_beyond(bench: Bench) -> bool:
    """Whether pitches were heard farther than the lowest one: then that may itself lie beyond zero beat."""
    heard = [(place.value, distance_of(one)) for place, one in _pitches(bench)]
    return bool(heard) and min(heard)[1] < max(at for _, at in heard)


def _pitches(bench: Bench) -> list[tuple[ReadingPlace, Setting]]:
    return [(place, bench.setting(place.row.setting)) for place in bench.places if place.what == "pitch"]


def _with_reference(bench: Bench, model: InstrumentModel, starts: Sequence[Floats]) -> tuple[Floats, ...]:
    """The starts with the reference where its beats with the variable oscillator, as it would be, are those heard."""
    place = bench.index.get("reference_frequency")
    beats = [one for one in model.readings if isinstance(one, BeatOf)]
    if place is None or not beats or not bench.unknowns[place].free:
        return tuple(starts)
    read = [one.value for one, _ in _pitches(bench)]
    turned = []
    for start in (*starts, np.zeros(len(bench.unknowns))):
        logs = model.rows.log_frequencies(values_of(bench.unknowns, start))[0]
        at = float(
            np.median([math.exp(logs[one.row]) + one.sign * beat for one, beat in zip(beats, read, strict=True)])
        )
        moved, one = start.copy(), bench.unknowns[place]
        moved[place] = math.log(at / one.middle) / one.deviation
        turned.append(moved)
    return tuple(turned)


def _with_resonance(bench: Bench, model: InstrumentModel, starts: tuple[Floats, ...]) -> tuple[Floats, ...]:
    """The starts with the volume side's resonance near the oscillator where the most was rectified."""
    read = {bench.setting(one.row.setting): one.value for one in bench.places if one.what == CONTROL}
    place = bench.index.get("resonance_frequency")
    if not read or place is None or not bench.unknowns[place].free:
        return starts
    row, one = bench.settings.index(max(read, key=lambda setting: read[setting])), bench.unknowns[place]
    turned = []
    for start in (*starts, np.zeros(len(bench.unknowns))):
        values = values_of(bench.unknowns, start)
        at, quality = model.rows.log_frequencies(values)[0][row], float(values[bench.index["resonance_q"]])
        for shift in RESONANCE_STARTS:
            moved = start.copy()
            moved[place] = (at + shift / (2.0 * quality) - math.log(one.middle)) / one.deviation
            turned.append(moved)
    return tuple(turned)
