"""`beatfield page DESIGN`: the design as one file that plays in a browser."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.options import add_design
from synth.commands.outputs import Written, add_force_option, add_open_option

PAGE = ("page", (".html",))


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_design(parser)
    parser.add_argument(
        "-o", "--output", metavar="FILE.html", action=Written, kind=PAGE, required=True, help="the page to write"
    )
    add_open_option(parser)
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Assemble the design and write the page."""
    from synth.build.workbench import open_design, say
    from synth.files.atomic_file import write_text
    from synth.pages.design_page import design_page
    from synth.progress_line import ProgressLine

    opened = open_design(arguments.design)
    for notice in opened.notices:
        say(f"note: {notice}")
    with ProgressLine("making the page"):
        text = design_page(opened)
    write_text(arguments.output, text, arguments.force)
    say(f"wrote {arguments.output}; open it in a browser")
    return 0
