"""One oscillator: text, JSON, and the start-up as CSV; its picture is in synth.report.start_up_plot."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from models.circuit.ripple_law import BOTH_BASES, SUPPLY
from models.circuit.transient import TransientRecord
from synth.analysis.adjoint_figures import Hum
from synth.analysis.oscillator import UNKNOWN, AdjustedReading, OscillatorFigures, TestPoint
from synth.analysis.oscillator_resonance import ResonanceFigures
from synth.designs.quantity import format_quantity
from synth.report.mixer import mixer_facts
from synth.report.pulling import pulling_facts
from synth.report.written import Form, finished, numbers_csv

SHOWN_LOSSES = 4
SHOWN_VALUES = 12
"""Rows of the text's table of sensitivities; the JSON has all."""
DASH = "-"
KEEP_EVERY = 4  # samples of the transient, in the CSV


def oscillator_text(report: OscillatorFigures) -> str:
    """The report as text; the same figures as its document."""
    lines = [f"{name:<20}{value}" for name, value in _facts(report)]
    wide = max(12, *(len(point.name) + 2 for point in report.test_points))
    lines += ["", f"{'test point':<{wide}}{'DC':>11}{'peak to peak':>15}{'frequency':>15}{'THD':>9}{'start-up':>12}"]
    lines += [_point_line(point, wide) for point in report.test_points]
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
        (f"{report.output_end} at rest", _unit(report.current_at_rest_a, "A")),
        ("loop gain", _loop_gain(report)),
        ("lost in", ", ".join(f"{loss.part} {100.0 * loss.share:.3g} %" for loss in report.losses[:SHOWN_LOSSES])),
        ("growth", _growth(report)),
        ("starts", report.starts),
        ("start-up", _startup(report)),
        ("settles", f"slowest time constant {_unit(report.settling_s, 's')}"),
    ]
    facts += [
        ("supply pushing", f"{report.pushing_hz_per_v:+.4g} Hz for each volt more"),
        ("hum", _hum(1e-3, max(report.hum, key=lambda one: one.supply_hz_per_v), report.control_end)),
        *_ripple(report),
        ("noise", _noise(report)),
    ]
    if report.lock_range_hz is not None and report.pulling is not None:
        facts += pulling_facts(report.lock_range_hz, report.lock_paths or (), report.pulling)
    facts += mixer_facts(report.mixer)
    if report.probe_shift_hz is not None:
        shift = f"it shifts the frequency by {report.probe_shift_hz:+.0f} Hz"
        facts.append(("10 pF probe", f"on the {report.hot_end} {shift}"))
    if report.stray_explanation is not None:
        facts.append(("board stray", report.stray_explanation))
    return facts


def _loop_gain(report: OscillatorFigures) -> str:
    if report.loop_gain_margin_db < 0.0:
        return f"at rest {-report.loop_gain_margin_db:.1f} dB beyond what starts by itself"
    return f"{report.loop_gain_margin_db:.1f} dB more than needed to start"


def _growth(report: OscillatorFigures) -> str:
    rate = report.growth_rate_per_s
    turn = "the swing grows" if rate > 0.0 else "from rest the swing dies away"
    return f"{rate:.4g} /s: {turn} by a factor of e in {_unit(1.0 / abs(rate), 's')}"


