"""One oscillator: text, JSON, the start-up as CSV, and a plot of start-up, one steady cycle and the pot."""

from __future__ import annotations

import math

import numpy as np

from models.circuit.ripple_law import BOTH_BASES, SUPPLY
from models.circuit.steady_state import SteadyState
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord
from synth.analysis.adjoint_figures import Hum
from synth.analysis.circuit_points import recorded_nodes
from synth.analysis.oscillator import ESTIMATED, FOLLOWED, AdjustedReading, OscillatorFigures, TestPoint
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, legend_above, saved_figure
from synth.report.pulling import pulling_facts
from synth.report.written import Form, finished, numbers_csv

CYCLE_POINTS = 720
SHOWN_VALUES = 12
"""Rows of the text's table of sensitivities; the JSON has all."""
ENVELOPE_POINTS = 1500


def save_oscillator_plot(
    report: OscillatorFigures,
    state: SteadyState,
    record: TransientRecord,
    pot: tuple[AdjustedReading, ...],
    path: str,
    force: bool,
) -> None:
    """Draw start-up (`record`), a steady cycle (`state`) and the `pot` readings into `path` (.png or .svg)."""
    with saved_figure(path, force, (1.25, 1.25, 1.0), (8.0, 9.4), share_x=False) as (figure, (start, cycle, turn)):
        title = f"{report.design}, {report.which} oscillator: {report.frequency_hz / 1e3:.3f} kHz"
        figure.suptitle(title, x=0.02, ha="left", color=INK, fontsize=11)
        _draw_start(start, report, record, state)
        _draw_cycle(cycle, state)
        _draw_pot(turn, report, pot)
        for axes in (start, cycle, turn):
            axes.grid(axis="y", which="major")


