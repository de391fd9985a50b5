"""The lines of a readings file, with the design they are of, as one problem: unknowns, rows of the model, circuits.

One model for all lines (`models.readings.instrument_model`): each says what was set, and the design says the rest. With
a [circuit] every set-up is solved as a circuit, and its adjoint gives what junction and gain do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import cached_property, partial
from typing import Any, Final

import numpy as np

from models.arrays import Floats
from models.branch.antenna_branch import DIRECT, SeriesInductor
from models.branch.tapped_coil import Tap
from models.builds.tolerance import ToleratedPart
from models.circuit.adjoint import Adjoint, Response, oscillator_adjoint
from models.circuit.drawing import Load, ends_of
from models.circuit.network import GROUND
from models.circuit.oscillator import steady_state
from models.circuit.steady_state import SteadyState
from models.circuit.variable_oscillator import with_antenna
from models.junction import depletion_capacitance
from models.quick_dataclass import dataclass
from models.readings.fit import Fit
from models.readings.instrument_model import InstrumentModel, LevelOf, Rows
from models.readings.unknowns import NORMAL_95
from synth.analysis.fit_devices import device_values, with_device_values
from synth.analysis.fit_field import BODY, COMMON_TIE, STEP, FittedField
from synth.analysis.fit_unknowns import Errors, Known, key_of, unknowns_of
from synth.analysis.readings import BARE, CONTROL, VOLTS, BenchRow, Readings, Setting
from synth.build.circuit_assembly import Circuit, blaming, circuit_of
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import TolerancesSection
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError
from synth.progress_line import ProgressLine

LEAST_PITCH_LIMIT = 0.05  # Hz
DC_LIMIT, SWING_LIMIT, LEAST_VOLTS = 0.02, 0.10, 0.02
"""95 % limits of a DC voltage and of a swing: of meter or screen, and of the resistors; and the least, V."""
LEVEL_STEP: Final = 1e-3
"""Step of an unknown, in its deviations, for the derivatives of volts."""
DEVICE_STEP: Final = 1e-4
"""Relative step of a device's value for its derivatives."""
CONTRADICTED, WIDER = 3.0, 10.0
"""Standard deviations from what was assumed of an unknown at which readings contradict it, and how much wider then."""
SAME_DEVIATION = 0.1
"""Relative change of a reading's deviation with the values, up to which a fit is not made again."""


@dataclass(frozen=True, slots=True)
class ReadingPlace:
    """One reading: the line it stands in, what was read (a column), and its value, SI."""

    row: BenchRow
    what: str
    value: float


@dataclass(frozen=True, slots=True)
class SolvedSetting:
    """What the solved circuit of one set-up adds across its tank: F, and its change (k,) with the unknowns about
    `values`; its frequency, Hz; what was read of it in volts, by column."""

    added: float
    slopes: Floats
    frequency: float
    levels: Mapping[str, LevelOf]


