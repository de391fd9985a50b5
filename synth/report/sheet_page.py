"""The build and tuning sheet as one self-contained HTML page for paper, black on white."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from synth.analysis.sheet_figures import SheetFigures
from synth.analysis.sheet_parts import PartFigure
from synth.analysis.sheet_readings import CauseFigure, ReadingFigure
from synth.report.antenna import antenna_words, approach_words, surface_words
from synth.report.sheet_markup import (
    DASH,
    bullets,
    centimetres,
    grouped,
    paragraph,
    percent,
    quantity,
    reading,
    section,
    span,
    steps,
    table,
    tag,
    text,
)
from synth.report.sheet_ruler import check_bar, ruler_rows
from synth.report.sheet_steps import cautions, checks, patterns, tuning, what

if TYPE_CHECKING:
    from synth.analysis.fit_figures import Residual
    from synth.analysis.sheet_bench import BenchFigures

PAPERS = ("A4", "Letter")


Drawn = tuple[str, str]
"""A circuit diagram as SVG, and what is said of how it is laid out, if anything."""


def sheet_page(figures: SheetFigures, paper: str = "A4", diagrams: Mapping[str, Drawn] | None = None) -> str:
    """The whole page as HTML, with the circuit `diagrams` by title; the same figures give the same text.

    ValueError for an unknown paper.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper must be one of {', '.join(PAPERS)}; got {paper!r}")
    title = text(f"{figures.design}: build and tuning sheet")
    head = f'<meta charset="utf-8">\n<title>{title}</title>\n<style>\n{style(paper, figures.design_hash)}</style>'
    body = "\n".join([*_sections(figures), *_diagrams(diagrams or {})])
    return f'<!DOCTYPE html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n'


def _sections(figures: SheetFigures) -> Iterator[str]:
    yield _title(figures)
    yield section("Cautions", bullets(cautions(figures)), *_radio(figures), class_="boxed")
    yield section("Parts", *_parts(figures))
    yield section("Checks, in the order of assembly", steps(checks(figures)))
    yield section("Expected readings", *_readings(figures))
    if figures.bench is not None:
        yield section("As built", *_bench(figures.bench))
    yield section("Tuning, step by step", *_ranges(figures), steps(tuning(figures)))
    yield section("When a reading is off", *_causes(figures))
    yield section("What stands behind the figures", *_notes(figures))
    yield section("The pitch field, 1:1", *_ruler(figures), class_="ruler")


def _bench(bench: BenchFigures) -> list[str]:
    """What was read beside what the design and the fitted design say, and how to retune."""
    rows = [
        (
            str(row.line),
            _what_was_read(row),
            DASH if row.expected is None else reading(row.expected, row.unit),
            reading(row.read, row.unit),
            reading(row.fit, row.unit) if row.kept else "left out",
        )
        for row in bench.readings
    ]
    values = [
        (part.name.replace("_", " "), *(quantity(value, part.unit) for value in (part.value, part.low, part.high)))
        for part in bench.inferred
    ]
    found = [
        paragraph(f"Read on the built instrument ({bench.source}):"),
        table(("Line", "What was read", "As designed", "Read", "As fitted"), rows, (2, 3, 4)),
        table(("Inferred", "Value", "Least (95 %)", "Most"), values, (1, 2, 3)),
    ]
    found += [bullets(bench.slips)] if bench.slips else []
    return [*found, *([paragraph("Retuning:"), bullets(bench.retuning)] if bench.retuning else [])]


def _what_was_read(row: Residual) -> str:
    set_ = f", {row.setting}" if row.setting else ""
    return f"{row.oscillator}: {row.what}, {quantity(row.fitted_capacitor_f, 'F')}{set_}"


