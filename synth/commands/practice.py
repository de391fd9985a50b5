"""`beatfield practice`: the exercises to play, and how practice went over the days, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "score", metavar="WHAT", nargs="?", help="an exercise or a tune that was practised; left out: all of them"
    )
    add_output_options(parser, "the runs")


def run(arguments: Namespace) -> int:
    """Read the user's file of practice and write the reports asked for."""
    from synth.analysis.practice_figures import practice_figures
    from synth.practice.progress import practice_file, read_runs
    from synth.report.practice import PRACTICE

    PRACTICE.write(arguments, practice_figures(read_runs(practice_file()), arguments.score))
    return 0