class Bench:
    """The lines of a file with the design that they are of: unknowns, rows of the model, circuits."""

    def __init__(
        self,
        readings: Readings,
        errors: Errors,
        known: Mapping[str, Known],
        design: Design | None,
        which: str | None,
    ) -> None:
        self.rows, self.columns, self.errors, self.known = readings.rows, readings.columns, errors, dict(known)
        self.source = readings.source
        self.design = design
        self.opened = None if design is None else OpenedDesign(design)
        self.field = None if self.opened is None else FittedField(self.opened)
        plugged = any(row.setting.antenna_plugged for row in self.rows)
        self.which = which or ("variable" if plugged else "reference")
        _refuse(self, which)
        self.places = tuple(ReadingPlace(row, what, value) for row in self.rows for what, value in row.read.items())
        self.settings = tuple(dict.fromkeys(self.setting(row.setting) for row in self.rows))
        self.oscillators = tuple(dict.fromkeys(self.oscillator(one) for one in self.settings if not one.tuned))
        self.boards = tuple(dict.fromkeys(one.board for one in self.settings if not one.bare))
        self.set_aside: dict[str, float] = {}
        self.lowest_beyond = False
        self.unknowns = unknowns_of(self)
        self.index = {one.name: place for place, one in enumerate(self.unknowns)}

    def setting(self, setting: Setting) -> Setting:
        """What was set, with the oscillator that it is of."""
        return replace(
            setting, oscillator=setting.oscillator or ("variable" if setting.antenna_plugged else self.which)
        )

    @staticmethod
    def oscillator(setting: Setting) -> str:
        """The oscillator that a set-up (of `settings`) is of."""
        return setting.oscillator

    def named(self, key: str, oscillator: str, board: str = "") -> str:
        """The name of an unknown: with the oscillator, and of a stray the board, where there are more."""
        text = key if len(self.oscillators) < 2 else f"{oscillator} {key}"
        return f"{text} on {board or 'the board not named'}" if key == "stray" and len(self.boards) > 1 else text

    def section(self, oscillator: str) -> Any:
        """The design's section of an oscillator; None without a design."""
        return None if self.design is None else getattr(self.design, oscillator)

    @property
    def circuits(self) -> bool:
        """Whether set-ups are solved as circuits."""
        return self.design is not None and self.design.law == "circuit"

    @staticmethod
    def capacitor_name(marking: float) -> str:
        """The name of the unknown error of a fitted capacitor, F as marked."""
        return f"capacitor {format_quantity(marking, 'F', None)}"

    def nearest(self, setting: Setting, solved: Mapping[Setting, SolvedSetting]) -> Setting:
        """The most similar of the set-ups that are solved."""
        own = [one for one in solved if one.oscillator == setting.oscillator] or list(solved)

        def distance(one: Setting) -> tuple[bool, bool, float, float]:
            fitted = abs(math.log((self.fitted(one) + 1e-12) / (self.fitted(setting) + 1e-12)))
            turned = abs((one.trimmer or 0.0) - (setting.trimmer or 0.0))
            return one.antenna_plugged != setting.antenna_plugged, one.pot != setting.pot, fitted, turned

        return min(own, key=distance)

    def fitted(self, setting: Setting) -> float:
        """The fitted capacitor as marked, F."""
        if setting.fitted_capacitor is not None:
            return setting.fitted_capacitor
        section = self.section(self.oscillator(setting))
        return 0.0 if section is None else float(section.capacitance)

    @cached_property
    def capacitor_deviation(self) -> float:
        """Standard deviation of a fitted capacitor's relative error: one of its tolerance scatters as `tolerance` has
        it, by [tolerances] of the design (left out: evenly within its limits)."""
        tolerances = (None if self.design is None else self.design.tolerances) or TolerancesSection()
        return ToleratedPart("capacitor", "", 1.0, self.errors.capacitor_ratio, tolerances.parts).sigma

    def deviation(self, place: ReadingPlace) -> float:
        """Standard deviation of a reading in the units of the model: of the logarithm of a frequency, else SI."""
        if place.what == "frequency":
            return self.errors.counter_deviation(place.value)
        if place.what in VOLTS or place.what == CONTROL:
            limit = SWING_LIMIT if place.what == "swing" else DC_LIMIT
            return max(limit * abs(place.value), LEAST_VOLTS) / NORMAL_95
        share: float = 2.0 ** (self.errors.pitch_cents / 1200.0) - 1.0
        return max(place.value * share, LEAST_PITCH_LIMIT) / NORMAL_95

    def readings(self) -> Floats:
        """What was read, in the units of the model, (n,)."""
        return np.array([math.log(one.value) if one.what == "frequency" else one.value for one in self.places])

    def deviations(self, model: InstrumentModel, values: Floats) -> Floats:
        """Standard deviations of the readings in the units of the model, (n,): each its own, and what the error of the
        hand's distance makes of it at these values, added in squares."""
        own = np.array([self.deviation(one) for one in self.places])
        moved = replace(model, rows=self.with_hands_off(self.settings, model.rows, values))
        return np.asarray(np.hypot(own, moved.predicted(values)[0] - model.predicted(values)[0]))

    def with_hands_off(self, settings: Sequence[Setting], rows: Rows, values: Floats) -> Rows:
        """The rows of these set-ups with every hand a standard deviation farther than it was said to be."""
        off, offsets = self.errors.hand_distance / NORMAL_95, rows.offsets.copy()
        for row, setting in enumerate(settings):
            at = setting.hand_distance
            if self.field is None or at is None or setting.tuned or off == 0.0:
                continue
            curve = self.field.curve(setting, self.ties(values), self.built(values))
            there = float(curve.capacitance(at + off if at + off <= curve.farthest else at - off))
            turned = self.tap.ratio**2 if self.oscillator(setting) == "variable" else 1.0
            offsets[3, row] += (there - float(curve.capacitance(at))) * turned
        return Rows(offsets, rows.shares, rows.high, rows.pull)

    @cached_property
    def branch(self) -> SeriesInductor:
        """The series inductor of the variable oscillator."""
        return DIRECT if self.opened is None else self.opened.branch

    @cached_property
    def ends(self) -> float:
        """What the joints of a chain of chokes add at either end of it, F; they go with the antenna."""
        return 0.0 if self.opened is None else self.opened.wired.antenna.stray - self.opened.design.antenna.stray

    @cached_property
    def tap(self) -> Tap:
        """Where the branch is joined to the coil."""
        return Tap() if self.opened is None else self.opened.tap

    def ties(self, values: Floats) -> dict[str, float]:
        """What joins player and common to earth, F, where it is an unknown."""
        names = () if self.field is None else self.field.names
        return {name: float(values[self.index[name]]) for name in names}

    def bends(self, values: Floats) -> bool:
        """Whether the field hangs on the unknowns, so that the model is straight in them only nearby."""
        if self.field is None or not any(one.antenna_plugged for one in self.settings):
            return False
        return bool(self.ties(values)) or self.field.hangs_on_parts

    def steady(self, deviations: Floats, model: InstrumentModel, values: Floats) -> bool:
        """Whether the deviations with which a fit was made are those at its values."""
        return bool((np.abs(self.deviations(model, values) / deviations - 1.0) < SAME_DEVIATION).all())

    def antenna(self, setting: Setting, line: int, values: Floats) -> float | None:
        """Capacitance of the antenna as the hand stood, F, without stray; None: unplugged."""
        if not setting.antenna_plugged or self.field is None:
            return None
        return self.field.capacitance(setting, line, self.ties(values), self.built(values))

    def opened_circuit(self, oscillator: str) -> Circuit:
        """The circuit of an oscillator as the design has it."""
        assert self.opened is not None
        return self.opened.circuits[oscillator]

    @cached_property
    def markings(self) -> tuple[float, ...]:
        """The fitted capacitors as marked, F, each once."""
        return tuple(sorted({self.fitted(one) for one in self.settings if not one.tuned} - {0.0}))

    # ---- rows

    def rows_of(
        self,
        settings: Sequence[Setting],
        solved: Mapping[Setting, SolvedSetting] | None,
        values: Floats,
        lines: Mapping[Setting, int] | None = None,
    ) -> Rows:
        """The rows of the model for these set-ups; `solved` about `values`: what their circuits add."""
        size = len(self.unknowns)
        offsets, shares = np.zeros((5, len(settings))), np.zeros((5, len(settings), size))
        high, pull = np.zeros(len(settings), dtype=bool), np.zeros((len(settings), size))
        for row, setting in enumerate(settings):
            self._tank_row(setting, offsets[:, row], shares[:, row])
            self._antenna_row(setting, offsets[:, row], shares[:, row], (lines or {}).get(setting, 0), values)
            if solved and not setting.tuned and not setting.bare:
                known = solved.get(setting) or solved[self.nearest(setting, solved)]
                offsets[1, row] += known.added - known.slopes @ values
                shares[1, row] += known.slopes
        if "pull" in self.index:
            pull[:, self.index["pull"]] = [0.0 if one.bare else 1.0 for one in settings]
            made = Rows(offsets, shares, high, pull)
            start = np.array([one.middle for one in self.unknowns])
            pull[:, self.index["pull with frequency"]] = self._log_read(settings, made.log_frequencies(start)[0])
        return Rows(offsets, shares, self._usual_modes(offsets, shares, values), pull)

    def _log_read(self, settings: Sequence[Setting], otherwise: Floats) -> Floats:
        """Logarithms of the frequencies read, less their mean: what was read of other set-ups, as the model has it."""
        read = {self.setting(row.setting): row.read["frequency"] for row in self.rows if "frequency" in row.read}
        middle = float(np.mean(np.log(list(read.values())))) if read else 0.0
        return np.array(
            [
                math.log(read[one]) - middle if one in read else (float(at) - middle if read else 0.0)
                for one, at in zip(settings, otherwise, strict=True)
            ]
        )

    def _usual_modes(self, offsets: Floats, shares: Floats, values: Floats) -> Any:
        """The upper mode where the antenna's branch resonates below the tank: a first guess, the fit settles it."""
        l0, c0, la, ca, cs = offsets + shares @ values
        return np.asarray(la * (ca + cs) > l0 * c0)

    def _tank_row(self, setting: Setting, offsets: Floats, shares: Floats) -> None:
        if setting.tuned:
            offsets[0], offsets[1] = 1.0, 1.0
            return
        oscillator, section = self.oscillator(setting), self.section(self.oscillator(setting))

        def add(key: str, share: float, argument: int = 1, board: str = "") -> bool:
            place = self.index.get(self.named(key, oscillator, board))
            if place is not None:
                shares[argument, place] += share
            return place is not None

        fitted = self.fitted(setting)
        add("inductance", 1.0, 0)
        if not setting.bare:
            add("stray", 1.0, board=setting.board)
        offsets[1] = fitted + (setting.probe or 0.0)
        add("self_capacitance", 1.0)
        marking = self.index.get(self.capacitor_name(fitted))
        if marking is not None:
            shares[1, marking] += fitted
        if setting.trimmer is not None:
            add("trimmer_minimum", 1.0 - setting.trimmer)
            add("trimmer_maximum", setting.trimmer)
        elif section is not None and "trimmer" not in self.columns and not setting.bare:
            offsets[1] += section.trimmer_minimum + section.trimmer * (
                section.trimmer_maximum - section.trimmer_minimum
            )
        if setting.fine_trimmer is not None:
            add("fine_trimmer_minimum", 1.0 - setting.fine_trimmer)
            add("fine_trimmer_maximum", setting.fine_trimmer)
        if setting.reverse_voltage is not None:
            add("junction", float(depletion_capacitance(-setting.reverse_voltage, 1.0, 0.75, 1.0 / 3.0)))

    def _antenna_row(self, setting: Setting, offsets: Floats, shares: Floats, line: int, values: Floats) -> None:
        antenna = self.antenna(setting, line, values)
        if antenna is None or setting.tuned or self.field is None:
            return
        oscillator = self.oscillator(setting)
        turned = self.tap.ratio**2 if oscillator == "variable" else 1.0
        ends = self.ends if oscillator == "variable" else 0.0
        offsets[1] += ends * turned
        offsets[3] = (antenna + ends) * turned
        shares[3, self.index[self.named("antenna_stray", oscillator)]] = turned
        ties = self.ties(values)
        steps = {name: STEP * self.unknowns[self.index[name]].deviation for name in ties}
        steps = {name: step for name, step in steps.items() if step > 0.0}
        for name, slope in self.field.slopes(setting, line, ties, steps, self.built(values)).items():
            shares[3, self.index[name]] = slope * turned
            offsets[3] -= slope * turned * ties[name]
        if oscillator == "variable" and not self.branch.direct:
            shares[2, self.index["branch_inductance"]] = 1.0 / turned
            shares[4, self.index["branch_self_capacitance"]] = turned

    def _value(self, key: str, setting: Setting, values: Floats) -> float | None:
        """The value of an unknown of a set-up's oscillator and board; None where it is none."""
        place = self.index.get(self.named(key, setting.oscillator, setting.board))
        return None if place is None else float(values[place])

    def _section_at(self, setting: Setting, values: Floats, beside: float = 0.0) -> Any:
        """The design's section of a set-up's oscillator with these values, `beside` F more across its tank."""
        section = self.section(setting.oscillator)
        fitted = self.fitted(setting)
        marking = self.index.get(self.capacitor_name(fitted))
        whole = fitted * (1.0 + (0.0 if marking is None else float(values[marking])))

        def value(key: str) -> float:
            return self._value(key, setting, values) or 0.0

        stray = value("stray") + (setting.probe or 0.0) + beside
        if setting.fine_trimmer is not None:
            low, high = value("fine_trimmer_minimum"), value("fine_trimmer_maximum")
            stray += low + setting.fine_trimmer * (high - low)
        changed: dict[str, Any] = {"inductance": value("inductance"), "capacitance": max(whole, 1e-12)}
        changed["stray"] = stray + min(whole - 1e-12, 0.0)
        changed["self_capacitance"] = value("self_capacitance")
        if setting.trimmer is not None:
            changed |= {"trimmer_minimum": value("trimmer_minimum"), "trimmer_maximum": value("trimmer_maximum")}
            changed["trimmer_maximum"] = max(changed["trimmer_maximum"], changed["trimmer_minimum"])
            changed["trimmer"] = setting.trimmer
        elif "trimmer" in self.columns:
            changed |= {"trimmer_minimum": 0.0, "trimmer_maximum": 0.0}
        return replace(section, **_within(section, changed))

    def built(self, values: Floats) -> Design:
        """The design with every oscillator as for its last reading, where an antenna hangs on the other's parts."""
        design = self.design
        assert design is not None
        if self.field is None or not self.field.hangs_on_parts:
            return design
        for oscillator, key in (("variable", "antenna"), ("volume", "volume_antenna")):
            own = [one for one in self.settings if one.oscillator == oscillator and not one.tuned and not one.bare]
            if not own:
                continue
            design = replace(design, **{oscillator: self._section_at(own[-1], values)})
            stray = self._value("antenna_stray", own[-1], values)
            if stray is not None:
                design = replace(design, **{key: replace(getattr(design, key), stray=stray)})
        return replace(design, tuning=replace(design.tuning, zero_beat=None))

    # ---- circuits

    def circuit(self, setting: Setting, values: Floats) -> Circuit:
        """The circuit of a set-up with these values of the unknowns."""
        assert self.design is not None
        oscillator = self.oscillator(setting)

        def value(key: str) -> float | None:
            return self._value(key, setting, values)

        antenna = self.antenna(setting, 0, values)
        ends = 0.0 if antenna is None or oscillator != "variable" else self.ends
        section = self._section_at(setting, values, ends * self.tap.ratio**2)
        untuned = replace(self.design, tuning=replace(self.design.tuning, zero_beat=None))
        design = replace(untuned, **{oscillator: section})
        if setting.supply is not None and design.circuit is not None:
            design = replace(design, circuit=replace(design.circuit, supply_voltage=setting.supply))
        circuit = circuit_of(design, oscillator)
        found = {one.name: value(one.name) for one in device_values(circuit)}
        circuit = with_device_values(circuit, {name: at for name, at in found.items() if at is not None})
        if setting.pot is not None:
            circuit = circuit.with_pot(setting.pot)
        if setting.load is not None:
            node = circuit.load or Load()
            circuit = replace(circuit, load=Load(setting.load, node.capacitance))
        if antenna is None:
            return circuit
        stray = (value("antenna_stray") or 0.0) + ends
        if oscillator == "volume" or self.branch.direct:
            ratio = self.tap.ratio if oscillator == "variable" else 1.0
            return with_antenna(circuit, max(antenna + stray, 1e-15), DIRECT, ratio)
        branch = replace(
            self.branch,
            inductance=float(values[self.index["branch_inductance"]]),
            self_capacitance=max(float(values[self.index["branch_self_capacitance"]]), 0.0),
        )
        return with_antenna(circuit, max(antenna + stray, 1e-15), branch, self.tap.ratio)

    def solve(
        self,
        settings: Iterable[Setting],
        values: Floats,
        near: Mapping[Setting, float],
        kept: dict[Setting, SteadyState],
    ) -> dict[Setting, SolvedSetting]:
        """Solve the circuits of these set-ups; `near`: frequencies whose mode is meant, Hz; `kept`: earlier states."""
        found: dict[Setting, SolvedSetting] = {}
        picked = [one for one in settings if not one.tuned and not one.bare]
        bare = self.rows_of(picked, None, values)
        with ProgressLine("solving the circuits of the readings") as line:
            for row, setting in enumerate(line.each(picked)):
                found[setting] = self._solved(setting, values, near, kept, partial(bare.needed, row, values))
        return found

    def _solved(
        self,
        setting: Setting,
        values: Floats,
        near: Mapping[Setting, float],
        kept: dict[Setting, SteadyState],
        needed: Callable[[float], float],
    ) -> SolvedSetting:
        """Solve the circuit of one set-up; `needed`: capacitance, F, that its resonance lacks for a frequency, Hz."""
        assert self.design is not None
        oscillator = self.oscillator(setting)
        with _of_line(self, setting), blaming(self.design, oscillator):
            circuit = self.circuit(setting, values)
            state = steady_state(circuit, warm_start=kept.get(setting), near_frequency=near.get(setting))
            kept[setting] = state
            adjoint = oscillator_adjoint(state)
            added = needed(state.frequency)
            slopes = np.zeros(len(self.unknowns))
            by_farad = adjoint.frequency_shift(adjoint.disturbance_of("board_stray"))
            for one in device_values(circuit):
                place = self.index.get(self.named(one.name, oscillator, setting.board))
                if place is None:
                    continue
                step = DEVICE_STEP * float(values[place])
                near_by = [with_device_values(circuit, {one.name: float(values[place]) + by}) for by in (-step, step)]
                shifts = [adjoint.frequency_shift(adjoint.disturbance_to(moved)) for moved in near_by]
                slopes[place] = (shifts[1] - shifts[0]) / (2.0 * step) / by_farad
            return SolvedSetting(added, slopes, state.frequency, self._levels(setting, values, adjoint))

    def _levels(self, setting: Setting, values: Floats, adjoint: Adjoint) -> dict[str, LevelOf]:
        """What was read in volts of a set-up, straight in the unknowns about its solved circuit."""
        asked = dict.fromkeys(place.what for place in self.places if self.setting(place.row.setting) == setting)
        points = [what for what in asked if what in VOLTS]
        if not points:
            return {}
        before = {what: _level(adjoint.state, what) for what in points}
        slopes = self._slopes_of_levels(setting, values, adjoint, points)
        return {what: LevelOf(before[what] - float(slopes[what] @ values), slopes[what]) for what in points}

    def _slopes_of_levels(
        self, setting: Setting, values: Floats, adjoint: Adjoint, points: Iterable[str]
    ) -> dict[str, Floats]:
        """Changes of volts with the unknowns, by the adjoint's linearised circuit."""
        slopes = {what: np.zeros(len(self.unknowns)) for what in points}
        for place, one in enumerate(self.unknowns):
            if not one.free or one.nuisance or one.name in ("reference_frequency", "lock_range"):
                continue
            step = LEVEL_STEP * one.deviation * (float(values[place]) if one.by_ratio else 1.0)
            by = np.zeros(len(values))
            by[place] = step
            circuits = [self.circuit(setting, values + sign * by) for sign in (-1.0, 1.0)]
            if circuits[0] == circuits[1]:
                continue
            low, high = (adjoint.disturbance_to(circuit) for circuit in circuits)
            response = adjoint.response((high - low) / (2.0 * step))
            for what in points:
                slopes[what][place] = _level_change(adjoint, response, what)
        return slopes

    def set_aside_what_contradicts(self, fit: Fit) -> bool:
        """Assume less of what the readings contradict clearly, so that a wrong design spoils nothing; whether any was.

        What was said by --known stays.
        """
        found = [
            one
            for one, at in zip(self.unknowns, fit.coordinates.tolist(), strict=True)
            if abs(at) > CONTRADICTED and not one.nuisance and one.name not in (*self.set_aside, BODY, COMMON_TIE)
        ]
        found = [one for one in found if key_of(one.name) not in self.known]
        self.set_aside |= {one.name: one.deviation for one in found}
        wider = {one.name: replace(one, deviation=WIDER * one.deviation) for one in found}
        self.unknowns = tuple(wider.get(one.name, one) for one in self.unknowns)
        return bool(found)

    def start(self) -> tuple[Floats, ...]:
        """Coordinates to start at: inductance and stray by the middle slope of 1/omega^2 against the capacitor."""
        points = []
        for oscillator in self.oscillators:
            name = self.named("inductance", oscillator)
            own = [
                (self.fitted(one), (2.0 * math.pi * place.value) ** -2.0)
                for place in self.places
                if place.what == "frequency"
                and not (one := self.setting(place.row.setting)).antenna_plugged
                and not one.tuned
                and self.oscillator(one) == oscillator
            ]
            slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a in own for b in own if b[0] > a[0]]
            middle = float(np.median(slopes)) if slopes else 0.0
            if middle > 0.0 and self.unknowns[self.index[name]].free:
                coil = self.unknowns[self.index[name]]
                point = np.zeros(len(self.unknowns))
                point[self.index[name]] = math.log(middle / coil.middle) / coil.deviation
                rest = float(np.median([squared / middle - fitted for fitted, squared in own]))
                for board in self.boards:
                    place = self.index.get(self.named("stray", oscillator, board))
                    if place is not None and self.unknowns[place].free:
                        stray = self.unknowns[place]
                        point[place] = (max(rest, 0.0) - stray.middle) / stray.deviation
                points.append(point)
            elif own:
                points.append(self._with_stray_for(oscillator, *own[0]))
        return tuple(points)

    def _with_stray_for(self, oscillator: str, fitted: float, squared: float) -> Floats:
        """The start at which the usual coil and what stray it leaves explain one reading, 1/omega^2."""
        point = np.zeros(len(self.unknowns))
        coil = self.unknowns[self.index[self.named("inductance", oscillator)]]
        for board in self.boards:
            place = self.index.get(self.named("stray", oscillator, board))
            if place is not None and self.unknowns[place].free:
                stray = self.unknowns[place]
                point[place] = max(squared / coil.middle - fitted - stray.middle, -stray.middle) / stray.deviation
        return point


