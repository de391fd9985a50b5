"""Text that any terminal and any UTF-8 reader can take: what steers, hides or is no character is spelled out.

File names may hold anything: escape sequences, line feeds, bytes that are not UTF-8 (which Python keeps as lone
surrogates).
"""

from __future__ import annotations

import os
import re
import unicodedata
from typing import TextIO

# Marks at the beginning of a line, and how a terminal shows them (ISO/IEC 6429, select graphic rendition).
MARKS = {"beatfield:": "1;31", "MEND": "1;31", "WARN": "1;33", "note:": "33", "ok": "32"}
RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")  # how a text begins that a spreadsheet runs as a formula
_MARK = re.compile(rf"^({'|'.join(MARKS)})(?=\s)", re.MULTILINE)


def shows_colour(stream: TextIO | None) -> bool:
    """Whether `stream` is a terminal that shows colours, and NO_COLOR is not set."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM", "dumb") == "dumb"
    return not plain and stream is not None and stream.isatty()


def marked(text: str, stream: TextIO | None) -> str:
    """`text` with its marks in colour where `stream` shows them."""
    if not shows_colour(stream):
        return text
    return _MARK.sub(lambda found: f"\x1b[{MARKS[found[1]]}m{found[1]}\x1b[0m", text)


def printable(text: str) -> str:
    """`text` with every control, invisible or unpaired character as its escape (`\\x1b`); line feeds stay."""
    steering = {character for character in text if invisible(character)} - {"\n"}
    return text.translate({ord(character): ascii(character)[1:-1] for character in steering})


def one_line(text: str) -> str:
    """`printable`, with line feeds as escapes too: for a name within a line."""
    return printable(text).replace("\n", "\\n")


def valid_utf8(text: str) -> str:
    """`text` with unpaired surrogates as their escapes (`\\udcff`, which within a JSON string is JSON for the same)."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def for_spreadsheet(text: str) -> str:
    """A text as the cell of a CSV: behind an apostrophe where a spreadsheet would run it as a formula."""
    return f"'{text}" if text.startswith(RUN_BY_SPREADSHEETS) else text


def from_spreadsheet(cell: str) -> str:
    """The text that `for_spreadsheet` made this cell of."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(RUN_BY_SPREADSHEETS) else cell


def counted(number: int, noun: str) -> str:
    """A number with its noun, whose plural takes an s: "1 reading", "2 readings"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def invisible(character: str) -> bool:
    """Whether a character steers a terminal, hides or is none: Unicode categories C*, Zl and Zp."""
    return unicodedata.category(character)[0] == "C" or unicodedata.category(character) in ("Zl", "Zp")
