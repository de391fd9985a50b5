"""A planned design: what was done for it, what it does at its corners and in builds, and what limits it."""

from __future__ import annotations

from synth.analysis.plan_figures import PlanFigures
from synth.report.linearise import corner_lines
from synth.report.written import Form, finished


def plan_text(report: PlanFigures) -> str:
    """The report for a person."""
    lines = [
        f"{report.design}: notes {report.low_hz:.1f} to {report.high_hz:.1f} Hz within {100 * report.near_m:.1f} to "
        f"{100 * report.far_m:.1f} cm; circuit {report.circuit}, {report.supply_v:g} V, {report.board}",
        "",
        report.parts,
        *(f"- {step}" for step in report.steps),
        "",
        f"{'reference':<32}{1e-3 * report.carrier_hz:>10.3f} kHz",
        f"{'zero beat':<32}{_cm(report.zero_beat_m):>14}",
        f"{'highest and lowest note at':<32}{_cm(report.highest_note_m):>14}{_cm(report.lowest_note_m):>10}",
        f"{'cents RMS from a straight line':<32}{_number(report.rms_cents):>10}",
        f"{'the same over builds, mean':<32}{_number(report.builds_mean_cents):>10}",
        f"{'builds that reach zero beat':<32}{100 * report.builds_reached:>10.1f} %",
        "",
        *([*corner_lines(report.corners), ""] if report.corners else []),
        "What limits it:",
        *(f"- {limit}" for limit in report.limits),
        *(["- nothing that was looked at"] if not report.limits else []),
    ]
    return finished(lines, report.notices)


def _cm(distance: float | None) -> str:
    return "-" if distance is None else f"{100.0 * distance:.1f} cm"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


PLAN = Form("beatfield.plan/1", plan_text)
