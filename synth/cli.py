"""The command line: data to stdout, messages to stderr, one exit code per kind of ending.

Nothing heavy is imported here: `--help` must answer at once. Each command lives in `synth/commands/`, is imported
for its arguments, and imports what it computes with only when it runs.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from contextlib import suppress
from importlib import import_module
from typing import NoReturn

from synth.errors import DesignError, DeviceError
from synth.files.atomic_file import check_target
from synth.files.plain_text import printable

EXIT_OK, EXIT_FAILED, EXIT_USAGE, EXIT_GOAL_MISSED, EXIT_INTERRUPTED = 0, 1, 2, 3, 130

COMMANDS = {
    "demo": "render the built-in design into a folder: WAV, plot, report",
    "new": "write a commented design file to start from",
    "field": "the pitch field of a design: which note sounds at which hand distance",
    "oscillator": "one oscillator of a design on the bench: frequency, levels, start-up, adjustments",
    "fit": "inductance and strays from frequencies read on the bench, and what to fit for a target frequency",
    "choose": "tank and trimmer in preferred values that reach a frequency over all tolerances",
    "coil": "a coil on a former: turns for an inductance, self-capacitance, wire, resistance and Q",
    "tolerance": "what part tolerances do: share of builds that can be tuned, spread of the notes, yield",
    "sheet": "the build and tuning sheet of a design, for paper: readings, bands, procedure, pitch ruler",
    "drift": "what temperature and warm-up do to a tuned design: zero beat and notes",
    "linearise": "search the parts that make the pitch field as straight as can be",
    "compare": "several designs in one table and plot, and the same gesture rendered from each",
    "lesson": "heterodyning by ear: staged lessons, as files (script, plots, sounds) or to play",
    "render": "render a hand path through a design into a sound file",
    "tune": "play a tune from a file: wanted and sounded pitch of every note, and what is out of reach",
    "sensitivity": "what a millimetre of hand and a tremor do to the pitch of every note, against what the ear hears",
    "play": "play a design live: the pointer is the hand",
    "devices": "list the sound outputs and the MIDI outputs",
    "bench": "Beatfield beside plain ways to the same results, measured side by side in one run",
    "doctor": "check libraries, sound output, latency and block timing",
}

EXIT_HELP = "exit codes: 0 done, 1 device or run failure, 2 bad usage or design, 3 design goal missed, 130 interrupted"


class _Parser(argparse.ArgumentParser):
    """Tells what is wrong with the arguments without letting them steer the terminal."""

    def error(self, message: str) -> NoReturn:
        """Print usage and message, and exit with EXIT_USAGE."""
        super().error(printable(message))


class _VersionAction(argparse.Action):
    """Look the version up only when it is asked for."""

    def __init__(self, option_strings: list[str], dest: str, help: str | None = None) -> None:
        super().__init__(option_strings, dest, nargs=0, help=help)

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from synth.version import program_version

        print(f"beatfield {program_version()}")
        parser.exit()


def build_parser() -> argparse.ArgumentParser:
    """The parser of every command, from the COMMANDS table."""
    parser = _Parser(
        prog="beatfield",
        description="A playable theremin computed from its physics: hand distance, added capacitance, oscillator "
        "frequency, beat note, sound.",
        epilog=EXIT_HELP,
    )
    parser.add_argument("--version", action=_VersionAction, help="print the version and exit")
    debug = _Parser(add_help=False)
    debug.add_argument("--debug", action="store_true", default=argparse.SUPPRESS, help="show a traceback on errors")
    parser.add_argument("--debug", action="store_true", help=argparse.SUPPRESS)
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        description = summary[0].upper() + summary[1:] + "."
        sub = subparsers.add_parser(name, help=summary, description=description, parents=[debug])
        import_module(f"synth.commands.{name}").add_arguments(sub)
    return parser


def _tell(text: str) -> None:
    """Print a message to stderr, with what would steer a terminal spelled out; quietly nothing where that is gone."""
    with suppress(OSError, ValueError):
        print(printable(text), file=sys.stderr, flush=True)


def _check_targets(arguments: argparse.Namespace) -> None:
    """Refuse the files to be written that cannot be, before anything is computed for them; DesignError."""
    if isinstance(getattr(arguments, "plot", None), str):
        from synth.report.figure import checked_plot_path

        checked_plot_path(arguments.plot)
    for name in ("output", "csv", "trace", "plot", "midi", "wav", "wav_before", "wav_after"):
        target = getattr(arguments, name, None)
        if isinstance(target, str) and target != "-" and not (arguments.command == "lesson" and name == "output"):
            check_target(target, getattr(arguments, "force", False))


def _end_politely() -> None:
    """Let a request to end (SIGTERM, SIGHUP) clean up like Ctrl-C, so that no temporary file stays behind."""

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) is signal.SIG_DFL:
            with suppress(ValueError):  # not in the main thread
                signal.signal(getattr(signal, name), interrupt)


def main(argv: list[str] | None = None) -> int:
    """Run the command line and return its exit code; errors become one message on stderr."""
    arguments = build_parser().parse_args(argv)
    for name in ("stdout", "stderr"):  # started with its output closed
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115
    _end_politely()
    try:
        _check_targets(arguments)
        code = import_module(f"synth.commands.{arguments.command}").run(arguments)
        sys.stdout.flush()
        return int(code)
    except KeyboardInterrupt:
        _tell("\nbeatfield: interrupted")
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has gone: drop the rest quietly
        return EXIT_FAILED
    except Exception as error:
        if arguments.debug:
            raise
        if isinstance(error, OSError):  # files are written with messages of their own: this is the output
            _tell(f"beatfield: the output cannot be written ({error.strerror or error})")
            sys.stdout = open(os.devnull, "w")  # noqa: SIM115  what is left in the buffer goes nowhere
            return EXIT_FAILED
        if isinstance(error, DesignError | DeviceError):
            _tell("\n".join(f"beatfield: {line}" for line in str(error).split("\n")))
            return EXIT_USAGE if isinstance(error, DesignError) else EXIT_FAILED
        _tell(
            f"beatfield: unexpected {type(error).__name__}: {error}\n"
            "This is a fault of the program; run again with --debug to see where."
        )
        return EXIT_FAILED
