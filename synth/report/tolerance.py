"""What tolerances do to a design: text, CSV, JSON and plot of trimmer settings, notes and the parts behind them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.builds.tuned_builds import OUTCOMES
from models.pitch import note_name, note_number
from models.pitch_field import LOWEST_AUDIBLE
from synth.analysis.tolerance_figures import SELECTION_SERIES, ToleranceFigures, VaryingPart
from synth.designs.quantity import format_quantity
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, legend_above, saved_figure
from synth.report.written import Form, finished, numbers_csv

BINS = 60
AT_ONCE = 20_000  # builds in one piece of the CSV
MOST_PARTS = 8
WIDEST = 42  # letters of a part's name in the text
LEAST_SHARE = 5e-4  # of a spread, that a part in the text holds


def save_tolerance_plot(report: ToleranceFigures, path: str, force: bool) -> None:
    """Draw the report into `path` (.png or .svg)."""
    layout = Layout((1.0, 1.0, 1.35), (8.0, 9.0), share_x=False)
    with saved_figure(path, force, layout) as (figure, (trimmer, notes, parts)):
        figure.suptitle(f"{report.design}: {report.builds} builds", x=0.02, ha="left", color=INK, fontsize=11)
        _draw_trimmer(trimmer, report)
        _draw_notes(notes, report)
        _draw_parts(parts, report)


def _draw_trimmer(axes: Axes, report: ToleranceFigures) -> None:
    setting = report.runs.trimmer_setting
    low, high = min(-0.1, float(setting.min())), max(1.1, float(setting.max()))
    step = 1.0 / max(2, round(BINS / (high - low)))  # so that a bin ends at 0 and at 1
    edges = (step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)).tolist()
    inside = (setting >= 0.0) & (setting <= 1.0)
    label = f"reach zero beat, {100.0 * report.zero_beat_reached.share:.1f} %"
    axes.hist(setting[inside], edges, color=BLUE, label=label)
    if not inside.all():
        axes.hist(
            setting[~inside],
            edges,
            color=VERMILLION,
            hatch="////",
            edgecolor="white",
            linewidth=0.0,
            label="trimmer at its end",
        )
    for end in (0.0, 1.0):
        axes.axvline(end, color=QUIET, linewidth=1.0, linestyle=":")
    axes.set_xlim(edges[0], edges[-1])
    axes.set_xlabel("setting of the reference's trimmer that zero beat needs (0 = out, 1 = in)")
    axes.set_ylabel("builds")
    legend_above(axes)


def _draw_notes(axes: Axes, report: ToleranceFigures) -> None:
    reached = report.runs.reached
    drawn = False
    for name, colour, words in (
        ("lowest", ORANGE, f"hand at {100.0 * report.farthest_m:g} cm"),
        ("highest", GREEN, f"hand at {100.0 * report.nearest_m:g} cm"),
    ):
        frequency = getattr(report.runs, name)[reached]
        number = note_number(frequency[~np.isnan(frequency)])
        if number.size:
            edges = np.arange(np.floor(number.min()) - 0.5, np.ceil(number.max()) + 1.0).tolist()
            axes.hist(number, edges, color=colour, label=words)
            drawn = True
    if not drawn:
        axes.text(0.5, 0.5, "no build sounds", transform=axes.transAxes, ha="center", color=VERMILLION)
        return
    low, high = axes.get_xlim()
    ticks = np.arange(12.0 * np.floor(low / 12.0), high + 12.0, 12.0)
    axes.set_xticks(ticks, [note_name(round(tick)) for tick in ticks])
    axes.set_xlim(low, high)
    axes.set_xlabel("note, of the builds that reach zero beat")
    axes.set_ylabel("builds")
    legend_above(axes)


def _draw_parts(axes: Axes, report: ToleranceFigures) -> None:
    """Shares of the variance, the strongest parts on top."""
    held = {
        name: {hold.part: hold.share for hold in report.outcome(name).held_by}
        for name in ("trimmer_setting", "highest", "unevenness")
    }
    ranked = sorted(
        (part.part for part in report.parts), key=lambda part: -max(shares.get(part, 0.0) for shares in held.values())
    )[:MOST_PARTS]
    labels = {"trimmer_setting": "trimmer setting", "highest": "highest note", "unevenness": "unevenness"}
    places = np.arange(len(ranked))[::-1]
    for index, (name, colour) in enumerate(zip(held, (BLUE, GREEN, QUIET), strict=True)):
        shares = [100.0 * held[name].get(part, 0.0) for part in ranked]
        axes.barh(places + 0.27 * (1 - index), shares, height=0.25, color=colour, label=labels[name])
    axes.set_yticks(places, ranked)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("share of the spread (variance), %")
    axes.grid(axis="x", which="major")
    axes.set_axisbelow(True)
    axes.legend(loc="lower right", fontsize=9)


LABELS = {
    "reference_frequency": "reference, as set",
    "variable_frequency": "variable, at zero beat",
    "trimmer_setting": "trimmer for zero beat",
    "zero_beat_distance": "zero beat",
    "lowest": "lowest note",
    "highest": "highest note",
    "unevenness": "unevenness",
}


def tolerance_text(report: ToleranceFigures) -> str:
    """The report for a person."""
    cut = "" if report.builds == report.builds_asked else f" (of {report.builds_asked}: interrupted)"
    reached = report.zero_beat_reached
    lines = [
        f"{'design':<22}{report.design} ({report.design_hash})",
        f"{'builds':<22}{report.builds}{cut}, seed {report.seed}",
        f"{'notes read at':<22}{_cm(report.farthest_m)} (lowest, told from {LOWEST_AUDIBLE:g} Hz on) and "
        f"{_cm(report.nearest_m)} (highest); evenness over "
        f"{report.even_from_hz:.1f} to {report.even_to_hz:.1f} Hz",
        "",
        f"the trimmers reach zero beat in {_percent(reached.share)} of builds "
        f"(95 %: {_percent(reached.low)} to {_percent(reached.high)})",
        *_both_line(report),
        "",
        f"{'':<28}{'as written':>12}{'5 %':>12}{'median':>12}{'95 %':>12}{'worst case':>26}{'+- RSS':>12}",
    ]
    for figure in report.outcomes:
        if figure.outcome == "zero_beat_distance":
            continue  # tuned: it is where it is wanted
        cells = [_cell(figure.outcome, value) for value in (figure.nominal, figure.p05, figure.median, figure.p95)]
        worst = f"{_cell(figure.outcome, figure.worst_low)} to {_cell(figure.outcome, figure.worst_high)}"
        worst = "-" if figure.worst_low is None else worst
        rss = _cell(figure.outcome, figure.rss)
        name = LABELS[figure.outcome] + _unit_text(figure.outcome)
        lines.append(f"{name:<28}" + "".join(f"{cell:>12}" for cell in cells) + f"{worst:>26}{rss:>12}")
    lines += [
        "",
        "5 %, median, 95 %: of the random builds; below the trimmer, of those that reach zero beat.",
        "worst case, RSS: brought to zero beat even where that takes more than the trimmer.",
        "",
    ]
    lines += [
        f"{'part':<{WIDEST}}{'limit':>8}{'':>3}share of the spread of",
        f"{'':<{WIDEST + 11}}{'trimmer':>9}{'lowest':>9}{'highest':>9}{'uneven.':>9}",
    ]
    ranked = _ranked(report)
    held = [part for part in ranked if max(_shares(report, part)) >= LEAST_SHARE]
    lines += [_part_line(report, part) for part in held]
    if len(held) < len(ranked):
        lines += [f"and {len(ranked) - len(held)} more that hold less than {_percent(LEAST_SHARE)} of each (--json)"]
    lines += _goal_lines(report) + _tighter_lines(report)
    return finished(lines, report.notices)


def _both_line(report: ToleranceFigures) -> list[str]:
    """What of that the reference's trimmer does alone, and what an exchanged capacitor adds."""
    both = report.zero_beat_by_both
    alone = "(the reference's trimmer alone, the variable's as set"
    selected = _percent(report.zero_beat_by_selection.share)
    return [
        f"{alone})" if both is None else f"{alone}; both turned: {_percent(both.share)})",
        f"(with the reference's fixed capacitor selected on test, {SELECTION_SERIES}: {selected})",
    ]


