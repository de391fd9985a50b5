"""Recordings: whatever was written is kept, also after a full disk, a killed process or a lost machine.

While it is written a recording is called `.beatfield-recording-NAME` and held by a lock (synth/files/left_overs.py).
It takes its name when it is closed, whether all went well or not. One whose writer was killed is found by
`recovered`, its lengths put right, and given its name by the next run; it is never removed while it holds sound.
A WAV is RIFF (Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991; from memory): its
lengths stand at its beginning and are only written when it is closed. A FLAC needs no such thing and is kept as it is.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from synth.files.atomic_file import refused, usable_target
from synth.files.left_overs import create_held, if_free

PREFIX = ".beatfield-recording-"


@contextmanager
def kept_path(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Yield the name of a new file beside `path`; on leaving, also by an error, it gets the name `path` if it holds
    anything. An existing file is never replaced: another name is found beside it.

    Raises DesignError and DeviceError as `synth.files.atomic_file.atomic_path`.
    """
    target = usable_target(Path(path), force=False)
    with refused(target):
        temporary = target.parent / f"{PREFIX}{target.name}"
        handle = create_held(temporary)
        try:
            yield temporary
        finally:
            if temporary.stat().st_size > 0:
                _name(temporary, target)
            else:
                temporary.unlink()
            if handle is not None:
                os.close(handle)


def recovered(folder: Path) -> list[Path]:
    """Put right and name the recordings in `folder` whose writers were killed; the files they are now."""
    found: list[Path] = []

    def recover(path: Path) -> None:
        if not _holds_sound(path):
            path.unlink()
            return
        found.append(_name(path, path.with_name(path.name.removeprefix(PREFIX))))

    try:
        entries = sorted(folder.glob(f"{PREFIX}*"))
    except OSError:
        return []
    for path in entries:
        if_free(path, recover)
    return found


def _name(temporary: Path, target: Path) -> Path:
    """Give a file the name `target`, or one with a number where that is taken; the name it got."""
    wanted, number = target, 1
    while True:
        try:
            os.link(temporary, wanted)
        except FileExistsError:
            number += 1
            wanted = target.with_stem(f"{target.stem}-{number}")
            continue
        except (OSError, NotImplementedError):  # a file system without hard links
            if wanted.exists():
                number += 1
                wanted = target.with_stem(f"{target.stem}-{number}")
                continue
            os.replace(temporary, wanted)
            return wanted
        temporary.unlink()
        return wanted


def _holds_sound(path: Path) -> bool:
    """Whether the file holds samples; the lengths of a WAV are put right by how long the file is."""
    size = path.stat().st_size
    with open(path, "r+b") as file:
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:] != b"WAVE":
            return size > 0
        place, frame = 12, 1
        while True:
            chunk = file.read(8)
            if len(chunk) < 8:
                return False  # it ends before its samples begin
            name, length = struct.unpack("<4sI", chunk)
            if name == b"data":
                break
            if name == b"fmt ":
                frame = max(1, struct.unpack_from("<H", file.read(14), 12)[0])
            place += 8 + length + length % 2
            file.seek(place)
        frames = (size - place - 8) // frame
        end = place + 8 + frames * frame
        file.truncate(end)
        file.seek(4)
        file.write(struct.pack("<I", end - 8))
        file.seek(place + 4)
        file.write(struct.pack("<I", frames * frame))
    return frames > 0