def beat_signs(bench: Bench, read: Sequence[float]) -> tuple[float, ...]:
    """Of every place the sign of a beat that reads so, Hz: -1 with the hand farther than zero beat, that is farther
    than where the lowest pitch was heard (itself, where the bench has `lowest_beyond`); 1 elsewhere."""
    heard = [
        (distance_of(bench.setting(place.row.setting)), value)
        for place, value in zip(bench.places, read, strict=True)
        if place.what == "pitch"
    ]
    zero = min(heard, key=lambda row: row[1])[0] if heard else math.inf
    distances = [distance_of(bench.setting(place.row.setting)) for place in bench.places]
    return tuple(-1.0 if at > zero or (bench.lowest_beyond and at == zero) else 1.0 for at in distances)


def distance_of(setting: Setting) -> float:
    return math.inf if setting.hand_distance is None else setting.hand_distance


@contextmanager
def _of_line(bench: Bench, setting: Setting) -> Iterator[None]:
    """Name the line of a set-up that cannot be solved."""
    try:
        yield
    except DesignError as error:
        line = next((row.line for row in bench.rows if bench.setting(row.setting) == setting), None)
        raise DesignError(f"{'' if line is None else f'line {line}: '}{error}") from error


def _level(state: SteadyState, what: str) -> float:
    """A voltage of a solved circuit: DC of an end of its device while it oscillates, or the swing of the tank's hot
    end, V."""
    if what == "swing":
        return state.peak_to_peak(state.hot)
    node = _end_read(state, what)
    return float(state.coefficients(node)[0].real) if node != GROUND else 0.0


