"""How often costly instruments are passed on, and what the hint of sensitivity says of the hand."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from beside import beside

from synth.build.workbench import open_design
from synth.window import actions as module
from synth.window.actions import Actions, is_costly
from synth.window.retune import effect_text
from synth.window.session import Session, session_of
from synth.window.state import WindowState

DEMOS = Path(__file__).resolve().parents[3] / "demos"


@pytest.fixture(scope="module")
def sessions() -> dict[str, Session]:
    return {name: session_of([open_design(DEMOS / f"{name}.toml")], work=beside) for name in ("meadow", "willow")}


class Speaker:
    def __init__(self) -> None:
        self.sent: list[Any] = []

    def set_instrument(self, instrument: Any) -> None:
        self.sent.append(instrument)


def drag(session: Session, monkeypatch: pytest.MonkeyPatch) -> tuple[Speaker, list[float]]:
    """A drag of one second, its controls looked at 20 times, then a rest; how much was sent, and when."""
    now, speaker, when = [100.0], Speaker(), []
    monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: now[0]))

    class Watched(Actions):
        def lay_out(self) -> None:
            when.append(now[0])

    actions = Watched(session, speaker, WindowState(0.3, 0.1), Path())
    for number in range(20):
        session.slide("tone", 0.9 - 0.02 * number)
        actions.update()
        now[0] += 0.05
    now[0] += module.COSTLY_TIME
    actions.update()
    return speaker, when


def test_a_costly_instrument_changes_twenty_times_a_second_and_ends_as_set(sessions, monkeypatch):
    session = sessions["willow"]
    assert is_costly(session.instrument)
    speaker, when = drag(session, monkeypatch)
    assert when[0] == 100.0  # the first at once
    assert when[-1] - when[0] >= (len(when) - 2) * module.COSTLY_TIME
    assert 12 <= len(when) <= 21  # some places of the slider share a step
    assert speaker.sent[-1].tone_low_pass == session.settings.number("tone")


def test_another_instrument_changes_with_every_look(sessions, monkeypatch):
    session = sessions["meadow"]
    assert not is_costly(session.instrument)
    assert len(drag(session, monkeypatch)[1]) >= 12  # of 20 looks; some places of the slider share a step


def test_the_hint_tells_the_slope_at_the_hand(sessions):
    """Against the pitch itself, a tenth of a millimetre apart."""
    import math

    tuned, hand = sessions["meadow"].tuned, 0.17
    near, far = (float(tuned.field.frequency_at(hand + change)) for change in (-5e-5, 5e-5))
    measured = abs(1200.0 * math.log2(near / far)) / 0.1
    said = effect_text(tuned, hand)
    assert float(said.split(", ")[1].split()[0]) == pytest.approx(measured, abs=0.51)
    assert effect_text(tuned, tuned.field.zero_beat_distance) == ""
