"""What temperature does to a design for a person, and how its figures are written."""

from __future__ import annotations

import numpy as np

from synth.analysis.drift_figures import DriftFigures
from synth.report.drift_plot import save_drift_plot
from synth.report.written import Form, finished, numbers_csv


def drift_text(report: DriftFigures) -> str:
    """The report for a person."""
    lines = [
        f"{'design':<24}{report.design} ({report.design_hash})",
        f"{'temperature':<24}tuned at {report.from_deg_c:g} degC, read at {report.to_deg_c:g} degC",
        f"{'reference oscillator':<24}{report.reference_frequency_hz / 1e3:.3f} kHz",
        f"{'a tank alone':<24}{1e6 * report.tank_drift_per_k:+.1f} ppm/K by coil and fixed capacitor, "
        f"{report.tank_drift_per_k * report.reference_frequency_hz:+.2f} Hz/K",
        "",
        f"{'':<28}" + "".join(f"{case.case:>24}" for case in report.cases),
    ]
    rows = (
        ("reference", [f"{case.reference_hz:+.1f} Hz" for case in report.cases]),
        (f"variable, hand at {100.0 * report.hand_m:.1f} cm", [f"{case.variable_hz:+.1f} Hz" for case in report.cases]),
        ("zero beat", [f"{case.zero_beat_hz:+.1f} Hz" for case in report.cases]),
        (f"zero beat, {_place(report.zero_beat_m)} to", [_place(case.zero_beat_m) for case in report.cases]),
    )
    lines += [f"{name:<28}" + "".join(f"{cell:>24}" for cell in cells) for name, cells in rows]
    for index, note in enumerate(report.cases[0].notes):
        cells = "".join(f"{_cents(case.notes[index].cents):>24}" for case in report.cases)
        lines.append(f"{note.note + f' at {100.0 * note.distance_m:.1f} cm':<28}{cells}")
    if report.causes:
        lines += ["", f"{'zero beat moved by':<28}{'coefficient':>16}{'alone':>16}"]
        lines += [
            f"{cause.cause:<28}{_ppm(cause.coefficient_per_k):>16}{cause.zero_beat_hz:>+13.1f} Hz"
            for cause in report.causes
        ]
    if report.transistors is not None:
        found = report.transistors
        lines += [
            f"the transistors alone move the reference {found.reference_hz:+.1f} Hz and the variable oscillator "
            f"{found.variable_hz:+.1f} Hz"
        ]
    minutes = report.warm_up_time_s / 60.0
    lines += [
        "",
        f"warm-up by {report.warm_up_rise_k:g} K with a time constant of {minutes:g} min; tuned so long "
        "after switching on, it holds:",
    ]
    lines.append(
        f"{f'zero beat within {report.hold_limit_hz:g} Hz':<28}"
        + "".join(f"{_minutes(case.hold_s):>24}" for case in report.cases)
    )
    for index, note in enumerate(report.cases[0].notes):
        cells = "".join(f"{_minutes(case.notes[index].hold_s):>24}" for case in report.cases)
        lines.append(f"{f'{note.note} within {report.hold_limit_cents:g} cents':<28}{cells}")
    return finished(lines, report.notices)


def _ppm(coefficient: float | None) -> str:
    return "solved" if coefficient is None else f"{1e6 * coefficient:+.6g} ppm/K"


def _place(distance: float | None) -> str:
    return "out of the field" if distance is None else f"{100.0 * distance:.1f} cm"


def _cents(value: float | None) -> str:
    return "silent" if value is None else f"{value:+.1f} cents"


def _minutes(seconds: float) -> str:
    return "at once" if seconds == 0.0 else f"{seconds / 60.0:.1f} min"


def _drift_csv(report: DriftFigures) -> str:
    """One line for each temperature, the columns of every case after one another; empty where there is nothing."""
    heads, columns = ["temperature_deg_c"], [report.temperature]
    for case, curve in zip(report.cases, report.curves, strict=True):
        tag = case.case.replace(",", "").replace(" ", "_")
        heads += [f"{tag}_reference_hz", f"{tag}_variable_hz", f"{tag}_zero_beat_hz", f"{tag}_zero_beat_m"]
        columns += [curve.reference, curve.variable, curve.zero_beat, curve.zero_beat_distance]
        heads += [f"{tag}_{note.note}_cents" for note in case.notes]
        columns += list(curve.note_cents.T)
    return numbers_csv(heads, np.column_stack(columns))


DRIFT = Form("beatfield.drift/1", drift_text, _drift_csv, save_drift_plot)
