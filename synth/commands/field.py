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
    from pathlib import Path

    from synth.build.workbench import open_design
    from synth.commands.outputs import write_outputs
    from synth.report.field_plot import save_field_plot
    from synth.report.field_report import FieldReport, field_report

    report = field_report(open_design(Path(arguments.design)))
    write_outputs(arguments, report, FieldReport.text, save_field_plot)
    return 0
