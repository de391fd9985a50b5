"""The fit of bench readings: text, CSV, JSON, and a plot of readings and residuals."""

from __future__ import annotations

import numpy as np

from synth.analysis.fit_figures import FitFigures, Inferred, Next, Residual
from synth.analysis.fit_target import TargetFigure
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, INK, QUIET, VERMILLION, saved_figure
from synth.report.written import Form, columns_of, finished, rows_csv


def save_fit_plot(report: FitFigures, path: str, force: bool) -> None:
    """Draw readings, fit and residuals of `report` into `path` (.png or .svg)."""
    fitted = np.array([row.fitted_capacitor_f for row in report.residuals]) * 1e12
    read = np.array([row.frequency_hz for row in report.residuals]) / 1e3
    modelled = np.array([row.fit_hz for row in report.residuals]) / 1e3
    off = np.array([row.residual_hz for row in report.residuals])
    limits = np.hypot(report.counter_limit_ratio * read * 1e3, report.counter_limit_hz)
    with saved_figure(path, force, (2.0, 1.0), (8.0, 6.0)) as (figure, (above, below)):
        above.plot(fitted, read, "o", color=BLUE, label="read")
        above.plot(fitted, modelled, "+", color=VERMILLION, markersize=11, label="fit")
        above.set_ylabel("frequency (kHz)")
        above.grid(axis="y")
        above.set_title(f"Bench readings of {report.source}", loc="left", color=INK)
        below.axhline(0.0, color=QUIET, linewidth=0.8)
        below.errorbar(
            fitted,
            off,
            yerr=limits,
            fmt="o",
            color=BLUE,
            ecolor=QUIET,
            capsize=3,
            label="residual, with the counter's 95 % limits",
        )
        below.set_ylabel("read less fit (Hz)")
        below.set_xlabel("fitted capacitor (pF)")
        below.grid(axis="y")
        handles, labels = above.get_legend_handles_labels()
        more, names = below.get_legend_handles_labels()
        figure.legend([*handles, *more], [*labels, *names], loc="outside lower center", ncols=3, fontsize=9)


def fit_text(report: FitFigures) -> str:
    """The report for people."""
    lines = [f"Fit of {report.source}: {len(report.residuals)} readings, {report.which} oscillator"]
    limits = [f"{100.0 * report.counter_limit_ratio:g} %"] if report.counter_limit_ratio else []
    limits += [format_quantity(report.counter_limit_hz, "Hz")] if report.counter_limit_hz else []
    lines += [f"95 % limits given: counter {' and '.join(limits)}, capacitors {100 * report.capacitor_limit_ratio:g} %"]
    lines += ["", f"{'':<36}{'value':>12}   95 % interval"]
    lines += [_inferred(part) for part in (*report.inferred, *report.sums)]
    if report.closed_form is not None:
        coil, rest = format_quantity(report.closed_form[0], "H"), format_quantity(report.closed_form[1], "F")
        lines += [f"closed form of two readings: {coil}, and {rest} beside the fitted capacitor"]
    lines += ["", f"{'line':>4}{'fitted':>10}{'setting':>28}{'read':>14}{'fit':>14}{'residual':>12}{'sigma':>7}"]
    for row in report.residuals:
        setting = _setting(row.trimmer, row.antenna_f, row.reverse_voltage_v) or "-"
        off, sigma = _near_zero(row.residual_hz), _near_zero(row.sigmas)
        fitted, read, fit = format_quantity(row.fitted_capacitor_f, "F"), row.frequency_hz / 1e3, row.fit_hz / 1e3
        lines += [f"{row.line:>4}{fitted:>10}{setting:>28}{read:>10.3f} kHz{fit:>10.3f} kHz{off:>9.2f} Hz{sigma:>7.2f}"]
    if report.freedom:
        chance = "" if report.misfit_chance is None else f", chance {100.0 * report.misfit_chance:.0f} %"
        lines += [f"sum of squares {report.misfit:.2f}, expected near {report.freedom}{chance}"]
    lines += ["", *_told_apart(report)]
    if report.board_says:
        lines += [report.board_says]
    for target in report.targets:
        lines += ["", *_target(target)]
    return finished(lines, report.notices)


def _near_zero(value: float) -> float:
    """Rounded to the figures shown, without a minus before a zero."""
    return round(value, 2) + 0.0


def _inferred(part: Inferred) -> str:
    low, high = (format_quantity(end, part.unit) for end in (part.low, part.high))
    name = part.name.replace("_", " ")
    return f"{name:<36}{format_quantity(part.value, part.unit):>12}   {low} to {high}"


