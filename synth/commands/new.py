"""`beatfield new FILE`: a commented design file to start from."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_force_option
from synth.designs.circuit_templates import CIRCUITS as CIRCUIT_NAMES


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="the design file to write, e.g. mine.toml")
    parser.add_argument("--circuit", metavar="NAME", help="with its oscillators drawn: " + ", ".join(CIRCUIT_NAMES))
    add_force_option(parser)


def run(arguments: Namespace) -> int:
    """Write the template and say what to do with it."""
    from pathlib import Path

    from synth.build.workbench import say
    from synth.designs.schema import did_you_mean
    from synth.designs.template import circuit_template_text, template_text
    from synth.errors import DesignError
    from synth.files.atomic_file import write_text

    path = Path(arguments.file)
    name = arguments.circuit
    if name is not None and name not in CIRCUIT_NAMES:
        near = did_you_mean(name, CIRCUIT_NAMES)
        raise DesignError(f"--circuit {name}: is no circuit; there are {', '.join(CIRCUIT_NAMES)}{near}")
    text = template_text() if name is None else circuit_template_text(name)
    write_text(path, text, force=arguments.force)
    if name is not None and CIRCUIT_NAMES[name].caution:
        say("CAUTION: " + CIRCUIT_NAMES[name].caution.replace("\n# ", " "))
    say(f"wrote {path}; edit it, then: beatfield field {path}")
    return 0
