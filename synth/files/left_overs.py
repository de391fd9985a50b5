"""Temporary files beside their targets: held while they are written, removed where their writer was killed.

A writer holds an advisory lock (flock) on its temporary file for as long as it lives; the system lets it go with the
process, also after SIGKILL. A temporary file that can be locked is therefore nobody's, and the next writer into that
folder removes it. A writer looks, once it has its lock, whether its file is still there: another instance may have
come between creating and locking. Neglected: systems without such locks (Windows, some network disks), where what a
killed run left stays until it is deleted by hand.
"""

from __future__ import annotations

import os
import re
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import Any


def _locks() -> Any:
    """The system's advisory file locks; None on a system without them."""
    try:
        return import_module("fcntl")
    except ImportError:
        return None


fcntl = _locks()

_NAME = re.compile(r"\.beatfield-[0-9a-f]{12}(\.[^/]*)?")
_TRIES = 100
looked_through: set[Path] = set()  # folders in which this process has looked for left-overs


@contextmanager
def held_temporary(target: Path) -> Iterator[Path]:
    """Yield the name of a new empty file beside `target`, with its ending, held and removed on leaving. OSError."""
    if target.parent not in looked_through:
        looked_through.add(target.parent)
        remove_left_overs(target.parent)
    made: list[Path] = []
    handle = None
    try:
        path, handle = _created(target, made)
        yield path
    finally:
        for path in made:
            with suppress(OSError):
                path.unlink()
        if handle is not None:
            os.close(handle)


def remove_left_overs(folder: Path) -> list[Path]:
    """Remove the temporary files in `folder` that no process holds; what was removed."""
    if fcntl is None:
        return []
    removed = []
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _NAME.fullmatch(entry.name) and _removed_if_free(entry.path):
                removed.append(Path(entry.path))
    return removed


def _created(target: Path, made: list[Path]) -> tuple[Path, int | None]:
    """A new temporary file and the handle that holds it, None without locks (Windows renames no open file).

    Its name stands in `made` before the file is there: a request to end may come at any moment. O_EXCL: never somebody
    else's file; the umask gives its rights.
    """
    for _ in range(_TRIES):
        path = target.parent / f".beatfield-{secrets.token_hex(6)}{target.suffix}"
        made[:] = [path]
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        except OSError:
            made.clear()  # not ours
            raise
        if fcntl is None:
            os.close(handle)
            return path, None
        with suppress(OSError):  # a disk without locks: nobody removes anything there
            fcntl.flock(handle, fcntl.LOCK_EX)
        if os.fstat(handle).st_nlink > 0:
            return path, handle
        os.close(handle)
    raise OSError(f"no temporary file stays in {target.parent}")


def _removed_if_free(path: str) -> bool:
    """Remove a temporary file unless its writer lives (or it is no file of ours)."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return False
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.unlink(path)
        return True
    except OSError:
        return False
    finally:
        os.close(handle)
