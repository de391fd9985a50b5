"""Recordings: whatever was written is kept, also after a full disk, a killed process or a lost machine.

While it is written a recording is called `.beatfield-recording-NAME` and held by a lock (synth/files/left_overs.py).
It takes its name when it is closed, whether all went well or not. One whose writer was killed is found by
`recovered`, its lengths put right, and given its name by the next run; it is never removed while it holds sound.
A WAV is RIFF (Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991; from memory): its
lengths stand at its beginning and are only written when it is closed. A FLAC (RFC 9639) says there how many samples it
holds; 0, which stands for unknown, is replaced by what can be read, as not every reader takes it.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from synth.files.atomic_file import moved_to_new, refused, usable_target
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
            if _holds_sound(temporary):
                _count_flac(temporary)  # on a full disk it could not be closed in order
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
        _put_right(path)
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
    while not moved_to_new(temporary, wanted):
        number += 1
        wanted = target.with_stem(f"{target.stem}-{number}")
    temporary.unlink(missing_ok=True)
    return wanted


def _samples(path: Path) -> tuple[int, int]:
    """Where the samples of a WAV begin and the bytes of one frame; (0, 1) where the file is no WAV.

    The place is the file's length where it ends before its samples begin.
    """
    size = path.stat().st_size
    with open(path, "rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:] != b"WAVE":
            return 0, 1
        place, frame = 12, 1
        while len(chunk := file.read(8)) == 8:
            name, length = struct.unpack("<4sI", chunk)
            if name == b"data":
                return place + 8, frame
            if name == b"fmt ":
                frame = max(1, struct.unpack_from("<H", file.read(14).ljust(14, b"\0"), 12)[0])
            place += 8 + length + length % 2
            file.seek(place)
    return size, frame


def _holds_sound(path: Path) -> bool:
    """Whether the file holds a sample."""
    begin, frame = _samples(path)
    return path.stat().st_size >= begin + frame


def _put_right(path: Path) -> None:
    """Set the lengths of a WAV by how long the file is; a part of a frame at its end is cut off."""
    begin, frame = _samples(path)
    if begin == 0:
        _count_flac(path)
        return
    length = (path.stat().st_size - begin) // frame * frame
    with open(path, "r+b") as file:
        file.truncate(begin + length)
        file.seek(4)
        file.write(struct.pack("<I", begin + length - 8))
        file.seek(begin - 4)
        file.write(struct.pack("<I", length))


FLAC_RATE = 18  # bytes before the eight that hold sample rate, channels, bits and the number of samples (RFC 9639, 8.2)
FLAC_COUNT = (1 << 36) - 1  # the lowest bits of them
AT_ONCE = 4096  # samples that are counted at a time: a block, as the library writes them


def _count_flac(path: Path) -> None:
    """Write into a FLAC how many samples it holds, where it does not say so; any other file stays as it is."""
    with open(path, "rb") as file:
        if file.read(4) != b"fLaC":
            return
        file.seek(FLAC_RATE)
        (facts,) = struct.unpack(">Q", file.read(8).ljust(8, b"\xff"))
    if facts & FLAC_COUNT:
        return
    import soundfile

    count = 0
    with suppress(soundfile.LibsndfileError), soundfile.SoundFile(os.fsencode(path)) as sound:  # the last may be cut
        while got := len(sound.read(AT_ONCE)):
            count += got
    with open(path, "r+b") as file:
        file.seek(FLAC_RATE)
        file.write(struct.pack(">Q", facts | count))
