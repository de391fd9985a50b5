"""A fitted bench written back as a design: the measured inductance and capacitances in place of those assumed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from models.junction import depletion_capacitance
from models.readings.fit import Fit, unit_direction
from models.readings.tank_model import PICO
from models.readings.target import Reach
from synth.analysis.fitting import SolvedBench
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.designs.sections import About, ReferenceSection, VariableSection
from synth.errors import DesignError


def counted_beside(bench: SolvedBench) -> float:
    """Capacitance, F, that the bench's design counts beside its key `stray`: the coil's own and, with a [circuit], the
    divider and the junction of the transistor at rest. 0 without a design.
    """
    opened, which = bench.opened, bench.which
    return 0.0 if opened is None else opened.tanks[which].board_stray - getattr(opened.design, which).stray


def fitted_design(bench: SolvedBench, reach: Reach | None) -> tuple[Design, tuple[str, ...]]:
    """The bench's design with what was inferred (a plain new one where there is none), and what to know of it.

    The fixed capacitor and the trimmer's position are those of `reach` where there is one. Raises DesignError where
    the readings do not hold what a design needs, or give a value that no design takes.
    """
    fit, design, which = bench.fit, bench.design, bench.which
    notices: list[str] = []
    inductance = fit.interval("inductance")
    if inductance is None:
        raise DesignError("-o: the readings do not give the inductance; take the best next reading first")
    values: dict[str, Any] = {"inductance": inductance[0]}
    stray, ends = _stray_and_trimmer(fit, notices)
    beside = counted_beside(bench)
    stray -= beside
    if beside:
        notices.append(f"stray is less by {format_quantity(beside, 'F')}, which the design counts for coil and circuit")
    if "junction" in fit.names:
        stray += _junction(fit, notices)
    if stray < 0.0:
        raise DesignError(
            f"-o: the readings leave {stray * 1e12:.3g} pF of stray; a design takes none below zero: check readings, "
            "markings and what the design counts beside it"
        )
    values["stray"] = stray
    if ends is not None:
        values |= {"trimmer_minimum": ends[0], "trimmer_maximum": ends[1]}
    fitted = [row.fitted_capacitor for row in bench.rows if row.fitted_capacitor > 0.0]
    if reach is not None:
        values["capacitance"] = reach.fitted
        values |= {} if reach.trimmer is None else {"trimmer": reach.trimmer}
    elif design is None:
        values["capacitance"] = fitted[-1] if fitted else 100e-12
        notices.append(f"capacitance is the capacitor fitted last, {format_quantity(values['capacitance'], 'F')}")
    if design is None:
        about = About("Bench", "Inferred from bench readings; both tanks alike, everything else as by default.")
        return Design(variable=VariableSection(**values), reference=ReferenceSection(**values), about=about), tuple(
            notices
        )
    whole = replace(design, **{which: replace(getattr(design, which), **values)})
    antenna = fit.interval("antenna_stray") if "antenna_stray" in fit.names else None
    if antenna is not None:
        whole = replace(whole, antenna=replace(whole.antenna, stray=antenna[0]))
    return whole, tuple(notices)


def _stray_and_trimmer(fit: Fit, notices: list[str]) -> tuple[float, tuple[float, float] | None]:
    """Stray, F, and both ends of the trimmer; where only sums are held, an equal tank with a trimmer from zero."""
    names = {"stray", "trimmer_minimum", "trimmer_maximum"}
    single = {name: fit.interval(name) for name in names if name in fit.names or name in fit.given.known}
    trimmed = "trimmer_minimum" in single
    held = {name: interval[0] for name, interval in single.items() if interval is not None}
    if len(held) == len(single):
        return held["stray"], (held["trimmer_minimum"], held["trimmer_maximum"]) if trimmed else None
    low, high = (unit_direction("stray") + unit_direction(f"trimmer_{end}") for end in ("minimum", "maximum"))
    if trimmed and fit.held(low) and fit.held(high):
        notices.append("stray holds the trimmer's minimum: only their sum was read; the trimmer then begins at 0 pF")
        out, full = fit.combination(low)[0] * PICO, fit.combination(high)[0] * PICO
        return out, (0.0, full - out)
    raise DesignError("-o: the readings do not give the stray; take the best next reading first")


def _junction(fit: Fit, notices: list[str]) -> float:
    """The junction at the voltage read last, F."""
    found = fit.interval("junction")
    voltages = [reading.reverse_voltage for reading in fit.given.readings if reading.reverse_voltage is not None]
    if found is None:
        raise DesignError("-o: the readings do not tell the junction from the stray; take the best next reading first")
    around = fit.given.surroundings
    there = float(depletion_capacitance(-voltages[-1], found[0], around.junction_potential, around.junction_grading))
    notices.append(f"stray holds the junction as it is at {format_quantity(voltages[-1], 'V')}")
    return there