def _diagrams(diagrams: Mapping[str, Drawn]) -> Iterator[str]:
    """Each on a page of its own, across; the size that the drawing states gives way to that of the page."""
    for title, (svg, remark) in diagrams.items():
        drawing = re.sub(r' (height|width)="[^"]*pt"', "", svg[svg.index("<svg") :], count=2)
        said = [paragraph(f"The circuit is {remark}.")] if remark else []
        yield section(f"{title}: the circuit", drawing, *said, class_="diagram")


def _title(figures: SheetFigures) -> str:
    facts = [
        ("reference oscillator", reading(figures.reference_frequency_hz, "Hz")),
        ("variable, no player", reading(figures.variable_frequency_empty_hz, "Hz")),
        ("zero beat at", centimetres(figures.zero_beat_m)),
        ("notes", _note_span(figures)),
        ("pitch antenna", antenna_words(figures.antenna)),
        ("design hash", figures.design_hash),
    ]
    cells = "".join(tag("div", tag("dt", text(name)) + tag("dd", text(value))) for name, value in facts)
    words = [tag("p", "Build and tuning sheet", class_="kind"), tag("h1", tag("bdi", text(figures.design)))]
    words += [tag("p", tag("bdi", text(figures.description)))] if figures.description.strip() else []
    return tag("header", "\n".join([*words, tag("dl", cells)]))


def _note_span(figures: SheetFigures) -> str:
    notes = figures.notes
    return "none in reach" if not notes else f"{notes[0].note} to {notes[-1].note}"


def _radio(figures: SheetFigures) -> list[str]:
    rows = [
        (
            limit.oscillator,
            reading(limit.frequency_hz, "Hz"),
            f"{quantity(limit.field_v_per_m, 'V', 3)}/m",
            f"{limit.distance_m:.0f} m",
        )
        for limit in figures.limits
    ]
    return [
        paragraph(
            "As one example of such rules, the general limit of the United States, 47 CFR 15.209, from memory: 2400/f "
            "µV/m at 300 m from 9 to 490 kHz and 24000/f µV/m at 30 m from there to 1705 kHz, f in kHz. For this "
            "design (fundamentals; harmonics have limits of their own; what it radiates is not computed):"
        ),
        table(("Oscillator", "Frequency", "Field at most", "Measured at"), rows, (1, 2, 3)),
    ]


def _parts(figures: SheetFigures) -> list[str]:
    rows = grouped(
        (_heading(part.place), (part.name, _value(part), _preferred(part), _either_way(part.tolerance), ""))
        for part in figures.parts
    )
    heads = ("Part", "Design value", "Nearest preferred value", "Tolerance", "Measured")
    limits = "; ".join(f"{row.name} ±{percent(row.fraction)} ({row.origin})" for row in figures.tolerances)
    board = "" if figures.board is None else f" Built on: {figures.board}."
    return [
        table(heads, rows, (1, 3), "fill"),
        paragraph(
            "Preferred values by IEC 60063: E12 for coils, E24 for capacitors and resistors, E6 for pots. Another "
            f"value is made of two in series or parallel. Tolerances used below: {limits}.{board}",
            "small",
        ),
    ]


def _heading(place: str) -> str:
    return f"{place} oscillator" if place in ("reference", "variable", "volume") else place


def _value(part: PartFigure) -> str:
    if part.highest is None:
        return quantity(part.value, part.unit)
    return f"{quantity(part.value, part.unit)} to {quantity(part.highest, part.unit)}"


def _preferred(part: PartFigure) -> str:
    if part.preferred is None or part.off_preferred is None:
        return "adjustable"
    if part.off_preferred == 0.0:
        return f"same ({part.series})"
    return f"{quantity(part.preferred, part.unit)} ({part.series}), {percent(part.off_preferred, 2, True)}"


def _either_way(fraction: float | None) -> str:
    return DASH if fraction is None else f"±{percent(fraction)}"


