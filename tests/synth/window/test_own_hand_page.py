"""The minute that measures a hand: what it asks, what it finds of a scripted hand, and that it is kept and drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from listener import Listener
from small_instrument import make_instrument
from window_script import Step, check, idle, key, session_on, shows
from window_script import play as play_session

from models.instrument import Instrument
from models.pitch_field import pitch_field
from synth.hands.own_hand import OwnHand
from synth.hands.own_hand_file import keep_hand, kept_hand
from synth.window.own_hand import SECONDS, TASKS, OwnHandPage
from synth.window.play_window import PlayWindow

pytestmark = pytest.mark.usefixtures("dummy_screen")
STEP = 1.0 / 60.0


@pytest.fixture(scope="module")
def instrument() -> Instrument:
    return make_instrument()


def scripted(page: OwnHandPage) -> None:
    """A hand that does what it is asked for: returns with errors of 3 and -3 mm in turn."""
    distance, start = 0.3, 1000.0
    page.begin(start)
    now, returns = start, 0
    for task in TASKS:
        goal = distance
        if "near" in task.words:
            goal = 0.08
        elif "far" in task.words:
            goal = 0.5
        elif task.lit:
            goal = 0.22
        elif "take" in task.words:
            goal = 0.34
        elif "back" in task.words:
            returns += 1
            goal = 0.22 + (3e-3 if returns % 2 else -3e-3)
        for _ in range(round(task.seconds / STEP)):
            distance += float(np.clip(goal - distance, -0.4 * STEP, 0.4 * STEP))
            now += STEP
            page.advance(now, distance)


def test_it_takes_a_minute() -> None:
    assert 55.0 <= SECONDS <= 65.0


def test_what_a_scripted_hand_does_is_found_and_kept(tmp_path: Path) -> None:
    page = OwnHandPage(tmp_path / "hand.toml")
    scripted(page)
    lines = page.finish()
    hand = kept_hand(tmp_path / "hand.toml")
    assert hand is not None
    assert hand.nearest == pytest.approx(0.08, abs=2e-3)
    assert hand.farthest == pytest.approx(0.5, abs=2e-3)
    assert 2e-3 < hand.scatter < 4e-3
    assert hand.speed == pytest.approx(0.4, rel=0.1)
    assert any("8 to 50 cm" in line for line in lines)
    assert not page.measuring


def test_every_task_is_told_with_the_time_that_is_left(instrument: Instrument) -> None:
    page, notes = OwnHandPage(), pitch_field(instrument).notes()
    assert page.shown(0.0, notes) is None
    page.begin(0.0)
    now = 0.0
    for task in TASKS:
        shown = page.shown(now + 0.5 * task.seconds, notes)
        assert shown is not None
        assert task.words in shown.words
        assert bool(shown.places) is task.lit
        now += task.seconds


def test_a_hand_that_does_nothing_is_told_what_to_do() -> None:
    page = OwnHandPage()
    page.begin(0.0)
    for number in range(600):
        page.advance(4.0 + number * STEP, 0.3)
    assert "come back" in page.finish()[0]
    assert page.hand is None


def test_in_the_window_it_begins_by_key_is_broken_off_and_shades_the_hand(
    instrument: Instrument, tmp_path: Path
) -> None:
    keep_hand(tmp_path / "hand.toml", OwnHand(0.08, 0.4, 4e-3, None, None, 0.5, 1e-3))
    page = OwnHandPage(tmp_path / "hand.toml")

    def hurry(player: PlayWindow) -> None:
        assert player.own_hand.since is not None
        player.own_hand.since -= SECONDS

    steps: list[Step] = [
        idle,
        check(lambda player: player.shown is not None),
        key("u"),
        idle,
        check(lambda player: player.own_hand.measuring and shows(player, "One minute to measure your hand")),
        key("u"),
        check(lambda player: not player.own_hand.measuring),
        key("u"),
        idle,
        hurry,
        idle,
        idle,
        check(lambda player: player.state.practice_page == "found" and shows(player, "Your hand")),
        key("return"),
        check(lambda player: not player.state.practice_page),
    ]
    play_session(session_on(instrument), steps, Listener(instrument), own_hand=page)
