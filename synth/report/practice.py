"""Practice for a person: the exercises, and the error of the days as text, CSV and plot."""

from __future__ import annotations

import numpy as np

from synth.analysis.practice_figures import PracticeFigures
from synth.practice.progress import COLUMNS
from synth.report.figure import INK, VERMILLION, Layout, saved_figure
from synth.report.written import Form, finished, rows_csv


def practice_text(report: PracticeFigures) -> str:
    """The exercises, and below them what was practised."""
    wide = max((len(name) for name, _ in report.exercises), default=0) + 2
    lines = [f"{name:<{wide}}{advice}" for name, advice in report.exercises]
    if not report.scores:
        return finished([*lines, "", "nothing was practised yet: beatfield play --practise steps"], ())
    name_width = max(12, *(len(one.score) for one in report.scores)) + 2
    lines += ["", f"{'practised':<{name_width}}{'runs':>6}{'days':>6}{'first day':>16}{'newest day':>16}{'lit':>8}"]
    lines += [
        f"{one.score:<{name_width}}{one.runs:>6}{one.days:>6}{one.first_cents:>10.1f} cents"
        f"{one.newest_cents:>10.1f} cents{100.0 * one.lit_share:>6.0f} %"
        for one in report.scores
    ]
    return finished([*lines, "", "cents are RMS errors; lit: the share of notes whose place is shown next time"], ())


def save_practice_plot(report: PracticeFigures, path: str, force: bool) -> None:
    """Draw the error of the days of each score into `path` (.png or .svg)."""
    with saved_figure(path, force, Layout((1.0,), (8.0, 4.6))) as (figure, (axes,)):
        axes.set_title("Practice", loc="left", color=INK)
        axes.set_ylabel("cents off (RMS)")
        if not report.days:
            axes.text(0.5, 0.5, "nothing was practised yet", transform=axes.transAxes, ha="center", color=VERMILLION)
            return
        for one in report.scores:
            own = [day for day in report.days if day.score == one.score]
            days = np.array([day.day for day in own], dtype="datetime64[D]")
            axes.plot(days, [day.rms_cents for day in own], marker="o", label=one.score)
        axes.set_ylim(bottom=0.0)
        axes.grid(axis="y")
        figure.autofmt_xdate()
        figure.legend(loc="outside lower center", ncols=4, fontsize=9)


PRACTICE = Form("beatfield.practice/1", practice_text, lambda made: rows_csv(COLUMNS, made.runs), save_practice_plot)
