"""The blocks of a page of the guide: its commands, run in order in one folder, and the lines they are said to print."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from synth.designs.shipped import demo_folder
from synth.hands.gestures import minimum_jerk
from synth.hands.hand_path import HandPath
from synth.hands.trace_file import save_trace

BLOCK = re.compile(r"^```(sh|text)\n(.*?)^```\n", re.MULTILINE | re.DOTALL)
READINGS = 'fitted_capacitor,frequency\n"330 pF","205.3 kHz"\n"120 pF","231.4 kHz"\n'


@dataclass(frozen=True)
class Said:
    """What one command of a page is said to print, and what it does print."""

    command: list[str]
    promised: list[str]
    printed: list[str]


def returns() -> HandPath:
    """A hand that goes near and far and comes five times back to a place, a few millimetres off it each time."""
    places = [0.25, 0.10, 0.42]
    for error, away in ((0.0, 0.30), (4e-3, 0.33), (-4e-3, 0.36), (2e-3, 0.39), (-2e-3, 0.28)):
        places += [0.22 + error, away]
    times = np.arange(0.0, 3.0 * len(places), 0.02)
    distances = np.full(times.size, places[0])
    for number, (here, there) in enumerate(pairwise(places), start=1):
        distances += (there - here) * minimum_jerk((times - 3.0 * number) / 0.8)
    return HandPath(times, distances, np.ones(times.size))


def prepare(folder: Path) -> None:
    """The files that the guide's commands read."""
    save_trace(returns(), folder / "returns.csv", force=True)
    (folder / "readings.csv").write_text(READINGS)
    shutil.copy(demo_folder() / "lark.txt", folder)


def played(text: str, run: Callable[[list[str]], str]) -> Iterator[Said]:
    """Every command of a page with the lines promised after it; the last of a block has those of the block after it."""
    waiting: list[tuple[list[str], list[str]]] = []
    for kind, content in BLOCK.findall(text):
        if kind == "sh":
            for command in waiting:
                yield Said(command[0], [], command[1])
            commands = [shlex.split(line, comments=True)[1:] for line in content.splitlines()]
            waiting = [(command, run(command).splitlines()) for command in commands]
        else:
            *before, last = waiting
            for command in before:
                yield Said(command[0], [], command[1])
            yield Said(last[0], content.splitlines(), last[1])
            waiting = []
    for command in waiting:
        yield Said(command[0], [], command[1])


KEPT: dict[tuple[str, ...], tuple[str, tempfile.TemporaryDirectory[str]]] = {}


def once(run: Callable[[list[str]], str]) -> Callable[[list[str]], str]:
    """`run`, but a command that reads no file of the folder it runs in is run once by a process: when it is asked for
    again, what it said is returned, and copies of what it wrote are laid there.
    """

    def asked(command: list[str]) -> str:
        here = set(os.listdir())
        if here & set(command):
            return run(command)
        key = tuple(command)
        if key in KEPT:
            said, written = KEPT[key]
            shutil.copytree(written.name, ".", dirs_exist_ok=True)
            return said
        said, written = run(command), tempfile.TemporaryDirectory()
        for name in set(os.listdir()) - here:
            (shutil.copytree if os.path.isdir(name) else shutil.copy)(name, Path(written.name) / name)
        KEPT[key] = said, written
        return said

    return asked


def label(line: str) -> str:
    """What a line begins with, up to its first figure."""
    return re.split(r"\s{2,}|(?<=\s)[-+]?\d", line)[0].strip()


def renewed(text: str, run: Callable[[list[str]], str]) -> str:
    """The page with every promised line as it is printed now."""
    for said in played(text, run):
        for line in said.promised:
            if line == "...":
                continue
            now = [other for other in said.printed if label(other) == label(line)]
            if not now:
                raise LookupError(f"{' '.join(said.command)} prints no line like {line!r}")
            text = text.replace(line + "\n", now[0].rstrip() + "\n", 1)
    return text
