"""The design that gives its readings back: what was fitted, written into the design that was read.

Every command that reads the written design must find the readings again. So the fitted values go in as they are,
rounded to well below what would move a reading, with capacitor, trimmer and pot as they stood for the last reading of
each oscillator; what the design has no key for (a second trimmer, a probe) goes into the board stray.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np

from models.circuit.oscillator import steady_state
from models.junction import depletion_capacitance
from models.quick_dataclass import dataclass
from models.readings.identify import NOT_TOLD
from models.readings.target import Reach
from models.readings.unknowns import slopes_of
from models.roots import root
from models.tank import required_capacitance
from synth.analysis.fit_devices import device_values, with_fitted_device
from synth.analysis.fit_field import BODY, COMMON_TIE
from synth.analysis.fit_unknowns import RESONATOR
from synth.analysis.fitting import SolvedBench
from synth.analysis.readings import Setting
from synth.build.assembly import tank_in, wired
from synth.build.circuit_assembly import blaming, circuit_of
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design
from synth.designs.oscillator_sections import ReferenceSection, VariableSection
from synth.designs.quantity import format_quantity
from synth.designs.sections import About
from synth.errors import DesignError

FINE: Final = 0.03
"""A value is rounded by at most this share of the change that moves its readings by a standard deviation."""
LEAST_SHARE: Final = 1e-9
STEPS: Final = 12
VAGUE: Final = 0.5
"""Width of the inductance's interval over its value, from which a new design is not written."""
CHAIN_STEPS: Final = 8


@dataclass(frozen=True, slots=True)
class Written:
    """A design made from readings, and what to know of it."""

    design: Design
    notices: tuple[str, ...]


def fitted_design(bench: SolvedBench, reach: Reach | None) -> Written:
    """The bench's design with what was inferred (a plain new one where there is none).

    The fixed capacitor and the trimmer's position are those of `reach` where there is one. Raises DesignError where
    the readings do not hold what a design needs, or give a value that no design takes.
    """
    notices: list[str] = []
    if bench.design is None:
        return Written(_new(bench, reach, notices), tuple(notices))
    design = bench.design
    for oscillator in bench.bench.oscillators:
        setting = bench.last(oscillator)
        if setting is not None:
            design = _with_tank(bench, design, setting, reach if oscillator == bench.which else None, notices)
    design = _with_resonance(bench, _with_earthing(bench, _with_antenna(bench, design)), notices)
    design = _with_tuning(bench, design, notices)
    return Written(design, tuple(notices))


def _new(bench: SolvedBench, reach: Reach | None, notices: list[str]) -> Design:
    setting = bench.last(bench.which)
    coil = None if setting is None else bench.place("inductance", setting)
    value, low, high = (0.0, 0.0, 0.0) if coil is None else bench.fit.interval(coil)
    if setting is None or high - low > VAGUE * value or value == 0.0:
        raise DesignError("-o: the readings do not give the inductance; take the best next reading first")
    values = _tank_values(bench, setting, reach, notices)
    notices += (
        []
        if reach is not None
        else [f"capacitance is the capacitor fitted last, {format_quantity(values['capacitance'], 'F')}"]
    )
    about = About("Bench", "Inferred from bench readings; both tanks alike, everything else as by default.")
    return Design(variable=VariableSection(**values), reference=ReferenceSection(**values), about=about)


