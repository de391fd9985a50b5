"""Make the README's pictures anew: python -m tests.pictures.make_pictures

The window is the real one, drawn without a screen, its sound rendered by the voice at the hand's place and listened to
by nobody.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from synth.build.workbench import open_design
from synth.cli import main
from synth.live.contract import InstrumentSound
from synth.live.meters import Meters
from synth.sound.voice import Voice
from synth.window.play_window import PlayWindow, run_session
from synth.window.session import session_of
from tests.shared.listener import Listener

FOLDER = Path(__file__).parents[2] / "demos" / "pictures"
PICTURES = ("window.png", "field.png")
SIZE, RATE, HAND = (1280, 720), 48_000, 0.22


class Playing(Listener):
    """A listener that heard the voice at the hand's place."""

    def recent(self, frames: int) -> NDArray[np.float32]:
        voice = Voice(self.instrument, RATE)
        return voice.render(self.hand[0], max(frames, RATE // 10))[-frames:].astype(np.float32)

    def meters(self) -> Meters:
        beat = float(self.instrument.beat_frequency(self.hand[0]))
        return replace(super().meters(), frequency=beat, distance=self.hand[0], volume=self.hand[1])


def draw_window(path: Path) -> None:
    """The window on the built-in design, the hand on a note."""
    os.environ["SDL_VIDEODRIVER"] = "dummy"
    import pygame

    session = session_of([open_design("lantern")])
    speaker: InstrumentSound = Playing(session.instrument)
    frames = 0

    def each_frame(window: PlayWindow) -> None:
        nonlocal frames
        frames += 1
        scale, layout = window.view.scale, window.view.layout
        assert scale is not None
        assert layout is not None
        place = (round(scale.x_of(HAND)), layout.stage.top + layout.stage.height // 2)
        if frames < 4:
            pygame.event.post(pygame.event.Event(pygame.MOUSEMOTION, pos=place, rel=(0, 0), buttons=(0, 0, 0)))
        elif frames == 5:
            pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=place, button=1))
            pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONUP, pos=place, button=1))
        elif frames == 60:
            surface = pygame.display.get_surface()
            pygame.image.save(surface, str(path))
            pygame.event.post(pygame.event.Event(pygame.QUIT))

    run_session(session, speaker, "Lantern", size=SIZE, caution=False, each_frame=each_frame)


def make(folder: Path) -> None:
    """Write every picture into `folder`."""
    draw_window(folder / "window.png")
    assert main(["field", "lantern", "--plot", str(folder / "field.png"), "--force"]) == 0


if __name__ == "__main__":
    make(FOLDER)
