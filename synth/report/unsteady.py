"""An oscillator that does not settle: text and JSON; its picture is in synth.report.start_up_plot."""

from __future__ import annotations

from synth.analysis.unsteady import UnsteadyFigures
from synth.designs.quantity import format_quantity
from synth.report.written import Form, finished


def unsteady_text(report: UnsteadyFigures) -> str:
    """The report as text; the same figures as its document."""
    lines = [f"{name:<20}{value}" for name, value in _facts(report)]
    lines += ["", f"{'late in the run':<18}{'lowest mean':>14}{'highest mean':>15}{'swings by':>26}"]
    lines += [
        f"{one.name:<18}{_volts(one.lowest_dc_v):>14}{_volts(one.highest_dc_v):>15}"
        f"{_volts(one.lowest_peak_to_peak_v) + ' to ' + _volts(one.highest_peak_to_peak_v):>26}"
        for one in report.ranges
    ]
    return finished(lines, report.notices)


def _pot(place: float | None) -> str:
    return "no pot" if place is None else f"pot at {place:.3g} of its turn"


def _facts(report: UnsteadyFigures) -> list[tuple[str, str]]:
    span = f"{report.lowest_frequency_hz / 1e3:.2f} to {report.highest_frequency_hz / 1e3:.2f} kHz"
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("oscillator", report.which),
        ("steady", f"no: {report.motion_in_words}"),
        ("frequency", f"about {report.frequency_hz / 1e3:.2f} kHz while it swings ({span})"),
    ]
    if report.burst_period_s is not None and report.burst_depth is not None and report.burst_spread is not None:
        facts.append(
            (
                "bursts",
                f"one every {_seconds(report.burst_period_s)} ({1.0 / report.burst_period_s:.4g} Hz, "
                f"{report.bursts_counted} counted, alike within {report.burst_spread:.1%}); "
                f"between them the swing falls by {report.burst_depth:.1%}",
            )
        )
    elif report.pattern_cycles is not None and report.pattern_period_s is not None:
        facts.append(("pattern", f"repeats every {report.pattern_cycles} cycles, {_seconds(report.pattern_period_s)}"))
    elif report.burst_depth is not None:
        facts.append(("swing", f"rises and falls irregularly, by up to {report.burst_depth:.1%}"))
    if report.tones:
        tones = " and ".join(f"{one.frequency_hz / 1e3:.2f} kHz ({_volts(one.tank_peak_v)})" for one in report.tones)
        facts.append(("two tones", f"{tones} peak across the tank"))
    facts += [
        ("supply", f"{format_quantity(report.supply_v, 'V')}, {_pot(report.pot)}"),
        ("loop gain", f"{report.loop_gain_margin_db:.1f} dB more than needed to start"),
        ("growth", f"{report.growth_rate_per_s:.4g} /s from rest"),
        ("followed", f"for {_seconds(report.followed_s)} from switching on"),
        ("remedy", report.remedy),
    ]
    return facts


def _volts(value: float | None) -> str:
    return "-" if value is None else format_quantity(value, "V", 3)


def _seconds(value: float) -> str:
    return format_quantity(value, "s", 3)


UNSTEADY = Form("beatfield.unsteady_oscillator/1", unsteady_text)
