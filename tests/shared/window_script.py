"""A script for the playing window: steps that take place after its pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from models.hand.both_hands import HandCurve
from models.instrument import Instrument
from models.pitch_field import pitch_field
from models.volume.volume_antenna import VolumeAntenna
from synth.designs.template import template_design
from synth.live.contract import InstrumentSound
from synth.window.play_window import PlayWindow, WindowRun, run_session
from synth.window.session import Session, opened_side
from synth.window.tunable import Tunable

Step = Callable[[PlayWindow], Any]


def session_on(instrument: Instrument, volume: VolumeAntenna | None = None) -> Session:
    """The template's design with this instrument in place of its own, so that no field has to be solved."""
    field = pitch_field(instrument)
    faults = dict.fromkeys(("register", "inductor", "antenna", "pot", "temperature"), "not with this instrument")
    hand, zero_beat = HandCurve(instrument.curve), field.zero_beat_distance
    offer = Tunable(template_design(), instrument, 440.0, "open", hand, zero_beat, volume, faults=faults)
    return Session([opened_side("Trial design", offer)])


def play(session: Session, steps: Iterable[Step], speaker: InstrumentSound, **options: Any) -> WindowRun:
    """Run the window: each step takes place after a picture, and the window is closed after the last."""
    script = iter(steps)

    def each_frame(window: PlayWindow) -> None:
        step = next(script, None)
        if step is None:
            post("QUIT")
        else:
            step(window)

    return run_session(session, speaker, "Trial", **{"caution": False, "each_frame": each_frame, **options})


def post(kind: str, **values: Any) -> None:
    import pygame

    pygame.event.post(pygame.event.Event(getattr(pygame, kind), values))


def key(name: str, mod: int = 0, kind: str = "KEYDOWN") -> Step:
    import pygame

    return lambda window: post(kind, key=pygame.key.key_code(name), mod=mod, unicode="")


def point(place: tuple[int, int], pressed: bool = False) -> None:
    post("MOUSEMOTION", pos=place, rel=(0, 0), buttons=(int(pressed), 0, 0), touch=False)


def click(place: tuple[int, int]) -> None:
    """Ask for sound on the stage, or use what lies there."""
    point(place)
    post("MOUSEBUTTONDOWN", pos=place, button=1, touch=False)
    post("MOUSEBUTTONUP", pos=place, button=1, touch=False)


def check(test: Step) -> Step:
    def step(window: PlayWindow) -> None:
        assert test(window)

    return step


def shows(window: PlayWindow, words: str) -> bool:
    return any(words in text.wanted for text in window.view.texts)


def idle(window: PlayWindow) -> None:
    """Let one more picture pass."""
