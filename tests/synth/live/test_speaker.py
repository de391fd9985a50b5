"""The speaker: a process of its own, silent clock without a device, faults of devices and processes.

No test here touches a sound device: where one is needed, a module named sounddevice in a temporary folder plays its
part (the audio process finds it because a spawned process takes over its parent's import path).
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from multiprocessing.shared_memory import SharedMemory
from pathlib import Path

import numpy as np
import pytest
import soundfile
from slow_ones import slow_ones
from small_instrument import make_instrument

from synth.errors import DesignError, DeviceError
from synth.hands.hand_path import HandPath, still_hand
from synth.live.audio_process import AudioProcess
from synth.live.link import LiveLink
from synth.live.live_sound import measure
from synth.live.sound_device import list_devices
from synth.live.sound_process import SoundProcess, SoundSettings
from synth.live.speaker import Speaker
from synth.sound.strand import InstrumentSource

NO_DEVICE = "no output of this name"
TIMEOUT = 15.0

FAKE_SOUNDDEVICE = """
import os, threading, time
import numpy

class PortAudioError(Exception):
    pass

class CallbackAbort(Exception):
    pass

class _Default:
    device = (-1, 1)

default = _Default()
BEHAVIOUR = os.environ.get("FAKE_SOUND", "plays")

def query_hostapis():
    return ({"name": "Trial host"},)

def query_devices(device=None, kind=None):
    entries = [
        {"name": "Trial input", "hostapi": 0, "max_output_channels": 0, "default_samplerate": 44100.0,
         "default_low_output_latency": 0.01},
        {"name": "Trial output", "hostapi": 0, "max_output_channels": 6, "default_samplerate": 44100.0,
         "default_low_output_latency": 0.01},
    ]
    if kind is None:
        return entries
    if device in (None, 1, "Trial"):
        return entries[1]
    raise ValueError(f"No output device matching {device!r}")

def check_output_settings(device, channels, dtype, samplerate):
    if BEHAVIOUR == "44100 only" and samplerate != 44100:
        raise PortAudioError("Invalid sample rate")

class _Times:
    # half a second ahead of this process's clock, as streams have clocks of their own; 12.5 ms to the output
    def __init__(self):
        self.currentTime = time.monotonic() + 0.5
        self.outputBufferDacTime = self.currentTime + 0.0125

class _Status:
    def __init__(self, underflow):
        self.output_underflow = underflow

class OutputStream:
    def __init__(self, samplerate, blocksize, device, channels, dtype, latency, callback, finished_callback):
        assert (blocksize, dtype) == (0, "float32")
        if BEHAVIOUR == "refuses":
            raise PortAudioError("Device unavailable")
        self.samplerate, self.channels, self.latency = samplerate, channels, 0.0125
        self._callback, self._finished = callback, finished_callback
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self):
        self._thread.start()

    def _run(self):
        sizes = (256, 100, 480, 1, 777)
        number = 0
        while not self._stopping.is_set():
            if BEHAVIOUR == "stalls" and number == 20:
                time.sleep(60.0)
            if BEHAVIOUR == "vanishes" and number == 20:
                break
            frames = sizes[number % len(sizes)]
            data = numpy.full((frames, self.channels), numpy.nan, numpy.float32)
            try:
                self._callback(data, frames, _Times(), _Status(number in (3, 70, 73)))
            except CallbackAbort:
                break
            assert numpy.isfinite(data).all()
            assert (data == data[:, :1]).all()
            number += 1
            time.sleep(frames / self.samplerate)
        self._finished()

    def stop(self):
        self._stopping.set()
        self._thread.join()

    def abort(self):
        self._stopping.set()
        self._thread.join()

    def close(self):
        pass
