"""`beatfield sheet DESIGN`: the printable build and tuning sheet as HTML, its figures as JSON."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from synth.commands.options import add_design
from synth.commands.outputs import Printed, Written, add_force_option, add_plot_option

if TYPE_CHECKING:
    from contextlib import ExitStack

    from synth.analysis.readings import Readings
    from synth.analysis.sheet_figures import SheetFigures
    from synth.build.workbench import OpenedDesign


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    parser.add_argument(
        "-o", "--output", metavar="FILE", action=Written, or_stdout=True, help="write the sheet as HTML (- for stdout)"
    )
    parser.add_argument(
        "--readings",
        metavar="READINGS.csv",
        help="readings of the built one, as for beatfield fit: printed beside what was expected, with how to retune",
    )
    parser.add_argument(
        "--which",
        choices=("reference", "variable"),
        help="oscillator of lines that name none (default: variable if an antenna was plugged, else reference)",
    )
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="the paper to print on (default: A4)")
    parser.add_argument("--json", action=Printed, help="print the sheet's figures as JSON")
    parser.add_argument(
        "--csv",
        metavar="FILE",
        action=Written,
        or_stdout=True,
        help="write the expected readings as CSV (- for stdout)",
    )
    add_plot_option(parser, "expected frequencies with their bands")
    parser.add_argument("--text", action=Printed, help="print the expected readings as text")
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Collect the figures and write what is asked for."""
    from contextlib import ExitStack

    with ExitStack() as stack:  # ends what draws beside
        return _written(arguments, stack)


def _written(arguments: Namespace, stack: ExitStack) -> int:
    import sys
    from functools import cache
    from pathlib import Path

    from synth.analysis.circuit_diagram import pair_diagrams
    from synth.analysis.field_figures import FieldFigures, field_figures
    from synth.analysis.sheet_figures import sheet_figures
    from synth.beside import Beside
    from synth.build.workbench import open_loaded, say
    from synth.designs.design_file import load_design
    from synth.errors import DesignError
    from synth.progress_line import ProgressLine
    from synth.report.diagram import diagrams_as_svg
    from synth.report.sheet_page import Drawn, sheet_page
    from synth.report.sheet_table import SHEET, readings_csv, save_sheet_plot
    from synth.report.written import print_json, write_text
    from synth.terminal import shown

    target: str | None = arguments.output
    if target is None and not (arguments.json or arguments.csv or arguments.plot or arguments.text):
        raise DesignError(
            "name a file for the sheet with -o sheet.html, or ask for its figures with --text, --json, --csv or --plot"
        )
    if arguments.which and not arguments.readings:
        raise DesignError("--which says what the readings are of; add --readings READINGS.csv")
    readings = _readings(arguments)
    opened = open_loaded(load_design(Path(arguments.design)))
    circuits = opened.design.circuit is not None
    pictures = pair_diagrams(opened) if target is not None and circuits else {}

    def field_and_diagrams() -> tuple[FieldFigures, dict[str, Drawn]]:
        return field_figures(opened), diagrams_as_svg(pictures) if pictures else {}

    # without circuits it is done before a second process has begun
    both = cache(stack.enter_context(Beside(field_and_diagrams, here=not circuits)).worked)
    with ProgressLine("solving for the sheet") as line:
        figures = sheet_figures(opened, line, lambda: both()[0])
    if readings is not None:
        figures = _with_bench(figures, opened, readings, arguments)
    if target is not None:
        write_text(sheet_page(figures, arguments.paper, both()[1]), target, arguments.force)
        if target != "-":
            say(f"wrote {target}; open it in a browser and print it at 100 %")
    if arguments.csv:
        write_text(readings_csv(figures), arguments.csv, arguments.force)
    if arguments.plot:
        save_sheet_plot(figures, arguments.plot, arguments.force)
        say(f"wrote {arguments.plot}")
    if arguments.text:
        sys.stdout.write(shown(SHEET.text(figures), sys.stdout))
    if arguments.json:
        print_json(SHEET.document(figures))
    return 0


def _readings(arguments: Namespace) -> Readings | None:
    """What was read on the built one, where that is given."""
    from pathlib import Path

    if arguments.readings is None:
        return None
    from synth.analysis.readings import load_readings

    return load_readings(Path(arguments.readings))


def _with_bench(figures: SheetFigures, opened: OpenedDesign, readings: Readings, arguments: Namespace) -> SheetFigures:
    """The figures with what was read, and how to retune."""
    from dataclasses import replace
    from pathlib import Path

    from synth.analysis.fit_design import fitted_design
    from synth.analysis.fit_slips import refuse_contradictions
    from synth.analysis.fit_unknowns import Errors
    from synth.analysis.fitting import solved_bench
    from synth.analysis.sheet_bench import bench_figures
    from synth.files.plain_text import one_line
    from synth.progress_line import ProgressLine

    with ProgressLine("fitting the readings"):
        bench = solved_bench(readings, Errors(), {}, opened.design, arguments.which)
        refuse_contradictions(bench)
    source, built = one_line(Path(arguments.readings).name), fitted_design(bench, None)
    return replace(figures, bench=bench_figures(bench, source, built.design))
