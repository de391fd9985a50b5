"""Practice between the events and the hands: its keys, its pages, and the steps from note to note."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from synth.live.contract import InstrumentSound
from synth.window.draw_practice_pages import row_boxes
from synth.window.note_steps import Glide, next_note
from synth.window.own_hand import OwnHandPage
from synth.window.pointer_events import PointerEvents
from synth.window.practice import Practice
from synth.window.session import Session
from synth.window.state import Action, WindowState
from synth.window.view import View

BEFORE, AFTER, FOUND = "before", "after", "found"


class PracticeEvents(PointerEvents):
    """The events of pointer and fingers, and those of practice."""

    def __init__(
        self,
        session: Session,
        speaker: InstrumentSound,
        state: WindowState,
        folder: Path,
        view: View,
        seed: int = 1,
        practice: Practice | None = None,
        own_hand: OwnHandPage | None = None,
    ) -> None:
        super().__init__(session, speaker, state, folder, view, seed)
        self.practice = Practice() if practice is None else practice
        self.own_hand = OwnHandPage() if own_hand is None else own_hand
        self.own_hand.read()
        self.say("  ·  ".join(filter(None, (self.own_hand.fault, self.practice.file_fault))))
        self.found: tuple[str, ...] = ()  # what the minute found of the hand
        self._glide: Glide | None = None
        self._wanted_note: float | None = None

    def perform(self, action: Action) -> None:
        """Do what an action asks for; those of practice are done here."""
        own = PRACTISED.get(action)
        if own is None:
            super().perform(action)
        else:
            own(self)

    def open_practice(self) -> None:
        """The page before practice; what runs ends unjudged."""
        self.practice.course = None
        self.own_hand.end()
        self.view.show_between(None)
        self._page("" if self.state.practice_page == BEFORE else BEFORE)

    def practise(self) -> None:
        """Start, or stop and show how it went."""
        practice = self.practice
        if practice.running:
            self.say(practice.stop())
            self.view.show_between(None)
            self._page(AFTER if practice.result is not None else "")
            return
        if practice.start():
            self._page("")
            self.view.show_between(practice.span)
        else:
            self.say(practice.fault)

    def measure_hand(self) -> None:
        """Begin the minute, or break it off."""
        if self.own_hand.measuring:
            self.own_hand.end()
            return
        self.practice.course = None
        self._page("")
        self.own_hand.begin(time.monotonic())

    def step_note(self, steps: int) -> None:
        """The hand glides to the next note of the marked scale."""
        from_here = self.state.distance if self._glide is None else self._glide.end
        notes = self.session.tuned.field.notes()
        line = next_note(notes, self.session.settings.guide_notes, from_here, steps)
        if line is None:
            self.say("There is no further note of the scale in reach")
        else:
            self._glide = Glide(self.state.distance, line.distance, time.monotonic())

    def practice_key(self, name: str) -> bool:
        """Whether a key (pygame's name) was one of the open page's."""
        if not self.state.practice_page:
            return False
        if self.state.practice_page == BEFORE and name in PAGE_KEYS:
            PAGE_KEYS[name](self)
            return True
        if name in ("return", "enter", "space"):
            if self.state.practice_page == FOUND:
                self._page("")
            else:
                self.practise()
            return True
        if name == "x":
            self._page("" if self.state.practice_page == BEFORE else BEFORE)
            return True
        return False

    def practice_pad(self, action: str | None) -> bool:
        """Whether an action of a gamepad was one of the open page's: its cross chooses, its first button starts."""
        key = PAD_KEYS.get(action or "")
        return key is not None and self.practice_key(key)

    def turn_row(self, steps: int) -> None:
        """Another value of the selected row."""
        row = self.practice.rows("")[self.practice.selected].name
        if row == "start":
            self.practise()
        elif row == "drone":
            self.session.step("drone", steps, "step drone")
            self.session.update()
        else:
            self.practice.turn(steps)

    def press_practice(self, place: tuple[int, int]) -> None:
        """A click or a finger on a page: a row takes its next value (from its left third the one before)."""
        layout = self.view.layout
        if self.state.practice_page != BEFORE or layout is None:
            self._page("")
            return
        rows = self.practice.rows("")
        boxes = row_boxes(layout.page, layout.text.normal, layout.text.large, len(rows))
        for number, box in enumerate(boxes):
            if box.holds(place):
                self.practice.selected = number
                self.turn_row(-1 if place[0] < box.left + box.width // 3 and not rows[number].action else 1)
                return

    def advance_practice(self, now: float, seconds: float) -> None:
        """Let a glide go on and the score with it; tell the speaker which note is wanted."""
        if self._glide is not None:
            if self.state.held:
                self._glide = None
            else:
                glide, state = self._glide, self.state
                distance = glide.end if glide.over(now) else glide.at(now)
                self._glide = None if glide.over(now) else glide
                self._move(replace(state, distance=distance, keyed=True), now)
        if self.own_hand.advance(now, self.state.distance):
            self.found = self.own_hand.finish()
            self._page(FOUND)
        practice = self.practice
        if practice.running:
            heard, gain = self.heard(self.state)
            gain = 0.0 if self.state.silenced else gain
            beat = float(self.session.tuned.instrument.beat_frequency(heard))
            if practice.advance(now, seconds, beat, gain):
                self.practise()
        if practice.target != self._wanted_note:
            self._wanted_note = practice.target
            self.speaker.set_target(self._wanted_note)

    def _page(self, page: str) -> None:
        if page:
            self.fall_silent()
        self.state = replace(self.state, practice_page=page)


PAGE_KEYS: dict[str, Callable[[PracticeEvents], None]] = {
    "up": lambda window: window.practice.select(-1),
    "down": lambda window: window.practice.select(1),
    "left": lambda window: window.turn_row(-1),
    "right": lambda window: window.turn_row(1),
    "tab": lambda window: window.practice.select(1),
}
PAD_KEYS = {
    "louder": "up",
    "quieter": "down",
    "note lower": "left",
    "note higher": "right",
    "answer": "return",
    "practise": "x",
}
PRACTISED: dict[Action, Callable[[PracticeEvents], None]] = {
    "practise": PracticeEvents.open_practice,
    "practice go": PracticeEvents.practise,
    "own hand": PracticeEvents.measure_hand,
    "note higher": lambda window: window.step_note(1),
    "note lower": lambda window: window.step_note(-1),
}
