"""An oscillator as a plot: start-up, one steady cycle, and frequency against the fine-tune pot."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np

from models.circuit.common_base import COLD, COLLECTOR, EMITTER
from models.circuit.steady_state import SteadyState
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord
from synth.analysis.oscillator_figures import AdjustedReading, OscillatorFigures
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CYCLE_POINTS = 720
ENVELOPE_POINTS = 1500


def save_oscillator_plot(
    report: OscillatorFigures,
    state: SteadyState,
    record: TransientRecord,
    pot: tuple[AdjustedReading, ...],
    path: str | os.PathLike[str],
    force: bool,
) -> None:
    """Draw start-up (`record`), a steady cycle (`state`) and the `pot` readings into `path` (.png or .svg)."""
    with saved_figure(path, force, (1.25, 1.25, 1.0), (8.0, 9.4), share_x=False) as (figure, (start, cycle, turn)):
        title = f"{report.design}, {report.which} oscillator: {report.frequency_hz / 1e3:.3f} kHz"
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        _draw_start(start, report, record)
        _draw_cycle(cycle, state)
        _draw_pot(turn, report, pot)
        for axes in (start, cycle, turn):
            axes.grid(axis="y", which="major")


def _draw_start(axes: Axes, report: OscillatorFigures, record: TransientRecord) -> None:
    """The band that the collector fills, cycle by cycle, and the cold end of the tank that it swings about."""
    cycles = record.times.size // POINTS_PER_CYCLE
    group = max(1, -(-cycles // ENVELOPE_POINTS))
    length = group * POINTS_PER_CYCLE
    count = record.times.size // length
    collector = record.voltage(COLLECTOR)[: count * length].reshape(count, length)
    supply = record.voltage(COLD)[: count * length].reshape(count, length).mean(axis=1)
    times = 1e3 * record.times[: count * length].reshape(count, length).mean(axis=1)
    axes.fill_between(times, collector.min(axis=1), collector.max(axis=1), color=BLUE, alpha=0.35, linewidth=0.0)
    axes.plot(times, collector.max(axis=1), color=BLUE, linewidth=1.0, label="collector, highest and lowest")
    axes.plot(times, collector.min(axis=1), color=BLUE, linewidth=1.0)
    axes.plot(times, supply, color=QUIET, linewidth=1.2, label="cold end of the tank")
    if report.startup_s is not None:
        label = f"90 % after {1e3 * report.startup_s:.3g} ms"
        axes.axvline(1e3 * report.startup_s, color=VERMILLION, linewidth=1.0, linestyle=":", label=label)
    axes.set_xlim(0.0, times[-1])
    axes.set_xlabel("time from switch-on (ms)")
    axes.set_ylabel("volts")
    _legend_above(axes)


def _draw_cycle(axes: Axes, state: SteadyState) -> None:
    """Collector, emitter and output over one cycle, each without its direct voltage, the small ones enlarged."""
    microseconds = 1e6 * np.arange(CYCLE_POINTS + 1) / CYCLE_POINTS / state.frequency
    swings = {name: state.peak_to_peak(name) for name in (COLLECTOR, EMITTER, "output")}
    for (name, swing), colour in zip(swings.items(), (BLUE, ORANGE, GREEN), strict=True):
        if name == "output" and state.circuit.load is None:
            continue
        factor = _round_factor(swings[COLLECTOR] / swing)
        wave = state.waveform(name, CYCLE_POINTS) - state.coefficients(name)[0].real
        label = name if factor == 1 else f"{name} x {factor:g}"
        axes.plot(microseconds, factor * np.append(wave, wave[0]), color=colour, label=f"{label}, {swing:.3g} V p-p")
    axes.set_xlim(0.0, microseconds[-1])
    axes.set_xlabel("one steady cycle (us)")
    axes.set_ylabel("volts about the mean")
    _legend_above(axes)


def _round_factor(ratio: float) -> float:
    """The largest 1, 2 or 5 times a power of ten that is not above half of `ratio`; 1 at least."""
    if not np.isfinite(ratio):
        return 1.0
    factor = 1.0
    for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0):
        if step <= 0.5 * ratio:
            factor = step
    return factor


def _draw_pot(axes: Axes, report: OscillatorFigures, pot: tuple[AdjustedReading, ...]) -> None:
    places = np.array([reading.setting for reading in pot], dtype=np.float64)
    known = np.array([reading.shift_hz is not None for reading in pot])
    shifts = np.array([np.nan if reading.shift_hz is None else reading.shift_hz for reading in pot])
    axes.plot(places, shifts, color=BLUE, label="frequency against the pot")
    axes.plot([report.pot], [0.0], "o", color=VERMILLION, markersize=5, label=f"set at {report.pot:.3g}")
    if not known.all():
        silent = np.full(int((~known).sum()), float(shifts[known].min()) if known.any() else 0.0)
        axes.plot(places[~known], silent, "x", color=QUIET, label="does not oscillate")
    axes.set_xlim(-0.02, 1.02)
    axes.set_xlabel("position of the fine-tune pot (0 low, 1 high)")
    axes.set_ylabel("shift (Hz)")
    _legend_above(axes)


def _legend_above(axes: Axes) -> None:
    """One row of labels above the axes, clear of the curves."""
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3, fontsize=9, borderaxespad=0.2)
