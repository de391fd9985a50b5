"""Sound files, written block by block and whole or not at all: WAV or FLAC, 16-bit, 24-bit or float.

Quantising to 16 bits adds triangular dither of +-1 step (the sum of two uniform ones), from a fixed seed,
so that quiet fades end in a faint steady hiss instead of distortion and the file is the same each time;
24-bit and float need none. Samples beyond full scale are clipped in the integer formats, kept in float,
and counted in both. Source: S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, J. Audio Eng. Soc. 40 (1992)
355 (from memory).
"""

from __future__ import annotations

import os
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from models.arrays import Floats
from synth.errors import DesignError, DeviceError
from synth.files.atomic_file import atomic_path
from synth.files.unfinished import kept_path
from synth.libraries import require

SUBTYPES = {"pcm16": "PCM_16", "pcm24": "PCM_24", "float": "FLOAT"}
_ALIASES = {"16": "pcm16", "24": "pcm24"}
_BYTES = {"pcm16": 2, "pcm24": 3, "float": 4}
_FORMATS = {".wav": "WAV", ".flac": "FLAC"}
LARGEST_WAV = 2**32 - 2**20  # bytes: a WAV counts its length in 32 bits
_DITHER_SEED = 20_250_101


def subtype_named(name: str) -> str:
    """The subtype pcm16, pcm24 or float from its name or "16", "24"; raise DesignError for another."""
    chosen = _ALIASES.get(name, name)
    if chosen not in SUBTYPES:
        raise DesignError(f"no sample format {name!r}; choose {', '.join(SUBTYPES)}")
    return chosen