def _level_change(adjoint: Adjoint, response: Response, what: str) -> float:
    """What a response adds to such a voltage, V."""
    if what == "swing":
        return adjoint.level_changes(response, adjoint.state.hot)[1]
    node = _end_read(adjoint.state, what)
    return adjoint.level_changes(response, node)[0] if node != GROUND else 0.0


def _end_read(state: SteadyState, what: str) -> str:
    """The node of the end of a circuit's device that a DC reading is of."""
    device = state.circuit.drawing().devices[0]
    ends = dict(zip(ends_of(device.what), device.ends, strict=True))
    end = what.removeprefix("dc_")
    if end not in ends:
        named = ", ".join(f"dc_{one}" for one in ends)
        raise DesignError(f"{what}: the device of this oscillator has no {end}; its ends are {named}")
    return ends[end]


def _refuse(bench: Bench, which: str | None) -> None:
    """Raise DesignError where lines need what is not there."""
    design = bench.design
    for row in bench.rows:
        setting, place = row.setting, f"line {row.line}"
        if setting.antenna_plugged and design is None:
            raise DesignError(
                f"{place}: hand_distance needs --design DESIGN: antenna, cabinet, player and branch are read from it"
            )
        if setting.pot is not None and not bench.circuits:
            raise DesignError(
                f"{place}: pot needs --design DESIGN with a [circuit]: what it does is computed from that"
            )
        if (setting.supply is not None or setting.load is not None) and not bench.circuits:
            raise DesignError(f"{place}: supply and load need --design DESIGN with a [circuit]")
        if setting.reverse_voltage is not None and bench.circuits:
            raise DesignError(
                f"{place}: with a [circuit] the junction follows from it; give pot in place of reverse_voltage"
            )
        if setting.fitted_capacitor is None and design is None and not setting.tuned:
            raise DesignError(
                f"{place}: fitted_capacitor is missing; only with --design can it be as the design has it"
            )
        if setting.antenna_plugged and (setting.oscillator or which or "variable") == "reference":
            raise DesignError(f"{place}: hand_distance: the antenna is not on the reference oscillator")
        if setting.oscillator == "volume" and (design is None or design.volume is None):
            raise DesignError(f"{place}: oscillator = 'volume' needs --design DESIGN with a volume oscillator")
        if any(what in VOLTS for what in row.read) and not bench.circuits:
            volts = next(what for what in row.read if what in VOLTS)
            raise DesignError(f"{place}: {volts} needs --design DESIGN with a [circuit]: what it should be is solved")
        if CONTROL in row.read and (setting.oscillator != "volume" or not setting.antenna_plugged):
            raise DesignError(
                f"{place}: control is the rectified voltage of the volume side: write oscillator = volume, and the "
                "hand's height in hand_distance (or away)"
            )
        if setting.bare and (setting.antenna_plugged or setting.trimmer is not None or set(row.read) != {"frequency"}):
            raise DesignError(
                f"{place}: board = {BARE!r} is the coil alone with the fitted capacitor: only its frequency can be read"
            )
        if "pitch" in row.read and design is None:
            raise DesignError(f"{place}: pitch needs --design DESIGN")


def _within(section: Any, changed: Mapping[str, Any]) -> dict[str, Any]:
    """Values kept within the domains of the design's keys, so that a circuit can be tried."""
    return {
        name: min(max(float(value), section.keys[name].low), section.keys[name].high) for name, value in changed.items()
    }
