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
import stat
from collections.abc import Callable, Iterator
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
            if _NAME.fullmatch(entry.name) and if_free(path := Path(entry.path), Path.unlink):
                removed.append(path)
    return removed


def _created(target: Path, made: list[Path]) -> tuple[Path, int | None]:
    """A new temporary file and the handle that holds it, None without locks (Windows renames no open file).

    Its name stands in `made` before the file is there: a request to end may come at any moment. O_EXCL: never somebody
    else's file; the umask gives its rights.
    """
    for _ in range(_TRIES):
        path = target.parent / f".beatfield-{os.urandom(6).hex()}{target.suffix}"
        made[:] = [path]
        try:
            handle = create_held(path)
        except OSError:
            made.clear()  # not ours
            raise
        if handle is None or os.fstat(handle).st_nlink > 0:
            return path, handle
        os.close(handle)
    raise OSError(f"no temporary file stays in {target.parent}")


def create_held(path: Path) -> int | None:
    """Create a new file and hold it; the handle that does, None without locks. OSError, also where it exists."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    if fcntl is None:
        os.close(handle)
        return None
    with suppress(OSError):  # a disk without locks: nobody removes anything there
        fcntl.flock(handle, fcntl.LOCK_EX)
    return handle


def if_free(path: Path, act: Callable[[Path], object]) -> bool:
    """Hold a file of ours and act on it, unless its writer lives or the system has no locks; whether that was done."""
    if fcntl is None:
        return False
    try:
        handle = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return False
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        act(path)
        return True
    except OSError:
        return False
    finally:
        os.close(handle)
