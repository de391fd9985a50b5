"""The fit of bench readings: text, CSV, JSON, and a plot of readings and residuals."""

from __future__ import annotations

from typing import Any

import numpy as np

from synth.analysis.fit_figures import FitFigures, Inferred, Next, Residual
from synth.analysis.fit_target import TargetFigure
from synth.analysis.fit_unknowns import UNITS
from synth.designs.quantity import format_quantity
from synth.files.plain_text import counted
from synth.report.figure import BLUE, INK, QUIET, VERMILLION, Layout, saved_figure
from synth.report.written import Form, columns_of, finished, rows_csv


def save_fit_plot(report: FitFigures, path: str, force: bool) -> None:
    """Draw readings, fit and residuals of `report` into `path` (.png or .svg)."""
    kinds = [what for what in ("frequency", "pitch") if any(row.what == what for row in report.residuals)]
    size = (8.0, 5.0 * max(len(kinds), 1))
    curves = report.curves()
    with saved_figure(path, force, Layout((2.0, 1.0) * max(len(kinds), 1), size, share_x=False)) as (figure, axes):
        for number, what in enumerate(kinds):
            above, below = axes[2 * number : 2 * number + 2]
            below.sharex(above)
            above.tick_params(labelbottom=False)
            _draw_kind(report, what, above, below)
            for curve in curves:
                if curve.what == what:
                    scale = (1e12, 1e-3) if what == "frequency" else (100.0, 1.0)
                    above.plot(scale[0] * curve.places, scale[1] * curve.values, color=VERMILLION, linewidth=0.9)
        if not kinds:
            told = "no frequency and no pitch was read: there is nothing to draw over a capacitor or a distance"
            axes[0].text(0.5, 0.5, told, transform=axes[0].transAxes, ha="center", color=VERMILLION, fontsize=9)
        axes[0].set_title(f"Bench readings of {report.source}", loc="left", color=INK)
        handles, labels = axes[0].get_legend_handles_labels()
        more, names = axes[1].get_legend_handles_labels()
        figure.legend([*handles, *more], [*labels, *names], loc="outside lower center", ncols=3, fontsize=9)


def _draw_kind(report: FitFigures, what: str, above: Any, below: Any) -> None:
    """Readings of one kind over the fitted capacitor, or over the hand's distance, and what they are off the fit."""
    rows = [row for row in report.residuals if row.what == what]
    by_hand = what == "pitch" and all(row.hand_distance_m is not None for row in rows)
    places = np.array(
        [100.0 * (row.hand_distance_m or 0.0) if by_hand else row.fitted_capacitor_f * 1e12 for row in rows]
    )
    scale, unit = (1e3, "kHz") if what == "frequency" else (1.0, "Hz")
    kept = np.array([row.kept for row in rows])
    read, fit = np.array([row.read for row in rows]), np.array([row.fit for row in rows])
    off = np.array([row.residual for row in rows])
    limits = np.array([1.96 * abs(row.residual / row.sigmas) if row.sigmas else 0.0 for row in rows])
    above.plot(places[kept], read[kept] / scale, "o", color=BLUE, label="read")
    if not kept.all():
        above.plot(places[~kept], read[~kept] / scale, "x", color=VERMILLION, label="left out")
    above.plot(places, fit / scale, "+", color=VERMILLION, markersize=11, label="fit")
    if all(row.expected is not None for row in rows):
        before = np.array([row.expected or 0.0 for row in rows])
        above.plot(places, before / scale, "_", color=QUIET, markersize=11, label="as designed")
    above.set_ylabel(f"{what} ({unit})")
    above.grid(axis="y")
    below.axhline(0.0, color=QUIET, linewidth=0.8)
    label = "residual, with the 95 % limits of the reading"
    below.errorbar(
        places[kept], off[kept], yerr=limits[kept], fmt="o", color=BLUE, ecolor=QUIET, capsize=3, label=label
    )
    below.set_ylabel("read less fit (Hz)")
    below.set_xlabel("hand distance (cm)" if by_hand else "fitted capacitor (pF)")
    below.grid(axis="y")


