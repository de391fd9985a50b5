"""Read a text file that a person wrote: whole, of bounded size, with one clear message where it cannot be had."""

from __future__ import annotations

from pathlib import Path

from synth.errors import DesignError


def read_text(path: Path, largest: int, name_one: str, missing: str, too_large: str) -> str:
    """The UTF-8 text of `path` (a byte-order mark is dropped), at most `largest` bytes.

    Only a regular file is read. `name_one`: the remedy for a folder; `missing`: for no such file; `too_large`: for a
    longer one. Raises DesignError.
    """
    try:
        if path.is_dir():
            raise DesignError(f"{path}: is a folder; {name_one}")
        if path.exists() and not path.is_file():  # a pipe that nobody writes to would be waited for without end
            raise DesignError(f"{path}: is a pipe or a device; save its text as a file and name that")
        with open(path, "rb") as file:
            content = file.read(largest + 1)
    except FileNotFoundError:
        raise DesignError(f"{path}: no such file; {missing}") from None
    except DesignError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise DesignError(f"{path}: cannot be read ({reason}); check its name and rights") from error
    if len(content) > largest:
        size = f"{largest // 1_000_000} MB" if largest >= 1_000_000 else f"{largest // 1024} KiB"
        raise DesignError(f"{path}: is larger than {size}; {too_large}")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise DesignError(f"{path}: line {line} is not UTF-8 text; save the file as UTF-8") from None
