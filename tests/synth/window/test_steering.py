"""Sensitivity steered by a part, the pull towards a scale, settings side by side, and settings saved as a design."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from beside import beside

from models.pitch import frequency_of_note, note_number
from models.pitch_field import PitchField
from synth.build.workbench import OpenedDesign, open_design, open_loaded
from synth.designs.design_file import design_source, load_design, read_design
from synth.errors import DesignError
from synth.window.controls import LEVERS, Settings
from synth.window.picture import setting_rows
from synth.window.pull import GLIDE, pull_of, pulled_share
from synth.window.retune import effect_text, retuned
from synth.window.saving import saved_design
from synth.window.session import LETTERS, Session, session_of
from synth.window.state import WindowState
from synth.window.steering import part_for_sensitivity, sensitivity_at, zero_beats
from synth.window.tunable import Parts, Tunable, changed_design, first_settings, tunable, with_parts

DEMOS = Path(__file__).resolve().parents[3] / "demos"


@pytest.fixture(scope="module")
def meadow() -> OpenedDesign:
    return open_design(DEMOS / "meadow.toml")


@pytest.fixture(scope="module")
def offer(meadow: OpenedDesign) -> Tunable:
    return tunable(meadow)


def fresh(meadow: OpenedDesign) -> Session:
    return session_of([meadow], [design_source(DEMOS / "meadow.toml")], beside)


def until(session: Session, ready: Callable[[], bool], most: float = 60.0) -> None:
    """Let the work beside the window be done."""
    end = time.monotonic() + most
    while not ready():
        assert time.monotonic() < end
        session.update()
        time.sleep(0.005)
    session.update()


def by_differences(field: PitchField, note: int) -> float:
    """Cents to a centimetre at a note, from two places half a tenth of a millimetre apart: no derivative in it."""
    place = float(field.distance_at(frequency_of_note(note, field.reference_a)))
    near, far = field.frequency_at([place - 2.5e-5, place + 2.5e-5])
    return abs(1200.0 * math.log2(float(near / far))) / 0.005


def test_zero_beat_steers_the_sensitivity(offer: Tunable) -> None:
    settings = first_settings(offer)
    tuned = retuned(offer, settings)
    now = sensitivity_at(tuned.field, "A4")
    assert now == pytest.approx(by_differences(tuned.field, 69), rel=1e-4)
    known, here = zero_beats(tuned, "A4", (0.1, 0.7)), tuned.field.zero_beat_distance or 0.0
    for factor in (0.97, 1.1, 1.5):
        place = known.place(factor * now, here)
        changed = retuned(offer, settings.with_value("zero_beat", place)).field
        assert by_differences(changed, 69) == pytest.approx(factor * now, rel=3e-3)
        assert (place > (tuned.field.zero_beat_distance or 0.0)) is (factor < 1.0)
    with pytest.raises(DesignError, match="zero beat gives .* cents a cm at A4"):
        known.place(1e5, here)
    for end in known.reach:
        assert 0.1 <= known.place(end, here) <= 0.7
        changed = retuned(offer, settings.with_value("zero_beat", known.place(end, here))).field
        assert by_differences(changed, 69) == pytest.approx(end, rel=3e-3)
    assert sensitivity_at(tuned.field, "C-1") is None


@pytest.mark.slow
@pytest.mark.parametrize("lever", ["inductor", "tanks"])
def test_a_part_steers_the_sensitivity(lever: str, offer: Tunable) -> None:
    settings = first_settings(offer).with_value("lever", lever).with_value("at_note", "C4")
    now = sensitivity_at(retuned(offer, settings).field, "C4")
    assert now is not None
    name = LEVERS[lever]
    value = 1.3 if name == "inductor" else 0.6
    end = settings.with_value(name, value)
    wanted = sensitivity_at(retuned(with_parts(offer, parts(name, value)), end).field, "C4")
    assert wanted is not None
    # the tanks' L/C moves the notes and hardly their sensitivity: it is the register that it shifts
    assert abs(wanted / now - 1.0) > 0.1 if name == "inductor" else 0.001 < abs(wanted / now - 1.0) < 0.03
    assert part_for_sensitivity(offer, settings, wanted) == pytest.approx(value, rel=0.02)
    with pytest.raises(DesignError, match="cents a cm at C4 is all"):
        part_for_sensitivity(offer, settings, 100.0 * now)


def test_the_antenna_steers_to_any_value_with_few_fields(offer: Tunable) -> None:
    """Each look takes a solved field, so few are taken; here the antenna's control moves the inductor instead."""
    settings = first_settings(offer).with_value("lever", "antenna").with_value("at_note", "C4")
    looks: list[float] = []

    def built(origin: Tunable, wanted: Settings) -> Tunable:
        looks.append(wanted.number("antenna"))
        return with_parts(origin, Parts(inductor=wanted.number("antenna") ** 0.3))

    def given(value: float) -> float:
        end = settings.with_value("antenna", value)
        found = sensitivity_at(retuned(built(offer, end), end).field, "C4")
        assert found is not None
        return found

    for value in (1.035, 1.3):
        wanted = given(value)
        looks.clear()
        found = part_for_sensitivity(offer, settings, wanted, built)
        assert len(looks) <= 5
        assert given(found) == pytest.approx(wanted, rel=2e-3)
    with pytest.raises(DesignError, match="antenna: .* cents a cm at C4 is all"):
        part_for_sensitivity(offer, settings, 100.0 * wanted, built)