def fit_text(report: FitFigures) -> str:
    """The report for people."""
    lines = [f"Fit of {report.source}: {counted(len(report.residuals), 'reading')}, {report.which} oscillator"]
    limits = [f"{100.0 * report.counter_limit_ratio:g} %"] if report.counter_limit_ratio else []
    limits += [format_quantity(report.counter_limit_hz, "Hz")] if report.counter_limit_hz else []
    by_hand = any(row.hand_distance_m is not None for row in report.residuals)
    hand = f", hand distances {format_quantity(report.hand_limit_m, 'm')}" if by_hand else ""
    said = f"95 % limits given: counter {' and '.join(limits)}{hand}"
    lines += [f"{said}; capacitors within +-{100 * report.capacitor_limit_ratio:g} %"]
    lines += [f"note: {slip}" for slip in report.slips]
    lines += ["", f"{'':<36}{'value':>12}   95 % interval"]
    lines += [_inferred(part) for part in (*report.inferred, *report.sums)]
    if report.closed_form is not None:
        coil, rest = format_quantity(report.closed_form[0], "H"), format_quantity(report.closed_form[1], "F")
        lines += [f"closed form of two readings: {coil}, and {rest} beside the fitted capacitor"]
    lines += ["", *_residuals(report.residuals)]
    chance = f"{100.0 * report.misfit_chance:.0f} %"
    lines += [f"sum of squares {report.misfit:.2f}, expected near {report.freedom}, chance {chance}"]
    lines += ["", *_told_apart(report)]
    if report.board_says:
        lines += [report.board_says]
    for target in report.targets:
        lines += ["", *_target(target)]
    return finished(lines, report.notices)


def _residuals(rows: tuple[Residual, ...]) -> list[str]:
    """The table of readings, its columns as wide as what stands in them."""
    several = len({row.what for row in rows}) > 1
    settings = [_setting(row) for row in rows]
    kinds = [row.what.replace("_", " ") if several else "" for row in rows]
    wide, kind = max(28, *map(len, settings)) + 2, max(map(len, kinds)) + (2 if several else 0)
    head = (
        f"{'line':>4}{'fitted':>10}{'setting':>{wide}}{'':>{kind}}{'read':>14}{'fit':>14}{'residual':>12}{'sigma':>7}"
    )
    made = [head]
    for row, setting, what in zip(rows, settings, kinds, strict=True):
        scale, unit = (1e3, "kHz") if row.what == "frequency" else (1.0, row.unit)
        begun = f"{row.line:>4}{format_quantity(row.fitted_capacitor_f, 'F'):>10}{setting:>{wide}}{what:>{kind}}"
        begun += "".join(f"{value / scale:>10.3f} {unit:<3}" for value in (row.read, row.fit))
        digits = 2 if row.unit == "Hz" else 4
        off, sigma = _near_zero(row.residual, digits), _near_zero(row.sigmas)
        ended = f"{off:>9.{digits}f} {row.unit:<2}{sigma:>7.2f}" if row.kept else f"{'left out':>12}"
        made.append(f"{begun}{ended}")
    return made


def _setting(row: Residual) -> str:
    return ", ".join([*([row.setting] if row.setting else []), *([f"{row.mode} mode"] if row.mode else [])]) or "-"


def _near_zero(value: float, digits: int = 2) -> float:
    """Rounded to the figures shown, without a minus before a zero."""
    return round(value, digits) + 0.0


def _inferred(part: Inferred) -> str:
    low, high = (format_quantity(end, part.unit) for end in (part.low, part.high))
    name = part.name.replace("_", " ")
    assumed = "" if part.told else "   (hardly told: mostly as assumed)"
    return f"{name:<36}{format_quantity(part.value, part.unit):>12}   {low} to {high}{assumed}"


def _told_apart(report: FitFigures) -> list[str]:
    lines = []
    if report.not_told:
        names = ", ".join(name.replace("_", " ") for name in report.not_told)
        only = "; the sums above are better known" if report.sums else ""
        lines += [f"cannot be told from these readings: {names}{only}"]
    lines += [
        f"hardly told apart: {first.replace('_', ' ')} and {second.replace('_', ' ')} (correlation {value:.3f})"
        for first, second, value in report.hardly_told
    ]
    if not lines:
        lines += ["every unknown is told by itself"]
    return lines + ([] if report.next_reading is None else [_next(report.next_reading)])


def _next(best: Next) -> str:
    what = f"{format_quantity(best.fitted_capacitor_f, 'F')} fitted{f', {best.setting}' if best.setting else ''}"
    widths = [f"{name.replace('_', ' ')} to +-{_width(name, width)}" for name, width in best.half_widths.items()]
    return f"best next reading: {what}; it leaves {100.0 * best.remaining:.0f} % of the variance ({', '.join(widths)})"


def _width(name: str, width: float) -> str:
    unit = next((unit for key, unit in UNITS.items() if key in name), "F")
    return format_quantity(width, unit, digits=2)


def _target(target: TargetFigure) -> list[str]:
    wanted = f"{target.target_hz / 1e3:.3f} kHz"
    lines = [f"{wanted} on {target.where}:"]
    if target.added_stray_f or target.shift_hz:
        span = f"{target.added_least_f * 1e12:+.0f} to {target.added_most_f * 1e12:+.0f} pF"
        added = f"{target.added_stray_f * 1e12:+.0f} pF"
        lines += [f"  its board stray differs by some {added} ({span} by usual ranges, from memory)"]
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
FIT = Form("beatfield.fit/2", fit_text, lambda made: rows_csv(COLUMNS, made.residuals, exact=True), save_fit_plot)
