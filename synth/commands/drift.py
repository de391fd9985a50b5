"""`beatfield drift DESIGN`: what temperature and warm-up do to a tuned design, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_design
from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser, "; its section [temperature] counts here")
    parser.add_argument(
        "--from", dest="first", metavar="DEGC", default="15", help="temperature at which it is tuned (default 15 degC)"
    )
    parser.add_argument(
        "--to", dest="last", metavar="DEGC", default="35", help="temperature at which it is read (default 35 degC)"
    )
    parser.add_argument("--notes", metavar="NOTES", help="notes to follow, such as C3,A4 (default: the Cs in reach)")
    parser.add_argument(
        "--hold", metavar="HZ", default="1 Hz", help="zero beat counts as held within this (default 1 Hz)"
    )
    parser.add_argument(
        "--hold-cents", metavar="CENTS", default="5", help="a note counts as held within so many cents (default 5)"
    )
    add_output_options(parser, "the drift against temperature")


def run(arguments: Namespace) -> int:
    """Follow the design through temperature and write the reports asked for."""
    from models.pitch import parse_note
    from synth.analysis.drift import LARGEST_TEMPERATURE, SMALLEST_TEMPERATURE, drift_figures
    from synth.build.workbench import open_design
    from synth.commands.options import within
    from synth.errors import DesignError
    from synth.progress_line import ProgressLine
    from synth.report.drift import DRIFT

    ends = SMALLEST_TEMPERATURE, LARGEST_TEMPERATURE
    first, last = (
        within(option, text, "degC", *ends, bare=True)
        for option, text in (("--from", arguments.first), ("--to", arguments.last))
    )
    if first == last:
        raise DesignError(f"--to {arguments.last}: is the temperature it is tuned at; write another one")
    hertz = within("--hold", arguments.hold, "Hz", 0.001, 1e4, bare=True)
    limit_cents = within("--hold-cents", arguments.hold_cents, "ratio", 0.01, 1200.0)
    try:
        notes = None if arguments.notes is None else tuple(parse_note(name) for name in arguments.notes.split(","))
    except ValueError as error:
        raise DesignError(f"--notes {arguments.notes}: {error}") from None
    opened = open_design(arguments.design)
    with ProgressLine("following the temperature"):
        figures = drift_figures(opened, first, last, notes, hertz, limit_cents)
    DRIFT.write(arguments, figures)
    return 0
