"""A tune from a file, whichever of the two kinds it is.

`synth.hands.tune_path.perform` plays it through a pitch field; `synth.analysis.tune_figures` says what became of it.
"""

from __future__ import annotations

import os
from pathlib import Path

from synth.errors import DesignError
from synth.midi.midi_file import read_midi
from synth.tunes.melody import Tune
from synth.tunes.note_list import read_note_list

LARGEST_FILE = 200_000  # bytes
MIDI_HEADER = b"MThd"


def load_tune(path: str | os.PathLike[str], track: int | None = None, channel: int | None = None) -> Tune:
    """The melody in a Standard MIDI File (known by its first bytes or its name) or in a note list.

    `track` and `channel` choose from a MIDI file, see `synth.midi.midi_file`. Raises DesignError naming the file.
    """
    file = Path(path)
    content = _content(file)
    if content.startswith(MIDI_HEADER) or file.suffix.lower() in (".mid", ".midi", ".smf"):
        return read_midi(content, str(path), track, channel)
    if track is not None or channel is not None:
        raise DesignError(f"{path}: a note list has no tracks and channels; leave --track and --channel out")
    try:
        return read_note_list(content.decode("utf-8-sig"), str(path))
    except UnicodeDecodeError:
        raise DesignError(f"{path}: neither a Standard MIDI File nor a note list in UTF-8 text") from None


def _content(file: Path) -> bytes:
    try:
        if not file.is_file():
            raise DesignError(f"{file}: no such tune file; name a Standard MIDI File or a note list")
        with file.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        if isinstance(error, DesignError):
            raise
        raise DesignError(f"{file}: cannot be read ({error})") from error
    if len(content) > LARGEST_FILE:
        raise DesignError(f"{file}: larger than {LARGEST_FILE} bytes; cut the melody out of it")
    return content
