"""How steep a field is for a hand, for a person, and how its figures are written."""

from __future__ import annotations

from models.pitch_discrimination import MEASURED_FROM, MEASURED_TO
from synth.analysis.sensitivity_figures import NoteSensitivity, SensitivityFigures
from synth.report.sensitivity_plot import save_sensitivity_plot
from synth.report.written import Form, columns_of, finished, rows_csv


def sensitivity_text(report: SensitivityFigures) -> str:
    """The report for a person."""
    lines = [
        f"{'design':<12}{report.design} ({report.design_hash})",
        f"{'tremor':<12}{1e3 * report.tremor_m:.3g} mm RMS (steady hands: 0.03 to 0.15 mm, "
        "doi:10.1001/archneur.1982.00510180036009)",
        f"{'heard from':<12}smallest change of a pure tone, after Wier, Jesteadt and Green 1977 (measured "
        f"{MEASURED_FROM:.0f} to {MEASURED_TO:.0f} Hz, carried on beyond)",
        f"{'too steep':<12}from {report.too_steep_cents_per_mm:g} cents/mm: 1 mm off is nearer to the next note",
        f"{'to play':<12}too steep: {_steep_text(report)}",
    ]
    if not report.notes:
        lines += ["", "no note is in reach of this design"]
    else:
        lines += ["", f"{'note':<6}{'hand':>11}{'1 mm is':>14}{'tremor is':>14}{'heard from':>14}"]
    lines += [
        f"{note.note:<6}{100.0 * note.distance_m:>8.2f} cm{note.cents_per_mm:>8.1f} cents"
        f"{note.tremor_cents:>8.2f} cents{note.limen_cents:>8.2f} cents  {note.verdict}"
        for note in report.notes
    ]
    return finished(lines, report.notices)


def _steep_text(report: SensitivityFigures) -> str:
    """Where the field is too steep to play, in words."""
    if not report.steep_spans_m:
        return "nowhere in the playable distances"
    return "; ".join(_span_text(report, near, far) for near, far in report.steep_spans_m)


def _span_text(report: SensitivityFigures, near: float, far: float) -> str:
    names = [note.note for note in report.notes if near <= note.distance_m <= far]
    held = f"{names[0]} to {names[-1]}" if len(names) > 1 else names[0] if names else "between two notes"
    return f"{100.0 * near:.1f} to {100.0 * far:.1f} cm ({held})"


COLUMNS = columns_of(NoteSensitivity)
SENSITIVITY = Form(
    "beatfield.sensitivity/1", sensitivity_text, lambda made: rows_csv(COLUMNS, made.notes), save_sensitivity_plot
)