def _setting(trimmer: float | None, antenna: float | None, voltage: float | None) -> str:
    parts = [] if trimmer is None else [f"trimmer {trimmer:.2g}"]
    parts += [] if antenna is None else [f"antenna {format_quantity(antenna, 'F')}"]
    parts += [] if voltage is None else [f"{format_quantity(voltage, 'V')} reverse"]
    return ", ".join(parts)


def _told_apart(report: FitFigures) -> list[str]:
    lines = []
    if report.not_told:
        names = ", ".join(name.replace("_", " ") for name in report.not_told)
        only = "only the sums above are held" if report.sums else "no sum of them is held either"
        lines += [f"cannot be told apart from these readings: {names}; {only}"]
    lines += [
        f"hardly told apart: {first.replace('_', ' ')} and {second.replace('_', ' ')} (correlation {value:.3f})"
        for first, second, value in report.hardly_told
    ]
    if not lines:
        lines += ["every unknown is held by itself"]
    return lines + ([] if report.next_reading is None else [_next(report, report.next_reading)])


_AWAY = {"trimmer": "trimmer taken out", "antenna_f": "antenna unplugged", "reverse_voltage_v": "junction taken out"}


def _next(report: FitFigures, best: Next) -> str:
    setting = _setting(best.trimmer, best.antenna_f, best.reverse_voltage_v)
    away = [
        words
        for name, words in _AWAY.items()
        if getattr(best, name) is None and any(getattr(row, name) is not None for row in report.residuals)
    ]
    fitted = f"{format_quantity(best.fitted_capacitor_f, 'F')} fitted"
    what = ", ".join([fitted, *([setting] if setting else []), *away])
    widths = [f"{name.replace('_', ' ')} to +-{_width(name, width)}" for name, width in best.half_widths.items()]
    gain = (
        "separates what cannot be told apart now"
        if best.separates
        else (f"leaves {100.0 * (best.remaining or 0.0):.0f} % of the variance")
    )
    return f"best next reading: {what}; it {gain} ({', '.join(widths)})"


def _width(name: str, width: float) -> str:
    return f"{100.0 * width:.2g} %" if name == "inductance" else format_quantity(width, "F", digits=2)


def _target(target: TargetFigure) -> list[str]:
    wanted = f"{target.target_hz / 1e3:.3f} kHz"
    lines = [f"{wanted} on {target.where}:"]
    if target.added_stray_f or target.shift_hz:
        span = f"{target.added_least_f * 1e12:+.0f} to {target.added_most_f * 1e12:+.0f} pF"
        added = f"{target.added_stray_f * 1e12:+.0f} pF"
        lines += [f"  its stray differs by some {added} ({span} by usual ranges, from memory)"]
        over = (
            ""
            if target.shift_least_hz is None or target.shift_most_hz is None
            else (f" ({target.shift_least_hz / 1e3:+.3f} to {target.shift_most_hz / 1e3:+.3f} over that range)")
        )
        lines += [f"  the parts as above would read {target.shift_hz / 1e3:+.3f} kHz off{over}"]
    exactly = format_quantity(target.needed_f, "F")
    fitted = f"{format_quantity(target.fitted_f, 'F')} ({target.series}; exactly {exactly}"
    if target.trimmer is not None:
        lines += [
            f"  fit {fitted} with the trimmer at its middle), trimmer at {target.trimmer:.2f}; "
            f"it covers {target.lowest_hz / 1e3:.3f} to {target.highest_hz / 1e3:.3f} kHz"
        ]
    else:
        off = target.frequency_hz - target.target_hz
        lines += [f"  fit {fitted}): {off:+.0f} Hz from the target"]
        if target.lower_f is not None and target.trimmer_f is not None:
            lower, rest = format_quantity(target.lower_f, "F"), format_quantity(target.trimmer_f, "F", digits=3)
            lines += [f"  or {lower} with a trimmer in parallel, set to {rest}"]
    at = " at just that stray" if target.added_stray_f else ""
    lines += [
        f"  expected {target.frequency_hz / 1e3:.3f} kHz, 95 % interval with a new capacitor{at} "
        f"{target.low_hz / 1e3:.3f} to {target.high_hz / 1e3:.3f} kHz"
    ]
    return lines


COLUMNS = columns_of(Residual)
FIT = Form("beatfield.fit/1", fit_text, lambda made: rows_csv(COLUMNS, made.residuals, exact=True), save_fit_plot)