def parts(name: str, value: float) -> Parts:
    return replace(Parts(), **{name: value})


def test_the_inductor_leaves_zero_beat_where_it_was(offer: Tunable) -> None:
    changed = with_parts(offer, Parts(inductor=1.2))
    assert changed.design.branch is not None
    assert offer.design.branch is not None
    assert changed.design.branch.inductance == pytest.approx(1.2 * offer.design.branch.inductance)
    field = retuned(changed, first_settings(changed)).field
    assert field.zero_beat_distance == pytest.approx(offer.zero_beat, abs=1e-6)
    longer = changed_design(offer, Parts(antenna=1.1))
    assert longer.antenna.length == pytest.approx(1.1 * offer.design.antenna.length)


@pytest.mark.slow
def test_the_slider_of_sensitivity_moves_its_lever_and_shows_what_is(meadow: OpenedDesign) -> None:
    session = fresh(meadow)
    shown = session.shown_settings.number("sensitivity")
    assert shown == pytest.approx(by_differences(session.tuned.field, 69), rel=1e-3)
    session.set("sensitivity", 1.2 * shown)
    session.update()
    assert session.settings.number("zero_beat") < (meadow.field.zero_beat_distance or 0.0)
    assert session.shown_settings.number("sensitivity") == pytest.approx(1.2 * shown, rel=5e-3)
    session.undo()
    session.update()
    assert session.shown_settings.number("sensitivity") == pytest.approx(shown, rel=1e-6)
    session.set("lever", "zero beat")
    for share in np.linspace(0.0, 1.0, 5):  # all of its way is within reach
        before = session.settings.number("zero_beat")
        session.slide("sensitivity", float(share))
        session.update()
        assert session.settings.number("zero_beat") != before, session.take_notice()
        drawn = session.drawn_settings
        assert drawn.control("sensitivity").share_of(drawn["sensitivity"]) == pytest.approx(share, abs=0.01)
    session.undo()
    session.set("lever", "inductor")
    target = 1.15 * shown
    session.set("sensitivity", 2.0 * shown)  # heard on the way, and overtaken by the next one
    session.set("sensitivity", target)
    until(session, lambda: session.settings.number("inductor") != 1.0 and not session.busy)
    assert session.shown_settings.number("sensitivity") == pytest.approx(target, rel=0.01)
    session.set("lever", "tanks")
    session.set("sensitivity", 3.0 * shown)
    until(session, lambda: "is all that it can give" in session.take_notice())
    session.close()


def test_a_control_says_what_it_changes_at_the_hands_place(meadow: OpenedDesign) -> None:
    session, hand = fresh(meadow), 0.25
    assert session.without("zero_beat") is None
    before = effect_text(session.tuned, hand)
    session.set("zero_beat", 0.42)
    session.update()
    without = session.without("zero_beat")
    assert without is not None
    said = effect_text(session.tuned, hand, without)
    assert said.endswith(before.replace(" Here ", "as designed ").lstrip())
    assert said.startswith(" Here ")
    assert effect_text(session.tuned, hand) != before


def test_settings_side_by_side_are_equally_loud_and_say_their_figures(meadow: OpenedDesign) -> None:
    session = fresh(meadow)
    first = session.figures
    assert first.startswith("Meadow: C2 to C6 within")
    for _ in LETTERS[1:]:
        assert session.add_side()
    assert not session.add_side()
    assert session.names[-1] == "F Meadow"
    session.set("tone", 500.0)
    session.update()
    session.match_now()
    assert ", 0.0 dB to match" in session.figures  # the duller one is the quietest: the others are brought down to it
    assert session.switch()
    assert session.active == 0
    assert session.settings.number("tone") != 500.0  # each has settings of its own
    assert ", \N{MINUS SIGN}" in session.figures
    session.close()


def test_a_setting_put_beside_the_others_while_they_are_matched_plays(meadow: OpenedDesign) -> None:
    session = fresh(meadow)
    for count in (2, 3, 4):
        assert session.add_side()
        session.update()  # the match of the sides begins beside the window, and the next side comes before its end
        assert session.active == count - 1
    until(session, lambda: session.matched)
    assert session.instrument.level == pytest.approx(session.instrument_of(0).level)
    session.close()


