"""The two circuits of the demo design Willow at its zero beat, for the tests of what happens between the two."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from models.branch.antenna_branch import SeriesInductor
from models.circuit.oscillator import steady_state
from models.circuit.steady_state import SteadyState
from models.circuit.variable_oscillator import with_antenna
from synth.build.circuit_assembly import circuit_of
from synth.designs.design_file import load_design

DESIGN = load_design(Path(__file__).parents[3] / "demos" / "willow.toml")
AT_ZERO_BEAT = 9.298743290856747e-12  # F, the antenna with its stray with the hand at 50 cm
SETTING = 0.6043173529196474  # of the reference's trimmer, for the same frequency


@cache
def willow() -> tuple[SteadyState, SteadyState]:
    """The reference and the variable oscillator, solved, at the same frequency (near 253.15 kHz)."""
    part = DESIGN.branch
    assert part is not None
    branch = SeriesInductor(part.inductance, part.quality_factor, part.self_capacitance)
    reference = circuit_of(DESIGN, "reference").with_trimmer(SETTING)
    return steady_state(reference), steady_state(with_antenna(circuit_of(DESIGN, "variable"), AT_ZERO_BEAT, branch))