def _ranked(report: ToleranceFigures) -> list[VaryingPart]:
    """The parts, those that move the trimmer most first."""
    return sorted(report.parts, key=lambda part: -_share(report, "trimmer_setting", part.part))


def _share(report: ToleranceFigures, outcome: str, part: str) -> float:
    return next((held.share for held in report.outcome(outcome).held_by if held.part == part), 0.0)


def _part_line(report: ToleranceFigures, part: VaryingPart) -> str:
    cells = "".join(f"{100.0 * share:>7.1f} %" for share in _shares(report, part))
    limit = f"{part.limit * part.nominal:.3g} K" if part.quantity == "temperature" else f"{100.0 * part.limit:.3g} %"
    return f"{part.part:<{WIDEST}}{limit:>8}{'':>3}{cells}"


def _shares(report: ToleranceFigures, part: VaryingPart) -> list[float]:
    """What a part holds of the spread of the trimmer, the lowest and the highest note and the unevenness."""
    return [_share(report, name, part.part) for name in ("trimmer_setting", "lowest", "highest", "unevenness")]


def _goal_lines(report: ToleranceFigures) -> list[str]:
    if not report.goals:
        return ["", "no goals are stated; write what builds must do into [goals]"]
    lines = [""]
    for goal in report.goals:
        asked = "" if goal.asked is None else f"; {_percent(goal.asked)} asked for: {'met' if goal.met else 'MISSED'}"
        lines.append(f"goal: {goal.goal}: {_percent(goal.share)} of builds{asked}")
    return lines


