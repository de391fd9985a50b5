"""Designs with a tapped coil through assembly, drift, tolerance and sheet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import ROD

from models.circuit.oscillator import steady_state
from models.circuit.variable_oscillator import with_antenna
from models.circuit.warm_transistor import warmed
from synth.analysis.drift import drift_figures, drift_law
from synth.analysis.sheet_stations import antenna_station, bare_station
from synth.analysis.tolerance import trial_of
from synth.build.assembly import branch_of
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import OpenedDesign, assemble
from synth.designs.build_sections import TemperatureSection
from synth.designs.design_file import load_design
from synth.errors import DesignError
from synth.report.drift import DRIFT, drift_text

SCALED = ("capacitance", "stray", "trimmer_minimum", "trimmer_maximum")


def opened(design) -> OpenedDesign:
    return assemble(design, ROD)


@pytest.fixture(scope="module")
def meadow(demos):
    return load_design(demos / "meadow.toml")


@pytest.fixture(scope="module")
def willow(demos) -> OpenedDesign:
    return opened(load_design(demos / "willow.toml"))


def half_tapped(design):
    """Four times the coil, a quarter of the capacitances, tapped in the middle with full coupling: the same thing."""
    section = design.variable
    scaled = {name: getattr(section, name) / 4.0 for name in SCALED}
    variable = replace(section, inductance=4.0 * section.inductance, tap=0.5, tap_coupling=1.0, **scaled)
    return replace(design, variable=variable)


def test_a_tap_makes_a_small_tank_act_as_a_large_one(meadow):
    """The textbook autotransformer: same field, same zero beat, same spread of builds."""
    plain, tapped = opened(meadow), opened(half_tapped(meadow))
    places = np.linspace(0.05, 0.5, 20)
    assert_allclose(tapped.instrument.beat_frequency(places), plain.instrument.beat_frequency(places), rtol=1e-6)
    assert tapped.field.zero_beat_distance == pytest.approx(plain.field.zero_beat_distance, rel=1e-9)
    one, other = (
        trial_of(piece).law.outcomes(trial_of(piece).values(np.full((1, len(trial_of(piece).varying)), 0.01)))
        for piece in (plain, tapped)
    )
    assert other.lowest[0] == pytest.approx(one.lowest[0], rel=1e-9)
    assert other.unevenness[0] == pytest.approx(one.unevenness[0], rel=1e-9)


def test_the_sheet_reads_the_whole_coil(meadow):
    """Frequencies at the test points are those of the instrument; the parts are those bought."""
    piece = opened(half_tapped(meadow))
    station = antenna_station(piece, 0.3)
    assert station.probe.read("", 1.0)["frequency"] == pytest.approx(
        float(piece.instrument.variable_frequency(0.3)), rel=1e-9
    )
    bare = {part.name: part.value for part in bare_station(piece).probe.parts}
    assert bare["tank coil"] == 4e-3
    assert bare["tank capacitor"] == pytest.approx(270e-12 / 4.0, rel=1e-12, abs=0.0)
    lead = station.probe.read("antenna's mount and lead", 1.1)["frequency"]
    moved = float(piece.instrument.frequency_with(piece.instrument.antenna_capacitance(0.3) + 1e-12))
    assert lead == pytest.approx(moved, rel=1e-9)


def test_a_tap_needs_a_branch(meadow):
    with pytest.raises(DesignError, match=r"variable\.tap"):
        replace(
            meadow, branch=None, tuning=replace(meadow.tuning, mode="auto"), variable=replace(meadow.variable, tap=0.5)
        )


def test_a_circuit_with_its_branch_at_a_tap(willow):
    """The whole coil sees the branch turned by the square of the ratio; the solved frequency agrees with the resonance
    without loss about as well as without a tap.
    """
    design = replace(willow.design, variable=replace(willow.design.variable, tap=0.6))
    piece = opened(design)
    places = np.array([0.1, 0.3, 0.5])
    lossless = opened(
        replace(
            design, tuning=replace(design.tuning, law="lossless"), detector=replace(design.detector, amplitudes="given")
        )
    )
    solved, resonance = piece.instrument.variable_frequency(places), lossless.instrument.variable_frequency(places)
    assert_allclose(solved, resonance, rtol=2e-3)
    assert_allclose(np.diff(solved), np.diff(resonance), rtol=0.05)


@pytest.mark.parametrize("gain", [5e-3, 8e-3])
def test_transistors_drift_nearly_as_solved(willow, gain):
    """Each oscillator solved anew with the transistor 10 K colder and warmer: the mean of both slopes is that of the
    adjoint within a hundredth, either alone within a tenth (the drift bends).
    """
    design = replace(willow.design, temperature=TemperatureSection(gain=gain))
    piece, notes = replace(willow, design=design), np.array([0.2])
    law = drift_law(piece, 0.0, notes)
    alone = replace(law, coefficients=law.coefficients.only("transistors"))
    (reference, variable), (before, start) = alone.oscillators(10.0), alone.oscillators(0.0)
    found = [reference[0, 0] - before[0, 0], *(variable - start)[0]]
    loaded = [
        with_antenna(
            circuit_of(design, "variable"), float(willow.instrument.antenna_capacitance(place)), branch_of(design)
        )
        for place in (0.5, 0.2)
    ]
    tuned = circuit_of(design, "reference").with_trimmer(willow.reference_tank.trimmer_setting)
    for moved, circuit in zip(found, (tuned, *loaded), strict=True):
        cold = steady_state(circuit)
        solved = [
            steady_state(replace(circuit, transistor=warmed(circuit.transistor, rise, gain)), warm_start=cold).frequency
            - cold.frequency
            for rise in (-10.0, 10.0)
        ]
        assert moved == pytest.approx(0.5 * (solved[1] - solved[0]), rel=0.01)
        assert moved == pytest.approx(solved[1], rel=0.1)


def test_drift_report_holds_the_transistors(willow):
    """With every other coefficient at 0 what is left is theirs, in cases, causes and text."""
    names = ("coil", "capacitor", "stray", "branch_coil", "antenna_stray", "coil_mismatch", "capacitor_mismatch")
    still = dict.fromkeys(names, 0.0)
    piece = replace(willow, design=replace(willow.design, temperature=TemperatureSection(**still)))
    report = drift_figures(piece, 15.0, 35.0, notes=(60,))
    alone = report.transistors
    case = report.cases[0]
    assert abs(alone.reference_hz) > 0.1
    assert case.reference_hz == pytest.approx(alone.reference_hz, rel=1e-6)
    assert case.variable_hz == pytest.approx(alone.variable_hz, rel=1e-6)
    assert case.zero_beat_hz == pytest.approx(alone.reference_hz - alone.variable_hz, abs=1e-6)
    assert report.causes[-1].cause == "transistors of both"
    said = drift_text(report)
    assert f"the transistors alone move the reference {alone.reference_hz:+.1f} Hz" in said
    assert DRIFT.document(report)["transistors"]["variable_hz"] == alone.variable_hz
