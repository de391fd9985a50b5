"""`beatfield new FILE`: a commented design file to start from."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_force_option


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="the design file to write, e.g. mine.toml")
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Write the template and say what to do with it."""
    from pathlib import Path

    from synth.build.workbench import say
    from synth.designs.template import template_text
    from synth.files.atomic_file import write_text

    path = Path(arguments.file)
    write_text(path, template_text(), force=arguments.force)
    say(f"wrote {path}; edit it, then: beatfield field {path}")
    return 0
