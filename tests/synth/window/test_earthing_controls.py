"""Shoes and the tie of the common as live controls: algebra on the solved field, with the tuning left as it was."""

from __future__ import annotations

import math
from dataclasses import replace
from threading import Event

import numpy as np
import pytest
from beside import beside
from small_instrument import RING_CURVE, ROD, small_field

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.hand_field import HandField
from models.hand.scene import Scene
from synth.analysis.moves import HIGHER, LEAN, pitch_moves
from synth.build.workbench import OpenedDesign, assemble, open_loaded
from synth.designs.design_file import read_design
from synth.designs.template import template_design
from synth.errors import DesignError
from synth.window.controls import Settings
from synth.window.retune import Tuned, retuned, stance_of
from synth.window.saving import saved_design
from synth.window.session import COMPUTED, session_of
from synth.window.tunable import Tunable, controls_of, first_settings, tunable

PF = 1e-12


def coupled(field: HandField, more: float = 0.1 * PF) -> HandField:
    """The field with 2 pF of the rod's capacitance to the player instead of to earth, and with `more` of its own, F."""
    k = field.names.index("player")
    places = {}
    for posture, matrices in field.places.items():
        changed = matrices.copy()
        changed[..., 0, 0] += more
        changed[..., 0, k] -= 2 * PF
        changed[..., k, 0] -= 2 * PF
        places[posture] = changed
    return replace(field, places=places)


@pytest.fixture
def offer(monkeypatch) -> Tunable:
    field = coupled(small_field(ring=RING_CURVE))
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)
    return tunable(OpenedDesign(template_design()))


@pytest.fixture
def asked(monkeypatch) -> Event:
    """The field of a player who leans is there only once this is set."""
    near, far, is_set = coupled(small_field(ring=RING_CURVE), 0.001 * PF), small_field(ring=RING_CURVE), Event()

    def field_for(scene: Scene, *_: object, **__: object) -> HandField:
        if scene.player.lean == 0.0:
            return far
        assert is_set.wait(20.0)
        return near

    monkeypatch.setattr("synth.build.workbench.field_for", field_for)
    return is_set


def played(offer: Tunable, **values: float | str) -> Tuned:
    settings = Settings(controls=controls_of(offer))
    for name, value in values.items():
        settings = settings.with_value(name, value)
    return retuned(offer, settings)


def test_shoes_are_algebra_on_the_field_and_the_tuning_stays(offer: Tunable) -> None:
    first = played(offer).instrument
    more = played(offer, shoes=150 * PF).instrument
    assert more.reference_frequency == first.reference_frequency
    player = 70 * PF
    by_hand = (2 * PF) ** 2 * (1.0 / (player + 100 * PF) - 1.0 / (player + 150 * PF))
    found = more.antenna_capacitance(ROD.distances[5]) - first.antenna_capacitance(ROD.distances[5])
    assert float(found) == pytest.approx(by_hand, rel=1e-6)
    assert float(more.beat_frequency(0.1)) > float(first.beat_frequency(0.1))


def test_a_zero_beat_that_is_tuned_remembers_the_shoes_it_was_tuned_with(offer: Tunable) -> None:
    settings = first_settings(offer).with_value("shoes", 150 * PF).with_value("zero_beat", 0.4)
    tuned = retuned(offer, settings)
    assert float(tuned.instrument.offset_frequency(0.4)) == pytest.approx(0.0, abs=1e-6)
    later = retuned(offer, settings.with_value("shoes", 100 * PF))
    assert later.instrument.reference_frequency == tuned.instrument.reference_frequency
    assert float(later.instrument.offset_frequency(0.4)) < -1.0


def test_the_controls_stand_where_the_design_has_them(offer: Tunable) -> None:
    settings = first_settings(offer)
    assert settings.number("shoes") == 100 * PF
    assert settings.text("common") == "bonded"
    # this design's common is no conductor of the field
    assert "[cabinet]" in offer.faults["common"]
    with pytest.raises(DesignError, match="no conductor of this scene"):
        played(offer, common="20 pF")


def test_a_common_that_is_a_conductor_can_float(monkeypatch) -> None:
    base = small_field()
    names = ("antenna", "common", "player")

    def with_common(matrices: np.ndarray) -> np.ndarray:
        """A common of 11 pF to earth and 3 pF to the rod, which has as much more."""
        full = np.zeros((*matrices.shape[:-2], 3, 3))
        full[..., np.ix_([0, 2], [0, 2])[0], np.ix_([0, 2], [0, 2])[1]] = matrices
        full[..., 1, 1] = 14 * PF
        full[..., 0, 1] = full[..., 1, 0] = -3 * PF
        return full

    field = replace(
        base,
        names=names,
        places={posture: with_common(matrices) for posture, matrices in base.places.items()},
        ring_places=np.zeros((0, 3, 3)),
        without_player=with_common(base.without_player),
        finger_places=with_common(base.finger_places),
    )
    monkeypatch.setattr("synth.build.workbench.field_for", lambda *_, **__: field)
    design = replace(template_design(), volume_antenna=None, volume=None, volume_response=None)
    offer = tunable(OpenedDesign(replace(design, common=replace(design.common, to_earth=50 * PF))))
    assert first_settings(offer).text("common") == "50 pF"
    assert first_settings(offer).control("common").choices[-1] == "50 pF"
    at, rod = 0.3, float(ROD.capacitance(0.3))
    for name, tie in (("bonded", math.inf), ("20 pF", 20 * PF), ("none", 0.0), ("50 pF", 50 * PF)):
        alone = rod - 3 * PF
        series = alone if tie == math.inf else alone * (11 * PF + tie) / (alone + 11 * PF + tie)
        found = float(played(offer, common=name).instrument.curve.capacitance(at))
        assert found == pytest.approx(3 * PF + series, rel=1e-6), name


