"""`beatfield tolerance DESIGN`: what part tolerances do to builds of a design, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_design, add_seed_option, seed_of, whole_number
from synth.commands.outputs import add_output_options

DEFAULT_BUILDS, MOST_BUILDS = 10_000, 5_000_000


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser, "; its sections [tolerances] and [goals] count here")
    parser.add_argument(
        "--builds",
        metavar="N",
        type=whole_number(100, MOST_BUILDS),
        default=DEFAULT_BUILDS,
        help=f"how many random builds are made, 100 to {MOST_BUILDS} (default {DEFAULT_BUILDS})",
    )
    add_seed_option(parser, "the random builds")
    add_output_options(parser, "every build")


def run(arguments: Namespace) -> int:
    """Run the builds and write the reports asked for; exit code 3 where a stated goal is missed, 130 after Ctrl-C."""
    from synth.analysis.tolerance_figures import tolerance_figures
    from synth.beside import Beside
    from synth.build.workbench import open_design, say
    from synth.errors import EXIT_GOAL_MISSED, EXIT_INTERRUPTED
    from synth.progress_line import ProgressLine
    from synth.report.tolerance import TOLERANCE

    with Beside() as beside:
        workpiece = open_design(arguments.design)
        with ProgressLine("solving builds") as line:
            figures = tolerance_figures(
                workpiece, arguments.builds, seed_of(arguments), lambda done: line(done / arguments.builds), beside
            )
    if figures.interrupted:
        say(f"interrupted: the report is of the {figures.builds} builds that are done")
    TOLERANCE.write(arguments, figures)
    if figures.interrupted:
        return EXIT_INTERRUPTED
    return 0 if figures.goals_met else EXIT_GOAL_MISSED
