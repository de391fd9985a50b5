"""Render a hand path into a sound file, block by block: the same voice that plays live."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

from models.arrays import Floats
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import design_hash
from synth.designs.sections import Design
from synth.hands.hand_path import HandPath
from synth.sound.audio_file import AudioWriter
from synth.sound.voice import PIECE, Voice
from synth.version import program_version

RELEASE_TIME = 0.05  # s of muted sound after the path, so that the file ends in a fade


def rendered_blocks(workpiece: OpenedDesign, path: HandPath, sample_rate: int) -> Iterator[Floats]:
    """The sound of the whole path and its closing fade, in blocks of float64 samples."""
    voice = Voice(workpiece.instrument, sample_rate)
    for block in path.blocks(PIECE, sample_rate):
        yield voice.render(block, block.distance.size)
    voice.mute(True)
    release = round(RELEASE_TIME * sample_rate)
    yield voice.render(path.block(path.frames(sample_rate), release, sample_rate), release)  # the hands stay


def render_file(
    workpiece: OpenedDesign,
    path: HandPath,
    target: str | os.PathLike[str],
    sample_rate: int = 48000,
    subtype: str = "pcm24",
    force: bool = False,
    progress: Callable[[float], None] = lambda share: None,
) -> AudioWriter:
    """Write the sound of `path` to the file `target`; `progress` is told the share done after each block.

    The sound is streamed: memory does not grow with its length. Returns the closed writer (frames, clipped, peak).
    Raises what AudioWriter raises; a sound too long for the format before any of it is rendered.
    """
    design = workpiece.design
    opened = AudioWriter(target, sample_rate, subtype, title=design.name, comment=file_comment(design), force=force)
    total = path.frames(sample_rate) + round(RELEASE_TIME * sample_rate)  # after the writer has checked the rate
    opened.check_room(total)  # now, and not after hours of work
    with opened as writer:
        for samples in rendered_blocks(workpiece, path, sample_rate):
            writer.write(samples)
            progress(writer.frames / total)
    return writer


def file_comment(design: Design) -> str:
    """What a sound file says of its origin: program, version and design hash."""
    return f"Beatfield {program_version()}, design {design_hash(design)}"