def _readings(figures: SheetFigures) -> list[str]:
    rows = grouped(
        (
            what(row),
            (
                row.code,
                row.point,
                reading(row.expected, row.unit),
                span(row.low, row.high, row.unit),
                span(row.worst_low, row.worst_high, row.unit),
                "",
            ),
        )
        for row in figures.readings
    )
    heads = ("No.", "Point", "Expected", "Allowed", "All at worst", "Read")
    return [
        table(heads, rows, (2, 3, 4), "fill"),
        *(paragraph(f"{row.code}, {row.name}: not solved: {row.why}") for row in figures.unsolved),
        paragraph(
            "Allowed: root sum of squares of the tolerances above, before trimming. Outside of it look for a cause; "
            "outside “all at worst” tolerances alone cannot explain it. To first order.",
            "small",
        ),
    ]


def _ranges(figures: SheetFigures) -> list[str]:
    def at(frequency: float | None) -> str:
        return DASH if frequency is None else reading(frequency, "Hz")

    rows = [
        (row.oscillator, at(row.out_hz), at(row.middle_hz), at(row.in_hz), at(row.set_hz), percent(row.setting, 3), "")
        for row in figures.trimmers
    ]
    heads = ("Trimmer", "All out (least pF)", "Middle", "All in (most pF)", "Set to", "Turned in", "Read")
    if rows:
        return [table(heads, rows, (1, 2, 3, 4, 5), "fill")]
    return [paragraph("This design has no trimmers.")]


def _causes(figures: SheetFigures) -> list[str]:
    expected = {row.code: row for row in figures.readings}
    rows = grouped(
        (
            _low_by(expected[cause.code]),
            (cause.part, _amount(cause), DASH if cause.tolerances is None else f"{cause.tolerances:.1f}"),
        )
        for cause in figures.causes
    )
    heads = ("Points to", "Which is off by", "Times its tolerance")
    return [
        paragraph(
            "One of these changes alone explains a reading 1 % low; likeliest first: the part that must be off by "
            "the fewest of its own tolerances. A reading 1 % high: the opposite sign. Twice as far off: about "
            "twice the change."
        ),
        table(heads, rows, (1, 2), "causes"),
        bullets(patterns(figures)),
    ]


def _low_by(row: ReadingFigure) -> str:
    less, by = "1 % nearer zero" if row.expected < 0.0 else "1 % low", quantity(0.01 * abs(row.expected), row.unit, 3)
    return f"{row.code}, {row.point} of the {row.oscillator} oscillator, {less}: by {by}"


def _amount(cause: CauseFigure) -> str:
    if cause.kind in ("stray", "antenna_stray", "junction"):
        sign = "more" if cause.amount > 0.0 else "less"
        return f"{quantity(abs(cause.amount), cause.unit, 2)} {sign} than assumed"
    if cause.kind == "gain":
        return percent(cause.change, 2, True)
    amount = quantity(cause.amount, cause.unit, 2)
    return f"{percent(cause.change, 2, True)} ({amount if amount[0] == chr(0x2212) else '+' + amount})"


def _ruler(figures: SheetFigures) -> list[str]:
    check = tag("div", paragraph("Print at 100 %. Check: this bar is 100 mm.", "strong") + check_bar(), class_="row")
    rows = ruler_rows(figures)
    if not rows:
        return [check, paragraph("The field is silent at every hand distance: there is nothing to mark.")]
    earth = (
        "bonded to earth"
        if figures.body_capacitance_f is None
        else (f"{quantity(figures.body_capacitance_f, 'F')} to earth")
    )
    how = (
        "Cut along the dashed lines and glue the rows one after the other. Put 0 at "
        f"{surface_words(figures.antenna)} and measure to the nearest skin: {figures.posture} hand, "
        f"{approach_words(figures.antenna)}, player {earth}, {centimetres(figures.stand_distance_m)} "
        "from the antenna. Long marks are C; short ones are sharps; marks closer than 0.45 mm are left out."
    )
    return [check, paragraph(how), *(tag("div", row, class_="row") for row in rows)]


