"""Pitch against hand distance, read on a built instrument: the fitted design gives it back through `field` and `play`.

Of every circuit that `beatfield new --circuit` writes, and of the demo designs. Each is built with other parts than its
design says; `fit` is told the readings alone. What plays is what the session of `play` hands to the sound.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from synth.analysis.fit_design import fitted_design
from synth.analysis.fit_figures import fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fit_unknowns import Errors
from synth.analysis.fitting import solved_bench
from synth.analysis.readings import read_readings
from synth.build.workbench import OpenedDesign
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import read_design
from synth.designs.edited import edited_text
from synth.designs.template import circuit_template_text
from synth.sound.voice import Voice
from tests.shared.pitch_heard import pitch_of

P = 1e-12
RATE = 48000
PLACES = (0.10, 0.16, 0.26)
LEAST, LEAST_CENTS = 0.07, 1.0
"""Hz (0.3 ppm of the carrier) and cents beside the fit's residual: a field goes between nine solved circuits."""


def given_back(text: str, source: str) -> None:
    """Build the design otherwise, read it, fit, write, and ask `field` and what `play` plays."""
    design = read_design(text, source)
    variable = replace(design.variable, inductance=0.993 * design.variable.inductance, stray=21 * P)
    built = OpenedDesign(replace(design, variable=variable, antenna=replace(design.antenna, stray=3.4 * P)))
    fixed = f"{1e12 * design.variable.capacitance:g} pF"
    curve, stray = built.curve, built.wired.antenna.stray
    lines = ["fitted_capacitor,frequency,pitch,hand_distance"]
    lines += [f"{fixed},{float(built.instrument.frequency_with(curve.empty_capacitance + stray))!r} Hz,,away"]
    lines += [f"{fixed},,{float(built.field.frequency_at(place))!r} Hz,{100 * place:g} cm" for place in PLACES]
    bench = solved_bench(read_readings("\n".join(lines) + "\n"), Errors(), {}, design)
    assert bench.slips == ()
    written = OpenedDesign(read_design(edited_text(text, design, fitted_design(bench, None).design), source))
    residuals = [row for row in fit_figures(bench, "r.csv", Wish()).residuals if row.what == "pitch"]
    assert len(residuals) == len(PLACES)
    played = session_instrument(written)
    for row in residuals:
        within = abs(row.residual) + LEAST + row.read * (2 ** (LEAST_CENTS / 1200) - 1)
        place = row.hand_distance_m
        assert place is not None
        assert abs(float(written.field.frequency_at(place)) - row.read) <= within, "field"
        voice = Voice(played, RATE)
        sound = voice.render(place, RATE // 4)
        assert abs(abs(voice.frequency) - row.read) <= within, "play"
    heard = pitch_of(np.asarray(sound[RATE // 20 :]), RATE)
    partial = round(heard / residuals[-1].read)  # the strongest one
    assert partial >= 1
    assert heard / partial == pytest.approx(residuals[-1].read, rel=2e-3), "what is heard"


def session_instrument(opened: OpenedDesign):
    """What `beatfield play` hands to its sound."""
    from synth.window.session import session_of

    return session_of([opened]).instrument


@pytest.mark.parametrize("name", ["heron", pytest.param("puddle", marks=pytest.mark.slow)])
def test_a_demo_design_plays_what_was_read(name, demos):
    given_back((demos / f"{name}.toml").read_text("utf-8"), name)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["meadow", "willow"])
def test_a_demo_design_behind_a_branch_plays_what_was_read(name, demos):
    given_back((demos / f"{name}.toml").read_text("utf-8"), name)


QUICKER = "inverter"
"""The circuit tried in every thorough run; the others by hand."""


@pytest.mark.parametrize(
    "name", [pytest.param(one, marks=pytest.mark.slow if one == QUICKER else pytest.mark.soak) for one in CIRCUITS]
)
def test_a_circuit_plays_what_was_read(name):
    given_back(circuit_template_text(name), name)
