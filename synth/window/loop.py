"""The window's loop: events as they arrive move the hand, and 60 times a second the picture is drawn."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from synth.window import first_start
from synth.window.event_loop import run_events
from synth.window.performer import recording_path as recording_path
from synth.window.player import Player as Player
from synth.window.player import field_picture
from synth.window.screen import FIRST_SIZE, close_screen, open_screen
from synth.window.screen_lost import on_lost_screen
from synth.window.session import Session, fixed_session
from synth.window.state import WindowState
from synth.window.view import View

if TYPE_CHECKING:
    from models.instrument import Instrument
    from models.pitch_field import PitchField
    from models.volume.volume_antenna import VolumeAntenna
    from synth.live.speaker import Speaker

FRAME_TIME = 1.0 / 60.0  # s


@dataclass(frozen=True, slots=True)
class Played:
    """What `run` returns: pictures drawn and time open, s."""

    frames: int
    seconds: float


@dataclass(frozen=True, slots=True)
class Look:
    """How the window opens: left-handed or not, text size (1 is usual), seed of the tremor."""

    mirrored: bool = False
    text_scale: float = 1.0
    seed: int = 1


def run(
    instrument: Instrument,
    field: PitchField,
    speaker: Speaker,
    title: str,
    *,
    record_folder: Path | str = ".",
    reference_a: float = 440.0,
    antenna_diameter: float = 0.010,
    volume: VolumeAntenna | None = None,
    tube_diameter: float = 0.008,
    remarks: tuple[str, ...] = (),
    size: tuple[int, int] = FIRST_SIZE,
    caution: bool | None = None,
    each_frame: Callable[[Player], None] | None = None,
) -> Played:
    """Open the window for one instrument without a design; the controls that need a design say so.

    `antenna_diameter`, m, is the drawn rod's. With a `volume` antenna (its ring drawn with `tube_diameter`, m) the
    pointer's height is the other hand's above the ring, to scale; without, a plain gain. The rest as for `run_session`.
    """
    session = fixed_session(title, instrument, field, volume)
    if reference_a != field.reference_a:
        session.set("reference_a", reference_a)
        session.update()
    return run_session(
        session,
        speaker,
        title,
        record_folder=record_folder,
        remarks=remarks,
        size=size,
        caution=caution,
        each_frame=each_frame,
        antenna_diameter=antenna_diameter,
        tube_diameter=tube_diameter,
    )


def run_session(
    session: Session,
    speaker: Speaker,
    title: str,
    *,
    record_folder: Path | str = ".",
    remarks: tuple[str, ...] = (),
    size: tuple[int, int] = FIRST_SIZE,
    caution: bool | None = None,
    each_frame: Callable[[Player], None] | None = None,
    antenna_diameter: float = 0.010,
    tube_diameter: float = 0.008,
    look: Look | None = None,
    midi: Any = None,
) -> Played:
    """Open the window on a started speaker, play, and return when the player closes it.

    `title` names the window; recordings go to `record_folder`. `remarks` appear under the keys in the help. `caution`:
    show the hearing caution first, silent until it is answered; None shows it until it was answered once on this
    account. `each_frame` is called after each picture. `midi`: a `synth.midi.midi_out.MidiOut`, or None. Raises
    DeviceError where no window can be opened.
    """
    surface = open_screen(f"Beatfield: {title}", size)
    import pygame

    on_lost_screen(lambda: speaker.stop())
    first = look or Look()

    def picture(of: Session) -> Any:
        return field_picture(of, antenna_diameter)

    curve = session.tuned.instrument.curve
    view = View(session.side.name, picture(session), curve.nearest, curve.farthest)
    if caution is None:
        caution = speaker.device_error is None and not first_start.caution_was_read()
    state = WindowState(
        distance=curve.farthest,
        level=speaker.level,
        caution_open=caution,
        mirrored=first.mirrored,
        text_scale=first.text_scale,
    )
    player = Player(session, view, speaker, state, Path(record_folder), remarks, picture, tube_diameter, midi)
    player.performer.seed = first.seed
    player.open(surface.get_size())
    opened = time.monotonic()

    def show(surface: pygame.Surface, now: float) -> None:
        player.advance(now)
        if surface.get_size() != view.size:
            player.resize(surface.get_size())
        pygame.display.update(player.draw(surface))
        if each_frame is not None:
            each_frame(player)

    try:
        run_events(surface, player.handle, show, lambda: player.closing, FRAME_TIME)
        return Played(player.frames, time.monotonic() - opened)
    finally:
        session.close()
        close_screen()
