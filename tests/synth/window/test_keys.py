"""The table of keys: every key is handled and in the help; the hand moved by keys is smooth."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from synth.window.controls import CONTROL_NAMES
from synth.window.held_hands import SPEED, KeyHand, advanced, moved
from synth.window.keys import KEY_ROWS, TEXT_SCALES, KeyRow, help_groups, next_control, next_text_scale, row_of
from synth.window.state import WindowState, after_action, on_key

STATE = WindowState(distance=0.3, level=0.2)
PURE = {
    "help",
    "drawer",
    "leave",
    "quit",
    "mute",
    "louder",
    "quieter",
    "mirror",
    "look",
    "still",
    "next control",
    "previous control",
    "larger text",
    "smaller text",
    "usual text",
}


def split(key: str) -> tuple[str, bool, bool]:
    """Name, ctrl and shift of a key of the table."""
    name = key.removeprefix("ctrl+").removeprefix("shift+")
    return name, key.startswith("ctrl+"), "shift+" in key


def test_no_key_has_two_meanings() -> None:
    keys = [key for row in KEY_ROWS for key in row.keys]
    assert len(keys) == len(set(keys))
    assert all(one.action != other.action for one, other in combinations(KEY_ROWS, 2))


@pytest.mark.parametrize("row", KEY_ROWS, ids=lambda row: row.action)
def test_every_key_of_the_table_leads_to_its_action(row: KeyRow) -> None:
    for key in row.keys:
        assert row_of(*split(key)) is row
        name, ctrl, shift = split(key)
        assert on_key(STATE, name, ctrl, shift) == after_action(STATE, row.action)
        assert on_key(STATE, name, ctrl, shift) != (STATE, None)


@pytest.mark.parametrize("row", KEY_ROWS, ids=lambda row: row.action)
def test_every_key_is_in_the_help(row: KeyRow) -> None:
    shown = [text for _, rows in help_groups() for text in rows]
    if row.action in ("ten up", "ten down"):  # named in the row of the single step
        single = next(one for one in KEY_ROWS if one.action == row.action.replace("ten", "step"))
        assert "Shift: ten" in single.meaning
    elif row.action[:5] == "side " and row.action != "side A":
        assert "1 \N{HORIZONTAL ELLIPSIS} 6" in {keys for keys, _ in shown}
    else:
        assert (row.shown, row.meaning) in shown
    assert len(row.meaning) <= 60


def test_every_action_is_done_by_the_state_or_by_the_player() -> None:
    """The player's own table of actions and the pure ones together are the whole table of keys."""
    from synth.window.actions import PERFORMED
    from synth.window.play_window import SEEN
    from synth.window.practice_events import PRACTISED

    held = {row.action for row in KEY_ROWS if row.held}
    done = (set(PERFORMED) - {"level", "layout", "close"}) | set(SEEN) | set(PRACTISED)
    assert {row.action for row in KEY_ROWS} == PURE | done | held


def test_the_ring_has_a_row_of_its_own() -> None:
    def told(has_ring: bool) -> bool:
        return any("above the ring" in meaning for _, rows in help_groups(has_ring) for _, meaning in rows)

    assert told(True)
    assert not told(False)


def test_while_the_caution_is_open_nothing_else_is_done() -> None:
    state = WindowState(distance=0.3, level=0.2, caution_open=True)
    for key in ("z", "o", "r", "k", "up", "b"):
        assert on_key(state, key) == (state, None)
    assert not on_key(state, "space")[0].caution_open


def test_text_sizes_go_from_80_to_160_percent_and_back() -> None:
    state = STATE
    seen = [state.text_scale]
    for _ in range(10):
        state, action = on_key(state, "=", ctrl=True)
        assert action == "layout"
        seen.append(state.text_scale)
    assert seen[-1] == 1.6
    assert seen == sorted(seen)
    for _ in range(10):
        state = on_key(state, "-", ctrl=True)[0]
    assert state.text_scale == 0.8
    assert on_key(state, "0", ctrl=True)[0].text_scale == 1.0
    assert next_text_scale(1.2, 0) in TEXT_SCALES


def test_tab_reaches_every_control_and_comes_round() -> None:
    state, seen = STATE, set()
    for _ in CONTROL_NAMES:
        seen.add(state.selected)
        state = on_key(state, "tab")[0]
    assert seen == set(CONTROL_NAMES)
    assert state.selected == STATE.selected
    assert on_key(state, "tab", shift=True)[0].selected == next_control(state.selected, -1)


def held_for(actions: set[str], seconds: float, start: KeyHand | None = None) -> tuple[KeyHand, list[float]]:
    """The key hand after pictures at 60 Hz, and the distances on the way from 0.4 m."""
    hand, distances = start or KeyHand(), [0.4]
    for _ in range(round(60 * seconds)):
        hand = advanced(hand, actions, 1 / 60)
        distances.append(moved(distances[-1], hand, 1 / 60, 0.01, 0.8))
    return hand, distances


def test_a_held_arrow_moves_the_hand_smoothly() -> None:
    hand, distances = held_for({"hand right"}, 1.0)
    assert hand.velocity == pytest.approx(-SPEED, rel=1e-3)
    steps = [later - before for before, later in zip(distances, distances[1:], strict=False)]
    assert max(abs(one - other) for one, other in zip(steps, steps[1:], strict=False)) < 0.3 * SPEED / 60
    stopped, rest = held_for(set(), 1.0, hand)
    assert stopped.velocity == 0.0
    assert abs(rest[-1] - rest[0]) < 0.01


def test_shift_is_slow_and_the_mirror_turns_round() -> None:
    _, fast = held_for({"hand left"}, 1.0)
    _, slow = held_for({"hand left", "fine"}, 1.0)
    assert (slow[-1] - 0.4) == pytest.approx((fast[-1] - 0.4) / 8, rel=1e-6)
    assert advanced(KeyHand(), {"hand left"}, 0.1, mirrored=True).velocity < 0.0 < fast[-1] - 0.4


def test_space_raises_the_volume_hand_and_lets_it_fall() -> None:
    hand, _ = held_for({"sound hand"}, 0.5)
    assert hand.sounding
    assert hand.risen == pytest.approx(hand.height, rel=1e-3)
    louder, _ = held_for({"sound hand", "volume up"}, 2.0, hand)
    assert louder.height == 1.0
    silent, _ = held_for(set(), 0.5, louder)
    assert silent.risen == 0.0
    assert not silent.sounding


@given(
    st.lists(
        st.tuples(
            st.sets(st.sampled_from(["hand left", "hand right", "slower", "sound hand", "volume up", "volume down"])),
            st.floats(-1.0, 100.0),
        ),
        max_size=20,
    )
)
def test_the_key_hand_stays_within_its_bounds(course: list[tuple[set[str], float]]) -> None:
    hand, distance = KeyHand(), 0.4
    for actions, seconds in course:
        hand = advanced(hand, actions, seconds)
        distance = moved(distance, hand, seconds, 0.01, 0.8)
        assert abs(hand.velocity) <= SPEED * (1 + 1e-12)
        assert 0.0 <= hand.risen <= 1.0
        assert 0.0 < hand.height <= 1.0
        assert 0.01 <= distance <= 0.8