def test_given_curves_have_no_ties_to_change() -> None:
    offer = tunable(assemble(template_design(), ROD, RING_CURVE))
    assert {"shoes", "common"} <= set(offer.faults)
    assert retuned(offer, first_settings(offer)).instrument == offer.instrument


def test_another_stance_sounds_as_before_until_its_field_is_there(asked: Event) -> None:
    """Leaning: solved beside the window, and shown as being computed; then the field of that scene sounds."""
    session = session_of([OpenedDesign(template_design())], work=beside)
    before = session.instrument.curve
    session.set("lean", 0.05)
    session.update()
    assert session.computing
    assert "computing" in session.take_notice()
    assert session.instrument.curve == before
    with pytest.raises(DesignError, match="still being computed"):
        saved_design(session.side)
    asked.set()
    while session.computing:
        session.update()
    assert session.take_notice() == COMPUTED
    assert session.tuned.scene.player.lean == 0.05
    assert session.instrument.curve != before
    assert session.instrument.reference_frequency == pytest.approx(session.side.offer.instrument.reference_frequency)
    for name, value in (("hand_height", 1.3), ("bystander", "1 m")):
        session.set(name, value)
        session.update()
        while session.computing:
            session.update()
    saved = saved_design(session.side)
    again = open_loaded(read_design(saved.text))
    assert (again.scene.player.lean, again.scene.hand_height) == (0.05, 1.3)
    assert again.scene.room.bystander == session.tuned.scene.room.bystander
    assert again.instrument.reference_frequency == pytest.approx(session.instrument.reference_frequency, abs=1e-3)
    assert saved.remarks == ()
    for _ in range(3):
        session.undo()
    session.update()
    assert session.instrument.curve == before
    session.close()


@pytest.mark.parametrize(
    ("cause", "more"),
    [("lean", {"lean": LEAN}), ("hand height", {"hand_height": HIGHER}), ("bystander", {"bystander": "1.5 m"})],
)
def test_what_a_stance_does_live_is_what_the_list_of_field_says(monkeypatch, cause: str, more: dict) -> None:
    """What moves the pitch by itself, at its notes, beside the window with the control moved as far."""
    design = replace(template_design(), volume_antenna=None, volume=None, volume_response=None)
    opened = OpenedDesign(design)
    more_near = 3e-15 * (0.3 / ROD.distances) ** 0.5
    other = CapacitanceCurve(ROD.distances, ROD.capacitances + more_near, ROD.empty_capacitance)

    def field_for(scene: Scene, *_: object, **__: object) -> HandField:
        return small_field(ROD if scene == opened.scene else other)

    for place in ("synth.build.workbench.field_for", "synth.analysis.moves.field_for"):
        monkeypatch.setattr(place, field_for)
    moves = pitch_moves(opened)
    (listed,) = (move for move in moves.moves if move.cause == cause)
    offer = tunable(opened)
    first = settings = first_settings(offer)
    for name, value in more.items():
        settings = settings.with_value(name, value if isinstance(value, str) else first.number(name) + value)
    assert offer.scenes is not None
    stance = stance_of(offer, settings.stance)
    offer.scenes.keep(stance, offer.scenes.solved(stance))
    tuned, still = retuned(offer, settings), retuned(offer, first)
    for distance, cents in zip(moves.distances_m, listed.cents, strict=True):
        live = 1200.0 * math.log2(float(tuned.field.frequency_at(distance)) / float(still.field.frequency_at(distance)))
        assert cents is not None
        assert abs(cents) > 2.0
        assert live == pytest.approx(cents, abs=0.02)


def test_a_stance_whose_field_cannot_be_solved_is_taken_back(monkeypatch) -> None:
    """The control goes back to where it stood, and the same field is not tried again and again."""
    tried = []

    def field_for(scene: Scene, *_: object, **__: object) -> HandField:
        if scene.player.lean == 0.0:
            return small_field(ring=RING_CURVE)
        tried.append(scene)
        raise DesignError("the player stands in the wall")

    monkeypatch.setattr("synth.build.workbench.field_for", field_for)
    session = session_of([OpenedDesign(template_design())], work=beside)
    session.set("tone", 4000.0)
    session.update()
    session.set("lean", 0.05)
    session.update()
    while session.computing and len(tried) < 5:
        session.update()
    session.update()
    session.close()
    assert session.take_notice() == "the player stands in the wall"
    assert len(tried) == 1
    assert (session.settings.number("lean"), session.settings.number("tone")) == (0.0, 4000.0)


def test_a_setting_put_beside_one_that_is_being_computed_sounds_as_it_is_set(asked: Event) -> None:
    session = session_of([OpenedDesign(template_design())], work=beside)
    session.set("lean", 0.05)
    session.update()
    assert session.add_side()
    session.update()
    asked.set()
    while any(side.computing is not None for side in session.sides):
        session.update()
    assert session.active == 1
    assert session.tuned.scene.player.lean == 0.05
    session.switch_to(0)
    session.update()
    assert session.tuned.scene.player.lean == 0.05
    session.close()
