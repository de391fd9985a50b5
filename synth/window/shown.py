"""What the next picture shows, from session, state and the speaker's meters."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from synth.window.control_rows import ControlRow, control_rows
from synth.window.keys import KEY_ROWS
from synth.window.performer import named_key
from synth.window.readings import full_scale_text, readings, status_text
from synth.window.retune import slope_text
from synth.window.session import Session
from synth.window.spectrum import FRAMES, Spectrum, spectrum
from synth.window.state import WindowState
from synth.window.view import Shown

if TYPE_CHECKING:
    from synth.live.meters import Meters


def shown_now(
    session: Session, state: WindowState, speaker: Any, meters: Meters, remarks: tuple[str, ...], with_spectrum: bool
) -> Shown:
    """The texts and curves that change more slowly than the trace."""
    instrument, settings, fault = session.tuned.instrument, session.settings, speaker.device_error
    live = meters.alive and meters.blocks > 0
    beat = meters.frequency if live else float(instrument.beat_frequency(state.distance))
    notice = state.notice if time.monotonic() < state.notice_until else fault_text(fault)
    full_scale = full_scale_text(state.level * session.instrument.level)
    return Shown(
        readings=readings(instrument, state.distance, beat, settings.number("reference_a")),
        flags=flags_text(state, meters),
        status=status_text(meters),
        notice=notice,
        listening=f"full volume peaks at {full_scale}",
        remarks=remarks + session.tuned.notices + ((fault,) if fault else ()),
        rows=_rows(session, state),
        sides=session.names if len(session.names) > 1 else (),
        active_side=session.active,
        posture="fist" if settings.text("posture") == "fist" else "open",
        spectrum=_spectrum(speaker, meters) if with_spectrum else None,
        guide=settings.guide_notes or frozenset(),
        drone=settings.drone_note,
        take_seconds=speaker.kept_seconds,
        replaying=state.replaying,
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
    return "" if not fault else f"▲ {fault.rstrip(' .')}  ·  {named_key(KEY_ROWS, 'restart')}: start the sound again"


def flags_text(state: WindowState, meters: Meters) -> str:
    """Muted, recording and fine, in words."""
    seconds = meters.recorded_frames // max(1, meters.sample_rate)
    parts = []
    if state.recording:
        parts.append(f"● REC {seconds // 60}:{seconds % 60:02d}")
    if state.muted:
        parts.append("MUTED")
    if state.fine:
        parts.append("FINE")
    return "  ".join(parts)


def _spectrum(speaker: Any, meters: Meters) -> Spectrum:
    return spectrum(speaker.recent(FRAMES), meters.sample_rate)
