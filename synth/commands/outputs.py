"""What a command puts out: its options for files and for stdout, declared once and checked before it computes.

An option declared with `Written` or `Printed` enters what it was given into `arguments.outputs` (option to target, "-"
is stdout); `check_outputs` looks at all of them.
"""

from __future__ import annotations

import argparse
import os
import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from synth.errors import DesignError, DeviceError
from synth.files.atomic_file import check_target
from synth.terminal import shown

STDOUT = "-"
SHOWN = (".png", ".svg", ".html")
PLOT = ("plot", (".png", ".svg"))
SOUND = ("sound file", (".wav", ".flac"))


class Written(argparse.Action):
    """An option that names a file to write. `kind`: what it is called and the endings it may have, by default any;
    `or_stdout`: whether "-" stands for stdout.
    """

    def __init__(
        self,
        option_strings: Sequence[str],
        dest: str,
        kind: tuple[str, tuple[str, ...]] | None = None,
        or_stdout: bool = False,
        **rest: Any,
    ) -> None:
        super().__init__(option_strings, dest, **rest)
        self._kind, self._or_stdout = kind, or_stdout

    def __call__(self, parser: ArgumentParser, arguments: Namespace, value: Any, option: str | None = None) -> None:
        setattr(arguments, self.dest, value)
        _enter(arguments, self, value)

    def check(self, target: str, force: bool) -> None:
        """Raise DesignError where `target` cannot be written."""
        if target == STDOUT:
            if not self._or_stdout:
                raise DesignError(f"{self.option_strings[-1]} {target}: name a file; stdout cannot take it")
            return
        if target.endswith(("/", os.sep)):
            raise DesignError(f"{target} names a folder; name a file in it")
        if self._kind is not None and Path(target).suffix.lower() not in self._kind[1]:
            raise DesignError(f"{target}: name the {self._kind[0]} {' or '.join(self._kind[1])}")
        check_target(target, force)


class Printed(argparse.Action):
    """A switch for something that is printed on stdout."""

    def __init__(self, option_strings: Sequence[str], dest: str, **rest: Any) -> None:
        super().__init__(option_strings, dest, nargs=0, default=False, **rest)

    def __call__(self, parser: ArgumentParser, arguments: Namespace, value: Any, option: str | None = None) -> None:
        setattr(arguments, self.dest, True)
        _enter(arguments, self, STDOUT)


def _enter(arguments: Namespace, option: argparse.Action, target: str) -> None:
    arguments.outputs = {**vars(arguments).get("outputs", {}), option: target}


def check_outputs(arguments: Namespace) -> None:
    """Raise DesignError for a target that cannot be written, and for two outputs that want the same one."""
    outputs: dict[argparse.Action, str] = vars(arguments).get("outputs", {})
    named: dict[str, str] = {}
    for option, target in outputs.items():
        name = option.option_strings[-1]
        first = named.setdefault(target if target == STDOUT else os.path.abspath(target), name)
        if first != name and target == STDOUT:
            raise DesignError(f"{first} and {name} both want stdout; write one of them to a file")
        if first != name:
            raise DesignError(f"{target}: named twice, by {first} and {name}; choose a file for each")
        if isinstance(option, Written):
            option.check(target, arguments.force)
            _check_not_read(target, name, arguments, outputs)
    if vars(arguments).get("open") and not any(_is_shown(target) for target in outputs.values()):
        raise DesignError(f"--open shows a picture or page that is written; name one ({', '.join(SHOWN)})")


def show_outputs(arguments: Namespace) -> None:
    """Show the pictures and pages that were written, with the system's own program for them, where --open asks."""
    if not vars(arguments).get("open"):
        return
    import webbrowser

    outputs: dict[argparse.Action, str] = vars(arguments).get("outputs", {})
    for target in filter(_is_shown, outputs.values()):
        if not webbrowser.open(Path(target).absolute().as_uri()):
            raise DeviceError(f"{target}: is written, but no program was found that shows it; open it by hand")


def _is_shown(target: str) -> bool:
    return target != STDOUT and Path(target).suffix.lower() in SHOWN


def _check_not_read(target: str, name: str, arguments: Namespace, outputs: Mapping[argparse.Action, str]) -> None:
    """Raise DesignError where a file that the command is given to read would be written over."""
    written = {option.dest for option in outputs}
    for dest, value in vars(arguments).items():
        if dest in written or dest == "outputs":
            continue
        for text in value if isinstance(value, list) else [value]:
            if isinstance(text, str) and target != STDOUT and _same_file(text, target):
                raise DesignError(f"{name} {target}: this command reads that file; choose another name to write")


def _same_file(first: str, second: str) -> bool:
    """Whether both name one existing file."""
    try:
        return os.path.samefile(first, second)
    except (OSError, ValueError):
        return False


def print_either(arguments: Namespace, document: dict[str, Any], text: str) -> None:
    """Print a report on stdout, as JSON where --json asks for it."""
    from synth.report.written import print_json

    if arguments.json:
        print_json(document)
    else:
        sys.stdout.write(shown(text, sys.stdout))


def add_plot_option(parser: ArgumentParser, what: str) -> None:
    """Declare --plot, and --open, which shows it; `what` is drawn there, for the help."""
    parser.add_argument("--plot", metavar="FILE", action=Written, kind=PLOT, help=f"write {what} as PNG or SVG")
    add_open_option(parser)


def add_open_option(parser: ArgumentParser) -> None:
    """Declare --open."""
    parser.add_argument("--open", action="store_true", help="show the picture or page that is written")


def add_force_option(parser: ArgumentParser) -> None:
    """Declare --force, which every command needs that writes a file."""
    parser.add_argument("--force", action="store_true", help="replace files that exist")


def add_output_options(parser: ArgumentParser, csv: str, plot: str = "the plot") -> None:
    """Declare --json, --csv, --plot and --force; `csv` and `plot`: what is written there, for the help."""
    parser.add_argument("--json", action=Printed, help="print the report as JSON")
    parser.add_argument(
        "--csv", metavar="FILE", action=Written, or_stdout=True, help=f"write {csv} as CSV (- for stdout)"
    )
    add_plot_option(parser, plot)
    add_force_option(parser)