class AudioWriter:
    """Context manager that writes mono samples (-1 to 1) to `path` in blocks.

    subtype: pcm16, pcm24 or float. title, comment: stored in the file beside the program's name and version.
    Nothing appears under `path` unless the `with` block ends without an error; with `kept` whatever was written does,
    however it ends (synth/files/unfinished.py). `largest`: of a WAV, bytes. Afterwards `frames`, `clipped`
    (samples beyond full scale) and `peak` tell what was written.
    Raises DesignError for a name, format or rate that cannot be used or a file that exists (without
    `force`), and DeviceError where the folder or the disk refuses.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        sample_rate: int,
        subtype: str = "pcm24",
        *,
        title: str = "",
        comment: str = "",
        force: bool = False,
        kept: bool = False,
        largest: int = LARGEST_WAV,
    ) -> None:
        self.path = Path(path)
        self.subtype = subtype_named(subtype)
        self._format = _format_of(self.path, self.subtype)
        if not float(sample_rate).is_integer() or not 8000 <= sample_rate <= 192_000:
            raise DesignError(
                f"the sample rate must be a whole number from 8000 to 192000 Hz, as in --rate 48000; got {sample_rate}"
            )
        self.sample_rate = int(sample_rate)
        self._tags = {"title": title, "software": _software(), "comment": comment}
        self._place = kept_path(self.path) if kept else atomic_path(self.path, force)
        self._largest = largest
        self._stack = ExitStack()
        self._file: Any = None
        self._temporary: Path | None = None
        self._dither = np.random.default_rng(_DITHER_SEED)
        self.frames = 0
        self.clipped = 0
        self.peak = 0.0

    def __enter__(self) -> Self:
        soundfile = require("soundfile", "a sound file")
        with ExitStack() as stack:  # undone only if opening fails
            self._temporary = stack.enter_context(self._place)
            try:
                self._file = soundfile.SoundFile(
                    _native(self._temporary), "w", self.sample_rate, 1, SUBTYPES[self.subtype], format=self._format
                )
                for name, text in self._tags.items():
                    if text:
                        setattr(self._file, name, text)
            except soundfile.LibsndfileError as error:
                raise DeviceError(
                    f"{self.path}: the sound file cannot be opened ({error.error_string}); choose another name"
                ) from error
            stack.push(self._close)  # runs before the rename; an error there keeps the old file
            self._stack = stack.pop_all()
        return self

    def has_room(self, frames: int) -> bool:
        """Whether the format can hold `frames` in all."""
        return self._format != "WAV" or frames <= self._largest // _BYTES[self.subtype]

    def check_room(self, frames: int) -> None:
        """Raise DesignError, with the longest that fits, where `frames` in all are more than the format can hold."""
        most = self._largest // _BYTES[self.subtype]
        if not self.has_room(frames):
            hours, wanted = (count / self.sample_rate / 3600.0 for count in (most, frames))
            raise DesignError(
                f"{self.path}: a WAV holds at most 4 GiB, {hours:.2f} hours of {self.subtype} at {self.sample_rate} "
                f"Hz, and this sound takes {wanted:.2f}; name the file .flac, or choose pcm16 or a shorter sound"
            )

    def write(self, block: NDArray[np.floating[Any]]) -> None:
        """Append samples, shape (n,). Raises ValueError for another shape or a sample that is not finite."""
        if self._file is None:
            raise ValueError("write needs an open AudioWriter: use it in a with block")
        samples = np.asarray(block, dtype=np.float64)
        if samples.ndim != 1:
            raise ValueError(f"block must have shape (n,); got {samples.shape}")
        if samples.size == 0:
            return
        size = np.abs(samples)
        peak = float(size.max())
        if not np.isfinite(peak):
            raise ValueError("block must be finite numbers")
        self.check_room(self.frames + samples.size)
        self.peak = max(self.peak, peak)
        self.clipped += int(np.count_nonzero(size > 1.0))
        self._put(self._encode(samples))
        self.frames += samples.size

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self._stack.__exit__(kind, error, where)

    def _encode(self, samples: Floats) -> NDArray[Any]:
        """Samples as the file stores them; 24-bit ones in the upper three bytes of 32."""
        if self.subtype == "float":
            return samples.astype(np.float32)
        if self.subtype == "pcm16":
            # one row of two uniform numbers a sample: the dither does not depend on the division into blocks
            dither = self._dither.random((samples.size, 2)).sum(axis=1) - 1.0
            rounded: Floats = np.rint(samples * 2.0**15 + dither)
            return np.clip(rounded, -(2**15), 2**15 - 1).astype(np.int16)
        steps: Floats = np.clip(np.rint(samples * 2.0**23), -(2**23), 2**23 - 1)
        return steps.astype(np.int32) << 8

    def _put(self, data: NDArray[Any]) -> None:
        import soundfile

        try:
            self._file.write(data)
        except (soundfile.LibsndfileError, OSError, AssertionError) as error:
            raise self._refused(error) from error

    def _close(self, kind: object, error: BaseException | None, where: object) -> None:
        """Close the file and, if all went well so far, check that it holds every frame."""
        import soundfile

        file, self._file = self._file, None
        try:
            file.close()
            found = self.frames if error else soundfile.info(_native(self._temporary)).frames
        except (soundfile.LibsndfileError, OSError) as failure:
            if error is None:
                raise self._refused(failure) from failure
            return
        if found != self.frames:
            raise self._refused(f"{found} of {self.frames} frames arrived")

    def _refused(self, reason: object) -> DeviceError:
        detail = str(reason) or "not everything was written"
        return DeviceError(f"{self.path}: writing the sound failed ({detail}); check the space left on the disk")


def write_sound(target: str, samples: Floats, sample_rate: int, title: str, comment: str, force: bool) -> AudioWriter:
    """Write a finished sound, mono, as 24-bit WAV or FLAC, whole or not at all; returns the closed writer."""
    with AudioWriter(target, sample_rate, "pcm24", title=title, comment=comment, force=force) as writer:
        writer.write(samples)
    return writer


def _native(path: Path | None) -> Any:
    """A file's name as the sound library takes any: on POSIX its bytes, which need not be UTF-8."""
    return os.fsencode(path or "") if os.name == "posix" else str(path)


def _format_of(path: Path, subtype: str) -> str:
    """WAV or FLAC by the name's ending; raise DesignError for another, or for float in FLAC."""
    suffix = path.suffix.lower()
    if suffix not in _FORMATS:
        raise DesignError(f"{path}: name the sound file .wav or .flac")
    if suffix == ".flac" and subtype == "float":
        raise DesignError(f"{path}: FLAC holds whole numbers only; choose pcm24, or name the file .wav")
    return _FORMATS[suffix]


def _software() -> str:
    from synth.version import program_version

    return f"Beatfield {program_version()}"
