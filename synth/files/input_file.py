"""Read a text file that a person wrote: of bounded size, whole or line by line, with one message where it cannot be."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path
from typing import BinaryIO

from synth.errors import DesignError

LINES_BETWEEN = 5000  # lines of a file that are read before its progress is told again


def read_text(path: Path, largest: int, name_one: str, missing: str, too_large: str) -> str:
    """The UTF-8 text of `path` (a byte-order mark is dropped), at most `largest` bytes.

    Only a regular file is read. `name_one`: the remedy for a folder; `missing`: for no such file; `too_large`: for a
    longer one. Raises DesignError.
    """
    with _opened(path, name_one, missing) as file:
        content = file.read(largest + 1)
    _check_size(path, len(content), largest, too_large)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise DesignError(f"{path}: line {line} is not UTF-8 text; save the file as UTF-8") from None


def text_lines(
    path: Path,
    largest: int,
    name_one: str,
    missing: str,
    too_large: str,
    progress: Callable[[float], None] = lambda share: None,
) -> Generator[str]:
    """The lines of such a file, each with its end: as `read_text`, but never in memory as a whole.

    progress: hears the share of the file that is read, now and then.
    """
    with _opened(path, name_one, missing) as file:
        size = os.fstat(file.fileno()).st_size
        _check_size(path, size, largest, too_large)
        try:
            with TextIOWrapper(file, "utf-8-sig", newline="") as text:
                for number, line in enumerate(text):
                    if number % LINES_BETWEEN == 0:
                        progress(file.tell() / max(size, 1))
                    yield line
        except UnicodeDecodeError:
            read_text(path, largest, name_one, missing, too_large)  # tells the line


@contextmanager
def _opened(path: Path, name_one: str, missing: str) -> Iterator[BinaryIO]:
    """The regular file `path`; what the system refuses becomes a DesignError."""
    try:
        if path.is_dir():
            raise DesignError(f"{path}: is a folder; {name_one}")
        if path.exists() and not path.is_file():  # a pipe that nobody writes to would be waited for without end
            raise DesignError(f"{path}: is a pipe or a device; save its text as a file and name that")
        with open(path, "rb") as file:
            yield file
    except FileNotFoundError:
        raise DesignError(f"{path}: no such file; {missing}") from None
    except DesignError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise DesignError(f"{path}: cannot be read ({reason}); check its name and rights") from error


def _check_size(path: Path, size: int, largest: int, too_large: str) -> None:
    if size > largest:
        most = f"{largest // 1_000_000} MB" if largest >= 1_000_000 else f"{largest // 1024} KiB"
        raise DesignError(f"{path}: is larger than {most}; {too_large}")