"""


def wait_for(condition: Callable[[], object], what: str) -> None:
    deadline = time.monotonic() + TIMEOUT
    while not condition():
        assert time.monotonic() < deadline, f"waited {TIMEOUT:.0f} s for {what}"
        time.sleep(0.01)


def kill(speaker: Speaker) -> None:
    """End the audio process at once, as the system may."""
    assert speaker.process_id is not None
    os.kill(speaker.process_id, signal.SIGTERM if os.name == "nt" else signal.SIGKILL)


def pitch_of(samples: np.ndarray, rate: int) -> float:
    """Mean frequency from interpolated rising zero crossings, Hz."""
    places = np.flatnonzero((samples[:-1] < 0.0) & (samples[1:] >= 0.0))
    crossings = places + samples[places] / (samples[places] - samples[places + 1])
    return float(rate * (crossings.size - 1) / (crossings[-1] - crossings[0]))


@pytest.fixture
def fake_sound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Put a sounddevice of the wanted behaviour first on the import path of this and of spawned processes."""

    def install(behaviour: str, text: str = FAKE_SOUNDDEVICE) -> None:
        (tmp_path / "sounddevice.py").write_text(text)
        monkeypatch.syspath_prepend(tmp_path)
        monkeypatch.setenv("FAKE_SOUND", behaviour)
        monkeypatch.delitem(sys.modules, "sounddevice", raising=False)

    yield install
    sys.modules.pop("sounddevice", None)


@pytest.fixture(scope="module")
def silent_speaker() -> Iterator[Speaker]:
    with Speaker(make_instrument(), device=NO_DEVICE, title="Trial", comment="hash 12") as speaker:
        yield speaker


