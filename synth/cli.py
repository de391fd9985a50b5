"""The command line: data to stdout, messages to stderr, one exit code per kind of ending.

Nothing heavy is imported here: `--help` must answer at once. Each command lives in `synth/commands/`, is imported
for its arguments, and imports what it computes with only when it runs.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from itertools import groupby
from typing import Any, NamedTuple, NoReturn

from synth.commands.outputs import check_outputs, show_outputs
from synth.designs.schema import did_you_mean
from synth.errors import EXIT_FAILED, EXIT_INTERRUPTED, EXIT_USAGE, DesignError, DeviceError
from synth.files.plain_text import printable
from synth.terminal import columns, fitted, shown


class Command(NamedTuple):
    """Who uses a command, and what it does in one plain phrase."""

    group: str
    summary: str


HEAR, BEFORE, BENCH = "hear and play", "before you solder", "at the bench"
LEARN, MACHINE = "practise and teach", "about this machine"
COMMANDS = {
    "demo": Command(HEAR, "write a scale played on the built-in design, its plot and report"),
    "play": Command(HEAR, "play a design live: the pointer is the hand"),
    "page": Command(HEAR, "write a design as a page that plays in a browser"),
    "render": Command(HEAR, "write the sound that a hand path makes on a design"),
    "new": Command(BEFORE, "write a commented design file to start from"),
    "plan": Command(BEFORE, "plan a whole design from what you wish for and what you have"),
    "field": Command(BEFORE, "see which note sounds at which hand distance"),
    "oscillator": Command(BEFORE, "see whether an oscillator starts, its frequency and its levels"),
    "choose": Command(BEFORE, "find parts to buy that reach a frequency in every build"),
    "coil": Command(BEFORE, "find the turns a coil needs, or what a wound coil has"),
    "tolerance": Command(BEFORE, "see how many builds can be tuned, and how far their notes differ"),
    "drift": Command(BEFORE, "see what temperature does to zero beat and to the notes"),
    "linearise": Command(BEFORE, "search for parts that spread the notes more evenly"),
    "compare": Command(BEFORE, "set designs side by side, in figures and in sound"),
    "fit": Command(BENCH, "find the coil's and the board's values from frequencies you read"),
    "listen": Command(BENCH, "read pitch with the sound card, live or from a recording"),
    "sheet": Command(BENCH, "write a sheet to build and tune by: readings, steps, pitch ruler"),
    "lesson": Command(LEARN, "hear how two tones make a third, in lessons to read or to play"),
    "hand": Command(LEARN, "see what your own hand can do, or measure it in a trace"),
    "practice": Command(LEARN, "see the exercises, and how your practice went over the days"),
    "tune": Command(LEARN, "see which notes of a tune a design plays, and how true they are"),
    "sensitivity": Command(LEARN, "see what a millimetre of hand and a tremor do to each note"),
    "guide": Command(LEARN, "read the guide: first hour, building, playing, teaching, troubles"),
    "devices": Command(MACHINE, "list the sound outputs and inputs, and the MIDI outputs"),
    "doctor": Command(MACHINE, "check libraries, sound output, latency and block timing"),
    "benchmark": Command(MACHINE, "measure Beatfield beside plain ways to the same results"),
}

EXIT_HELP = "exit codes: 0 done, 1 device or run failure, 2 bad usage or design, 3 goal missed, 130 interrupted"


_MISSING = "the following arguments are required: "  # as argparse says it
_UNKNOWN = re.compile(r"argument COMMAND: invalid choice: ('.*?') \(choose", re.DOTALL)


class _Parser(argparse.ArgumentParser):
    """Tells what is wrong with the arguments without letting them steer the terminal."""

    def format_help(self) -> str:
        """The help, its lists fitted to the terminal as well."""
        width = columns(sys.stdout)
        return super().format_help() if width is None else fitted(super().format_help(), width)

    def print_help(self, file: Any = None) -> None:
        """Print the help; where that cannot be written it raises OSError, which argparse keeps to itself."""
        print(self.format_help(), end="", file=file, flush=True)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As argparse does, but what is left over is told by the command that it was given to."""
        found, left = super().parse_known_args(args, namespace)
        if left:
            options = [word for action in self._actions for word in action.option_strings]
            self.error("; ".join(_left_over(word, options) for word in left if word != "--"))
        for action in self._actions:
            value = vars(found).get(action.dest)
            if any(
                isinstance(text, str) and not text.strip() for text in (value if isinstance(value, list) else [value])
            ):
                name = action.option_strings[-1] if action.option_strings else action.metavar
                self.error(f"{name} is empty; write what it stands for, or leave it out")
        return found, left

    def error(self, message: str) -> NoReturn:
        """Print usage and message, where help stands, and exit with EXIT_USAGE."""
        if message.startswith(_MISSING):
            message = f"missing: {message.removeprefix(_MISSING)}"
        elif (found := _UNKNOWN.match(message)) is not None:
            message = f"no command {found[1]}{did_you_mean(found[1].strip(chr(39)), COMMANDS)}"
        super().error(f"{printable(message)} (see: {self.prog} --help)")


