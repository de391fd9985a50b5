"""`beatfield sheet DESIGN`: the printable build and tuning sheet as HTML, its figures as JSON."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    parser.add_argument("-o", "--output", metavar="FILE", help="write the sheet as HTML (- for stdout)")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="the paper to print on (default: A4)")
    parser.add_argument("--json", action="store_true", help="print the sheet's figures as JSON")
    parser.add_argument("--force", action="store_true", help="replace a file that exists")


def run(arguments: Namespace) -> int:
    """Collect the figures and write what is asked for."""
    from pathlib import Path

    from synth.errors import DesignError
    from synth.report.output import print_json, write_text
    from synth.report.sheet_figures import sheet_figures
    from synth.report.sheet_page import sheet_page
    from synth.workbench import open_design, say

    target: str | None = arguments.output
    if target is None and not arguments.json:
        raise DesignError("name a file for the sheet with -o sheet.html, or ask for its figures with --json")
    if target == "-" and arguments.json:
        raise DesignError("-o - and --json both want stdout; write the sheet to a file")
    figures = sheet_figures(open_design(Path(arguments.design)))
    if target is not None:
        write_text(sheet_page(figures, arguments.paper), target, arguments.force)
        if target != "-":
            say(f"wrote {target}; open it in a browser and print it at 100 %")
    if arguments.json:
        print_json(figures.document())
    return 0