def _notes(figures: SheetFigures) -> list[str]:
    ways = "as circuits with all their parts" if figures.law == "circuit" else "by their resonance, without loss"
    found = [
        f"Oscillators are solved {ways}; the antenna's capacitance by boundary elements. Bands are first order, parts "
        "independent, without counter and meter errors, ageing and temperature.",
        *figures.notices,
    ]
    return [bullets(found)]


_STYLE = """\
@page {
  size: PAPER portrait;
  margin: 13mm 14mm 15mm 14mm;
  @bottom-left { content: "Build and tuning sheet HASH"; font: 7pt "DejaVu Sans", sans-serif; }
  @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 7pt "DejaVu Sans", sans-serif; }
}
@page circuit { size: PAPER landscape; }
.diagram { page: circuit; break-before: page; }
.diagram svg { width: 100%; height: auto; max-height: 158mm; }
@media print { .diagram { width: 250mm; margin-left: calc((100% - 250mm) / 2); } }
* { box-sizing: border-box; }
html { background: #fff; color: #000; }
body { margin: 0 auto; max-width: 180mm; font: 8.5pt/1.4 "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 20pt; line-height: 1.15; margin: 0 0 1.5mm; }
h2 { font-size: 11.5pt; margin: 0 0 2mm; padding-top: 1mm; border-top: 0.5mm solid #000; break-after: avoid; }
p { margin: 0 0 2mm; orphans: 3; widows: 3; }
header { margin-bottom: 5mm; }
section { margin: 0 0 6mm; }
.kind { margin: 0; font-size: 8pt; letter-spacing: 0.08em; text-transform: uppercase; }
.small { font-size: 7.5pt; margin-top: 1.5mm; }
.strong { font-weight: bold; }
dl { display: grid; grid-template-columns: repeat(3, 1fr); gap: 1.5mm 4mm; margin: 3mm 0 0; }
dt { font-size: 7pt; }
dd { margin: 0; font-weight: bold; }
dl div, li, tr, .row, svg, thead { break-inside: avoid; }
ul, ol { margin: 0 0 2mm; padding-left: 5mm; }
li { margin-bottom: 1mm; }
ol.steps { padding-left: 6.5mm; }
.box { display: inline-block; width: 2.8mm; height: 2.8mm; border: 0.25mm solid #000; margin: 0 2mm -0.3mm 0.5mm; }
table { width: 100%; border-collapse: collapse; margin: 0 0 2.5mm; font-size: 7.5pt; line-height: 1.3; }
th, td { text-align: left; vertical-align: top; padding: 0.9mm 1.2mm; border-bottom: 0.15mm solid #000; }
th { font-weight: bold; border-bottom: 0.4mm solid #000; vertical-align: bottom; }
td { overflow-wrap: break-word; }
.number { text-align: right; font-variant-numeric: tabular-nums; }
table.fill tr:not(.group) > :last-child { width: 18mm; border-left: 0.15mm solid #000; }
tr.group { break-after: avoid; }
tr.group th { border-bottom-width: 0.15mm; padding-top: 2mm; }
th:first-child, td:first-child { padding-left: 0; }
.boxed th:first-child, .boxed td:first-child { padding-left: 0.5mm; }
.number, th { overflow-wrap: normal; white-space: nowrap; }
tr.group th { white-space: normal; }
.boxed { border: 0.4mm solid #000; padding: 2.5mm 3mm 1mm; break-inside: avoid; }
.boxed h2 { border-top: 0; padding-top: 0; }
.ruler { break-before: page; }
.row { margin: 0 0 4mm; }
svg { display: block; overflow: visible; font-family: "DejaVu Sans", sans-serif; }
@media screen { body { padding: 8mm; max-width: 196mm; } }
"""


def style(paper: str, design_hash: str) -> str:
    """The style sheet for "A4" or "Letter"; `design_hash`, hexadecimal digits, stands at the foot of every page."""
    if not design_hash.isalnum():
        raise ValueError(f"design_hash must be letters and digits; got {design_hash!r}")
    return _STYLE.replace("PAPER", paper).replace("HASH", design_hash)
