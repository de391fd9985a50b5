"""`beatfield sensitivity DESIGN`: what a millimetre and a tremor do to each note, as text, JSON, CSV or plot."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    parser.add_argument("--csv", metavar="FILE", help="write the notes as CSV (- for stdout)")
    parser.add_argument("--plot", metavar="FILE", help="write the plot as PNG or SVG")
    parser.add_argument("--force", action="store_true", help="replace files that exist")


def run(arguments: Namespace) -> int:
    """Open the design and write the reports asked for."""
    import sys
    from pathlib import Path

    from synth.report.output import print_json
    from synth.report.sensitivity_report import sensitivity_report, write_csv
    from synth.workbench import open_design, say

    workpiece = open_design(Path(arguments.design))
    report = sensitivity_report(workpiece)
    if arguments.csv:
        write_csv(report, arguments.csv, force=arguments.force)
    if arguments.plot:
        from synth.report.sensitivity_plot import save_sensitivity_plot

        save_sensitivity_plot(report, Path(arguments.plot), force=arguments.force)
        say(f"wrote {arguments.plot}")
    if arguments.json:
        print_json(report.document())
    elif arguments.csv != "-":
        sys.stdout.write(report.text())
    return 0
