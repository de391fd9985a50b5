"""Write a file whole or not at all: a temporary file in the same folder, then a rename."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from synth.errors import DesignError, DeviceError
from synth.files.left_overs import held_temporary

_NO_SPACE = {errno.ENOSPC, errno.EFBIG} | ({errno.EDQUOT} if hasattr(errno, "EDQUOT") else set())
_NOT_ALLOWED = {errno.EACCES, errno.EPERM, errno.EROFS}


@contextmanager
def atomic_path(path: str | os.PathLike[str], force: bool = False) -> Iterator[Path]:
    """Yield the name of an empty temporary file beside `path`; on leaving, flush it to disk and rename it.

    Whatever goes wrong inside (also Ctrl-C) removes the temporary file and leaves `path` as it was. An
    existing file is replaced only with `force` and keeps its mode; a link is followed, so the file it points to is
    replaced. A write-protected file is never replaced.

    Raises DesignError for a name that cannot be used (exists, is a folder or a device, its folder is missing)
    and DeviceError where the folder or the disk refuses (rights, no space), inside the block too.
    """
    target = usable_target(Path(path), force)
    with refused(target), held_temporary(target) as temporary:
        yield temporary
        _flush(temporary)
        _take_over_mode(target, temporary)
        _rename(temporary, target, force)


def check_target(path: str | os.PathLike[str], force: bool = False) -> None:
    """Raise DesignError now where `atomic_path` would later: before long work, not after it."""
    usable_target(Path(path), force)


def make_folder(path: str | os.PathLike[str]) -> Path:
    """Create the folder `path` with its parents where it is missing; DesignError or DeviceError if it cannot be."""
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise DesignError(f"{path} is a file; name a folder") from None
    except (OSError, ValueError) as error:
        raise DeviceError(f"{path}: the folder cannot be created ({reason_of(error)}); choose another") from error
    return folder


def write_text(path: str | os.PathLike[str], text: str, force: bool = False) -> None:
    """Write `text` as UTF-8 with plain line feeds, whole or not at all (see `atomic_path`).

    What is no character (a byte of a file name that is not UTF-8) is written as its escape.
    """
    write_pieces(path, [text], force)


def write_pieces(path: str | os.PathLike[str], pieces: Iterable[str], force: bool = False) -> None:
    """`write_text` of a text that is made piece by piece, so that it is never in memory as a whole."""
    with atomic_path(path, force) as temporary, temporary.open("wb") as file:
        for piece in pieces:
            file.write(piece.encode("utf-8", "backslashreplace"))


@contextmanager
def refused(target: Path) -> Iterator[None]:
    """Turn what the disk or the folder refuses within the block into the DeviceError that tells of it."""
    try:
        yield
    except BrokenPipeError:  # of the output, whose reader has gone
        raise
    except OSError as error:
        raise _explained(error, target) from error


def usable_target(path: Path, force: bool) -> Path:
    """Return `path` with links followed, or raise DesignError where it cannot become a regular file."""
    try:
        target = path.resolve()
        exists, folder_there = target.exists(), target.parent.is_dir()
    except (OSError, ValueError, RuntimeError) as error:
        raise DesignError(f"{path}: cannot name a file ({reason_of(error)}); choose another name") from error
    if target.is_dir():
        raise DesignError(f"{path} is a folder; name a file in it")
    if exists and not target.is_file():
        raise DesignError(f"{path} is a device or pipe; name a plain file")
    if exists and not force:
        raise DesignError(_exists_message(path))
    if exists and not target.stat().st_mode & stat.S_IWUSR:
        raise DesignError(f"{path} is write-protected; allow writing to it first, or choose another name")
    if not folder_there:
        raise DesignError(f"{path}: the folder {target.parent} does not exist; create it or choose another")
    return target


def _exists_message(path: Path) -> str:
    return f"{path} exists already; choose another name, or add --force to replace it"


def _flush(path: Path) -> None:
    """Force the file's content to the disk, so that the rename never exposes an empty file after a crash."""
    with open(path, "rb+") as file:
        os.fsync(file.fileno())


def _take_over_mode(target: Path, temporary: Path) -> None:
    """Give the finished file the mode of the one it replaces."""
    with suppress(OSError):  # nothing to replace, or a disk without modes
        temporary.chmod(stat.S_IMODE(target.stat().st_mode))


def _rename(temporary: Path, target: Path, force: bool) -> None:
    """Move the finished file into place; without `force` never over a file that appeared in the meantime."""
    if force:
        os.replace(temporary, target)
    elif not moved_to_new(temporary, target):
        raise DesignError(_exists_message(target))


def moved_to_new(temporary: Path, target: Path) -> bool:
    """Give a file the name `target`, never over another file; whether that name was free. OSError.

    With hard links the old name may stay beside the new one.
    """
    try:
        os.link(temporary, target)
    except FileExistsError:
        return False
    except (OSError, NotImplementedError):  # a file system without hard links
        if target.exists():
            return False
        os.replace(temporary, target)
    return True


def reason_of(error: Exception) -> str:
    """What the system says, without its number."""
    return getattr(error, "strerror", None) or str(error)


def _explained(error: OSError, target: Path) -> DeviceError:
    """The message for a disk or folder that refuses."""
    reason = reason_of(error)
    if error.errno in _NO_SPACE:
        return DeviceError(f"{target}: no space left to write it ({reason}); free some or choose another disk")
    if error.errno in _NOT_ALLOWED:
        return DeviceError(f"{target}: writing is not allowed there ({reason}); choose another folder")
    return DeviceError(f"{target}: cannot be written ({reason}); choose another folder")
