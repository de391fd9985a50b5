"""Text on a terminal: fitted to its width, page by page where it is long. Pipes and files get every line as it is."""

from __future__ import annotations

import os
import re
import sys
import textwrap
from itertools import groupby
from typing import TextIO

from synth.files.plain_text import marked

NARROWEST = 24  # characters; what is narrower is written as for this
_GAP = re.compile(r"(?<=\S) {2,}(?=\S)")  # between two columns
_LABEL = re.compile(r" *(?:\S.*?\S? {2,}|(?:note:|- ) *)(?=\S)")


def columns(stream: TextIO | None) -> int | None:
    """The width of the terminal that `stream` is, COLUMNS where that is set; None for anything else."""
    if stream is None or not stream.isatty():
        return None
    told = os.environ.get("COLUMNS", "")
    try:
        width = int(told) if told.isdecimal() and int(told) else os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        return None
    return max(width, NARROWEST) if width else None


def shown(text: str, stream: TextIO | None) -> str:
    """`text` as `stream` shows it best: fitted to a terminal's width, its marks in colour where there is colour."""
    width = columns(stream)
    return marked(text if width is None else fitted(text, width), stream)


def fitted(text: str, width: int) -> str:
    """`text` in lines of at most `width` characters, save for words that are longer.

    A line goes on under its text. Of a table that is too wide the columns that find no room stand in a second table
    below, each row named again; names that take more than half the width get a line of their own.
    """
    lines: list[str] = []
    for is_table, group in groupby(text.split("\n"), key=_is_row):
        block = list(group)
        if max(map(len, block)) <= width:
            lines += block
        elif is_table and len(block) > 1:
            lines += _fitted_table(block, width)
        else:
            for line in block:
                lines += _folded(line, width)
    return "\n".join(lines)


def _is_row(line: str) -> bool:
    """Whether it has three cells or more, of which the first may be empty."""
    return len(_GAP.findall(line)) + line.startswith("  ") >= 2


def _folded(line: str, width: int) -> list[str]:
    """One line of prose, or of a name and what it says, in lines that begin under that."""
    if len(line) <= width:
        return [line]
    found = _LABEL.match(line)
    hang = len(found[0]) if found else len(line) - len(line.lstrip()) + 2
    indent = " " * (hang if hang <= width // 2 else 4)
    made = textwrap.wrap(
        line,
        width,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
        replace_whitespace=False,
    )
    return made or [line]


def _fitted_table(rows: list[str], width: int) -> list[str]:
    """The rows of a table that is too wide."""
    rows = _closed_up(rows, width)
    if max(map(len, rows)) <= width:
        return rows
    cells = _cells(rows)
    if len(cells) < 2:
        return [part for row in rows for part in _folded(row, width)]
    (begin, end), *rest = cells
    if end - begin <= width // 2:
        names, left = [row[begin:end] for row in rows], width - (end - begin)
        groups = _groups(rest, left)
        if all(last - first <= left for first, last in groups):
            tables = [
                [(name + row[first:last]).rstrip() for name, row in zip(names, rows, strict=True)]
                for first, last in groups
            ]
            return [line for table in tables for line in ["", *table]][1:]
    groups = _groups([(max(first, end + 1), last) for first, last in rest], width - 2)
    made = []
    for row in rows:
        parts = [row[begin:end], *("  " + row[first:last] for first, last in groups)]
        made += [line for part in parts if part.strip() for line in _folded(part.rstrip(), width)]
    return made


def _closed_up(rows: list[str], width: int) -> list[str]:
    """The rows with narrower space between the columns, two places at least, as far as that is needed."""
    used = _used(rows)
    spare = [place for place in range(1, len(used) - 1) if not any(used[place - 1 : place + 2])]
    dropped = set(spare[: max(len(used) - width, 0)])
    return ["".join(letter for place, letter in enumerate(row) if place not in dropped) for row in rows]


def _used(rows: list[str]) -> list[bool]:
    """Of every place in the rows, whether a letter stands there in any of them."""
    return [any(row[place : place + 1].strip() for row in rows) for place in range(max(map(len, rows)))]


def _cells(rows: list[str]) -> list[tuple[int, int]]:
    """Where each column of a table begins, with the space before it, and ends: two places blank in every row part
    columns.
    """
    used = _used(rows)
    longest = len(used)
    ends = [place for place in range(1, longest - 1) if used[place - 1] and not (used[place] or used[place + 1])]
    return list(zip([0, *ends], [*ends, longest], strict=True))


def _groups(cells: list[tuple[int, int]], width: int) -> list[tuple[int, int]]:
    """Neighbouring columns together, as many as find room."""
    groups: list[tuple[int, int]] = []
    for first, last in cells:
        if groups and last - groups[-1][0] <= width:
            groups[-1] = groups[-1][0], last
        else:
            groups.append((first, last))
    return groups


NO_PAGER = (127, 126)  # exit codes of a shell for a command that is not there or cannot be run (POSIX XCU 2.8.2)


def paged(text: str) -> None:
    """Print `text`; where it is longer than the terminal, through the user's pager ($PAGER, else `less`).

    A pager that cannot be started is passed over.
    """
    import shutil  # for this alone

    pager = os.environ.get("PAGER") or shutil.which("less")
    if not sys.stdout.isatty() or text.count("\n") < shutil.get_terminal_size().lines or not pager:
        sys.stdout.write(text)
        return
    import subprocess

    environment = {"LESS": "FRX", "LESSCHARSET": "utf-8", **os.environ}
    try:
        code = subprocess.run(pager, input=text, shell=True, check=False, encoding="utf-8", env=environment).returncode
    except OSError:
        code = NO_PAGER[0]
    if code in NO_PAGER:
        sys.stdout.write(text)