def _hum(volts: float, row: Hum, control: str, entry: str = "") -> str:
    """What `volts`, peak, of ripple do, from wherever it enters, or from one entry; `control`: the device's end."""
    more = 20.0 * math.log10(volts / 1e-3)
    by = {
        "supply": (row.supply_hz_per_v, row.supply_dbc_at_1_mv, "from the supply"),
        "base": (row.base_hz_per_v, row.base_dbc_at_1_mv, f"from the {control}"),
    }
    swings = [
        f"not at all {where}"
        if level is None
        else f"by {volts * swing:.3g} Hz {where} ({level + more:.0f} dBc beside the carrier)"
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
    entry = "supply" if report.ripple_at == SUPPLY else "base"
    return [("ripple", _hum(report.ripple_v, row, report.control_end, entry))]


def _noise(report: OscillatorFigures) -> str:
    noise = report.noise
    at = next(one for one in noise.offsets if one.offset_hz == 100.0)
    flicker = f"flicker with a corner of {_unit(noise.flicker_corner_hz, 'Hz')}"
    if noise.flicker_corner_hz == 0.0:
        flicker = "flicker noise not counted"
    return (
        f"{at.dbc_per_hz:.0f} dBc/Hz at 100 Hz off: thermal and shot (most: {noise.loudest}), {flicker}; "
        f"{noise.jitter_cents:.2g} cents of jitter at {noise.note_hz:.0f} Hz over 0.1 s, "
        f"from {noise.jitter_from_hz:g} Hz on: {noise.heard}"
    )


def _unit(value: float, unit: str) -> str:
    return format_quantity(value, unit)


def _antenna(report: OscillatorFigures) -> str:
    if report.antenna_f is None:
        return "none"
    where = "nobody near" if report.hand_distance_m is None else f"the hand at {100.0 * report.hand_distance_m:.1f} cm"
    return f"{_unit(report.antenna_f, 'F')} with its stray, {where}"


def _load(report: OscillatorFigures) -> str:
    if report.load_ohm is None or report.load_f is None:
        return "none"
    return f"{_unit(report.load_ohm, 'ohm')} and {_unit(report.load_f, 'F')} behind the output resistor"


def _trimmer(report: OscillatorFigures) -> str:
    return ", no trimmer" if report.trimmer is None else f", trimmer {report.trimmer:.4g} of its turn"


def _startup(report: OscillatorFigures) -> str:
    if report.startup_s is None:
        return UNKNOWN if report.startup_by == UNKNOWN else "not to this oscillation"
    return f"{_time(report.startup_s)} to 90 % of the swing ({report.startup_by})"


def _time(seconds: float) -> str:
    return format_quantity(seconds, "s", 3)


def _point_line(point: TestPoint, wide: int) -> str:
    thd = DASH if point.thd is None else f"{100.0 * point.thd:.2f} %" if point.thd < 10.0 else ">1000 %"
    startup = DASH if point.startup_s is None else _time(point.startup_s)
    swing = format_quantity(point.peak_to_peak_v, "V", 4)
    dc = f"{point.dc_v:z.3f} V"
    return f"{point.name:<{wide}}{dc:>11}{swing:>15}{point.frequency_hz / 1e3:>11.3f} kHz{thd:>9}{startup:>12}"


def _reading_line(reading: AdjustedReading, unit: str = "fraction") -> str:
    setting = "" if reading.setting is None else format_quantity(reading.setting, unit)
    name = f"  {reading.name} {setting}".rstrip()
    if reading.frequency_hz is None or reading.hot_end_pp_v is None or reading.output_pp_v is None:
        return f"{name}: {reading.remark}"
    hot_end, output = (format_quantity(volts, "V") for volts in (reading.hot_end_pp_v, reading.output_pp_v))
    frequency = f"{reading.frequency_hz / 1e3:.3f} kHz"
    return f"{name:<21}{frequency:>12}{round(reading.shift_hz or 0.0):>9d} Hz{hot_end:>13}{output:>12}"


def start_up_csv(record: TransientRecord, nodes: Iterable[tuple[str, str]]) -> str:
    """The transient as CSV, sixteen rows a cycle; without a load there is no output_v."""
    columns = [("time_s", record.times)]
    columns += [(name, record.voltage(node)) for name, node in nodes if node in record.names]
    rows = np.column_stack([values for _, values in columns])[::KEEP_EVERY]
    return numbers_csv([name for name, _ in columns], rows.tolist())


def resonance_text(report: ResonanceFigures) -> str:
    """What is known of an oscillator without [circuit]."""
    turn = "none" if report.trimmer_in_hz is None else f"{report.trimmer:.3g} of its turn"
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("oscillator", report.which),
        ("frequency", f"{report.frequency_hz / 1e3:.3f} kHz"),
        (
            "tank",
            f"{_unit(report.inductance_h, 'H')} with {_unit(report.tank_f, 'F')} in all, Q {report.quality_factor:g}",
        ),
        (
            "of which",
            f"capacitor {_unit(report.capacitor_f, 'F')}, trimmer {_unit(report.trimmer_f, 'F')} ({turn}), "
            f"board stray and coil {_unit(report.beside_f, 'F')}",
        ),
    ]
    if report.antenna_f is not None:
        where = "nobody near" if report.hand_m is None else f"the hand at {100.0 * report.hand_m:.1f} cm"
        facts.append(("antenna", f"{_unit(report.antenna_f, 'F')}, {where}"))
    if report.trimmer_in_hz is not None and report.trimmer_out_hz is not None:
        span = f"{report.trimmer_in_hz / 1e3:.3f} to {report.trimmer_out_hz / 1e3:.3f} kHz"
        facts.append(("trimmer covers", f"{span} without the antenna"))
    head = (
        f"{report.design} has no [circuit]: this is the resonance of the tank alone. Whether the oscillator starts,\n"
        "its levels and its DC points depend on the parts around the tank: state them in [circuit] (an empty section\n"
        "takes default parts), and take their capacitances out of the board stray."
    )
    return finished([head, "", *(f"{name:<20}{value}" for name, value in facts)], report.notices)


OSCILLATOR = Form("beatfield.oscillator/1", oscillator_text)
RESONANCE = Form("beatfield.oscillator_resonance/1", resonance_text)