def _left_over(word: str, options: list[str]) -> str:
    """What to say of a word that the command has no use for."""
    if word.startswith("-"):
        return f"no option {word}{did_you_mean(word, options)}"
    return f"{word!r} is one argument too many"


class _VersionAction(argparse.Action):
    """Look the version up only when it is asked for."""

    def __init__(self, option_strings: list[str], dest: str, help: str | None = None) -> None:
        super().__init__(option_strings, dest, nargs=0, help=help)

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from synth.version import program_version

        print(f"beatfield {program_version()}", flush=True)
        parser.exit()


def _listed() -> str:
    """The commands by group, in the table's order."""
    lines = []
    for group, rows in groupby(COMMANDS.items(), key=lambda row: row[1].group):
        lines += [f"{group}:", *(f"  {name:<13}{command.summary}" for name, command in rows), ""]
    return "\n".join([*lines, EXIT_HELP])


def build_parser(words: Sequence[str] = ()) -> argparse.ArgumentParser:
    """The parser of every command, from the COMMANDS table; where `words` begin with a command's name, of that alone:
    the modules of the others are not looked at.
    """
    first = next((word for word in words if not word.startswith("-")), "")
    named = {first: COMMANDS[first]} if first in COMMANDS else COMMANDS
    parser = _Parser(
        prog="beatfield",
        usage="beatfield [-h] [--version] COMMAND ...",
        description="A playable theremin computed from its physics: hand distance, added capacitance, oscillator\n"
        "frequency, beat note, sound. `beatfield COMMAND --help` tells more of each command.",
        epilog=_listed(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_VersionAction, help="print the version and exit")
    debug = _Parser(add_help=False)
    debug.add_argument("--debug", action="store_true", default=argparse.SUPPRESS, help="show a traceback on errors")
    parser.add_argument("--debug", action="store_true", help=argparse.SUPPRESS)
    subparsers = parser.add_subparsers(
        prog="beatfield", dest="command", metavar="COMMAND", required=True, help=argparse.SUPPRESS
    )
    for name, command in named.items():
        description = command.summary[0].upper() + command.summary[1:] + "."
        sub = subparsers.add_parser(name, description=description, parents=[debug])
        import_module(f"synth.commands.{name}").add_arguments(sub)
    return parser


def _tell(text: str) -> None:
    """Print a message to stderr, with what would steer a terminal spelled out; quietly nothing where that is gone."""
    with suppress(OSError, ValueError):
        print(shown(printable(text), sys.stderr), file=sys.stderr, flush=True)


def _end_politely() -> list[int]:
    """Let a request to end (SIGTERM, SIGHUP) clean up like Ctrl-C, so that no temporary file stays behind.

    The list fills with the signals that come.
    """
    came: list[int] = []

    def interrupt(number: int, _: object) -> None:
        came.append(number)
        raise KeyboardInterrupt

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        usual = (signal.SIG_DFL, signal.default_int_handler)
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) in usual:
            with suppress(ValueError):  # not in the main thread
                signal.signal(getattr(signal, name), interrupt)
    return came


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code; errors become one message on stderr."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # started with its output closed
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115
        elif isinstance(getattr(sys, name), io.TextIOWrapper):  # what the locale's encoding cannot show is replaced
            getattr(sys, name).reconfigure(errors="replace")
    if "_ARGCOMPLETE" in os.environ:  # set by a shell that asks how a line may go on
        from synth.completion import complete

        complete(build_parser())
    parser = build_parser(sys.argv[1:] if argv is None else argv)
    # Its matrices are small: on busy cores the threads of a linear algebra library wait for each other far longer than
    # they help. It reads this once, when numpy is loaded, which is later.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    debug, came = False, list[int]()
    try:
        arguments = parser.parse_args(argv)
        debug, came = arguments.debug, _end_politely()
        check_outputs(arguments)
        code = import_module(f"synth.commands.{arguments.command}").run(arguments)
        sys.stdout.flush()
        show_outputs(arguments)
        return int(code)
    except KeyboardInterrupt:
        _tell("\nbeatfield: interrupted")
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has gone: drop the rest quietly
        return EXIT_FAILED
    except Exception as error:
        if debug:
            raise
        if isinstance(error, OSError):  # files are written with messages of their own: this is the output
            _tell(f"beatfield: the output cannot be written ({error.strerror or error})")
            sys.stdout = open(os.devnull, "w")  # noqa: SIM115  what is left in the buffer goes nowhere
            return EXIT_FAILED
        if isinstance(error, DesignError | DeviceError):
            _tell("\n".join(f"beatfield: {line}" for line in str(error).split("\n")))
            return EXIT_USAGE if isinstance(error, DesignError) else EXIT_FAILED
        if came:  # a library that is interrupted while it is loaded may tell of it as a fault of its own
            _tell("\nbeatfield: interrupted")
            return EXIT_INTERRUPTED
        _tell(
            f"beatfield: unexpected {type(error).__name__}: {error}\n"
            "This is a fault of the program; run again with --debug to see where."
        )
        return EXIT_FAILED
