"""`beatfield tolerance DESIGN`: what part tolerances do to builds of a design, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError, Namespace

DEFAULT_BUILDS, MOST_BUILDS = 10_000, 5_000_000


def whole_number(text: str, low: int, high: int) -> int:
    """`text` as a whole number from `low` to `high`."""
    try:
        value = int(text)
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        raise ArgumentTypeError(f"must be a whole number from {low} to {high}; got {text!r}")
    return value


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML); see [tolerances] and [goals] in it")
    parser.add_argument("--builds", metavar="N", type=lambda text: whole_number(text, 100, MOST_BUILDS),
                        default=DEFAULT_BUILDS, help=f"random builds (default {DEFAULT_BUILDS})")  # fmt: skip
    parser.add_argument("--seed", metavar="S", type=lambda text: whole_number(text, 0, 2**63), default=1,
                        help="of the random numbers: the same seed gives the same builds (default 1)")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    parser.add_argument("--csv", metavar="FILE", help="write every build as CSV (- for stdout)")
    parser.add_argument("--plot", metavar="FILE", help="write the plot as PNG or SVG")
    parser.add_argument("--force", action="store_true", help="replace files that exist")


def run(arguments: Namespace) -> int:
    """Run the builds and write the reports asked for; exit code 3 where a stated goal is missed, 130 after Ctrl-C."""
    import sys
    from pathlib import Path

    from synth.cli import EXIT_GOAL_MISSED, EXIT_INTERRUPTED
    from synth.progress_line import ProgressLine
    from synth.report.figure import checked_plot_path
    from synth.report.output import print_json
    from synth.report.tolerance_report import tolerance_report, write_csv
    from synth.report.tolerance_text import tolerance_text
    from synth.workbench import open_design, say

    if arguments.plot:
        checked_plot_path(Path(arguments.plot))
    workpiece = open_design(Path(arguments.design))
    with ProgressLine("builds", arguments.builds) as progress:
        report = tolerance_report(workpiece, arguments.builds, arguments.seed, progress)
    if report.interrupted:
        say(f"interrupted: the report is of the {report.builds} builds that are done")
    if arguments.csv:
        write_csv(report, arguments.csv, force=arguments.force)
    if arguments.plot:
        from synth.report.tolerance_plot import save_tolerance_plot

        save_tolerance_plot(report, Path(arguments.plot), force=arguments.force)
        say(f"wrote {arguments.plot}")
    if arguments.json:
        print_json(report.document())
    elif arguments.csv != "-":
        sys.stdout.write(tolerance_text(report))
    if report.interrupted:
        return EXIT_INTERRUPTED
    return 0 if report.goals_met else EXIT_GOAL_MISSED
