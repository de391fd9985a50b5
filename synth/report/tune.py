"""A tune on a design for a person, note by note, and how its figures are written."""

from __future__ import annotations

from synth.analysis.tune import NoteOutcome, TuneFigures, TunesFigures
from synth.hands.tune_path import PLACEMENT
from synth.report.written import Form, columns_of, finished, rows_csv, several_csv


def tune_text(report: TuneFigures) -> str:
    """The report for a person."""
    lines = [
        f"{'design':<12}{report.design} ({report.design_hash})",
        f"{'tune':<12}{report.tune}",
        *(f"{'':<12}{remark}" for remark in report.remarks),
        f"{'hand':<12}placement {1e3 * report.placement_m:.3g} mm{_whose(report)}, "
        f"tremor {1e3 * report.tremor_m:.3g} mm (both RMS), "
        f"vibrato {1e3 * report.vibrato_m:.3g} mm each way, slides of {report.portamento_s:.3g} s, seed {report.seed}",
        *(f"{'sources' if index == 0 else '':<12}{source}" for index, source in enumerate(report.sources)),
        f"{'in reach':<12}{report.in_reach} of {len(report.notes)} notes",
    ]
    if report.rms_cents is not None and report.worst_cents is not None and report.rms_placement_m is not None:
        lines.append(
            f"{'intonation':<12}{report.rms_cents:.1f} cents RMS off, {report.worst_cents:+.1f} at worst, "
            f"by a hand {1e3 * report.rms_placement_m:.2f} mm RMS off"
        )
    if report.held_at_border:
        lines.append(f"{'':<12}errors led out of the playable distances for a while: held at their border")
    lines.append(f"\n{'at':>8}  {'wanted':<18}{'hand':>11}{'put':>11}{'sounded':>13}{'off':>15}{'wobble':>14}")
    before: NoteOutcome | None = None
    for note in report.notes:
        if before is not None and _same(before, note):
            continue
        before = note
        start = f"{note.start_s:6.2f} s  {note.note:<6}{note.wanted_hz:>9.1f} Hz"
        if (
            note.distance_m is None
            or note.placed_m is None
            or note.sounded_hz is None
            or note.cents is None
            or note.wobble_cents is None
        ):
            lines.append(f"{start}  out of reach, silent")
            continue
        lines.append(
            f"{start}{100.0 * note.distance_m:>8.2f} cm{100.0 * note.placed_m:>8.2f} cm"
            f"{note.sounded_hz:>10.1f} Hz{note.cents:>+9.1f} cents{note.wobble_cents:>8.1f} cents"
        )
    return finished(lines, report.faults())


def _whose(report: TuneFigures) -> str:
    if report.own_hand:
        return " (yours)"
    return " (assumed)" if report.placement_m == PLACEMENT else ""


def _same(before: NoteOutcome, note: NoteOutcome) -> bool:
    """Whether a note only repeats the one before it, at its place."""
    return (before.note, before.placed_m, before.fault) == (note.note, note.placed_m, note.fault)


def tunes_text(report: TunesFigures) -> str:
    """A tune on several designs for a person: a row each, and which suits and why in one sentence."""
    wide = max(6, *(len(one.design) for one in report.designs)) + 2
    first = report.designs[0]
    lines = [
        f"{'tune':<{wide}}{first.tune}",
        f"{'hand':<{wide}}placement {1e3 * first.placement_m:.3g} mm{_whose(first)}, "
        f"tremor {1e3 * first.tremor_m:.3g} mm (both RMS)",
        "",
        f"{'design':<{wide}}{'in reach':>12}{'off (RMS)':>14}{'at worst':>14}",
    ]
    for one in report.designs:
        off = "-" if one.rms_cents is None else f"{one.rms_cents:.1f} cents"
        worst = "-" if one.worst_cents is None else f"{one.worst_cents:+.1f} cents"
        lines.append(f"{one.design:<{wide}}{f'{one.in_reach} of {len(one.notes)}':>12}{off:>14}{worst:>14}")
    best = next((one for one in report.designs if one.design == report.best), None)
    if best is None or best.rms_cents is None:
        lines += ["", "the tune is in reach of none of these designs"]
    else:
        whose = "you" if best.own_hand else "this hand"
        rest = ", ".join(
            f"{one.in_reach} and {one.rms_cents:.0f} cents on {one.design}"
            for one in report.designs
            if one is not best and one.rms_cents is not None
        )
        reason = f"{best.in_reach} notes in reach, {best.rms_cents:.0f} cents off"
        lines += ["", f"{best.design} suits {whose} and this tune best: {reason}{f'; {rest}' if rest else ''}"]
    return finished(lines, ())


COLUMNS = columns_of(NoteOutcome)
TUNE = Form("beatfield.tune/1", tune_text, lambda made: rows_csv(COLUMNS, made.notes))
TUNES = Form(
    "beatfield.tunes/1", tunes_text, lambda made: several_csv(COLUMNS, [(one, one.notes) for one in made.designs])
)