def test_each_setting_has_its_figures_for_the_hand_where_it_is(meadow: OpenedDesign) -> None:
    session = fresh(meadow)
    state = WindowState(distance=0.2, level=0.2, opening=session.tuned.hand.opening)
    assert session.add_side()
    session.set("zero_beat", 0.3)
    session.update()
    first, second = setting_rows(session, state)
    assert (first.letter, first.plays, second.letter, second.plays) == ("A", False, "B", True)
    assert second.zero_beat == "30.0 cm"
    for row, side in zip((first, second), session.sides, strict=True):
        near, far = side.tuned.field.frequency_at([0.19995, 0.20005])
        assert float(row.sensitivity) == pytest.approx(abs(1200.0 * math.log2(near / far)) * 100.0, abs=0.6)
    assert float(second.span.split()[0]) < float(first.span.split()[0])
    silent = setting_rows(session, replace(state, distance=0.45))[1]  # beyond zero beat of the second
    assert silent.sensitivity.isdigit() or silent.sensitivity == "\N{EN DASH}"
    assert session.switch_to(0)
    assert not session.switch_to(2)
    assert [row.plays for row in setting_rows(session, state)] == [True, False]
    session.close()


@pytest.mark.parametrize("pull", [0.0, 0.4, 1.0])
def test_a_pull_keeps_the_notes_and_never_leaps(pull: float) -> None:
    share = np.linspace(0.0, 1.0, 2001)
    course = pulled_share(share, pull)
    assert (course[0], course[1000], course[-1]) == pytest.approx((0.0, 0.5, 1.0))
    assert np.all(np.diff(course) >= -1e-12)
    steepest = float(np.diff(course).max()) * 2000.0
    assert steepest == pytest.approx(1.0 - pull + pull * 15.0 / 8.0 / GLIDE, rel=1e-3)  # of minimum jerk: 15/8


def test_a_pulled_hand_sounds_the_scale(offer: Tunable) -> None:
    settings = first_settings(offer).with_value("guide", "major").with_value("pull", 1.0)
    tuned = retuned(offer, settings)
    field, scale = tuned.field, settings.guide_notes
    assert scale is not None

    def number(distance: float) -> float:
        heard, _ = tuned.heard(distance, 1.0, None, tuned.hand.opening)
        return float(note_number(field.frequency_at(heard), field.reference_a))

    places = {line.number: line.distance for line in field.notes()}
    for note in (60, 64, 67):
        assert number(places[note]) == pytest.approx(note, abs=0.01)
        assert number(places[note] + 0.2 * (places[note + 1] - places[note])) == pytest.approx(note, abs=0.02)
    path = [number(distance) for distance in np.linspace(places[60], places[72], 400)]
    assert all(one <= other + 1e-6 for one, other in pairwise(path))
    half = retuned(offer, settings.with_value("pull", 0.5))
    off = places[60] + 0.2 * (places[61] - places[60])
    heard, _ = half.heard(off, 1.0, None, half.hand.opening)
    free = float(note_number(field.frequency_at(off), field.reference_a)) - 60.0
    assert float(note_number(field.frequency_at(heard), field.reference_a)) - 60.0 == pytest.approx(
        0.5 * free, rel=0.02
    )
    assert pull_of(field, scale, 0.0) is None


def test_settings_are_saved_as_a_design_that_plays_the_same(meadow: OpenedDesign, tmp_path: Path) -> None:
    session = fresh(meadow)
    source = design_source(DEMOS / "meadow.toml")
    for name, value in (
        ("zero_beat", 0.45),
        ("register", 2.0 ** (2.0 / 12.0)),
        ("tone", 4000.0),
        ("reference_a", 442.0),
    ):
        session.set(name, value)
        session.update()
    saved = saved_design(session.side)
    path = tmp_path / "saved.toml"
    path.write_text(saved.text, encoding="utf-8")
    comments = [line for line in source.splitlines() if line.strip().startswith("#")]
    assert comments
    assert all(line in saved.text for line in comments)
    assert saved.remarks == ()
    opened = open_loaded(load_design(path))
    assert opened.design.tone.low_pass == 4000.0
    assert opened.field.reference_a == 442.0
    places = np.array([0.1, 0.2, 0.3])
    np.testing.assert_allclose(
        opened.field.frequency_at(places), session.tuned.field.frequency_at(places), rtol=4e-4
    )  # 0.7 cents
    session.set("jitter", 1.0)
    session.update()
    assert saved_design(session.side).remarks[0] == "Tremor is not part of a design and is left out"


def test_an_unchanged_design_is_saved_as_it_is(meadow: OpenedDesign) -> None:
    session = fresh(meadow)
    saved = saved_design(session.side)
    assert saved.text == design_source(DEMOS / "meadow.toml")
    assert read_design(saved.text) == meadow.design
