"""The speaker: live sound of an instrument, with tremor and drone, recordings and takes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.checks import fraction, non_negative, positive
from synth.files.unfinished import recovered
from synth.live.live_sound import LiveSound
from synth.live.recorder import Recording
from synth.live.sound_device import Latency
from synth.live.take import Kept, Takes
from synth.sound.strand import InstrumentSource

if TYPE_CHECKING:
    from models.instrument import Instrument
    from synth.hands.hand_path import HandPath
    from synth.live.sound_process import SoundProcess


class Speaker(LiveSound):
    """Live sound of an instrument under a hand that may tremble or be replayed; what sounds can be recorded and kept.

    The rest as `LiveSound`. At a `restart` a running recording is finished, if its process lives; the remembered take
    is given up: keep it before.
    """

    def __init__(
        self,
        instrument: Instrument,
        device: str | int | None = None,
        latency: Latency = "low",
        sample_rate: int = 48000,
        title: str = "",
        comment: str = "",
        process: SoundProcess | None = None,
    ) -> None:
        super().__init__(InstrumentSource(instrument), device, latency, sample_rate, title, comment, process)
        self._recorded: list[Recording] = []
        self._recording_to: Path | None = None
        self._notice: str | None = None
        self._takes = Takes()
        self._told_takes = 0

    def set_instrument(self, instrument: Instrument) -> None:
        """Play another instrument from now on, without a click."""
        self.change(InstrumentSource(instrument))

    @property
    def notice(self) -> str | None:
        """The newest message about a recording, for the status line."""
        self.poll(0.0)
        return self._notice

    @property
    def recording_to(self) -> Path | None:
        """The file being recorded; None again once it is finished or was refused."""
        self.poll(0.0)
        return self._recording_to

    @property
    def recordings(self) -> tuple[Recording, ...]:
        """The recordings finished (or refused: see their `error`) so far."""
        self.poll(0.0)
        return tuple(self._recorded)

    def set_jitter(self, tremor_mm: float, seed: int) -> None:
        """Let the hand tremble by `tremor_mm`, mm, root mean square, as `seed` says; 0 holds it still."""
        if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
            raise ValueError(f"seed must be a whole number >= 0; got {seed!r}")
        self._tell_lasting("tremor", (1e-3 * non_negative("tremor_mm", tremor_mm), seed))

    def set_drone(self, frequency: float | None, gain: float = 0.1) -> None:
        """Sound a steady tone of `frequency`, Hz, under the voice; None ends it. It fades within 30 ms either way.

        `gain`: its peak, of full scale, before the listening level. Recordings and takes hold it too.
        """
        wanted = None if frequency is None else positive("frequency", frequency)
        self._tell_lasting("drone", (wanted, fraction("gain", gain)))

    def set_target(self, frequency: float | None, gain: float = 0.04) -> None:
        """Sound the note that is to be met, softer than the drone and beside it; as `set_drone` otherwise."""
        wanted = None if frequency is None else positive("frequency", frequency)
        self._tell_lasting("target", (wanted, fraction("gain", gain)))

    def replay(self, path: HandPath | None) -> None:
        """Play a hand path from its beginning in place of the hand; None gives the hand back, as its end does.

        The meters tell its distance and volume meanwhile, and `replaying`.
        """
        if self._link is not None:
            self._takes.replay(self._link.played, self.meters().sample_rate, path)
        self._tell("replay", path)

    @property
    def kept_seconds(self) -> float:
        """How much sound and hand is remembered, s: what `keep` would write now, five minutes at most."""
        return 0.0 if self._link is None else self._takes.seconds(self._link.played, self.meters().sample_rate)

    @property
    def kept(self) -> tuple[Kept, ...]:
        """The takes kept (or refused: see their `error`) so far."""
        self.poll(0.0)
        return tuple(self._takes.kept)

    def keep(self, folder: Path | str, stem: str) -> Path:
        """Write the last five minutes, or what there is: STEM.wav and STEM.csv in `folder`; return the WAV's path.

        Sound as recordings have it (before the listening level, drone included); the hand as it moved (tremor and
        replayed paths included, silent where muted) in the columns `render --hand` reads. The files are new and
        appear whole, soon after: see `kept` and `notice`.
        """
        path = (Path(folder) / f"{stem}.wav").absolute()
        memory = None if self._link is None else self._link.played
        span = self._takes.keep(memory, self.meters().sample_rate, path)
        if span is not None:
            self._tell("keep", span)
        self._note_takes()
        return path

    def last_take(self) -> HandPath | None:
        """The hand path since the last `keep` or the last silence of two seconds; None where nothing sounded.

        A replay is no take: after one this is the replayed path, until a second or more was played.
        """
        return None if self._link is None else self._takes.last(self._link.played, self.meters().sample_rate)

    def record(self, path: Path | str | None) -> None:
        """Record to a new file, .wav or .flac; None ends the recording (see `recordings` soon after)."""
        if path is not None and (self._process is None or self._failure is not None):
            self._refuse_recording(Path(path).absolute(), "Nothing is recorded: the sound has ended. Start it again.")
        elif path is not None:
            self._recording_to = Path(path).absolute()
            self._tell("record", self._recording_to)
        elif self._recording_to is not None:
            self._tell("record", None)

    def poll(self, timeout: float = 0.0) -> None:
        """Take what the audio process has sent, waiting at most `timeout` s for the first message."""
        super().poll(timeout)
        if self._process is not None and self._failure is not None:
            self._give_up_recording()
        self._note_takes()

    def _take(self, kind: str, value: Any) -> None:
        super()._take(kind, value)
        if kind == "recorded":
            self._recorded.append(value)
            if value.path == self._recording_to:
                self._recording_to = None
            self._notice = value.notice(self.meters().sample_rate)
        elif kind == "kept":
            self._takes.sound_written(*value)

    def _end(self, timeout: float) -> None:
        super()._end(timeout)
        self._takes.begin()
        self._takes.give_up()
        self._takes.join()
        self._note_takes()
        self._give_up_recording()

    def _note_takes(self) -> None:
        """Tell of the newest take; without an audio process no sound can follow any more."""
        if self._process is None or self._failure is not None:
            self._takes.give_up()
        if len(self._takes.kept) > self._told_takes:
            self._told_takes = len(self._takes.kept)
            self._notice = self._takes.kept[-1].notice

    def _give_up_recording(self) -> None:
        """After the end of the audio process: a recording it did not report is closed here, with what it holds."""
        path, self._recording_to = self._recording_to, None
        if path is None:
            return
        kept = ", ".join(file.name for file in recovered(path.parent))
        text = f"what it had written is in {kept}" if kept else "nothing of it is there"
        self._refuse_recording(path, f"The audio process ended while recording {path.name}: {text}.")

    def _refuse_recording(self, path: Path, error: str) -> None:
        self._recorded.append(Recording(path, 0, 0, error))
        self._notice = error
