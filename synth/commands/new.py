"""`beatfield new FILE`: a commented design file to start from."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from synth.commands.outputs import add_force_option
from synth.designs.circuit_templates import CIRCUITS as CIRCUIT_NAMES
from synth.designs.circuit_templates import MIXERS as MIXER_NAMES


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("file", metavar="FILE", help="the design file to write, e.g. mine.toml")
    parser.add_argument(
        "--circuit", metavar="NAME", help="draw its oscillators part by part: " + ", ".join(CIRCUIT_NAMES)
    )
    parser.add_argument("--mixer", metavar="NAME", help="draw its mixer as well: " + ", ".join(MIXER_NAMES))
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
    name, mixer = arguments.circuit, arguments.mixer
    for option, known, given in (("circuit", CIRCUIT_NAMES, name), ("mixer", MIXER_NAMES, mixer)):
        if given is not None and given not in known:
            near = did_you_mean(given, known)
            raise DesignError(f"--{option} {given}: is no {option}; there are {', '.join(known)}{near}")
    if mixer is not None and name is None:
        raise DesignError(f"--mixer {mixer}: is fed by drawn oscillators; add --circuit {next(iter(CIRCUIT_NAMES))}")
    if mixer is not None and not MIXER_NAMES[mixer].suits(CIRCUIT_NAMES[name]):
        suited = ", ".join(other for other, one in MIXER_NAMES.items() if one.suits(CIRCUIT_NAMES[name]))
        raise DesignError(
            f"--mixer {mixer}: is drawn for a supply of at most {MIXER_NAMES[mixer].highest_supply:g} V, and {name} "
            f"is fed with more, which would break its devices; take --mixer {suited}"
        )
    text = template_text() if name is None else circuit_template_text(name, mixer=mixer)
    write_text(path, text, force=arguments.force)
    if name is not None and CIRCUIT_NAMES[name].caution:
        say("CAUTION: " + CIRCUIT_NAMES[name].caution.replace("\n# ", " "))
    say(f"wrote {path}; edit it, then: beatfield field {path}")
    return 0