def _tank_values(bench: SolvedBench, setting: Setting, reach: Reach | None, notices: list[str]) -> dict[str, Any]:
    """The keys of an oscillator's section from what was fitted of it."""
    inner = bench.bench
    section = inner.section(setting.oscillator)

    def value(key: str) -> float | None:
        place = bench.place(key, setting)
        return None if place is None else float(bench.fit.values[place])

    found: dict[str, Any] = {"inductance": _rounded(bench, "inductance", setting)}
    stray = value("stray") or 0.0
    if setting.fine_trimmer is not None:
        low, high = value("fine_trimmer_minimum") or 0.0, value("fine_trimmer_maximum") or 0.0
        stray += low + setting.fine_trimmer * (high - low)
        notices.append("board stray holds the fine trimmer as it stood for the last reading: a design has one trimmer")
    if setting.probe:
        stray += setting.probe
        notices.append(f"board stray holds the probe of {format_quantity(setting.probe, 'F')} of the last reading")
    if setting.reverse_voltage is not None:
        stray += float(depletion_capacitance(-setting.reverse_voltage, value("junction") or 0.0, 0.75, 1.0 / 3.0))
        notices.append(f"board stray holds the junction as it is at {format_quantity(setting.reverse_voltage, 'V')}")
    if value("self_capacitance") is not None:
        found["self_capacitance"] = _rounded(bench, "self_capacitance", setting)
    found["stray"] = _to_step(stray, _step(bench, bench.place("stray", setting)))
    if setting.trimmer is not None:
        found["trimmer_minimum"] = _rounded(bench, "trimmer_minimum", setting)
        found["trimmer_maximum"] = max(_rounded(bench, "trimmer_maximum", setting), found["trimmer_minimum"])
        found["trimmer"] = setting.trimmer
    elif "trimmer" in inner.columns and section is not None:
        found |= {"trimmer_minimum": 0.0, "trimmer_maximum": 0.0}
        notices.append(f"[{setting.oscillator}] has no trimmer: it was away for the last reading")
    whole = bench.capacitor(setting)
    marking = bench.bench.index.get(bench.bench.capacitor_name(bench.bench.fitted(setting)))
    found["capacitance"] = _to_step(whole, _step(bench, marking) * whole)
    if whole < 1e-12:
        found["capacitance"], found["stray"] = 1e-12, found["stray"] - (1e-12 - whole)
        notices.append("nothing was fitted for the last reading: capacitance is 1 pF, taken from the board stray")
    if reach is not None:
        found["capacitance"] = reach.fitted
        found |= {} if reach.trimmer is None else {"trimmer": reach.trimmer}
    if found["stray"] < 0.0:
        raise DesignError(
            "-o: the readings leave less than 1 pF across the coil; a design takes no board stray below zero: check "
            "readings and markings"
        )
    return found


def _with_tank(bench: SolvedBench, design: Design, setting: Setting, reach: Reach | None, notices: list[str]) -> Design:
    oscillator = setting.oscillator
    values = _tank_values(bench, setting, reach, notices)
    if design.circuit is not None and not bench.bench.circuits:
        untuned = replace(design, tuning=replace(design.tuning, zero_beat=None))
        bare = replace(untuned, **{oscillator: replace(getattr(design, oscillator), **values)})
        section = getattr(bare, oscillator)
        counted = tank_in(bare, oscillator).board_stray - section.stray - section.self_capacitance
        values["stray"] -= counted
        if values["stray"] < 0.0:
            raise DesignError(
                f"-o: the readings leave {values['stray'] * 1e12:.3g} pF of board stray beside what the design counts "
                "for its circuit; check readings and markings"
            )
        notices.append(
            f"board stray is less by {format_quantity(counted, 'F')}, which the design counts for coil and circuit"
        )
    if oscillator == "reference" and values.get("trimmer_maximum") == 0.0 and design.tuning.zero_beat is not None:
        design = replace(design, tuning=replace(design.tuning, zero_beat=None))
        notices.append("zero_beat is left out: without its trimmer the reference cannot be tuned")
    design = replace(design, **{oscillator: replace(getattr(design, oscillator), **values)})
    line = next(row.line for row in reversed(bench.rows) if bench.bench.setting(row.setting) == setting)
    if reach is None:
        notices.append(f"[{oscillator}] stands as for line {line}, the last reading of it")
    circuit = design.circuit
    if circuit is None:
        return design
    if setting.pot is not None:
        turned: dict[str, Any] = {f"{oscillator}_pot": setting.pot}
        circuit = replace(circuit, **turned)
    if setting.supply is not None:
        circuit = replace(circuit, supply_voltage=setting.supply)
    design = replace(design, circuit=circuit)
    if not bench.bench.circuits:
        return design
    there = bench.bench.opened_circuit(oscillator)
    names = [one.name for one in device_values(there) if bench.place(one.name, setting) is not None]
    if not names:
        return design
    if design.circuit is not None and design.circuit.parts is None and len(bench.bench.oscillators) > 1:
        notices.append("[transistor] is that of the oscillator read last: a design has one for all")
    return with_fitted_device(design, oscillator, there, {name: _rounded(bench, name, setting) for name in names})


def _with_earthing(bench: SolvedBench, design: Design) -> Design:
    """Player and common to earth as they were fitted."""
    fit, index = bench.fit, bench.bench.index
    found = {
        name: _to_step(float(fit.values[index[name]]), _step(bench, index[name]))
        for name in (BODY, COMMON_TIE)
        if name in index
    }
    if BODY in found:
        design = replace(design, player=replace(design.player, body_capacitance=found[BODY]))
    if COMMON_TIE in found:
        design = replace(design, common=replace(design.common, to_earth=found[COMMON_TIE]))
    return design


