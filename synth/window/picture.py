"""What one picture shows beside the state, in words and numbers, and where it comes from: session and speaker."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import field, replace

import numpy as np

from models.arrays import Floats
from models.instrument import Instrument
from models.pitch import nearest_note
from models.quick_dataclass import dataclass
from synth.live.contract import InstrumentSound
from synth.live.meters import Meters
from synth.window.curves import FRAMES, OSCILLOGRAM_POINTS, Spectrum, spectrum
from synth.window.draw_settings import SettingRow
from synth.window.drawer import ControlRow, control_rows
from synth.window.keys import shown_key
from synth.window.practice import Shown
from synth.window.retune import effect_text
from synth.window.session import LETTERS, Session
from synth.window.state import WindowState

LOWEST_NOTE = 16.0  # Hz; below it a beat is counted, not heard as a note (C0 is 16.35 Hz)
IN_TUNE = 5.0  # cents
MINUS, DASH = "\N{MINUS SIGN}", "\N{EN DASH}"
HIGHEST_SHOWN = 9999.5  # cents to a centimetre; more is said by a dash
PIECES = " · "  # between the pieces of the status line


@dataclass(frozen=True, slots=True)
class Readouts:
    """What the panels say. `cents_off` is None where there is no note."""

    note: str
    cents_off: float | None
    remark: str
    beat: str
    distance: str
    capacitance: str
    variable: str
    reference: str
    reference_a: str = ""


def readouts(
    instrument: Instrument,
    distance: float,
    frequency: float,
    reference_a: float = 440.0,
    heard: float | None = None,
) -> Readouts:
    """Readouts for a hand at `distance`, m, while `frequency`, Hz (signed), sounds.

    heard: m, the distance that alone would do what both hands do; None: the hand's own.
    """
    place = distance if heard is None else heard
    speed = abs(frequency)
    note, cents_off = nearest_note(speed, reference_a) if speed >= LOWEST_NOTE else ("\N{EN DASH}", None)
    return Readouts(
        note=note.replace("#", "♯"),
        cents_off=cents_off,
        remark=_remark(frequency, cents_off, instrument.lock_range),
        beat=frequency_text(speed),
        distance=f"{100.0 * distance:.1f} cm",
        capacitance=f"{1e12 * float(instrument.antenna_capacitance(place)):.3f} pF",
        variable=kilohertz_text(float(instrument.variable_frequency(place))),
        reference=kilohertz_text(instrument.reference_frequency),
        reference_a=f"A = {reference_a:g} Hz",
    )


def _remark(frequency: float, cents_off: float | None, lock_range: float) -> str:
    if cents_off is None:
        locked = frequency == 0.0 and lock_range > 0.0
        return "oscillators locked" if locked else "near zero beat"
    if frequency < 0.0:
        return "beyond zero beat"
    if abs(cents_off) <= IN_TUNE:
        return "in tune"
    return "sharp" if cents_off > 0 else "flat"


def frequency_text(frequency: float) -> str:
    """A beat frequency, to 0.01 Hz below 100 Hz and 0.1 Hz above: "442.0 Hz"."""
    return f"{frequency:.2f} Hz" if frequency < 100.0 else f"{frequency:.1f} Hz"


def kilohertz_text(frequency: float) -> str:
    """A radio frequency to 1 Hz: "280.513 kHz"."""
    return f"{frequency / 1000.0:.3f} kHz"


def cents_text(cents_off: float | None) -> str:
    """Deviation with its sign: "+12 cents"."""
    if cents_off is None:
        return ""
    return f"{round(cents_off):+d} cents".replace("-", MINUS)


def level_text(gain: float) -> str:
    """A gain as dB with a true minus sign; silence in words."""
    if gain <= 1e-5:
        return "silent"
    return f"{20.0 * math.log10(gain):.0f} dB".replace("-0 dB", "0 dB").replace("-", MINUS)


def full_scale_text(peak: float) -> str:
    """A peak against full scale: "−20 dB"."""
    return level_text(peak)


def status_pieces(meters: Meters, kept_seconds: float = 0.0) -> tuple[str, ...]:
    """The sound device's state and how much of the take is in memory, the most important first."""
    if not meters.alive:
        pieces = ["sound process ended"]
    elif not meters.sounding:
        pieces = ["silent clock", f"{meters.sample_rate / 1000:g} kHz", f"late blocks {meters.late_blocks}"]
    else:
        pieces = [
            f"dropouts {meters.underruns}",
            f"latency {1000 * meters.latency:.1f} ms",
            f"{meters.sample_rate / 1000:g} kHz",
            f"block time {100 * meters.share_median:.0f} % (worst {100 * meters.share_worst:.0f} %)",
            f"late blocks {meters.late_blocks}",
        ]
        if meters.gesture_latency > 0.0:
            pieces.insert(0, f"hand to sound {1000 * meters.gesture_latency:.0f} ms")
    whole = int(kept_seconds)
    kept = [f"{whole // 60}:{whole % 60:02d} in memory, {shown_key('keep')} saves"] if whole >= 1 else []
    return (pieces[0], *kept, *pieces[1:])


