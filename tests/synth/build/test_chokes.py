"""A chain of chokes in a design: it counts as the one coil and the strays that equal it, everywhere."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from numpy.testing import assert_allclose
from small_instrument import ROD

from models.branch.choke_chain import USUAL_JOINT_STRAY, pi_equivalent
from models.straight.search import FieldParts
from synth.build.assembly import wired
from synth.build.workbench import assemble
from synth.designs.design_file import Design, design_text, load_design, read_design
from synth.errors import DesignError

DEMOS = Path(__file__).parents[3] / "demos"


@pytest.fixture(scope="module")
def meadow() -> Design:
    return load_design(DEMOS / "meadow.toml")


def with_branch(design: Design, **changes: float) -> Design:
    assert design.branch is not None
    return replace(design, branch=replace(design.branch, **changes))


def test_the_chain_is_the_pi_of_its_chokes(meadow: Design) -> None:
    opened = assemble(meadow, ROD)
    found = opened.instrument
    expected = pi_equivalent(10e-3, 4e-12, 0.5e-12, opened.tanks["reference"].frequency, 4)
    assert_allclose(found.branch.inductance, float(expected.inductance), rtol=1e-12, atol=0)
    assert_allclose(found.branch.self_capacitance, float(expected.self_capacitance), rtol=1e-9, atol=0)
    assert_allclose(found.antenna_stray, 3e-12 + float(expected.end_stray), rtol=1e-12, atol=0)
    assert_allclose(opened.tanks["variable"].board_stray, 25e-12 + float(expected.end_stray), rtol=1e-12, atol=0)
    # three joints of 0.5 pF: half of them at either end, a little more as the chokes resonate with them
    assert 0.75e-12 < float(expected.end_stray) < 0.80e-12


def test_without_joints_nothing_is_added(meadow: Design) -> None:
    one = with_branch(meadow, chokes=1.0)
    assert wired(one) is one
    bare = assemble(with_branch(meadow, joint_stray=0.0), ROD).instrument
    plain = assemble(one, ROD).instrument
    assert_allclose(bare.beat_frequency([0.05, 0.3]), plain.beat_frequency([0.05, 0.3]), rtol=1e-4, atol=0)


def test_the_joints_move_the_pitch_by_some_three_semitones(meadow: Design) -> None:
    """An independent program: -329 cents near 20 cm for meadow's four chokes, zero beat tuned again (one mesh)."""
    beats = [
        float(assemble(with_branch(meadow, joint_stray=stray), ROD).instrument.beat_frequency(0.2))
        for stray in (0.0, 0.5e-12)
    ]
    from models.pitch import cents

    assert float(cents(beats[1], beats[0])) == pytest.approx(-329.0, rel=0.35)


def test_the_usual_joint_stray_is_one_number(meadow: Design) -> None:
    assert FieldParts(1e-12).joint_stray == USUAL_JOINT_STRAY
    left_out = read_design(design_text(meadow).replace('joint_stray = "0.5 pF"', ""))
    assert left_out.branch is not None
    assert left_out.branch.joint_stray == USUAL_JOINT_STRAY == 0.5e-12


@pytest.mark.parametrize(
    ("changes", "message"),
    [({"chokes": 2.5}, "whole number of chokes"), ({"chokes": 0.0}, "branch.chokes")],
)
def test_a_number_of_chokes_that_cannot_be_is_refused(meadow: Design, changes: dict[str, float], message: str) -> None:
    with pytest.raises(DesignError, match=message):
        with_branch(meadow, **changes)


def test_a_chain_that_no_coil_equals_is_refused_with_the_remedy(meadow: Design) -> None:
    with pytest.raises(DesignError, match=r"branch\.chokes: joint_stray outweighs.*self_capacitance"):
        wired(with_branch(meadow, self_capacitance=0.0, joint_stray=1e-12))
