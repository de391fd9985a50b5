"""`beatfield drift DESIGN`: what temperature and warm-up do to a tuned design, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML); see [temperature] in it")
    parser.add_argument("--from", dest="first", metavar="DEGC", default="15", help="tuned at (default 15 degC)")
    parser.add_argument("--to", dest="last", metavar="DEGC", default="35", help="read at (default 35 degC)")
    parser.add_argument("--notes", metavar="NOTES", help="notes to follow, e.g. C3,A4 (default: the Cs in reach)")
    parser.add_argument("--hold", metavar="HZ", default="1 Hz", help="the zero beat holds within this (default 1 Hz)")
    parser.add_argument("--hold-cents", metavar="CENTS", default="5", help="a note holds within this (default 5)")
    add_output_options(parser, "the drift against temperature")


def run(arguments: Namespace) -> int:
    """Follow the design through temperature and write the reports asked for."""
    import math

    from models.pitch import parse_note
    from synth.analysis.drift import LARGEST_TEMPERATURE, SMALLEST_TEMPERATURE, drift_figures
    from synth.build.workbench import open_design
    from synth.commands.options import value
    from synth.errors import DesignError
    from synth.progress_line import ProgressLine
    from synth.report.drift import DRIFT

    def within(option: str, text: str, unit: str, low: float, high: float) -> float:
        number = value(option, text if any(letter.isalpha() for letter in text) else f"{text} {unit}", unit)
        if not low <= number <= high:
            raise DesignError(f"{option} {text}: must be between {low:g} and {high:g} {unit}")
        return number

    ends = SMALLEST_TEMPERATURE, LARGEST_TEMPERATURE
    first, last = within("--from", arguments.first, "degC", *ends), within("--to", arguments.last, "degC", *ends)
    if first == last:
        raise DesignError(f"--to {arguments.last}: is the temperature it is tuned at; write another one")
    hertz = within("--hold", arguments.hold, "Hz", 0.001, 1e4)
    try:
        limit_cents = float(arguments.hold_cents)
    except ValueError:
        limit_cents = math.nan
    if not 0.01 <= limit_cents <= 1200.0:
        raise DesignError(f"--hold-cents {arguments.hold_cents}: write a number of cents from 0.01 to 1200, such as 5")
    try:
        notes = None if arguments.notes is None else tuple(parse_note(name) for name in arguments.notes.split(","))
    except ValueError as error:
        raise DesignError(f"--notes {arguments.notes}: {error}") from None
    opened = open_design(arguments.design)
    with ProgressLine("following the temperature"):
        figures = drift_figures(opened, first, last, notes, hertz, limit_cents)
    DRIFT.write(arguments, figures)
    return 0
