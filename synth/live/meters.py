"""The speaker's meters, in the two parts that the two threads of the audio process publish."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from models.quick_dataclass import dataclass

if TYPE_CHECKING:
    from synth.live.link import LiveLink


@dataclass(frozen=True)
class SoundMeters:
    """What the rendering thread publishes once a block.

    frequency: signed beat, Hz; distance, m; volume 0..1; peak (falling 20 dB/s) and rms (0.1 s) of the output, full
    scale 1. underruns: blocks PortAudio flagged; late_blocks: blocks that took longer than their period. replaying: a
    hand path plays. time: of the last block (time.monotonic), s.
    """

    frequency: float = 0.0
    distance: float = 0.0
    volume: float = 0.0
    peak: float = 0.0
    rms: float = 0.0
    blocks: int = 0
    frames: int = 0
    underruns: int = 0
    late_blocks: int = 0
    replaying: bool = False
    time: float = 0.0


@dataclass(frozen=True)
class ProcessMeters:
    """What the controlling thread publishes a few times a second.

    sounding: a device plays (else the silent clock). sample_rate, Hz; latency as PortAudio reports it, s; share_median
    and share_worst: render time over the block's period, last 1024 blocks. recorded_frames: of the running recording.
    gesture_latency: from the time stamp of a hand event to the moment its value leaves the sound device, s, median over
    the last second (`synth/live/hand_timing.py`); 0 while nothing is measured.
    """

    sounding: bool = False
    sample_rate: int = 0
    latency: float = 0.0
    share_median: float = 0.0
    share_worst: float = 0.0
    muted: bool = False
    recording: bool = False
    recorded_frames: int = 0
    gesture_latency: float = 0.0


@dataclass(frozen=True)
class Meters(SoundMeters, ProcessMeters):
    """What the speaker is doing; alive: the audio process runs."""

    alive: bool = False


def as_record(meters: SoundMeters | ProcessMeters) -> tuple[float, ...]:
    """The values in the order of their declaration."""
    return tuple(vars(meters).values())


def no_meters(sample_rate: int) -> Meters:
    """Meters before anything has sounded."""
    return Meters(sample_rate=sample_rate)


def read_meters(link: LiveLink, alive: bool, sample_rate: int) -> Meters:
    """The newest meters in the link; `sample_rate` stands until the audio process has published its own."""
    told: dict[str, Any] = {}
    for kind, values in ((SoundMeters, link.sound.read()), (ProcessMeters, link.process.read())):
        if values is None:
            return Meters(alive=alive, sample_rate=sample_rate)
        for (name, default), value in zip(vars(kind()).items(), values, strict=True):
            told[name] = type(default)(value)
    told["sounding"] = alive and told["sounding"]
    return Meters(alive=alive, **told)