def test_without_a_device_the_meters_move_and_the_reason_is_given(silent_speaker: Speaker) -> None:
    speaker = silent_speaker
    assert speaker.device_error is not None
    assert "No sound" in speaker.device_error
    assert not speaker.meters().sounding
    expected = float(make_instrument().beat_frequency(0.2))
    speaker.move(0.2, 1.0)
    wait_for(lambda: abs(speaker.meters().frequency - expected) < 1e-3, "the hand to arrive")
    before = speaker.meters()
    wait_for(lambda: speaker.meters().frames > before.frames + 48000 // 4, "more sound")
    meters = speaker.meters()
    assert meters.alive
    assert meters.peak > 0.05
    assert 0.0 < meters.share_median <= meters.share_worst
    assert pitch_of(speaker.recent(12000), 48000) == pytest.approx(expected, rel=1e-4)


def test_the_silent_clock_keeps_real_time(silent_speaker: Speaker) -> None:
    started, first = time.monotonic(), silent_speaker.meters()
    time.sleep(1.0)
    frames = silent_speaker.meters().frames - first.frames
    assert frames / 48000 == pytest.approx(time.monotonic() - started, abs=0.1)


def test_mute_silences_the_output(silent_speaker: Speaker) -> None:
    speaker = silent_speaker
    speaker.move(0.2, 1.0)
    speaker.mute(True)
    wait_for(lambda: speaker.recent(4800).any() == False, "silence")  # noqa: E712
    assert speaker.meters().muted
    speaker.mute(False)
    wait_for(lambda: np.abs(speaker.recent(4800)).max() > 0.05, "the sound to return")


def test_another_instrument_takes_over(silent_speaker: Speaker) -> None:
    speaker, other = silent_speaker, make_instrument(zero_beat=0.4)
    speaker.move(0.2, 1.0)
    speaker.set_instrument(other)
    wait_for(lambda: abs(speaker.meters().frequency - float(other.beat_frequency(0.2))) < 1e-3, "the change")
    speaker.set_instrument(make_instrument())
    expected = float(make_instrument().beat_frequency(0.2))
    wait_for(lambda: abs(speaker.meters().frequency - expected) < 1e-3, "the change back")


def test_recordings_hold_what_was_played_and_never_replace_a_file(silent_speaker: Speaker, tmp_path: Path) -> None:
    import soundfile

    speaker, path = silent_speaker, tmp_path / "take.wav"
    speaker.move(0.15, 1.0)
    speaker.set_level(0.01)
    wait_for(lambda: speaker.meters().distance == 0.15, "the hand to arrive")
    speaker.record(path)
    wait_for(lambda: speaker.meters().recorded_frames > 12000, "a quarter of a second")
    assert speaker.recording_to == path
    speaker.record(None)
    wait_for(lambda: speaker.recording_to is None, "the file to be closed")
    recording = speaker.recordings[-1]
    samples, rate = soundfile.read(path)
    assert (recording.path, recording.frames, recording.clipped) == (path, samples.size, 0)
    assert "take.wav" in (speaker.notice or "")
    assert np.abs(samples).max() == pytest.approx(make_instrument().level, rel=0.02)
    expected = float(make_instrument().beat_frequency(0.15))
    assert pitch_of(samples[4800:], rate) == pytest.approx(expected, rel=1e-4)
    content = path.read_bytes()
    speaker.record(path)
    wait_for(lambda: speaker.recording_to is None, "the refusal")
    assert "exists" in (speaker.recordings[-1].error or "")
    assert path.read_bytes() == content


def test_bad_values_are_refused(silent_speaker: Speaker) -> None:
    for distance, volume in ((np.nan, 1.0), (-0.1, 1.0), (0.1, 1.5), (0.1, np.inf)):
        with pytest.raises(ValueError, match=r"distance|volume"):
            silent_speaker.move(distance, volume)
    with pytest.raises(ValueError, match="level"):
        silent_speaker.set_level(2.0)
    with pytest.raises(ValueError, match="latency"):
        Speaker(make_instrument(), latency="fast")
    with pytest.raises(ValueError, match="sample_rate"):
        Speaker(make_instrument(), sample_rate=10)


def test_timed_hands_tremble_drone_and_replay(silent_speaker: Speaker) -> None:
    speaker = silent_speaker
    speaker.set_level(1.0)
    speaker.move(0.15, 1.0, time.monotonic())
    wait_for(lambda: speaker.meters().distance == 0.15, "the hand to arrive")
    speaker.set_jitter(0.5, 3)
    wait_for(lambda: speaker.meters().distance != 0.15, "the tremor")
    assert abs(speaker.meters().distance - 0.15) < 4e-3
    speaker.set_jitter(0.0, 3)
    wait_for(lambda: speaker.meters().distance == 0.15, "the tremor to end")
    speaker.move(0.15, 0.0)
    speaker.set_drone(440.0, 0.2)
    wait_for(lambda: speaker.meters().peak == pytest.approx(0.2, rel=0.05), "the drone alone")
    wait_for(lambda: pitch_of(speaker.recent(12000), 48000) == pytest.approx(440.0, rel=1e-4), "its pitch")
    speaker.set_drone(None)
    wait_for(lambda: not speaker.recent(4800).any(), "silence")
    speaker.replay(HandPath(np.array([0.0, 0.4]), np.array([0.3, 0.2]), np.array([0.5, 0.5])))
    wait_for(lambda: speaker.meters().replaying, "the replay")
    wait_for(lambda: not speaker.meters().replaying, "its end")
    wait_for(lambda: (speaker.meters().distance, speaker.meters().volume) == (0.15, 0.0), "the hand")
    speaker.replay(still_hand(0.3, 60.0))
    wait_for(lambda: speaker.meters().replaying, "the replay")
    speaker.replay(None)
    wait_for(lambda: not speaker.meters().replaying, "its end")
    assert speaker.meters().gesture_latency == 0.0  # no device: nothing to measure


def test_the_last_minutes_are_kept_as_sound_and_hand(tmp_path: Path) -> None:
    import soundfile

    from synth.hands.trace_file import load_trace

    with SoundProcess() as ahead, Speaker(make_instrument(), device=NO_DEVICE, process=ahead) as speaker:
        assert speaker.process_id == ahead.pid  # the one that was started before there was anything to play
        assert speaker.last_take() is None
        speaker.move(0.2, 0.8)
        wait_for(lambda: speaker.kept_seconds > 0.5, "half a second")
        take = speaker.last_take()
        assert take is not None
        assert (take.distances[-1], take.volumes[-1]) == (0.2, 0.8)
        path = speaker.keep(tmp_path, "lark")
        assert path == tmp_path / "lark.wav"
        wait_for(lambda: speaker.kept, "the files")
        (kept,) = speaker.kept
        assert kept.error is None
        assert "lark.wav" in (speaker.notice or "")
        assert (kept.path, kept.trace) == (path, tmp_path / "lark.csv")
        hand = load_trace(kept.trace)
        assert soundfile.info(path).frames == hand.frames(48000)
        assert hand.duration == pytest.approx(kept.seconds) == pytest.approx(speaker.kept_seconds, abs=2.0)
        content = path.read_bytes()
        speaker.keep(tmp_path, "lark")
        speaker.keep(tmp_path / "missing", "lark")
        wait_for(lambda: len(speaker.kept) == 3, "the refusals")
        assert all(entry.error for entry in speaker.kept[1:])
        assert path.read_bytes() == content
        speaker.keep(tmp_path, "last")  # and stop while it is written
    assert speaker.kept[-1].error is None
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["lark.csv", "lark.wav", "last.csv", "last.wav"]
    assert speaker.kept_seconds == 0.0
    speaker.keep(tmp_path, "later")
    assert "no take" in (speaker.kept[-1].error or "")


def test_bad_values_of_the_new_settings_are_refused(silent_speaker: Speaker) -> None:
    for bad in (
        lambda: silent_speaker.move(0.1, 1.0, np.nan),
        lambda: silent_speaker.set_jitter(-1.0, 1),
        lambda: silent_speaker.set_jitter(1.0, -1),
        lambda: silent_speaker.set_drone(0.0),
        lambda: silent_speaker.set_drone(100.0, 2.0),
    ):
        with pytest.raises(ValueError, match=r"time|tremor_mm|seed|frequency|gain"):
            bad()


def test_a_voice_that_cannot_be_built_says_why() -> None:
    """Lock range too wide to be heard: the reason reaches the player, with nothing recorded to be finished."""
    link = LiveLink.create()
    ours, theirs = multiprocessing.Pipe()
    source = InstrumentSource(make_instrument(lock_range=13_000.0))
    process = AudioProcess(link, theirs, source, SoundSettings(NO_DEVICE, "low", 48_000))
    with pytest.raises(DesignError, match="lock_range must be below a quarter of the sample rate"):
        process.run()
    process.finish_files()
    for end in (ours, theirs):
        end.close()
    link.close()


@pytest.mark.slow
def test_two_speakers_play_at_once(silent_speaker: Speaker) -> None:
    instrument = make_instrument()
    with Speaker(instrument, device=NO_DEVICE) as other:
        silent_speaker.move(0.2, 1.0)
        other.move(0.3, 1.0)
        for speaker, distance in ((silent_speaker, 0.2), (other, 0.3)):
            wait_for(
                lambda s=speaker, d=distance: s.meters().frequency == pytest.approx(instrument.beat_frequency(d)),
                "its own hand",
            )
    assert silent_speaker.meters().alive


def test_stopping_gives_everything_back() -> None:
    speaker = Speaker(make_instrument(), device=NO_DEVICE)
    speaker.start()
    name = speaker.memory_name
    speaker.move(0.2, 1.0)
    wait_for(lambda: speaker.meters().peak > 0.05, "sound")
    speaker.stop()
    assert not speaker.meters().alive
    assert speaker.meters().frames > 0
    assert speaker.device_error is not None
    assert "unexpectedly" not in speaker.device_error
    with pytest.raises(FileNotFoundError):
        SharedMemory(name=name)
    speaker.stop()


def test_a_process_started_ahead_ends_where_nobody_plays_through_it() -> None:
    with SoundProcess() as ahead:
        pid = ahead.pid
        assert pid is not None
        assert ahead.alive
    assert not Path(f"/proc/{pid}").exists()


@pytest.mark.slow
def test_a_killed_audio_process_is_noticed_and_started_again(tmp_path: Path) -> None:
    shared = Path("/dev/shm")
    with Speaker(make_instrument(), device=NO_DEVICE) as speaker:
        name = speaker.memory_name
        speaker.set_level(0.05)
        speaker.set_drone(440.0, 0.3)
        speaker.record(tmp_path / "lost.wav")
        wait_for(lambda: speaker.meters().recorded_frames > 4800, "a recording")
        kill(speaker)
        wait_for(lambda: not speaker.meters().alive, "the end of the process")
        assert "ended unexpectedly" in (speaker.device_error or "")
        assert "Press the key shown to restart" in (speaker.device_error or "")
        assert speaker.recording_to is None
        assert "written is in lost.wav" in (speaker.recordings[-1].error or "")
        assert soundfile.info(tmp_path / "lost.wav").frames > 4800
        speaker.record(tmp_path / "none.wav")
        assert "Nothing is recorded" in (speaker.recordings[-1].error or "")
        assert speaker.recording_to is None
        speaker.move(0.2, 0.0)
        speaker.mute(True)
        speaker.keep(tmp_path, "take")
        wait_for(lambda: speaker.kept, "the refusal")
        assert speaker.kept[-1].error is not None
        assert not list(tmp_path.glob("take.*"))
        speaker.restart()
        assert "No sound" in (speaker.device_error or "")
        assert "unexpectedly" not in (speaker.device_error or "")
        wait_for(lambda: speaker.meters().distance == 0.2, "the hand where it was")
        wait_for(lambda: speaker.meters().muted, "the switches as they were")
        assert not speaker.recent(2400).any()
        speaker.mute(False)
        wait_for(lambda: speaker.meters().peak == pytest.approx(0.05 * 0.3, rel=0.05), "level and drone as they were")
        with pytest.raises(FileNotFoundError):
            SharedMemory(name=name)
        name = speaker.memory_name
        kill(speaker)
        started = time.monotonic()
    assert time.monotonic() - started < 2.0
    assert not shared.is_dir() or not (shared / name).exists()


@pytest.mark.slow
def test_a_device_that_comes_back_is_played_again(fake_sound: Callable[[str], None], tmp_path: Path) -> None:
    fake_sound("vanishes")
    with Speaker(make_instrument()) as speaker:
        speaker.move(0.2, 1.0)
        speaker.record(tmp_path / "take.wav")
        wait_for(lambda: "Press the key shown to restart" in (speaker.device_error or ""), "the message")
        wait_for(lambda: not speaker.meters().sounding, "the silent clock")
        os.environ["FAKE_SOUND"] = "plays"
        speaker.restart()
        assert speaker.device_error is None
        assert (tmp_path / "take.wav").exists()  # finished before the restart
        wait_for(lambda: speaker.meters().sounding and speaker.meters().blocks > 20, "sound")
        assert speaker.meters().alive
        assert speaker.meters().distance == 0.2


@pytest.mark.skipif(os.name == "nt", reason="kills a process by a POSIX signal")
def test_the_audio_process_ends_with_its_parent_and_saves_the_recording(tmp_path: Path) -> None:
    import soundfile

    script = tmp_path / "parent.py"
    script.write_text(
        textwrap.dedent(f"""
        import importlib.util, sys, time
        sys.path.insert(0, {str(Path(__file__).parents[2] / "shared")!r})
        spec = importlib.util.spec_from_file_location("helpers", {__file__!r})
        helpers = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(helpers)
        if __name__ == "__main__":
            speaker = helpers.Speaker(helpers.make_instrument(), device=helpers.NO_DEVICE)
            speaker.start()
            speaker.record({str(tmp_path / "last.wav")!r})
            helpers.wait_for(lambda: speaker.meters().recorded_frames > 4800, "a recording")
            print(speaker.process_id, speaker.memory_name, flush=True)
            time.sleep(60.0)
        """)
    )
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    pid, name = parent.stdout.readline().split()
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    wait_for(lambda: not Path(f"/proc/{pid}").exists() and (tmp_path / "last.wav").exists(), "the child to end")
    assert soundfile.info(tmp_path / "last.wav").frames >= 4800

    def removed() -> bool:
        try:
            SharedMemory(name=name).close()
        except FileNotFoundError:
            return True
        return False

    wait_for(removed, "the shared memory to be removed")


@pytest.mark.slow
def test_a_missing_portaudio_names_the_remedy(fake_sound: Callable[..., None]) -> None:
    fake_sound("", 'raise OSError("PortAudio library not found")')
    with pytest.raises(DeviceError, match="libportaudio2"):
        list_devices()
    meters, reason = measure(InstrumentSource(make_instrument()), seconds=0.3)
    assert "libportaudio2" in (reason or "")
    assert meters.alive
    assert meters.frames > 4800
    assert not meters.sounding


def test_devices_are_listed(fake_sound: Callable[..., None]) -> None:
    fake_sound("plays")
    (device,) = list_devices()
    assert (device.index, device.name, device.host, device.channels) == (1, "Trial output", "Trial host", 6)
    assert device.is_default


@pytest.mark.slow
def test_a_playing_stream_counts_its_underruns(fake_sound: Callable[..., None]) -> None:
    fake_sound("plays")
    with Speaker(make_instrument(), device="1") as speaker:
        speaker.move(0.2, 1.0)
        wait_for(lambda: speaker.meters().blocks > 80, "blocks")
        wait_for(lambda: speaker.meters().gesture_latency > 0.0, "the latency")
        meters = speaker.meters()
        assert speaker.device_error is None
    # 12.5 ms to the output, 4 ms of hand delay, a block of up to 16 ms; more where this machine is busy
    assert 0.0165 <= meters.gesture_latency < 0.2
    assert meters.sounding
    assert meters.underruns == 2  # the one before the sound began does not count
    assert meters.latency == 0.0125
    assert meters.sample_rate == 48000


@pytest.mark.slow
def test_a_device_with_another_rate_is_played_at_its_own(fake_sound: Callable[..., None]) -> None:
    fake_sound("44100 only")
    expected = float(make_instrument().beat_frequency(0.2))
    with Speaker(make_instrument()) as speaker:
        speaker.move(0.2, 1.0)
        wait_for(lambda: speaker.meters().frames > 30000, "half a second")
        assert speaker.meters().sample_rate == 44100
        assert pitch_of(speaker.recent(12000), 44100) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("behaviour", "words"),
    [("vanishes", "Sound lost"), *slow_ones(("refuses", "refused the stream"), ("stalls", "Sound lost"))],
)
def test_a_failing_device_falls_back_to_the_silent_clock(
    fake_sound: Callable[..., None], behaviour: str, words: str
) -> None:
    fake_sound(behaviour)
    with Speaker(make_instrument()) as speaker:
        wait_for(lambda: words in (speaker.device_error or ""), "the message")
        assert "--device" in (speaker.device_error or "")
        blocks = speaker.meters().blocks
        wait_for(lambda: speaker.meters().blocks > blocks + 10, "the silent clock")
        wait_for(lambda: not speaker.meters().sounding, "the meters to say so")
        assert speaker.meters().alive


@pytest.mark.slow
def test_the_audio_process_imports_nothing_it_does_not_need() -> None:
    code = (
        "import sys, synth.live.audio_process, synth.sound.voice\n"
        "print([name for name in ('pygame', 'matplotlib', 'sounddevice', 'soundfile') if name in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
