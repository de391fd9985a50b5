"""The speaker's meters, put together from what the two threads of the audio process publish."""

from __future__ import annotations

from dataclasses import dataclass, replace

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
    the last second (`synth/live/gesture_latency.py`); 0 while nothing is measured. replaying: a hand path plays.
    """

    alive: bool
    sounding: bool
    sample_rate: int
    frequency: float
    distance: float
    volume: float
    peak: float
    rms: float
    latency: float
    share_median: float
    share_worst: float
    blocks: int
    frames: int
    underruns: int
    late_blocks: int
    muted: bool
    recording: bool
    recorded_frames: int
    time: float
    gesture_latency: float = 0.0
    replaying: bool = False


def no_meters(sample_rate: int) -> Meters:
    """Meters before anything has sounded."""
    silence = SoundMeters(*[0.0] * len(SoundMeters._fields))
    idle = ProcessMeters(*[0.0] * len(ProcessMeters._fields))._replace(sample_rate=sample_rate)
    return _joined(silence, idle, alive=False)


def read_meters(link: LiveLink, alive: bool, sample_rate: int) -> Meters:
    """The newest meters in the link; `sample_rate` stands until the audio process has published its own."""
    sound, process = link.sound.read(), link.process.read()
    if sound is None or process is None:
        return replace(no_meters(sample_rate), alive=alive)
    return _joined(SoundMeters(*sound), ProcessMeters(*process), alive)


def _joined(sound: SoundMeters, process: ProcessMeters, alive: bool) -> Meters:
    return Meters(
        alive=alive,
        sounding=alive and bool(process.sounding),
        sample_rate=int(process.sample_rate),
        frequency=sound.frequency,
        distance=sound.distance,
        volume=sound.volume,
        peak=sound.peak,
        rms=sound.rms,
        latency=process.latency,
        share_median=process.share_median,
        share_worst=process.share_worst,
        blocks=int(sound.blocks),
        frames=int(sound.frames),
        underruns=int(sound.underruns),
        late_blocks=int(sound.late_blocks),
        muted=bool(process.muted),
        recording=bool(process.recording),
        recorded_frames=int(process.recorded_frames),
        time=sound.time,
        gesture_latency=process.gesture_latency,
        replaying=bool(sound.replaying),
    )
