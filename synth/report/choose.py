"""Choices of tank values: text, CSV, JSON, and a plot of what each trimmer covers, as marked and in every build."""

from __future__ import annotations

from synth.analysis.choose_figures import ChoiceRow, ChooseFigures
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, INK, ORANGE, VERMILLION, Band, Layout, draw_bands, saved_figure
from synth.report.written import Form, columns_of, finished, rows_csv

MOST = 12  # choices drawn, the best first
STYLES = (
    {"color": BLUE, "linewidth": 2.0, "label": "covers, all parts as marked"},
    {"color": ORANGE, "linewidth": 7.0, "solid_capstyle": "butt", "label": "in every build"},
)


def save_choose_plot(report: ChooseFigures, path: str, force: bool) -> None:
    """Draw the range of every choice of `report` into `path` (.png or .svg)."""
    rows = report.choices[:MOST]
    with saved_figure(path, force, Layout((1.0,), (8.0, 1.8 + 0.42 * len(rows)))) as (figure, (axes,)):
        marked = [(row.lowest_hz / 1e3, row.highest_hz / 1e3) for row in rows]
        draw_bands(axes, list(zip(marked, map(_sure, rows), strict=True)), STYLES)
        axes.axvline(report.target_hz / 1e3, color=VERMILLION, linewidth=1.0, linestyle="--", label="target")
        axes.set_yticks(range(len(rows)), [_name(row) for row in rows])
        axes.set_xlabel("frequency (kHz)")
        axes.set_title(f"{report.which.capitalize()} oscillator of {report.design}", loc="left", color=INK)
        figure.legend(*axes.get_legend_handles_labels(), loc="outside lower center", ncols=3, fontsize=9)


def _sure(row: ChoiceRow) -> Band | None:
    """What a choice covers in every build, kHz."""
    if row.sure_lowest_hz is None or row.sure_highest_hz is None:
        return None
    return row.sure_lowest_hz / 1e3, row.sure_highest_hz / 1e3


def _name(row: ChoiceRow) -> str:
    trimmer = f"{row.trimmer_minimum_f * 1e12:.3g}-{row.trimmer_maximum_f * 1e12:.3g} pF"
    return f"{format_quantity(row.inductance_h, 'H')}, {format_quantity(row.capacitance_f, 'F')}, {trimmer}"


_SHOWN = 8  # rows of the text; JSON and CSV hold all


def choose_text(report: ChooseFigures) -> str:
    """The report for people."""
    spread = f"{format_quantity(report.stray_least_f, 'F')} to {format_quantity(report.stray_most_f, 'F')}"
    lines = [
        f"{report.which.capitalize()} oscillator of {report.design} on {report.target_hz / 1e3:.3f} kHz",
        f"worst case of inductor {_percent(report.inductor_tolerance)}, "
        f"capacitor {_percent(report.capacitor_tolerance)}, "
        f"trimmer {_percent(report.trimmer_tolerance)}, all else across the tank {spread}",
        "",
    ]
    lines += [] if report.reached else ["no choice reaches it in every build; nearest:"]
    lines += [
        f"{'inductor':>10}{'capacitor':>11}{'trimmer':>18}{'at':>6}{'covers':>22}{'in every build':>22}{'to spare':>18}"
    ]
    lines += [_line(row) for row in report.choices[:_SHOWN]]
    lines += ["to spare: what the trimmer has left in the worst build, at its lower end and at its upper end"]
    hidden = len(report.choices) - _SHOWN
    lines += [f"and {hidden} more (--csv or --json)"] if hidden > 0 else []
    if not report.reached:
        best = report.choices[0]
        short = -min(best.margin_low_f, best.margin_high_f)
        lines += [
            f"the best lacks {format_quantity(short, 'F', digits=3)} of trimmer; take tighter parts, a finer "
            "series, trimmers with a smaller minimum, or another inductor (--inductors)"
        ]
    return finished(lines, report.notices)


def _line(row: ChoiceRow) -> str:
    trimmer = f"{row.trimmer_minimum_f * 1e12:.3g}-{row.trimmer_maximum_f * 1e12:.3g} pF"
    covers = f"{row.lowest_hz / 1e3:.2f}-{row.highest_hz / 1e3:.2f} kHz"
    found = _sure(row)
    sure = "nothing" if found is None else f"{found[0]:.2f}-{found[1]:.2f} kHz"
    spare = f"{row.margin_low_f * 1e12:.1f}, {row.margin_high_f * 1e12:.1f} pF"
    return (
        f"{format_quantity(row.inductance_h, 'H'):>10}{format_quantity(row.capacitance_f, 'F'):>11}{trimmer:>18}"
        f"{row.setting:>6.2f}{covers:>22}{sure:>22}{spare:>18}"
    )


def _percent(ratio: float) -> str:
    return f"+-{100.0 * ratio:g} %"


COLUMNS = columns_of(ChoiceRow)
CHOOSE = Form(
    "beatfield.choose/1", choose_text, lambda made: rows_csv(COLUMNS, made.choices, exact=True), save_choose_plot
)
