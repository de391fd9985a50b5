"""The speaker's meters, put together from what the two threads of the audio process publish."""

from __future__ import annotations

from dataclasses import dataclass, fields

from synth.live.link import LiveLink, ProcessMeters, SoundMeters


@dataclass(frozen=True, slots=True)
class Meters:
    """What the speaker is doing.

    alive: the audio process runs; sounding: a device plays (else the silent clock). frequency: signed beat,
    Hz; distance, m; volume 0..1; peak (falling 20 dB/s) and rms (0.1 s) of the output, full scale 1.
    sample_rate, Hz; latency as PortAudio reports it, s; share_median and share_worst: render time over the
    block's period, last 1024 blocks. underruns: blocks PortAudio flagged; late_blocks: blocks that took
    longer than their period. recorded_frames: of the running recording. time: of the last block (time.monotonic), s.
    gesture_latency: from the time stamp of a hand event to the moment its value leaves the sound device, s, median over
    the last second (`synth/live/hand_timing.py`); 0 while nothing is measured. replaying: a hand path plays.
    """

    alive: bool = False
    sounding: bool = False
    sample_rate: int = 0
    frequency: float = 0.0
    distance: float = 0.0
    volume: float = 0.0
    peak: float = 0.0
    rms: float = 0.0
    latency: float = 0.0
    share_median: float = 0.0
    share_worst: float = 0.0
    blocks: int = 0
    frames: int = 0
    underruns: int = 0
    late_blocks: int = 0
    muted: bool = False
    recording: bool = False
    recorded_frames: int = 0
    time: float = 0.0
    gesture_latency: float = 0.0
    replaying: bool = False


NOTHING = Meters()


def no_meters(sample_rate: int) -> Meters:
    """Meters before anything has sounded."""
    return Meters(sample_rate=sample_rate)


def read_meters(link: LiveLink, alive: bool, sample_rate: int) -> Meters:
    """The newest meters in the link; `sample_rate` stands until the audio process has published its own."""
    sound, process = link.sound.read(), link.process.read()
    if sound is None or process is None:
        return Meters(alive=alive, sample_rate=sample_rate)
    told = {**SoundMeters(*sound)._asdict(), **ProcessMeters(*process)._asdict(), "alive": alive}
    told["sounding"] = alive and told["sounding"]
    return Meters(**{field.name: type(getattr(NOTHING, field.name))(told[field.name]) for field in fields(Meters)})
