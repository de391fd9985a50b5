"""What one picture shows beside the state, and where it comes from: session, state and the speaker's meters."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.hand.scene import Posture
from synth.window.curves import FRAMES, OSCILLOGRAM_POINTS, Spectrum, spectrum
from synth.window.drawer import ControlRow, control_rows
from synth.window.keys import shown_key
from synth.window.readouts import Readouts, full_scale_text, readouts, status_pieces
from synth.window.retune import slope_text
from synth.window.session import Session
from synth.window.state import WindowState

if TYPE_CHECKING:
    from synth.live.contract import InstrumentSound
    from synth.live.meters import Meters


@dataclass(frozen=True, slots=True)
class Picture:
    """What one picture shows beside the state: readouts, lines of text, levels, oscillogram and its span, s.

    `flags`: switches in words. `status`: pieces, the most important first; those that do not fit are left out. `rows`:
    the drawer of controls. `sides`: names of the designs under the hand, if more than one, and `active_side` the one
    that sounds. `guide`: note numbers of the chosen scale, `drone`: the drone's.
    """

    readouts: Readouts
    flags: tuple[str, ...] = ()
    status: tuple[str, ...] = ()
    notice: str = ""
    listening: str = ""
    remarks: tuple[str, ...] = ()
    peak: float = 0.0
    rms: float = 0.0
    oscillogram: NDArray[np.float64] = field(default_factory=lambda: np.zeros(OSCILLOGRAM_POINTS))
    oscillogram_span: float = 0.01
    rows: tuple[ControlRow, ...] = ()
    sides: tuple[str, ...] = ()
    active_side: int = 0
    posture: Posture = "open"
    spectrum: Spectrum | None = None
    guide: frozenset[int] = frozenset()
    drone: int | None = None


def picture_now(
    session: Session,
    state: WindowState,
    speaker: InstrumentSound,
    meters: Meters,
    remarks: tuple[str, ...],
    with_spectrum: bool,
) -> Picture:
    """The texts and curves that change more slowly than the oscillogram."""
    instrument, settings, fault = session.tuned.instrument, session.settings, speaker.device_error
    live = meters.alive and meters.blocks > 0
    beat = meters.frequency if live else float(instrument.beat_frequency(state.distance))
    notice = state.notice if time.monotonic() < state.notice_until else fault_text(fault)
    full_scale = full_scale_text(state.level * session.instrument.level)
    return Picture(
        readouts=readouts(instrument, state.distance, beat, settings.number("reference_a")),
        flags=flags_of(state, meters),
        status=status_pieces(meters, speaker.kept_seconds),
        notice=notice,
        listening=f"full volume peaks at {full_scale}",
        remarks=remarks + session.tuned.notices + ((fault,) if fault else ()),
        rows=_rows(session, state),
        sides=session.names if len(session.names) > 1 else (),
        active_side=session.active,
        posture="fist" if settings.text("posture") == "fist" else "open",
        spectrum=spectrum(speaker.recent(FRAMES), meters.sample_rate) if with_spectrum else None,
        guide=settings.guide_notes or frozenset(),
        drone=settings.drone_note,
    )


def _rows(session: Session, state: WindowState) -> tuple[ControlRow, ...]:
    """The drawer's rows; that of sensitivity says, while it is selected, what a millimetre does where the hand is."""
    rows = control_rows(session.settings, state.selected, session.disabled)
    return tuple(
        replace(row, hint=row.hint + slope_text(session.tuned, state.distance))
        if row.name == "sensitivity" and row.selected and row.enabled
        else row
        for row in rows
    )


def fault_text(fault: str | None) -> str:
    """Why there is no sound, and the key that starts it again."""
    return "" if not fault else f"▲ {fault.rstrip(' .')}  ·  {shown_key('restart')}: start the sound again"


def flags_of(state: WindowState, meters: Meters) -> tuple[str, ...]:
    """Recording, muted, fine and replay, in words."""
    seconds = meters.recorded_frames // max(1, meters.sample_rate)
    switches = (
        (state.recording, f"● REC {seconds // 60}:{seconds % 60:02d}"),
        (state.muted, "MUTED"),
        (state.fine, "FINE"),
        (state.replaying, "REPLAY"),
    )
    return tuple(word for on, word in switches if on)
