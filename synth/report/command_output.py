"""What the commands that report share: --json, --csv, --plot and --force, and writing what they ask for."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from typing import Any, Protocol, TypeVar


class Report(Protocol):
    """One set of figures that is written as JSON and as CSV."""

    def document(self) -> dict[str, Any]:
        """The report as JSON-ready values."""
        ...

    def csv(self) -> str:
        """The table that belongs to it."""
        ...


Reported = TypeVar("Reported", bound=Report)


def add_output_options(parser: ArgumentParser, csv: str, plot: str = "the plot") -> None:
    """Declare the options; `csv` and `plot`: what is written there, for the help."""
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    parser.add_argument("--csv", metavar="FILE", help=f"write {csv} as CSV (- for stdout)")
    parser.add_argument("--plot", metavar="FILE", help=f"write {plot} as PNG or SVG")
    parser.add_argument("--force", action="store_true", help="replace files that exist")


def write_outputs(
    arguments: Namespace,
    report: Reported,
    text: Callable[[Reported], str],
    save_plot: Callable[[Reported, str, bool], None],
) -> None:
    """Write the CSV and the plot if asked for, then print the JSON, or `text` where stdout is not taken by the CSV."""
    from synth.build.workbench import say
    from synth.report.output import print_json, write_text

    if arguments.csv:
        write_text(report.csv(), arguments.csv, arguments.force)
    if arguments.plot:
        save_plot(report, arguments.plot, arguments.force)
        say(f"wrote {arguments.plot}")
    if arguments.json:
        print_json(report.document())
    elif arguments.csv != "-":
        sys.stdout.write(text(report))
