"""What temperature does to a design: text, CSV, JSON and plot of zero beat and notes, and of the warm-up."""

from __future__ import annotations

import numpy as np

from synth.analysis.drift import DriftFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, legend_above, saved_figure
from synth.report.written import Form, finished, numbers_csv

STYLES = ((GREEN, "-"), (BLUE, "-"), (VERMILLION, (0, (5, 2))))
NOTE_COLOURS = (ORANGE, GREEN, BLUE, VERMILLION, QUIET)
NOTE_STROKES = ("-", (0, (5, 2)), (0, (1, 1)))


def save_drift_plot(report: DriftFigures, path: str, force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    with saved_figure(path, force, Layout((1.0, 1.0, 1.0), (8.0, 9.4), share_x=False)) as (figure, (beat, notes, warm)):
        title = f"{report.design}: tuned at {report.from_deg_c:g} degC"
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        for case, curve, (colour, stroke) in zip(report.cases, report.curves, STYLES, strict=True):
            beat.plot(report.temperature, curve.zero_beat, color=colour, linestyle=stroke, label=case.case)
        beat.set_ylabel("zero beat moved, Hz")
        beat.set_xlabel("temperature, degrees Celsius")
        _draw_notes(notes, report)
        _draw_warm_up(warm, report)
        for axes in (beat, notes, warm):
            axes.axhline(0.0, color=QUIET, linewidth=0.8)
            axes.grid(axis="y", which="major")
            axes.margins(x=0.0)
            if axes is warm:
                axes.legend(loc="upper right", fontsize=9)
            elif axes.get_legend_handles_labels()[0]:
                legend_above(axes, 5)


def _draw_notes(axes: Axes, report: DriftFigures) -> None:
    """The notes of the case with the mismatch as stated."""
    case, curve = report.cases[1], report.curves[1]
    for index, note in enumerate(case.notes):
        colour, stroke = NOTE_COLOURS[index % len(NOTE_COLOURS)], NOTE_STROKES[index // len(NOTE_COLOURS) % 3]
        axes.plot(report.temperature, curve.note_cents[:, index], color=colour, linestyle=stroke, label=note.note)
    axes.set_ylabel(f"note moved, cents\n({case.case})")
    axes.set_xlabel("temperature, degrees Celsius")


def _draw_warm_up(axes: Axes, report: DriftFigures) -> None:
    minutes = report.warm_up[:, 0] / 60.0
    for column, (case, (colour, stroke)) in enumerate(zip(report.cases, STYLES, strict=True), start=1):
        axes.plot(
            minutes,
            report.warm_up[:, column],
            color=colour,
            linestyle=stroke,
            label=f"{case.case}, holds after {case.hold_s / 60.0:.0f} min",
        )
    axes.axhspan(-report.hold_limit_hz, report.hold_limit_hz, color=QUIET, alpha=0.2, linewidth=0.0)
    axes.set_ylabel("zero beat still to move, Hz")
    axes.set_xlabel(f"time after switching on, min; grey: within {report.hold_limit_hz:g} Hz of the end")
    axes.set_xlim(0.0, minutes[-1])


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
        ("reference", [f"{case.reference_hz:+z.1f} Hz" for case in report.cases]),
        (
            f"variable, hand at {100.0 * report.hand_m:.1f} cm",
            [f"{case.variable_hz:+z.1f} Hz" for case in report.cases],
        ),
        ("zero beat", [f"{case.zero_beat_hz:+z.1f} Hz" for case in report.cases]),
        (f"zero beat, {_place(report.zero_beat_m)} to", [_place(case.zero_beat_m) for case in report.cases]),
    )
    lines += [f"{name:<28}" + "".join(f"{cell:>24}" for cell in cells) for name, cells in rows]
    for index, note in enumerate(report.cases[0].notes):
        cells = "".join(f"{_cents(case.notes[index].cents):>24}" for case in report.cases)
        lines.append(f"{note.note + f' at {100.0 * note.distance_m:.1f} cm':<28}{cells}")
    if report.causes:
        lines += ["", f"{'zero beat moved by':<28}{'coefficient':>16}{'alone':>16}"]
        lines += [
            f"{cause.cause:<28}{_ppm(cause.coefficient_per_k):>16}{cause.zero_beat_hz:>+z13.1f} Hz"
            for cause in report.causes
        ]
    if report.transistors is not None:
        found = report.transistors
        lines += [
            f"the transistors alone move the reference {found.reference_hz:+z.1f} Hz and the variable oscillator "
            f"{found.variable_hz:+z.1f} Hz"
        ]
    minutes = report.warm_up_time_s / 60.0
    lines += [
        "",
        f"warm-up by {report.warm_up_rise_k:g} K with a time constant of {minutes:g} min; tuned this long "
        "after switching on, it then holds:",
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
    return "by the circuit" if coefficient is None else f"{1e6 * coefficient:+.6g} ppm/K"


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
