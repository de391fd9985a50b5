"""A finished sound into a file in one call; see `synth.sound.audio_file`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from synth.sound.audio_file import AudioWriter


def write_sound(
    target: str, samples: NDArray[np.float64], sample_rate: int, title: str, comment: str, force: bool
) -> AudioWriter:
    """Write mono samples as 24-bit WAV or FLAC, whole or not at all; returns the closed writer."""
    with AudioWriter(target, sample_rate, "pcm24", title=title, comment=comment, force=force) as writer:
        writer.write(samples)
    return writer
