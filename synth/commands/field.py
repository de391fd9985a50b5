"""`beatfield field DESIGN`: which note sounds at which hand distance, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    add_output_options(parser, "the pitch against hand distance")


def run(arguments: Namespace) -> int:
    """Open the design and write the reports asked for."""
    from synth.analysis.field_figures import field_figures
    from synth.build.workbench import open_design
    from synth.report.field import FIELD

    FIELD.write(arguments, field_figures(open_design(arguments.design), with_moves=True))
    return 0
