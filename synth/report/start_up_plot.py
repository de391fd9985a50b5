"""The picture of a start-up: bias, swing from the noise up, and true cycles, drawn from the envelope's harmonics."""

from __future__ import annotations

import numpy as np

from models.arrays import Floats
from synth.analysis.start_up_picture import (
    COMMON,
    CONTROL,
    SUPPLY,
    Cycle,
    OscillatorPicture,
    PotPicture,
    StartUpCurves,
)
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, legend_above, saved_figure

REPEATED = 2
"""So many times each true cycle is drawn."""
SMALLEST, NAMED = 1e-6, (1e-5, 1e-3, 0.1, 10.0)  # V, on the swing's axis
MARGINS = (0.11, 0.975, 0.935, 0.05, 0.5)
STEADY = Layout((1.0, 1.1, 1.1, 0.9), (8.0, 11.0), share_x=False, margins=MARGINS)
UNSTEADY = Layout((1.0, 1.1, 1.1), (8.0, 9.0), share_x=False, margins=MARGINS)
SHOWN_STARTS = 3.0
"""The time axis ends after so many start-up times."""


def save_oscillator_plot(picture: OscillatorPicture, pot: PotPicture, path: str, force: bool) -> None:
    """Draw a start-up, its end and the readings of the pot into `path` (.png or .svg)."""
    with saved_figure(path, force, STEADY) as (figure, axes):
        bias, swing, cycles, turn = axes
        title = f"{picture.design}, {picture.which} oscillator: {picture.frequency / 1e3:.3f} kHz"
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        run, started = picture.curves, picture.started
        span = 0.0, run.end if started is None else min(run.end, SHOWN_STARTS * started)
        _draw_bias(bias, run, span)
        _draw_swing(swing, run, span, started)
        _draw_cycles(cycles, run)
        _draw_pot(turn, pot)
        for each in axes:
            _calmly_ruled(each)


def save_unsteady_plot(title: str, run: StartUpCurves, path: str, force: bool) -> None:
    """Draw an oscillation that does not settle: bias, envelope of the swing, and the voltage itself at its end."""
    with saved_figure(path, force, UNSTEADY) as (figure, axes):
        bias, swing, cycles = axes
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        span = run.begin, run.end
        _draw_bias(bias, run, span, supply=False)
        _draw_envelope(swing, run, span)
        if run.last is None:
            _draw_cycles(cycles, run)
        else:
            _draw_last(cycles, *run.last)
        for each in axes:
            _calmly_ruled(each)


def _calmly_ruled(axes: Axes) -> None:
    """Grid lines at a few round values: making and drawing all that the library chooses is half of a plot's time."""
    axes.grid(axis="y", which="major")
    axes.locator_params("x", nbins=5)
    if axes.get_yscale() == "linear":
        axes.locator_params("y", nbins=5)


def _draw_bias(axes: Axes, run: StartUpCurves, span: tuple[float, float], supply: bool = True) -> None:
    """Supply, base and emitter, each the mean over a cycle."""
    lines = (
        (SUPPLY, "supply at the tank", QUIET),
        (CONTROL, run.names[CONTROL], ORANGE),
        (COMMON, run.names[COMMON], GREEN),
    )
    for name, label, colour in lines if supply else lines[1:]:
        curve = run.curves[name]
        axes.plot(1e3 * np.append(0.0, curve.times), np.append(0.0, curve.mean), color=colour, label=label)
    _time_axis(axes, span, "mean (V)")


def _draw_swing(axes: Axes, run: StartUpCurves, span: tuple[float, float], started: float | None) -> None:
    """Peak-to-peak of tank and base; on this axis exponential growth is a straight line."""
    for name, label, colour in (("tank", "tank", BLUE), (CONTROL, run.names[CONTROL], ORANGE)):
        curve = run.curves[name]
        axes.plot(1e3 * curve.times, np.maximum(curve.swing, 0.1 * SMALLEST), color=colour, label=label)
    axes.set_yscale("log")
    axes.set_ylim(bottom=SMALLEST)
    axes.set_yticks(NAMED, [format_quantity(volts, "V") for volts in NAMED])
    axes.set_yticks([], minor=True)
    if started is not None:
        label = f"90 % of the tank's swing after {format_quantity(started, 's', 3)}"
        axes.axvline(1e3 * started, color=VERMILLION, linewidth=1.0, linestyle=":", label=label)
    _time_axis(axes, span, "swing (V peak to peak)")


