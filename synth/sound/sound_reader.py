"""A sound file as samples: any rate and format the library reads, its channels as one."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from models.arrays import Floats
from synth.errors import DesignError
from synth.libraries import require

MOST_FRAMES = 60_000_000  # 20 minutes at 48 kHz
BLOCK = 65_536  # frames read at once
RATES = (8000, 384_000)  # Hz


def read_sound(path: str | os.PathLike[str]) -> tuple[Floats, int]:
    """Samples, (n,), full scale 1, the mean of the channels, and the sample rate, Hz, of the sound file `path`.

    Raises DesignError for a file that cannot be read, is empty or holds more than MOST_FRAMES, and DeviceError where
    the library is missing.
    """
    place = Path(path)
    soundfile = require("soundfile", "a sound file")
    try:
        if place.is_dir():
            raise DesignError(f"{place}: is a folder; name a sound file")
        if not place.exists():
            raise DesignError(f"{place}: no such file; name a sound file, WAV or FLAC")
        if not place.is_file():
            raise DesignError(f"{place}: is a pipe or a device; save its sound as a file and name that")
        with soundfile.SoundFile(os.fsencode(place) if os.name == "posix" else str(place)) as file:
            rate, frames = int(file.samplerate), int(file.frames)
            if not RATES[0] <= rate <= RATES[1]:
                raise DesignError(f"{place}: has {rate} samples a second; {RATES[0]} to {RATES[1]} can be used")
            if frames > MOST_FRAMES:
                minutes = MOST_FRAMES / rate / 60.0
                raise DesignError(f"{place}: is longer than {minutes:.0f} minutes; cut out the piece that matters")
            blocks = [block.mean(axis=1) for block in file.blocks(BLOCK, dtype="float64", always_2d=True)]
    except (soundfile.LibsndfileError, OSError, RuntimeError) as error:
        reason = getattr(error, "error_string", None) or getattr(error, "strerror", None) or error
        raise DesignError(f"{place}: cannot be read as sound ({reason}); save it as WAV or FLAC") from error
    samples = np.concatenate([np.empty(0), *blocks])
    if samples.size == 0:
        raise DesignError(f"{place}: holds no sound; record it again, or name another file")
    if not np.isfinite(samples).all():
        raise DesignError(f"{place}: holds samples that are no numbers; save it anew")
    return samples, rate
