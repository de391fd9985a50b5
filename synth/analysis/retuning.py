"""How a built instrument is brought to the field that was wanted: which trimmer by how much, or which capacitor."""

from __future__ import annotations

from dataclasses import replace

from synth.analysis.fit_design import opened_in_field
from synth.analysis.fitting import SolvedBench
from synth.analysis.readings import Setting
from synth.designs.design_file import Design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError

SMALL_TURN = 0.005  # of a trimmer: less cannot be seen on it
SMALL_SHIFT = 2e-4
"""Relative difference of the variable oscillator's frequency from the designed one, below which it is left alone."""


def retuning(bench: SolvedBench, built: Design) -> tuple[str, ...]:
    """Sentences; none where nothing is to be done, and without a design.

    First the variable oscillator, with nobody near, to the frequency that it was designed for: the series inductor and
    the antenna were chosen for that one. Then the reference, for zero beat where it was wanted.
    """
    if bench.design is None:
        return ()
    try:
        first = _variable(bench, built)
        return (*first, *_reference(bench, built, "with the variable oscillator left as it is, " if first else ""))
    except DesignError as error:
        return (f"no advice on retuning: {error}",)


def _variable(bench: SolvedBench, built: Design) -> list[str]:
    design, inner, opened = bench.design, bench.bench, bench.opened
    last = bench.last("variable")
    if design is None or opened is None or last is None:
        return []
    wanted = float(opened.instrument.frequency_with(opened.curve.empty_capacitance + opened.wired.antenna.stray))
    as_built = opened_in_field(bench, built)
    now = float(as_built.instrument.frequency_with(opened.curve.empty_capacitance + as_built.wired.antenna.stray))
    if abs(now / wanted - 1.0) < SMALL_SHIFT:
        return []
    if "antenna_stray" not in "".join(inner.index):
        return [f"the variable oscillator would run at {_khz(now)} with nobody near, designed for {_khz(wanted)}"]
    away: Setting = replace(last, hand_distance=None, away=True)
    place = inner.settings.index(last)
    rows = inner.rows_of([away], bench.solved, bench.fit.values).with_modes(bench.model.rows.high[place : place + 1])
    more = rows.needed(0, bench.fit.values, wanted) - rows.needed(0, bench.fit.values, now)
    section = built.variable
    told = (
        f"the variable oscillator runs at {_khz(now)} with nobody near, designed for {_khz(wanted)}: "
        f"{1e12 * more:+.3g} pF across its coil bring it there"
    )
    span = section.trimmer_maximum - section.trimmer_minimum
    setting = section.trimmer + more / span if span > 0.0 else -1.0
    if 0.0 <= setting <= 1.0:
        return [f"{told}: its trimmer from {section.trimmer:.2f} to {setting:.2f} (0 out, 1 in)"]
    fixed = section.capacitance + more + (section.trimmer - 0.5) * span
    if fixed <= 0.0:
        return [f"{told}; it has no capacitor that could be so much less: take a coil of less inductance"]
    return [f"{told}: a fixed capacitor of {format_quantity(fixed, 'F')} with the trimmer at its middle"]


def _reference(bench: SolvedBench, built: Design, before: str) -> list[str]:
    wanted = None if bench.design is None else bench.design.tuning.zero_beat
    if wanted is None or built.reference.trimmer_maximum == 0.0:
        return []
    tuned = opened_in_field(bench, replace(built, tuning=replace(built.tuning, zero_beat=wanted))).pair
    if tuned.notices:
        return [f"{before}{notice}" for notice in tuned.notices]
    to, now = tuned.reference.trimmer_setting, built.reference.trimmer
    span = built.reference.trimmer_maximum - built.reference.trimmer_minimum
    if abs(to - now) < SMALL_TURN:
        return [f"{before}zero beat lies at {format_quantity(wanted, 'm')}: the reference's trimmer stays at {now:.2f}"]
    return [
        f"{before}for zero beat at {format_quantity(wanted, 'm')}: the reference's trimmer from {now:.2f} to {to:.2f} "
        f"(0 out, 1 in), {1e12 * (to - now) * span:+.3g} pF"
    ]


def _khz(frequency: float) -> str:
    return f"{frequency / 1e3:.3f} kHz"
