"""Builds of solved circuits by the adjoint: against builds solved one by one, and every command against the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.builds.tolerance import build_values, linear_estimates
from models.circuit.start_up import start_up
from synth.analysis.adjoint_figures import sensitivities
from synth.analysis.circuit_builds import kind_of, kind_of_column
from synth.analysis.drift import drift_figures
from synth.analysis.oscillator import oscillator_figures, prepared_oscillator, steady
from synth.analysis.tolerance import trial_of
from synth.build.workbench import OpenedDesign
from synth.comparisons.circuit_builds import agreement, solved_builds
from synth.designs.build_sections import TemperatureSection
from synth.designs.design_file import load_design

STILL = ("coil", "capacitor", "stray", "branch_coil", "antenna_stray", "coil_mismatch", "capacitor_mismatch")


@pytest.fixture(scope="module")
def willow(demos, opened) -> OpenedDesign:
    return opened(load_design(demos / "willow.toml"))


@pytest.fixture(scope="module")
def trial(willow):
    return trial_of(willow)


def test_the_nominal_build_is_the_solved_instrument(willow, trial):
    """Frequency and field of the instrument, to what the table of 201 points leaves."""
    values = trial.values(np.zeros((1, len(trial.varying))))
    places = np.array([0.05, 0.1, 0.2, 0.5])
    solved = willow.instrument.variable_frequency(places)
    found = trial.law.variable_frequency(values, willow.curve.capacitance(places))[0]
    assert_allclose(found, solved, rtol=1e-9)
    setting = willow.reference_tank.trimmer_setting
    reference = float(trial.law.reference_frequency(values, setting)[0, 0])
    assert reference == pytest.approx(willow.instrument.reference_frequency, rel=1e-12)


def test_oscillator_tolerance_and_drift_tell_the_same(willow, trial):
    """Hz for 1 % of every part in `oscillator` and in the ranks of `tolerance`, for a kelvin in `drift` as well."""
    reference, variable = willow.adjoints
    estimates = {estimate.outcome: estimate for estimate in linear_estimates(trial)}
    compared = 0
    for which, adjoint in (("reference", reference), ("variable", variable)):
        told = {one.value: one.shift_hz for one in sensitivities(adjoint)}
        largest = max(map(abs, told.values()))
        for held in estimates[f"{which}_frequency"].sensitivities:
            owner, _, name = (
                held.part.quantity.rpartition(".")
                if "." not in held.part.quantity
                else (held.part.quantity.partition("."))
            )
            if owner in (which, "") and kind_of(name) is not None:
                step = 1.0 / held.part.nominal if name == "temperature" else 0.01
                assert held.slope * step == pytest.approx(told.get(name, 0.0), abs=1e-5 * largest), held.part.label
                compared += 1
        coil = next(
            held for held in estimates[f"{which}_frequency"].sensitivities if held.part.label == f"{which} coil"
        )
        assert 0.01 * coil.slope == pytest.approx(told["inductance"], rel=1e-5)
    assert compared == 36
    still = replace(willow, design=replace(willow.design, temperature=TemperatureSection(**dict.fromkeys(STILL, 0.0))))
    moved = drift_figures(still, 20.0, 20.1).transistors
    for adjoint, hertz in ((reference, moved.reference_hz), (variable, moved.variable_hz)):
        kelvin = next(one for one in sensitivities(adjoint) if one.value == "temperature")
        assert hertz / 0.1 == pytest.approx(kelvin.shift_hz, rel=1e-4)


@pytest.mark.slow
def test_the_oscillator_report_takes_the_gain_of_the_design(willow):
    """The temperature's share there is that of the drift report, the design's own coefficient of the gain in it."""
    design = replace(willow.design, temperature=TemperatureSection(gain=1.5e-2, **dict.fromkeys(STILL, 0.0)))
    piece = replace(willow, design=design)
    prepared = replace(
        prepared_oscillator(replace(design, tuning=replace(design.tuning, zero_beat=None)), "reference"),
        circuit=willow.tuned_reference,
    )
    report = oscillator_figures(prepared, steady(prepared), start_up(prepared.circuit))
    kelvin = next(one for one in report.sensitivities if one.value == "temperature")
    moved = drift_figures(piece, 20.0, 20.1).transistors
    assert kelvin.shift_hz == pytest.approx(moved.reference_hz / 0.1, rel=1e-5)
    usual = next(one for one in sensitivities(willow.adjoints[0]) if one.value == "temperature")
    assert abs(kelvin.shift_hz / usual.shift_hz - 1.0) > 1e-3


def test_every_derivative_is_that_of_the_solved_circuit(willow, trial):
    """Every part a hundredth of its limit off, all at once: what is left is of second order."""
    shares = np.where(np.arange(len(trial.varying)) % 3 == 0, -0.01, 0.01)
    row = trial.values((shares * np.array([part.limit for part in trial.varying]))[None, :])
    solved, found = solved_builds(willow, trial, row), trial.law.outcomes(row)
    assert found.variable_frequency[0] == pytest.approx(solved.variable[0], abs=3e-3)
    assert found.reference_frequency[0] == pytest.approx(solved.reference[0], abs=3e-3)
    assert solved.tuned[0] == pytest.approx(solved.variable[0], abs=3e-3)
    assert abs(found.variable_frequency[0] - willow.instrument.variable_frequency(0.5)) > 5.0


def test_a_few_builds_agree_with_those_solved_one_by_one(willow, trial):
    rows = next(build_values(trial, 3, 3, 3))
    found = agreement(trial, rows, solved_builds(willow, trial, rows))
    assert max(found[name].worst for name in ("reference", "variable", "tuned")) < 12.0
    assert found["shift"].worst < 1.0


@pytest.mark.slow
def test_fifty_builds_agree_with_those_solved_one_by_one(willow, trial):
    """Every part off within its limits: either oscillator is less than a thousandth of the scatter off (RMS) and 12 Hz
    at worst; the shift from zero beat to the nearest hand, which makes the pitch, half a hundredth and 1 Hz.
    """
    rows = next(build_values(trial, 50, 3, 50))
    found = agreement(trial, rows, solved_builds(willow, trial, rows))
    for name in ("reference", "variable", "tuned"):
        assert found[name].builds >= 40
        assert found[name].percent < 0.1, name
        assert found[name].worst < 12.0, name
    assert found["shift"].percent < 0.5
    assert found["shift"].worst < 1.0


def test_kinds_follow_from_names():
    kinds = {name: kind_of(name) for name in ("bias.emitter_resistor", "feedback_capacitor", "transistor.forward_gain")}
    assert list(kinds.values()) == ["resistor", "capacitor", "gain"]
    assert kind_of("fixed_capacitor") is None  # the resonance has it
    assert kind_of("board_stray") is None
    assert kind_of("transistor.saturation_current") is None
    assert kind_of_column("variable.transistor.emitter_junction.zero_bias_capacitance") == "junction"
    assert kind_of_column("supply_voltage") == "supply"