@dataclass(frozen=True)
class Picture:
    """What one picture shows beside the state: readouts, lines of text, levels, oscillogram and its span, s.

    `heard`: m, the distance of the field that sounds, with both hands and the fingers; None: the hand's own.
    `flags`: switches in words. `status`: pieces, the most important first; those that do not fit are left out. `rows`:
    the drawer of controls. `sides`: names of the designs under the hand, if more than one, and `active_side` the one
    that sounds. `guide`: note numbers of the chosen scale, `drone`: the drone's. `trail`: the way of what is heard,
    (age in s, distance in m), newest first. `practice`: what is to be played, on the stage.
    `settings`: those side by side, where there are several. `scatter`: of the player's own hand, m, 0 where it was not
    measured.
    """

    readouts: Readouts
    flags: tuple[str, ...] = ()
    status: tuple[str, ...] = ()
    notice: str = ""
    listening: str = ""
    remarks: tuple[str, ...] = ()
    peak: float = 0.0
    rms: float = 0.0
    oscillogram: Floats = field(default_factory=lambda: np.zeros(OSCILLOGRAM_POINTS))
    oscillogram_span: float = 0.01
    rows: tuple[ControlRow, ...] = ()
    sides: tuple[str, ...] = ()
    active_side: int = 0
    spectrum: Spectrum | None = None
    guide: frozenset[int] = frozenset()
    drone: int | None = None
    trail: Sequence[tuple[float, float]] = ()
    practice: Shown | None = None
    scatter: float = 0.0
    heard: float | None = None
    settings: tuple[SettingRow, ...] = ()


def picture_now(
    session: Session,
    state: WindowState,
    heard: float,
    speaker: InstrumentSound,
    meters: Meters,
    remarks: tuple[str, ...],
    with_spectrum: bool,
    rows: tuple[ControlRow, ...] | None = None,
) -> Picture:
    """The texts and curves that change more slowly than the oscillogram. heard: m, the distance that sounds. rows: of
    the controls, where they are kept as they were.
    """
    instrument, settings, fault = session.tuned.instrument, session.settings, speaker.device_error
    live = meters.alive and meters.blocks > 0
    beat = meters.frequency if live else float(instrument.beat_frequency(heard))
    notice = notice_line(state.notice if time.monotonic() < state.notice_until else "", fault)
    full_scale = full_scale_text(state.level * session.instrument.level)
    return Picture(
        readouts=readouts(instrument, state.distance, beat, settings.number("reference_a"), heard),
        flags=flags_of(state, meters, session.busy),
        status=status_pieces(meters, speaker.kept_seconds),
        notice=notice,
        listening=f"Level {full_scale}",
        remarks=remarks + session.tuned.notices + ((fault,) if fault else ()),
        rows=_rows(session, state, heard) if rows is None else rows,
        sides=session.names if len(session.names) > 1 else (),
        active_side=session.active,
        spectrum=spectrum(speaker.recent(FRAMES), meters.sample_rate) if with_spectrum else None,
        guide=settings.guide_notes or frozenset(),
        drone=settings.drone_note,
        settings=setting_rows(session, state) if len(session.sides) > 1 else (),
    )


def setting_rows(session: Session, state: WindowState) -> tuple[SettingRow, ...]:
    """Each setting with its figures, for the hand where it is."""

    def centimetres(metres: float | None) -> str:
        return DASH if metres is None else f"{100.0 * metres:.1f} cm"

    rows = []
    for number, (letter, side) in enumerate(zip(LETTERS, session.sides, strict=False)):
        tuned = side.tuned
        heard, _ = tuned.heard(state.distance, state.volume, state.height, state.opening)
        try:
            slope = 10.0 * float(tuned.field.cents_per_mm(heard))
        except ValueError:  # nothing sounds there
            slope = math.nan
        rows.append(
            SettingRow(
                letter,
                f"{slope:.0f}" if slope < HIGHEST_SHOWN else DASH,
                centimetres(session.span_of(number)),
                centimetres(tuned.field.zero_beat_distance),
                number == session.active,
            )
        )
    return tuple(rows)


def _rows(session: Session, state: WindowState, heard: float) -> tuple[ControlRow, ...]:
    """The drawer's rows; the selected one says what the hand plays where it is, with its control and without."""
    rows = control_rows(session.drawn_settings, state.selected, session.disabled)

    def with_effect(row: ControlRow) -> ControlRow:
        without = session.without(row.name)
        return replace(row, effect=effect_text(session.tuned, heard, without).strip(), changed=without is not None)

    return tuple(with_effect(row) if row.selected and row.enabled else row for row in rows)


def notice_line(notice: str, fault: str | None) -> str:
    """The newest notice. While there is no sound the key that starts it again stands first, where nothing cuts it off,
    and the reason where there is no newer notice.
    """
    return (
        notice if not fault else f"▲ {shown_key('restart')}: start the sound again  ·  {notice or fault.rstrip(' .')}"
    )


def flags_of(state: WindowState, meters: Meters, computing: bool = False) -> tuple[str, ...]:
    """Recording, muted, fine, replay, and that something is being solved, in words."""
    seconds = meters.recorded_frames // max(1, meters.sample_rate)
    switches = (
        (state.recording, f"● REC {seconds // 60}:{seconds % 60:02d}"),
        (state.muted, "MUTED"),
        (state.fine, "FINE"),
        (state.replaying, "REPLAY"),
        (computing, "COMPUTING"),
    )
    return tuple(word for on, word in switches if on)