def _draw_envelope(axes: Axes, run: StartUpCurves, span: tuple[float, float]) -> None:
    """Peak-to-peak of the tank."""
    curve = run.curves["tank"]
    axes.plot(1e3 * curve.times, curve.swing, color=BLUE, linewidth=1.2, label="tank")
    axes.set_ylim(bottom=0.0)
    _time_axis(axes, span, "swing (V peak to peak)")


def _time_axis(axes: Axes, span: tuple[float, float], label: str) -> None:
    axes.set_xlim(1e3 * span[0], 1e3 * span[1])
    axes.set_xlabel("time from switch-on (ms)")
    axes.set_ylabel(label)
    legend_above(axes, 3, right=True)


def _draw_cycles(axes: Axes, run: StartUpCurves) -> None:
    """The tank's voltage over true cycles at chosen swings, and the emitter's at the last, enlarged."""
    cycles, name = run.cycles, run.names[COMMON]
    for cycle, width, alpha in zip(cycles, (1.0, 1.4, 1.8), (0.4, 0.7, 1.0), strict=True):
        label = f"tank after {format_quantity(cycle.after, 's', 3)}"
        axes.plot(*_repeated(cycle, cycle.tank), color=BLUE, linewidth=width, alpha=alpha, label=label)
    last = cycles[-1]
    wave = last.emitter - last.emitter.mean()
    factor = _round_factor(float(np.ptp(last.tank) / np.ptp(wave)))
    label = name if factor == 1.0 else f"{name} x {factor:g}"
    axes.plot(*_repeated(last, factor * wave), color=ORANGE, linewidth=1.2, label=label)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("true cycles at these instants (us)")
    axes.set_ylabel("volts")
    legend_above(axes, 4, right=True)


def _repeated(cycle: Cycle, wave: Floats) -> tuple[Floats, Floats]:
    values = np.append(np.tile(wave, REPEATED), wave[0])
    return 1e6 * np.arange(values.size) / wave.size * cycle.length, values


def _draw_last(axes: Axes, times: Floats, tank: Floats) -> None:
    """The tank's voltage as it was integrated in time, its last cycles."""
    axes.plot(1e3 * times, tank, color=BLUE, linewidth=0.8, label="tank, every cycle")
    axes.set_xlim(1e3 * times[0], 1e3 * times[-1])
    axes.set_xlabel("time from switch-on (ms)")
    axes.set_ylabel("volts")
    legend_above(axes, 3, right=True)


def _round_factor(ratio: float) -> float:
    """The largest 1, 2 or 5 times a power of ten that is not above half of `ratio`; 1 at least."""
    if not np.isfinite(ratio):
        return 1.0
    factor = 1.0
    for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0):
        if step <= 0.5 * ratio:
            factor = step
    return factor


def _draw_pot(axes: Axes, picture: PotPicture) -> None:
    places, shifts, pot = picture.positions, picture.shifts, picture.position
    if pot is None:
        axes.text(0.5, 0.5, "no fine-tune pot", ha="center", transform=axes.transAxes, color=QUIET)
        axes.set_axis_off()
        return
    known = np.isfinite(shifts)
    axes.plot(places, shifts, color=BLUE, label="frequency against the pot")
    axes.plot([pot], [0.0], "o", color=VERMILLION, markersize=5, label=f"set at {pot:.3g}")
    if not known.all():
        silent = np.full(int((~known).sum()), float(shifts[known].min()) if known.any() else 0.0)
        axes.plot(places[~known], silent, "x", color=QUIET, label="does not oscillate")
    axes.set_xlim(-0.02, 1.02)
    axes.set_xlabel("position of the fine-tune pot (0 low, 1 high)")
    axes.set_ylabel("shift (Hz)")
    legend_above(axes, 3, right=True)
