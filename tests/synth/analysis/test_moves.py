"""What moves the pitch by itself: its law on an invented field, and the demos' own fields beside independent values."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_instrument import RING_CURVE, ROD, small_field

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.hand_field import hand_field
from models.hand.meshes import arm, shoulder, wrist
from models.hand.scene import LoopAntenna, Room
from synth.analysis.moves import PitchMoves, pitch_moves
from synth.build.workbench import OpenedDesign, assemble, open_design
from synth.designs.design_file import load_design
from synth.designs.template import template_design
from synth.report.moves import CAUSES, felt_lines, moves_lines

DEMOS = Path(__file__).parents[3] / "demos"
MORE = 2e-15  # F


def shifted(curve: CapacitanceCurve, more: float) -> CapacitanceCurve:
    return CapacitanceCurve(curve.distances, curve.capacitances + more, curve.empty_capacitance + more)


@pytest.fixture
def invented(monkeypatch):
    """Every changed scene has 2 fF more at the antenna, whatever was changed; the design's own has none."""
    design = load_design(DEMOS / "heron.toml")
    opened = OpenedDesign(design)

    def field_for(scene, *_, **__):
        return small_field(ROD if scene == opened.scene else shifted(ROD, MORE))

    monkeypatch.setattr("synth.build.workbench.field_for", field_for)
    monkeypatch.setattr("synth.analysis.moves.field_for", field_for)
    return opened


def test_what_a_scene_adds_goes_through_the_instruments_own_law(invented: OpenedDesign) -> None:
    moves = pitch_moves(invented)
    law = invented.instrument
    for place, cents in zip(moves.distances_m, moves.moves[0].cents, strict=True):
        before = float(law.beat_frequency(place))
        now = law.reference_frequency - float(law.frequency_with(law.antenna_capacitance(place) + MORE))
        assert cents == pytest.approx(1200.0 * math.log2(now / before), abs=0.3)  # 1 Hz of lock range pulls a little
    solved = {"lean", "fingers", "hand height", "bystander", "wall", "second arm"}
    by_cause = {move.cause: move for move in moves.moves}
    assert set(by_cause) == solved | {"shoes", "touching earth", "humidity"}
    # the same 2 fF at every distance is tuned away, but for the bend of the law
    assert all(abs(cents) < 0.5 for cause in solved for cents in by_cause[cause].retuned if cents is not None)
    # in this field no conductor feels another: shoes do nothing
    assert by_cause["shoes"].cents == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)
    assert not by_cause["shoes"].felt
    largest = [move.largest for move in moves.moves]
    assert largest == sorted(largest, reverse=True)


def test_a_note_that_passes_zero_beat_is_lost(invented: OpenedDesign, monkeypatch) -> None:
    monkeypatch.setattr("synth.analysis.moves.field_for", lambda scene, *_, **__: small_field(shifted(ROD, -400e-15)))
    wall = next(move for move in pitch_moves(invented).moves if move.cause == "wall")
    assert None in wall.cents
    assert wall.largest == math.inf
    text = "\n".join(moves_lines(pitch_moves(invented)))
    assert "lost: the note falls silent or passes zero beat" in text
    assert CAUSES["wall"] in text


def test_curves_that_were_given_have_no_scene_to_change() -> None:
    opened = assemble(load_design(DEMOS / "heron.toml"), ROD)
    assert pitch_moves(opened) == PitchMoves()
    assert moves_lines(PitchMoves()) == felt_lines(PitchMoves(), (), 10.0) == []


def test_with_a_volume_antenna_its_hand_is_a_cause(monkeypatch) -> None:
    opened = OpenedDesign(template_design())
    field = small_field(ring=RING_CURVE)
    lower = field.places["open"].copy()
    lower[:, 0, 0, 0] -= 0.05 * (lower[:, 0, 0, 0] - ROD.empty_capacitance)
    field = replace(field, places={**field.places, "open": lower})
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)
    monkeypatch.setattr("synth.analysis.moves.field_for", lambda *_, **__: field)
    moves = pitch_moves(opened)
    hand = next(move for move in moves.moves if move.cause == "volume hand")
    assert hand.retuned == ()
    assert all(cents is not None and cents < 0.0 for cents in hand.cents)
    assert "second arm" not in {move.cause for move in moves.moves}
    assert moves.crosstalk_farther is not None
    assert any("cm farther from the rod" in line for line in moves_lines(moves))


