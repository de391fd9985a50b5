"""A drawn mixer: what it does in a line or two of a report, and its own report as text and JSON."""

from __future__ import annotations

from synth.analysis.mixer_figures import MixerFigures, StageFigures
from synth.designs.quantity import format_quantity
from synth.report.written import Form, finished


def mixer_facts(mixer: MixerFigures | None) -> list[tuple[str, str]]:
    """The lines of a report on a design's mixer; none without one."""
    if mixer is None:
        return []
    loads = ", ".join(
        f"{one.oscillator} {_three(one.resistance_ohm, 'ohm')} with {_three(one.capacitance_f, 'F')} "
        f"({one.shift_hz:+.3g} Hz)"
        for one in mixer.loads
    )
    facts = [("mixer's load", loads)]
    if mixer.notes:
        told = ", ".join(f"{one.note} {_three(one.level_v, 'V')}" for one in mixer.notes)
        facts.append(("tone, peak", told))
    return facts


def stage_text(report: StageFigures) -> str:
    """The report on the stage as text; the same figures as its document."""
    mixer = report.mixer
    facts = [
        ("design", f"{report.design} ({report.design_hash})"),
        ("stage", "mixer"),
        ("radio frequency", f"{mixer.radio_hz / 1e3:.3f} kHz"),
        ("supply", f"{_three(report.supply_v, 'V')}, {_three(report.supply_current_a, 'A')}"),
        *mixer_facts(mixer),
        ("follows the beat", f"within 1 % up to {_three(mixer.quasi_static_up_to_hz, 'Hz')}"),
    ]
    lines = [f"{name:<20}{value}" for name, value in facts]
    lines += ["", f"{'test point':<22}{'DC':>11}{'with the beat':>17}{'radio, at most':>17}   (peak to peak)"]
    lines += [
        f"{one.name:<22}{one.dc_v:>z9.3f} V{_three(one.tone_v, 'V'):>17}{_three(one.radio_v, 'V'):>17}"
        for one in report.points
    ]
    lines += [f"with a beat of {report.beat_hz:.4g} Hz"]
    lines += ["", f"{'note':<6}{'frequency':>14}{'tone, peak':>14}   harmonics 2, 3, ... over its fundamental"]
    lines += [
        f"{one.note:<6}{one.frequency_hz:>11.2f} Hz{_three(one.level_v, 'V'):>14}   "
        + ", ".join(f"{level:.1f}" for level in one.harmonics_db)
        + " dB"
        for one in mixer.notes
    ]
    return finished(lines, report.notices)


def _three(value: float, unit: str) -> str:
    return format_quantity(value, unit, 3)


STAGE = Form("beatfield.mixer/1", stage_text)
