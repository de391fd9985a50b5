"""What each action of the table of keys does to the session, the speaker and what the window knows."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import datetime
from functools import partial
from pathlib import Path

from models.instrument import Instrument
from models.pitch import frequency_of_note, note_name, note_number
from synth.errors import InstrumentError
from synth.files.atomic_file import write_text
from synth.live.contract import InstrumentSound
from synth.window.changed import changed
from synth.window.controls import HIGHEST_DRONE, LOWEST_DRONE, OFF
from synth.window.saving import saved_design
from synth.window.session import LETTERS, WORKING, Session
from synth.window.state import Action, WindowState, let_go, with_notice

RESTART_TIME = 1.0  # s that the notice of it stays at least
COSTLY_TIME = 0.036  # s between two changes of an instrument with a table for each hand distance: 28 a second
CHEAP_TIME = 0.03  # s between two changes of another one: 33 a second
NO_FINGERS = 'This hand is a fist that stays closed; with [player] posture = "open" in the design its fingers move'
NO_TAKE = "There is no take to play again: play first"


class Actions:
    """Session, speaker and state together, and each action on them."""

    def __init__(
        self, session: Session, speaker: InstrumentSound, state: WindowState, folder: Path, seed: int = 1
    ) -> None:
        self._folder = folder
        self._seed = seed  # of the tremor
        self._sent_jitter: float = 0.0
        self._sent_drone: float | None = None
        self._due = 0.0
        self._stepped = self._replay_began = time.monotonic()
        self.session = session
        self.speaker = speaker
        self.state = state
        self.closing = False
        self._cause: Callable[[], bool] | None = None  # of the notice that is shown
        self.unsaved_seconds = 0.0  # played since the last keep
        self._asked: tuple[object, ...] = ()
        self._heard = (0.0, 0.0)

    def heard(self, state: WindowState) -> tuple[float, float]:
        """Distance, m, and gain that sound with hands and fingers as in `state`; worked out once for each move."""
        hands = state.distance, state.volume, state.height, state.opening
        asked = (self.session.tuned, *hands)
        if asked != self._asked:
            self._asked, self._heard = asked, self.session.tuned.heard(*hands)
        return self._heard

    def lay_out(self) -> None:
        """What moved the parts of the window is done: a window lays them out anew."""

    def perform(self, action: Action) -> None:
        """Do what an action asks for."""
        PERFORMED[action](self)

    def say(self, text: str, cause: Callable[[], bool] | None = None) -> None:
        """Show a notice: for a while, or for as long as its cause lasts."""
        if text:
            self.state = with_notice(self.state, text, time.monotonic(), lasting=cause is not None)
            self._cause = cause

    def end_notice(self) -> None:
        """Take the notice away whose cause has ended."""
        if self._cause is not None and not self._cause():
            self._cause = None
            self.state = changed(self.state, notice="", notice_until=0.0)

    def update(self) -> None:
        """Pass on what the controls changed; call it with every picture.

        An instrument whose amplitudes follow the hand (a solved circuit) or with a diode takes the audio process some
        10 ms to prepare: of those the newest is passed on every `COSTLY_TIME` on average, the first of a drag at once.
        """
        session, now = self.session, time.monotonic()
        if now >= self._due:
            session.update()
        if now >= self._due and session.take_changed():
            instrument = session.instrument
            self.speaker.set_instrument(instrument)
            self.lay_out()
            # counted on from when it was due, so that the pictures' rhythm takes nothing away from the rate
            self._due = max(self._due + (COSTLY_TIME if is_costly(instrument) else CHEAP_TIME), now)
        notice = session.take_notice()
        self.say(notice, (lambda: session.busy) if notice in WORKING else None)
        jitter, drone = session.settings.number("jitter"), self.drone_frequency
        if jitter != self._sent_jitter:
            self._sent_jitter = jitter
            self.speaker.set_jitter(jitter, self._seed)
        if drone != self._sent_drone:
            self._sent_drone = drone
            self.speaker.set_drone(drone)

    @property
    def drone_frequency(self) -> float | None:
        """Frequency of the drone, Hz, by the reference A that is set; None while there is none."""
        settings = self.session.settings
        note = settings.drone_note
        return None if note is None else float(frequency_of_note(note, settings.number("reference_a")))

    def close(self) -> None:
        """Close the window."""
        self.closing = True

    def quit(self) -> None:
        """Close the window, or first ask where something would be lost or cut off."""
        reasons = self.reasons_to_stay()
        if not reasons:
            self.close()
            return
        self.fall_silent()
        self.state = changed(self.state, leaving=reasons)

    def fall_silent(self) -> None:
        """The hands rest, at once in silence."""
        self.state = changed(let_go(changed(self.state, volume=0.0)), fading=False)
        self.speaker.move(*self.heard(changed(self.state, volume=0.0, height=None)))

    def reasons_to_stay(self) -> tuple[str, ...]:
        """What quitting would drop or end: a running recording, and what is in memory and not saved."""
        reasons = []
        if self.speaker.recording_to is not None:
            reasons.append(f"A recording is running; it would end here, in {self.speaker.recording_to.name}.")
        whole = int(min(self.speaker.kept_seconds, self.unsaved_seconds))
        if whole >= 1:
            reasons.append(f"{whole // 60}:{whole % 60:02d} of playing are in memory and not saved.")
        return tuple(reasons)

    def toggle_recording(self) -> None:
        """Start a recording, or end it."""
        if self.speaker.recording_to is not None:
            self.speaker.record(None)
            return
        path = recording_path(self._folder, self.session.side.name, datetime.now())
        self.speaker.record(path)
        self.say(f"Recording to {path}", lambda: self.speaker.recording_to is not None)

    def keep(self) -> None:
        """Write the last five minutes to a sound file and a hand trace."""
        stem = recording_path(self._folder, f"{self.session.side.name} take", datetime.now()).stem
        self.speaker.keep(self._folder, stem)
        self.unsaved_seconds = 0.0

    def toggle_replay(self) -> None:
        """Play the last take again, or end that."""
        if self.state.replaying:
            self.end_replay()
            return
        path = self.speaker.last_take()
        if path is None:
            self.say(NO_TAKE)
            return
        self._replay_began = time.monotonic()
        self.fall_silent()  # so that nothing sounds when it ends
        self.state = changed(self.state, replaying=True)
        self.speaker.replay(path)
        words = f"Playing the last {path.duration:.0f} s again; click on the stage or press T to end it"
        self.say(words, lambda: self.state.replaying)

    def end_replay(self) -> None:
        """The hand takes over again."""
        self.speaker.replay(None)
        self.state = changed(self.state, replaying=False)

    def restart(self) -> None:
        """Start the audio process anew, where the sound is lost."""
        if self.speaker.device_error is None:
            self.say("The sound is running; this key starts it again when it is lost")
            return
        try:
            self.speaker.restart(wait=False)
        except (InstrumentError, OSError) as error:
            self.say(str(error))
            return
        begun = time.monotonic()

        def starting() -> bool:
            meters = self.speaker.meters()
            return time.monotonic() < begun + RESTART_TIME or not (meters.alive and meters.blocks > 0)

        self.say("Starting the sound again", starting)

    def toggle_fist(self) -> None:
        """Close the fingers, or open them."""
        self.open_fingers(0.0 if self.state.wanted_opening > 0.5 else 1.0)

    def open_fingers(self, opening: float) -> None:
        """Let the fingers go to an opening, kept within 0 (closed) to 1 (stretched); the wrist stays."""
        if not self.session.tuned.hand.heeds_opening:
            self.say(NO_FINGERS)
            return
        self.state = changed(self.state, wanted_opening=min(max(opening, 0.0), 1.0))

    def toggle_drone(self) -> None:
        """The drone on the note that sounds, or off."""
        if self.session.settings.drone_note is not None:
            self.session.set("drone", OFF)
            return
        beat = abs(float(self.session.instrument.beat_frequency(self.state.distance)))
        if beat < 1.0:
            self.say("There is no note for the drone here")
            return
        number = round(float(note_number(beat, self.session.settings.number("reference_a"))))
        self.session.set("drone", note_name(min(max(number, LOWEST_DRONE), HIGHEST_DRONE)))

    def other_side(self) -> None:
        """Play the next design or setting, and say what it is."""
        if self.session.switch():
            self.say(self.session.figures)
        else:
            self.say(
                "There is one setting; G puts another one beside it, or open designs: beatfield play A.toml B.toml"
            )

    def play_side(self, place: int) -> None:
        """Play a design or setting by its number, from 0, and say what it is."""
        if self.session.switch_to(place):
            self.say(self.session.figures)
        else:
            self.say(f"There is no setting {LETTERS[place]}; G puts another one beside this one")

    def add_side(self) -> None:
        """Put another setting beside this one."""
        if self.session.add_side():
            self.say(f"{self.session.figures}. Change it; O goes from one to the other")
        else:
            self.say(f"There are {len(self.session.sides)} settings side by side, and no more")

    def save_design(self) -> None:
        """Write the present settings as a design of its own."""
        side = self.session.side
        path = recording_path(self._folder, side.name, datetime.now(), ".toml")
        try:
            saved = saved_design(side)
            write_text(path, saved.text)
        except (ValueError, InstrumentError, OSError) as error:
            self.say(f"Not saved: {error}")
            return
        self.say(". ".join((f"Saved as {path}", *saved.remarks)))

    def step(self, steps: int) -> None:
        """Move the selected control; steps that follow at once are one step of undo."""
        self._stepped = time.monotonic()
        name = self.state.selected
        self.session.step(name, steps, f"step {name}")


def is_costly(instrument: Instrument) -> bool:
    """Whether the voice needs a table of waveforms for this instrument, one for each of many hand distances."""
    return instrument.amplitude_varies or instrument.detector.kind == "diode"


def recording_path(folder: Path, name: str, now: datetime, ending: str = ".wav") -> Path:
    """A name that does not exist yet: design name and time, with a number if need be."""
    stem = f"{re.sub(r'[^A-Za-z0-9]+', '-', name).strip('-').lower() or 'beatfield'}-{now:%Y%m%d-%H%M%S}"
    path, number = folder / f"{stem}{ending}", 2
    while path.exists():
        path, number = folder / f"{stem}-{number}{ending}", number + 1
    return path


PERFORMED: dict[Action, Callable[[Actions], None]] = {
    "quit": Actions.quit,
    "close": Actions.close,
    "mute": lambda actions: actions.speaker.mute(actions.state.silenced),
    "level": lambda actions: actions.speaker.set_level(actions.state.level),
    "layout": lambda actions: actions.lay_out(),
    "record": Actions.toggle_recording,
    "keep": Actions.keep,
    "replay": Actions.toggle_replay,
    "restart": Actions.restart,
    "fist": Actions.toggle_fist,
    "drone": Actions.toggle_drone,
    "other side": Actions.other_side,
    "add side": Actions.add_side,
    **{f"side {letter}": partial(Actions.play_side, place=place) for place, letter in enumerate(LETTERS)},
    "save": Actions.save_design,
    "step up": lambda actions: actions.step(1),
    "step down": lambda actions: actions.step(-1),
    "ten up": lambda actions: actions.step(10),
    "ten down": lambda actions: actions.step(-10),
    "reset one": lambda actions: actions.session.reset_one(actions.state.selected),
    "reset": lambda actions: actions.session.reset(),
    "undo": lambda actions: actions.session.undo(),
    "redo": lambda actions: actions.session.redo(),
}
