"""Text that any terminal and any UTF-8 reader can take: what steers, hides or is no character is spelled out.

File names may hold anything: escape sequences, line feeds, bytes that are not UTF-8 (which Python keeps as lone
surrogates).
"""

from __future__ import annotations

import unicodedata


def printable(text: str) -> str:
    """`text` with every control, invisible or unpaired character as its escape (`\\x1b`); line feeds stay."""
    return "".join(character if _plain(character) else _escaped(character) for character in text)


def one_line(text: str) -> str:
    """`printable`, with line feeds as escapes too: for a name within a line."""
    return printable(text).replace("\n", "\\n")


def valid_utf8(text: str) -> str:
    """`text` with unpaired surrogates as their escapes (`\\udcff`, which within a JSON string is JSON for the same)."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _plain(character: str) -> bool:
    return character == "\n" or character.isprintable() or unicodedata.category(character) == "Zs"


def _escaped(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")
