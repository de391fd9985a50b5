"""The controls' table, its rows, and undo: pure state."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from synth.window.controls import (
    CONTROL_NAMES,
    CONTROLS,
    LONGEST,
    OFF,
    SCALES,
    Control,
    History,
    Settings,
    Tuning,
    Value,
)
from synth.window.drawer import control_rows, value_text

NUMBERS = tuple(control for control in CONTROLS if not control.choices)


@st.composite
def changes(draw: st.DrawFn) -> tuple[str, Value]:
    """A control and a value it takes."""
    control = draw(st.sampled_from(CONTROLS))
    if control.choices:
        return control.name, draw(st.sampled_from(control.choices))
    return control.name, draw(st.floats(control.low, control.high))


@pytest.mark.parametrize("control", CONTROLS, ids=lambda control: control.name)
def test_every_control_has_a_default_it_takes_and_says_what_it_does(control: Control) -> None:
    assert control.checked(control.default) == control.default
    assert control.label
    assert control.hint.endswith(".")
    assert 0.0 <= control.share_of(control.default) <= 1.0


@pytest.mark.parametrize("control", NUMBERS, ids=lambda control: control.name)
@given(share=st.floats(-0.5, 1.5), steps=st.integers(-400, 400))
def test_sliders_and_steps_stay_in_range(control: Control, share: float, steps: int) -> None:
    value = control.value_at(share)
    assert control.checked(value) == value
    moved = control.stepped(value, steps)
    assert control.checked(moved) == moved
    assert control.low <= moved <= control.high


@pytest.mark.parametrize("control", NUMBERS, ids=lambda control: control.name)
@given(share=st.floats(0.0, 1.0))
def test_a_slider_lands_within_a_step_of_where_it_was_put(control: Control, share: float) -> None:
    ratio = math.log(control.step) / math.log(control.high / control.low) if control.logarithmic else 0.0
    step = ratio or control.step / (control.high - control.low)
    assert abs(control.share_of(control.value_at(share)) - share) <= 0.5001 * step + 1e-9


@pytest.mark.parametrize("control", CONTROLS, ids=lambda control: control.name)
def test_a_step_up_and_one_down_lead_back(control: Control) -> None:
    middle = control.value_at(0.5)
    back = control.stepped(control.stepped(middle, 1), -1)
    assert back == middle if control.choices else back == pytest.approx(middle, rel=1e-9, abs=1e-12)
    assert control.stepped(middle, 1) != middle


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tone", math.nan),
        ("tone", math.inf),
        ("tone", True),
        ("tone", "loud"),
        ("tone", 1.0),
        ("register", 2.1),
        ("detector", "magic"),
        ("common", 1.0),
    ],
)
def test_wrong_values_are_refused(name: str, value: Value) -> None:
    with pytest.raises(ValueError, match=f"{name} must be"):
        Settings().with_value(name, value)


def test_unknown_controls_are_refused() -> None:
    with pytest.raises(ValueError, match="controls must be among"):
        Settings({"colour": 1.0})
    with pytest.raises(KeyError):
        Settings().with_value("colour", 1.0)


def test_a_new_zero_beat_remembers_how_things_stood() -> None:
    warm = Settings().with_value("common", "none").with_value("temperature", 5.0)
    assert warm.tuning is None
    tuned = warm.with_value("zero_beat", 0.4)
    assert tuned.tuning == Tuning(5.0, 0.0, 100e-12, "none")
    assert tuned.with_value("temperature", 10.0).tuning == tuned.tuning
    assert tuned.without("zero_beat").tuning is None
    assert tuned.reset() == Settings()


def test_scales_hold_their_notes() -> None:
    assert Settings().guide_notes is None
    major = Settings({"guide": "major", "guide_root": "D"}).guide_notes
    assert major is not None
    assert {62, 64, 66, 67, 69, 71, 73, 74} == {number for number in major if 62 <= number <= 74}
    for scale, steps in SCALES.items():
        notes = Settings({"guide": scale}).guide_notes
        assert notes is not None
        assert len([number for number in notes if 60 <= number < 72]) == len(steps)


def test_the_drone_is_a_note() -> None:
    assert Settings().drone_note is None
    assert Settings({"drone": "A4"}).drone_note == 69
    assert Settings({"drone": "C2"}).drone_note == 36
    assert Settings({"drone": OFF}).drone_note is None


def test_rows_say_value_place_and_reason() -> None:
    settings = Settings({"tone": 4000.0, "zero_beat": 0.45, "temperature": -5.0})
    rows = {row.name: row for row in control_rows(settings, "tone", {"pot": "no trimmer"})}
    assert tuple(rows) == CONTROL_NAMES
    assert rows["tone"].selected
    assert rows["tone"].value == "4.00 kHz"
    assert rows["zero_beat"].value == "45.0 cm"
    assert rows["temperature"].value == "\N{MINUS SIGN}5.0 degC"
    assert rows["detector"].share is None
    assert rows["zero_beat"].share == pytest.approx((0.45 - 0.05) / 0.75)
    assert not rows["pot"].enabled
    assert rows["pot"].hint == "no trimmer"
    assert [row.name for row in rows.values() if row.selected] == ["tone"]


@pytest.mark.parametrize("control", CONTROLS, ids=lambda control: control.name)
def test_values_are_short(control: Control) -> None:
    ends = control.choices or (control.low, control.high, control.default)
    assert all(0 < len(value_text(control, end)) <= 14 for end in ends)


@given(st.lists(changes(), max_size=12))
def test_undo_leads_back_to_the_beginning_and_redo_to_the_end(made: list[tuple[str, Value]]) -> None:
    history = History(Settings())
    for name, value in made:
        history = history.changed(history.now.with_value(name, value))
    last, steps = history.now, len(history.before)
    assert steps <= len(made)
    for _ in range(steps):
        history = history.undo()
    assert history.now == Settings()
    assert history.undo() is history
    for _ in range(steps):
        history = history.redo()
    assert history.now == last
    assert history.redo() is history


@given(st.lists(changes(), min_size=1, max_size=8), st.integers(1, 8))
def test_one_undo_takes_back_exactly_one_step(made: list[tuple[str, Value]], count: int) -> None:
    seen = [Settings()]
    history = History(seen[0])
    for name, value in made:
        history = history.changed(history.now.with_value(name, value))
        if history.now != seen[-1]:
            seen.append(history.now)
    for _ in range(min(count, len(seen) - 1)):
        seen.pop()
        history = history.undo()
        assert history.now == seen[-1]


@given(st.lists(st.floats(250.0, 16000.0), min_size=1, max_size=20))
def test_a_drag_is_one_step(values: list[float]) -> None:
    start = Settings().with_value("jitter", 1.0)
    history = History(Settings()).changed(start)
    for value in values:
        history = history.changed(history.now.with_value("tone", value), "drag tone")
    history = history.settled()
    moved = history.now != start
    assert len(history.before) == (2 if moved else 1)
    assert history.undo().now == (start if moved else Settings())


def test_two_drags_are_two_steps() -> None:
    history = History(Settings())
    for value in (1000.0, 2000.0):
        history = history.changed(history.now.with_value("tone", value), "drag tone").settled()
    assert history.undo().now["tone"] == 1000.0


@given(st.lists(changes(), min_size=1, max_size=8))
def test_reset_is_one_step_that_can_be_undone(made: list[tuple[str, Value]]) -> None:
    history = History(Settings())
    for name, value in made:
        history = history.changed(history.now.with_value(name, value))
    last = history.now
    reset = history.reset()
    assert reset.now == Settings()
    if last != Settings():
        assert reset.undo().now == last


def test_a_change_after_undo_forgets_what_was_undone() -> None:
    history = History(Settings()).changed(Settings({"tone": 1000.0})).undo()
    changed = history.changed(Settings({"tone": 500.0}))
    assert changed.redo() is changed


def test_the_history_has_an_end() -> None:
    history = History(Settings())
    for number in range(LONGEST + 20):
        history = history.changed(Settings({"tone": 300.0 + number}))
    assert len(history.before) == LONGEST
