"""The fit of bench readings as a plot: frequency against fitted capacitor with the fit, and the residuals below."""

from __future__ import annotations

import os

import numpy as np

from synth.analysis.fit_figures import FitFigures
from synth.report.figure import BLUE, INK, QUIET, VERMILLION, saved_figure


def save_fit_plot(report: FitFigures, path: str | os.PathLike[str], force: bool) -> None:
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