@pytest.mark.slow
def test_near_20_cm_the_causes_are_of_the_size_an_independent_program_finds() -> None:
    """One mesh each, an independent program, near 20 cm, with chokes: shoes of 50 pF more +99 cents; touching earth
    +185, a wall at 0.5 m -309, both tuned again; the hand 10 cm off the rod's middle -131. The wall's size there is not
    known, so that it is held to a factor of two; the others to 35 %.
    """
    moves = pitch_moves(open_design(DEMOS / "meadow.toml"))
    by_cause = {move.cause: move for move in moves.moves}

    def at_20_cm(values: tuple[float | None, ...]) -> float:
        return float(np.interp(0.2, moves.distances_m[::-1], np.array(values, dtype=float)[::-1]))

    assert at_20_cm(by_cause["shoes"].cents) == pytest.approx(99.0, rel=0.35)
    assert at_20_cm(by_cause["touching earth"].retuned) == pytest.approx(185.0, rel=0.35)
    assert at_20_cm(by_cause["hand height"].cents) == pytest.approx(-131.0, rel=0.35)
    assert -618.0 < at_20_cm(by_cause["wall"].retuned) < -154.0
    assert at_20_cm(by_cause["humidity"].cents) < 10.0


@pytest.mark.slow
def test_near_20_cm_ring_arm_and_floor_are_of_the_size_an_independent_program_finds() -> None:
    """One mesh each, an independent program, near 20 cm, tuned again: second arm and ring in the scene -203 to -244
    cents, here over places of the volume hand; no conducting floor +91. What tied the player to earth there without a
    floor is not known, so that it is held to a factor of two.
    """
    meadow = open_design(DEMOS / "meadow.toml")
    beat = float(meadow.instrument.beat_frequency(0.2))

    def cents(other: OpenedDesign, height: float | None = None) -> float:
        heard = other.hands["open"].equal_distance(0.2, height)
        return 1200.0 * math.log2(float(other.instrument.beat_frequency(heard)) / beat)

    ringed = meadow.in_scene(replace(meadow.scene, ring=LoopAntenna()))
    for height in (0.1, None):
        assert -270.0 < cents(ringed, height) < -180.0
    assert 45.0 < cents(meadow.in_scene(replace(meadow.scene, room=Room(earth_plane=False)))) < 182.0


@pytest.mark.slow
def test_near_20_cm_a_bent_elbow_is_of_the_size_an_independent_program_finds(monkeypatch) -> None:
    """One mesh, an independent program, player at earth: 29 cents against a straight arm, which way that ran not being
    told. Against one that runs level from the hand to the body it is that; against our stretched arm, which rises to
    the shoulder, an elbow that goes down and outwards changes the pitch by a few cents.
    """
    meadow = open_design(DEMOS / "meadow.toml")
    law, places = meadow.instrument, np.array([0.2, 0.45])
    before, beat = law.antenna_capacitance(places)[0], float(law.beat_frequency(0.2))

    def seen(links: tuple[float, float] | None) -> float:
        player = replace(meadow.scene.player, build=replace(meadow.scene.player.build, links=links))
        field = hand_field(replace(meadow.scene, player=player), places, ("open",), openings=())
        return float(field.places["open"][0, 0, 0, 0])

    rising, bent = seen(None), seen((0.335, 0.268))
    stands, out = meadow.scene.player.stand_distance, shoulder(meadow.scene)[1]
    level = np.array([stands, out, meadow.scene.hand_height])

    def level_arm(scene, posture, distance, fineness=1.0):
        return arm(level, wrist(scene, posture, distance), scene.player.build, fineness)

    monkeypatch.setattr("models.hand.field_solution.pitch_arm", level_arm)
    straight = seen(None)

    def cents(other: float) -> float:
        shift = float(law.frequency_with(before + other - rising) - law.frequency_with(before))
        return 1200.0 * math.log2(1.0 - shift / beat)

    assert cents(bent) - cents(straight) == pytest.approx(29.0, rel=0.35)
    assert abs(cents(bent)) < 10.0