def _draw_start(axes: Axes, report: OscillatorFigures, record: TransientRecord, state: SteadyState) -> None:
    """The band that the hot end of the tank fills, cycle by cycle, and the cold end that it swings about."""
    cycles = record.times.size // POINTS_PER_CYCLE
    group = max(1, -(-cycles // ENVELOPE_POINTS))
    length = group * POINTS_PER_CYCLE
    count = record.times.size // length
    hot, cold = record.tank
    collector = record.voltage(hot)[: count * length].reshape(count, length)
    supply = record.voltage(cold)[: count * length].reshape(count, length).mean(axis=1)
    times = 1e3 * record.times[: count * length].reshape(count, length).mean(axis=1)
    axes.fill_between(times, collector.min(axis=1), collector.max(axis=1), color=BLUE, alpha=0.35, linewidth=0.0)
    axes.plot(times, collector.max(axis=1), color=BLUE, linewidth=1.0, label=f"{report.hot_end}, highest and lowest")
    axes.plot(times, collector.min(axis=1), color=BLUE, linewidth=1.0)
    axes.plot(times, supply, color=QUIET, linewidth=1.2, label="cold end of the tank")
    if report.startup_s is not None:
        label = f"90 % after {1e3 * report.startup_s:.3g} ms"
        axes.axvline(1e3 * report.startup_s, color=VERMILLION, linewidth=1.0, linestyle=":", label=label)
    axes.set_xlim(0.0, times[-1])
    axes.set_xlabel("time from switch-on (ms)")
    axes.set_ylabel("volts")
    legend_above(axes, 3, right=True)


def _draw_cycle(axes: Axes, state: SteadyState) -> None:
    """Collector, emitter and output over one cycle, each without its direct voltage, the small ones enlarged."""
    microseconds = 1e6 * np.arange(CYCLE_POINTS + 1) / CYCLE_POINTS / state.frequency
    drawing = state.circuit.drawing()
    names = tuple(dict.fromkeys((drawing.hot, drawing.common, "output")))
    swings = {name: state.peak_to_peak(name) for name in names}
    for (name, swing), colour in zip(swings.items(), (BLUE, ORANGE, GREEN), strict=False):
        if name == "output" and state.circuit.load is None:
            continue
        factor = _round_factor(swings[drawing.hot] / swing) if swing > 0.0 else 1.0
        wave = state.waveform(name, CYCLE_POINTS) - state.coefficients(name)[0].real
        label = name if factor == 1 else f"{name} x {factor:g}"
        axes.plot(microseconds, factor * np.append(wave, wave[0]), color=colour, label=f"{label}, {swing:.3g} V p-p")
    axes.set_xlim(0.0, microseconds[-1])
    axes.set_xlabel("one steady cycle (us)")
    axes.set_ylabel("volts about the mean")
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


def _draw_pot(axes: Axes, report: OscillatorFigures, pot: tuple[AdjustedReading, ...]) -> None:
    places = np.array([reading.setting for reading in pot], dtype=np.float64)
    known = np.array([reading.shift_hz is not None for reading in pot])
    shifts = np.array([np.nan if reading.shift_hz is None else reading.shift_hz for reading in pot])
    axes.plot(places, shifts, color=BLUE, label="frequency against the pot")
    axes.plot([report.pot or 0.0], [0.0], "o", color=VERMILLION, markersize=5, label=f"set at {report.pot or 0.0:.3g}")
    if not known.all():
        silent = np.full(int((~known).sum()), float(shifts[known].min()) if known.any() else 0.0)
        axes.plot(places[~known], silent, "x", color=QUIET, label="does not oscillate")
    axes.set_xlim(-0.02, 1.02)
    axes.set_xlabel("position of the fine-tune pot (0 low, 1 high)")
    axes.set_ylabel("shift (Hz)")
    legend_above(axes, 3, right=True)


DASH = "-"
KEEP_EVERY = 4  # samples of the transient, in the CSV


def oscillator_text(report: OscillatorFigures) -> str:
    """The report as text; the same figures as its document."""
    lines = [f"{name:<20}{value}" for name, value in _facts(report)]
    lines += ["", f"{'test point':<12}{'DC':>11}{'peak to peak':>15}{'frequency':>15}{'THD':>9}{'start-up':>12}"]
    lines += [_point_line(point) for point in report.test_points]
    head = f"{'frequency':>21}{'shift':>12}{report.hot_end:>13}{'output':>12}   (peak to peak)"
    if report.pot_readings:
        lines += ["", f"{'pot':<12}{head}", *(_reading_line(reading) for reading in report.pot_readings)]
    if report.trimmer_readings:
        lines += ["", f"{'trimmer':<12}{head}", *(_reading_line(reading) for reading in report.trimmer_readings)]
    lines += ["", f"{'load':<12}{head}", *(_reading_line(reading, "ohm") for reading in report.load_readings)]
    shown = report.sensitivities[:SHOWN_VALUES]
    lines += ["", f"{'value':<56}{'more of it by':>16}{'shift':>14}"]
    lines += [f"  {one.part:<54}{one.step:>16}{one.shift_hz:>+11.4g} Hz" for one in shown]
    return finished(lines, report.notices)


def _facts(report: OscillatorFigures) -> list[tuple[str, str]]:
    power = format_quantity(report.supply_power_w * 1e3, "ratio")
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("oscillator", report.which),
        ("frequency", f"{report.frequency_hz / 1e3:.3f} kHz"),
        ("antenna", _antenna(report)),
        ("load", _load(report)),
        ("pot", ("none" if report.pot is None else f"{report.pot:.3g} of its turn") + _trimmer(report)),
        ("supply", f"{_unit(report.supply_v, 'V')}, {_unit(report.supply_current_a, 'A')}, {power} mW"),
        (f"{report.output_end} at rest", _unit(report.collector_current_at_rest_a, "A")),
        ("loop gain", f"{report.loop_gain_margin_db:.1f} dB more than needed to start"),
        ("growth", f"{report.growth_rate_per_s:.4g} /s: e-fold in {_unit(1.0 / report.growth_rate_per_s, 's')}"),
        ("start-up", _startup(report)),
        ("settles", f"slowest time constant {_unit(report.settling_s, 's')}"),
    ]
    facts += [
        ("supply pushing", f"{report.pushing_hz_per_v:+.4g} Hz for each volt more"),
        ("hum", _hum(1e-3, max(report.hum, key=lambda one: one.supply_hz_per_v))),
        *_ripple(report),
        ("noise", _noise(report)),
    ]
    if report.lock_range_hz is not None and report.pulling is not None:
        facts += pulling_facts(report.lock_range_hz, report.lock_paths or (), report.pulling)
    if report.probe_shift_hz is not None:
        facts.append(
            ("10 pF probe", f"on the {report.hot_end} it shifts the frequency by {report.probe_shift_hz:+.0f} Hz")
        )
    if report.stray_explanation is not None:
        facts.append(("stray", report.stray_explanation))
    return facts


def _hum(volts: float, row: Hum, entry: str = "") -> str:
    """What `volts`, peak, of ripple do, from wherever it enters, or from one entry."""
    more = 20.0 * math.log10(volts / 1e-3)
    by = {
        "supply": (row.supply_hz_per_v, row.supply_dbc_at_1_mv, "from the supply"),
        "base": (row.base_hz_per_v, row.base_dbc_at_1_mv, "from the base"),
    }
    swings = [
        f"by {volts * swing:.3g} Hz {where} ({level + more:.0f} dBc beside the carrier)"
        for name, (swing, level, where) in by.items()
        if entry in ("", name)
    ]
    return f"{_unit(volts, 'V')} peak at {row.ripple_hz:.0f} Hz sways the frequency {', '.join(swings)}"


def _ripple(report: OscillatorFigures) -> list[tuple[str, str]]:
    """What the ripple of [supply] does to this oscillator."""
    if not report.ripple_v or report.ripple_at is None:
        return []
    if report.ripple_at not in (SUPPLY, BOTH_BASES, f"{report.which} base"):
        return [("ripple", f"enters at the {report.ripple_at}, not here")]
    row = next(one for one in report.hum if one.ripple_hz == report.ripple_hz)
    return [("ripple", _hum(report.ripple_v, row, "supply" if report.ripple_at == SUPPLY else "base"))]


def _noise(report: OscillatorFigures) -> str:
    noise = report.noise
    at = next(one for one in noise.offsets if one.offset_hz == 100.0)
    return (
        f"{at.dbc_per_hz:.0f} dBc/Hz at 100 Hz off: thermal and shot (most: {noise.loudest}), flicker with a corner of "
        f"{_unit(noise.flicker_corner_hz, 'Hz')}; {noise.jitter_cents:.2g} cents of jitter at {noise.note_hz:.0f} Hz "
        f"over 0.1 s, from {noise.jitter_from_hz:g} Hz on: {noise.heard}"
    )


def _unit(value: float, unit: str) -> str:
    return format_quantity(value, unit)


def _antenna(report: OscillatorFigures) -> str:
    if report.antenna_f is None:
        return "none"
    where = "nobody near" if report.hand_distance_m is None else f"hand at {_unit(report.hand_distance_m, 'm')}"
    return f"{_unit(report.antenna_f, 'F')} with its stray, {where}"


def _load(report: OscillatorFigures) -> str:
    if report.load_ohm is None or report.load_f is None:
        return "none"
    return f"{_unit(report.load_ohm, 'ohm')} and {_unit(report.load_f, 'F')} behind the output resistor"


def _trimmer(report: OscillatorFigures) -> str:
    return ", no trimmer" if report.trimmer is None else f", trimmer {report.trimmer:.4g} of its turn"


def _startup(report: OscillatorFigures) -> str:
    if report.startup_s is None:
        return "not to this oscillation" if report.startup_by == FOLLOWED else "not within the transient computed"
    about = "about " if report.startup_by == ESTIMATED else ""
    return f"{about}{_time(report.startup_s)} to 90 % of the swing ({report.startup_by})"


def _time(seconds: float) -> str:
    return format_quantity(seconds, "s", 3)


def _point_line(point: TestPoint) -> str:
    thd = DASH if point.thd is None else f"{100.0 * point.thd:.2f} %"
    startup = DASH if point.startup_s is None else _time(point.startup_s)
    swing = format_quantity(point.peak_to_peak_v, "V", 4)
    dc = f"{point.dc_v:.3f} V"
    return f"{point.name:<12}{dc:>11}{swing:>15}{point.frequency_hz / 1e3:>11.3f} kHz{thd:>9}{startup:>12}"


def _reading_line(reading: AdjustedReading, unit: str = "fraction") -> str:
    setting = "" if reading.setting is None else format_quantity(reading.setting, unit)
    name = f"  {reading.name} {setting}".rstrip()
    if reading.frequency_hz is None or reading.collector_pp_v is None or reading.output_pp_v is None:
        return f"{name}: {reading.remark}"
    collector, output = (format_quantity(volts, "V") for volts in (reading.collector_pp_v, reading.output_pp_v))
    frequency = f"{reading.frequency_hz / 1e3:.3f} kHz"
    return f"{name:<21}{frequency:>12}{reading.shift_hz:>9.0f} Hz{collector:>13}{output:>12}"


def start_up_csv(record: TransientRecord, state: SteadyState) -> str:
    """The transient as CSV, sixteen rows a cycle; without a load there is no output_v."""
    columns = [("time_s", record.times)]
    columns += [(name, record.voltage(node)) for name, node in recorded_nodes(state.circuit) if node in record.names]
    rows = np.column_stack([values for _, values in columns])[::KEEP_EVERY]
    return numbers_csv([name for name, _ in columns], rows.tolist())


OSCILLATOR = Form("beatfield.oscillator/1", oscillator_text)
