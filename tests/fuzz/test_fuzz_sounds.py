"""Sound files of every kind of damage: samples that can be used, or one message that names the file."""

from __future__ import annotations

import io
import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
import soundfile
import wild

from synth.errors import DesignError
from synth.sound import sound_reader
from synth.sound.sound_reader import read_sound


def sound_bytes(kind: str, subtype: str, channels: int) -> bytes:
    """A short sound file."""
    stream = io.BytesIO()
    samples = 0.1 * np.sin(np.arange(400 * channels)).reshape(-1, channels)
    soundfile.write(stream, samples, 8000, format=kind, subtype=subtype)
    return stream.getvalue()


SOUNDS = [sound_bytes("WAV", "PCM_16", 1), sound_bytes("WAV", "FLOAT", 2), sound_bytes("FLAC", "PCM_24", 2)]


def _sound(content: bytes) -> None:
    with tempfile.NamedTemporaryFile(suffix=".wav", delete=False) as file:
        file.write(content)
    try:
        found = wild.told(lambda: read_sound(Path(file.name)), file.name)
    finally:
        os.unlink(file.name)
    if found is not None:
        samples, rate = found
        assert samples.ndim == 1
        assert samples.size > 0
        assert np.isfinite(samples).all()
        assert 8000 <= rate <= 384_000


test_sounds_few, test_sounds = wild.quick_and_slow(_sound, wild.damaged(SOUNDS), 40, 150)


def test_a_sound_is_bounded_in_length_and_its_channels_are_averaged(tmp_path, monkeypatch):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.column_stack([np.full(400, 0.5), np.full(400, 0.1)]), 8000, subtype="FLOAT")
    samples, rate = read_sound(path)
    assert rate == 8000
    np.testing.assert_allclose(samples, 0.3, rtol=1e-6)
    monkeypatch.setattr(sound_reader, "MOST_FRAMES", 399)
    with pytest.raises(DesignError, match=r"a\.wav: is longer than 0 minutes"):
        read_sound(path)


def test_a_name_that_no_file_can_have_is_told_as_such():
    with pytest.raises(DesignError, match="cannot be read as sound"):
        read_sound(f"{'a' * 300}.wav")