def _with_resonance(bench: SolvedBench, design: Design, notices: list[str]) -> Design:
    """The volume side's resonance and rectifier as they were fitted; its trimmer stands as for the last reading."""
    response, index = design.volume_response, bench.bench.index
    if response is None or "volume" not in bench.bench.oscillators:
        return design
    if response.full_height is not None:
        response = replace(response, full_height=None)
        notices.append("full_height is left out, since it would turn the volume trimmer, which stands as it was read")
    if "resonance_frequency" in index:
        frequency, quality, amplitude = (float(bench.fit.values[index[name]]) for name in RESONATOR)
        capacitance = float(required_capacitance(response.inductance, frequency))
        steps = [_step(bench, index[name]) for name in RESONATOR]
        response = replace(
            response,
            capacitance=_to_step(capacitance, steps[0] * capacitance),
            quality_factor=_to_step(quality, steps[1] * quality),
            amplitude=_to_step(amplitude, steps[2] * amplitude),
        )
    return replace(design, volume_response=response)


def _with_antenna(bench: SolvedBench, design: Design) -> Design:
    for owner, key in (("variable", "antenna"), ("volume", "volume_antenna")):
        setting = next((one for one in bench.bench.settings if one.antenna_plugged and one.oscillator == owner), None)
        if setting is None:
            continue
        stray = _rounded(bench, "antenna_stray", setting)
        design = replace(design, **{key: replace(getattr(design, key), stray=stray)})
        if owner == "variable" and design.branch is not None and bench.place("branch_inductance", setting) is not None:
            whole, before = bench.value("branch_inductance", setting) or 0.0, bench.bench.branch.inductance
            own = _rounded(bench, "branch_self_capacitance", setting)
            inductance = design.branch.inductance * whole / before  # of all chokes of a chain together
            own = max(design.branch.self_capacitance + own - bench.bench.branch.self_capacitance, 0.0)
            step = _step(bench, bench.place("branch_inductance", setting)) * whole
            branch = replace(design.branch, inductance=_to_step(inductance, step), self_capacitance=own)
            design = replace(design, branch=branch)
    return design


def _with_tuning(bench: SolvedBench, design: Design, notices: list[str]) -> Design:
    """Lock range, mode and zero beat from what was read of the beat and of the tuned reference."""
    index, fit = bench.bench.index, bench.fit
    if "lock_range" in index and (design.coupling.lock_range is not None or fit.told(index["lock_range"]) < NOT_TOLD):
        lock = _to_step(float(fit.values[index["lock_range"]]), _step(bench, index["lock_range"]))
        design = replace(design, coupling=replace(design.coupling, lock_range=lock))
    design = _with_mode(bench, design, notices)
    if "reference_frequency" not in index:
        return _with_chain(bench, design)
    target = float(fit.values[index["reference_frequency"]])
    design = _with_chain(bench, _with_reference(design, target, notices))
    opened = opened_in_field(bench, replace(design, tuning=replace(design.tuning, zero_beat=None)))
    instrument, curve, stray = opened.instrument, opened.curve, opened.wired.antenna.stray

    def below(distance: float) -> float:
        return float(instrument.frequency_with(curve.capacitance(distance) + stray)) - target

    near, far = max(curve.nearest, 0.01), min(curve.farthest, 0.80)
    if below(near) * below(far) < 0.0:
        zero = root(below, near, far, xtol=1e-7)
        return replace(design, tuning=replace(design.tuning, zero_beat=round(zero, 5)))
    notices.append("zero_beat is left out: the readings put it beyond the hand's range; the reference's trimmer stays")
    return replace(design, tuning=replace(design.tuning, zero_beat=None))


def _with_chain(bench: SolvedBench, design: Design) -> Design:
    """A chain of chokes that equals the one coil that was fitted: how it does so hangs on the reference's frequency."""
    fit, index, part = bench.fit, bench.bench.index, design.branch
    if part is None or part.chokes <= 1.0 or "branch_inductance" not in index:
        return design
    inductance, own = (float(fit.values[index[f"branch_{key}"]]) for key in ("inductance", "self_capacitance"))
    ends, ratio = bench.bench.ends, bench.bench.tap.ratio
    antenna, variable = design.antenna.stray + ends, design.variable.stray + ends * ratio**2
    for _ in range(CHAIN_STEPS):
        now, branch = wired(design), design.branch
        assert now.branch is not None
        assert branch is not None
        branch = replace(
            branch,
            inductance=branch.inductance * inductance / now.branch.inductance,
            self_capacitance=max(branch.self_capacitance + own - now.branch.self_capacitance, 0.0),
        )
        strays = (
            design.antenna.stray + antenna - now.antenna.stray,
            design.variable.stray + variable - now.variable.stray,
        )
        design = replace(
            design,
            branch=branch,
            antenna=replace(design.antenna, stray=max(strays[0], 0.0)),
            variable=replace(design.variable, stray=max(strays[1], 0.0)),
        )
    return design


