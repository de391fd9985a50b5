"""What was heard in a sound, as text, CSV, JSON and plot; readings at marks as the CSV that `beatfield fit` reads."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from synth.analysis.listen_figures import AWAY, TRACK_COLUMNS, ListenFigures, RestFigures
from synth.designs.quantity import format_quantity
from synth.report.figure import (
    BLUE,
    GREEN,
    GRID,
    INK,
    ORANGE,
    QUIET,
    VERMILLION,
    Layout,
    draw_note_axis,
    legend_above,
    saved_figure,
)
from synth.report.written import Form, finished, numbers_csv

READING_COLUMNS = ("hand_distance", "pitch")


def listen_text(heard: ListenFigures) -> str:
    """The report for a person."""
    lines = [
        f"{'sound':<12}{heard.sound}, {heard.seconds:.2f} s at {heard.sample_rate_hz} Hz",
        f"{'pitch':<12}{_range(heard)}, in {100.0 * heard.pitch_share:.0f} % of the time; "
        f"{100.0 * heard.silent_share:.0f} % is silent",
    ]
    if heard.doubt_share > 0.0:
        lines.append(f"{'octave':<12}in doubt in {100.0 * heard.doubt_share:.1f} % of the time with pitch")
    if heard.clock_ppm is not None and heard.clock_stated_hz is not None and heard.clock_read_hz is not None:
        fast = "fast" if heard.clock_ppm >= 0.0 else "slow"
        lines.append(
            f"{'clock':<12}the card reads {format_quantity(heard.clock_stated_hz, 'Hz', 9)} as "
            f"{format_quantity(heard.clock_read_hz, 'Hz', 9)}: its clock is {abs(heard.clock_ppm):.1f} parts in a "
            f"million {fast}; pitches are corrected"
        )
    if heard.rests:
        lines += ["", *rest_lines(heard.rests)]
    else:
        lines.append(f"{'rests':<12}none: the pitch rests nowhere for half a second")
    return finished(lines, heard.notices)


def rest_lines(rests: Sequence[RestFigures]) -> list[str]:
    """A table of resting places."""
    marked = any(row.hand_distance_m is not None or row.hand_away for row in rests)
    radio = any(row.oscillator_hz for row in rests)
    added = any(row.added_capacitance_f is not None for row in rests)
    lines = [
        f"{'rest':>4}{'from':>9}{'to':>9}{'hand' if marked else '':>{10 if marked else 0}}{'pitch':>15}  {'note':<14}"
        f"{'wavers':>12}{'level':>9}" + ("  oscillator" if radio else "") + ("  added" if added else "")
    ]
    for number, row in enumerate(rests, 1):
        hand = AWAY if row.hand_away else "-" if row.hand_distance_m is None else f"{100.0 * row.hand_distance_m:g} cm"
        line = (
            f"{number:>4}{row.start_s:>7.2f} s{row.end_s:>7.2f} s{hand if marked else '':>{10 if marked else 0}}"
            f"{row.frequency_hz:>12.3f} Hz  {row.note:<4}{row.note_cents:>+6.1f} ct"
            f"{row.steadiness_cents:>9.1f} ct{row.level_db:>6.0f} dB"
        )
        if radio:
            line += "  " + " or ".join(f"{frequency:.2f} Hz" for frequency in row.oscillator_hz)
        if row.added_capacitance_f is not None:
            line += f"  {small_capacitance(row.added_capacitance_f)}"
        lines.append(line + ("  (octave in doubt)" if row.octave_doubt else ""))
    return lines


def small_capacitance(value: float) -> str:
    """A capacitance, F, that may be of some femtofarad."""
    return f"{1e15 * value:.1f} fF" if abs(value) < 1e-13 else format_quantity(value, "F", 4)


def readings_csv(rests: Sequence[RestFigures]) -> str:
    """The rests with marks as readings of pitch against hand distance."""
    lines = [",".join(READING_COLUMNS)]
    for row in rests:
        if row.hand_away or row.hand_distance_m is not None:
            hand = AWAY if row.hand_distance_m is None else format_quantity(row.hand_distance_m, "m", 9)
            lines.append(f"{hand},{format_quantity(row.frequency_hz, 'Hz', 8)}")
    return "\n".join(lines) + "\n"


def save_listen_plot(heard: ListenFigures, path: str, force: bool) -> None:
    """Draw pitch, level and confidence against time into `path` (.png or .svg)."""
    column = dict(zip(TRACK_COLUMNS, heard.track.T, strict=True))
    time, note = column["time_s"], column["note_number"]
    doubt = column["octave_doubt"] > 0.0
    with saved_figure(path, force, Layout((2.4, 0.8, 0.8), (9.0, 6.6))) as (_, (pitch, sure, level)):
        pitch.plot(time, note, ".", color=BLUE, markersize=2.5, label="pitch")
        if doubt.any():
            pitch.plot(time[doubt], note[doubt], "x", color=VERMILLION, markersize=4.0, label="octave in doubt")
        for number, row in enumerate(heard.rests):
            inside = note[(time >= row.start_s) & (time <= row.end_s)]
            at, label = float(np.nanmedian(inside)), "rest" if number == 0 else None
            pitch.plot([row.start_s, row.end_s], [at, at], color=ORANGE, linewidth=4.0, alpha=0.6, label=label)
        found = note[np.isfinite(note)]
        low, high = (found.min(), found.max()) if found.size else (57.0, 81.0)
        draw_note_axis(pitch, low - 2.0, high + 2.0)
        legend_above(pitch, 3, right=True)
        pitch.set_title(f"Pitch heard in {heard.sound}", loc="left", color=INK)
        sure.plot(time, column["confidence"], color=GREEN, linewidth=1.0)
        sure.set_ylim(0.0, 1.05)
        sure.set_ylabel("confidence")
        level.fill_between(time, -100.0, 0.0, where=column["silent"] > 0.0, color=GRID, label="silent")
        level.plot(time, np.maximum(column["level_db"], -100.0), color=QUIET, linewidth=1.0)
        level.set_ylim(-100.0, 3.0)
        level.set_ylabel("level (dB of\nfull scale)")
        level.set_xlabel("time (s)")
        level.set_xlim(0.0, max(heard.seconds, 0.01))
        for axes in (pitch, sure, level):
            axes.grid(axis="y")


def _range(heard: ListenFigures) -> str:
    if heard.lowest_hz is None or heard.highest_hz is None:
        return "none heard for certain"
    return f"{heard.lowest_hz:.1f} to {heard.highest_hz:.1f} Hz"


LISTEN = Form(
    "beatfield.listen/1", listen_text, lambda heard: numbers_csv(TRACK_COLUMNS, heard.track), save_listen_plot
)
