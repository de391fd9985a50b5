"""`beatfield field DESIGN`: which note sounds at which hand distance, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_design
from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    add_output_options(parser, "the pitch against hand distance")


def run(arguments: Namespace) -> int:
    """Open the design and write the reports asked for."""
    from synth.analysis.field_figures import field_figures
    from synth.build.workbench import open_design
    from synth.progress_line import ProgressLine
    from synth.report.field import FIELD

    opened = open_design(arguments.design)
    with ProgressLine("solving the pitch field"):
        figures = field_figures(opened, with_moves=True)
    FIELD.write(arguments, figures)
    return 0