def opened_in_field(bench: SolvedBench, design: Design) -> OpenedDesign:
    """A changed design opened in the hand field that is known already."""
    assert bench.bench.field is not None
    values = bench.fit.values
    opened = bench.bench.field.with_ties(bench.bench.ties(values), bench.bench.built(values))
    return OpenedDesign(design, (opened.curve, opened.loop_curve))


def _with_mode(bench: SolvedBench, design: Design, notices: list[str]) -> Design:
    """The mode that the last reading with the antenna was in, where the design would take the other."""
    setting = next(
        (one for one in reversed(bench.bench.settings) if one.antenna_plugged and one.oscillator == "variable"), None
    )
    if setting is None or bench.bench.branch.direct:
        return design
    place = bench.bench.settings.index(setting)
    mode = "high" if bool(bench.model.rows.high[place]) else "low"
    try:
        taken = opened_in_field(bench, replace(design, tuning=replace(design.tuning, zero_beat=None))).pair.mode
    except DesignError:
        taken = ""
    if taken == mode:
        return design
    notices.append(f'tuning.mode is "{mode}", in which the last reading with the antenna was')
    return replace(design, tuning=replace(design.tuning, mode=mode))


def _with_reference(design: Design, target: float, notices: list[str]) -> Design:
    """The reference's trimmer where the reference is at `target`, Hz; where it does not reach, another capacitor."""

    def frequency(trimmer: float, capacitance: float) -> float:
        section = replace(design.reference, trimmer=trimmer, capacitance=capacitance)
        there = replace(design, reference=section)
        if design.law != "circuit":
            return tank_in(there, "reference").frequency
        with blaming(there, "reference"):
            return steady_state(circuit_of(there, "reference")).frequency

    fixed = design.reference.capacitance
    if not frequency(1.0, fixed) <= target <= frequency(0.0, fixed):
        for _ in range(STEPS):
            now = frequency(0.5, fixed)
            if abs(now / target - 1.0) < LEAST_SHARE:
                break
            fixed += (target**-2.0 - now**-2.0) / (4.0 * math.pi**2 * design.reference.inductance)
            if fixed < 1e-12:
                raise DesignError("-o: no capacitor brings the reference to where it was read; check the readings")
        text = format_quantity(fixed, "F")
        notices.append(f"reference.capacitance is {text}: with the design's the trimmer does not reach what was read")
        trimmer = 0.5
    else:
        trimmer = _root(lambda at: frequency(at, fixed) - target)
    return replace(design, reference=replace(design.reference, capacitance=fixed, trimmer=trimmer))


def _root(function: Callable[[float], float]) -> float:
    if function(0.0) == function(1.0):
        return 0.5
    return root(function, 0.0, 1.0, xtol=1e-9)


def _rounded(bench: SolvedBench, key: str, setting: Setting) -> float:
    place = bench.place(key, setting)
    assert place is not None
    value = float(bench.fit.values[place])
    one = bench.fit.problem.unknowns[place]
    return _to_step(value, _step(bench, place) * (value if one.by_ratio else 1.0))


def _step(bench: SolvedBench, place: int | None) -> float:
    """The change of an unknown that moves its readings by FINE of a standard deviation, the others kept; of one that
    counts by ratio, as a ratio."""
    if place is None:
        return 1e-14
    fit, one = bench.fit, bench.fit.problem.unknowns[place]
    length = math.sqrt(float(np.sum(fit.jacobian[:, place] ** 2)) + 1.0)
    return (
        FINE
        / length
        * (one.deviation if one.by_ratio else float(slopes_of([one], fit.coordinates[place : place + 1])[0]))
    )


def _to_step(value: float, step: float) -> float:
    """`value` with no more digits than `step` makes sense of."""
    if value == 0.0 or not step > 0.0:
        return value
    digits = math.floor(math.log10(abs(value))) - math.floor(math.log10(step)) + 1
    return float(f"{value:.{min(max(digits, 1), 15)}g}")
