"""`beatfield sensitivity DESIGN`: what a millimetre and a tremor do to each note, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_output_options


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    add_output_options(parser, "the notes")


def run(arguments: Namespace) -> int:
    """Open the design and write the reports asked for."""
    from synth.analysis.sensitivity_figures import sensitivity_figures
    from synth.build.workbench import open_design
    from synth.report.sensitivity import SENSITIVITY

    SENSITIVITY.write(arguments, sensitivity_figures(open_design(arguments.design)))
    return 0