def _tighter_lines(report: ToleranceFigures) -> list[str]:
    base = report.tighter_base
    if base is None:
        return []
    best = report.tighter[0]
    gain = best.good_share - base.good_share
    head = f"buy tighter: {best.part} to {format_quantity(best.limit, 'percent')} gains most"
    if gain <= 0.0:
        head = "buy tighter: no single part at half its limit gains anything"
    goals = f"{'meet every goal':>17}" if report.goals else ""
    lines = ["", head, f"{'at half its limit':<{WIDEST + 6}}{'reach zero beat':>17}{goals}"]
    for choice in (base, *report.tighter):
        name = choice.part if choice is base else f"{choice.part} {format_quantity(choice.limit, 'percent')}"
        good = f"{_percent(choice.good_share):>17}" if report.goals else ""
        lines.append(f"{name:<{WIDEST + 6}}{_percent(choice.zero_beat_share):>17}{good}")
    if report.tighter_builds < report.builds:
        lines.append(f"(of the first {report.tighter_builds} builds)")
    return lines


def _unit_text(outcome: str) -> str:
    return {"unevenness": ", cents", "trimmer_setting": "", "lowest": ", Hz", "highest": ", Hz"}.get(outcome, ", kHz")


def _cell(outcome: str, value: float | None) -> str:
    if value is None:
        return "-"
    if outcome.endswith("frequency"):
        return f"{value / 1e3:.3f}"
    return f"{value:.3f}" if outcome == "trimmer_setting" else f"{value:.1f}"


def _cm(distance: float) -> str:
    return f"{100.0 * distance:g} cm"


def _percent(share: float) -> str:
    return f"{100.0 * share:.2f} %"


def _builds_csv(report: ToleranceFigures) -> Iterator[str]:
    """One line for each build, in pieces of AT_ONCE; an empty cell where there is no such thing."""
    for start in range(0, len(report.runs), AT_ONCE):
        columns = [getattr(report.runs, name)[start : start + AT_ONCE].tolist() for name in OUTCOMES]
        text = numbers_csv(
            ["build", *OUTCOMES], zip(range(start + 1, start + 1 + len(columns[0])), *columns, strict=True)
        )
        yield text if start == 0 else text.partition("\n")[2]


TOLERANCE = Form("beatfield.tolerance/1", tolerance_text, _builds_csv, save_tolerance_plot)
