"""Standard MIDI Files read as tunes: notes, divisions of time, tempos, and bytes that are no such file."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.analysis.tune import load_tune
from synth.errors import DesignError
from synth.midi.midi_file import read_midi


def test_midi_round_trip(tmp_path):
    mido = pytest.importorskip("mido")
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(60)))
    for kind, number, time in (
        ("on", 60, 0),
        ("on", 64, 0),
        ("off", 60, 480),
        ("off", 64, 0),
        ("on", 67, 240),
        ("off", 67, 480),
    ):
        track.append(mido.Message(f"note_{kind}", note=number, velocity=127, time=time))
    file.save(tmp_path / "a.mid")
    tune = load_tune(tmp_path / "a.mid")
    assert [(n.number, n.start, n.seconds) for n in tune.notes] == [(64, 0.0, 1.0), (67, 1.5, 1.0)]
    assert "1 of 3" in tune.remarks[1]


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=120))
def test_hostile_midi_is_one_message(body):
    head = b"MThd\x00\x00\x00\x06\x00\x01\x00\x01\x01\xe0MTrk"
    for content in (b"MThd" + body, head + body, head + len(body).to_bytes(4, "big") + body):
        message = "bad.mid"
        try:
            read_midi(content, "bad.mid")
        except DesignError as error:
            message = str(error)
        assert message.startswith("bad.mid")
        assert "\n" not in message


def smf(division: bytes, *tracks: bytes, kind: int = 0) -> bytes:
    """A Standard MIDI File, byte by byte (Standard MIDI Files 1.0, from memory)."""
    head = b"MThd" + (6).to_bytes(4, "big") + kind.to_bytes(2, "big") + len(tracks).to_bytes(2, "big") + division
    return head + b"".join(b"MTrk" + len(t).to_bytes(4, "big") + t for t in tracks)


END = b"\x00\xff\x2f\x00"


@pytest.mark.parametrize(
    ("division", "seconds"),
    [
        (b"\xe7\x28", 0.1),  # -25 frames a second, 40 ticks a frame: 1 ms a tick
        (b"\xe8\x50", 0.1 / 1.92),  # 24 frames, 80 ticks: 1920 a second
        (b"\xe3\x64", 0.1 * 1.001 / 3.0),  # 29: 30 frames drop-frame, that is 30/1.001 a second, 100 ticks
        (b"\x01\xf4", 0.1),  # 500 ticks a quarter note at 120 a minute
    ],
)
def test_time_division(division, seconds):
    """100 ticks by each kind of division; a tempo does not change frames."""
    tempo = b"\x00\xff\x51\x03\x0f\x42\x40" if division[0] > 127 else b""
    tune = read_midi(smf(division, tempo + b"\x00\x90\x45\x7f\x64\x80\x45\x00" + END), "x.mid")
    assert tune.notes[0].number == 69
    assert tune.notes[0].seconds == pytest.approx(seconds)


@pytest.mark.parametrize("division", [b"\x00\x00", b"\xe7\x00"])
def test_division_without_ticks_is_refused(division):
    with pytest.raises(DesignError, match=r"x\.mid: .*(division|ticks)"):
        read_midi(smf(division, b"\x00\x90\x45\x7f\x64\x80\x45\x00" + END), "x.mid")


def test_type_2_tracks_have_tempos_of_their_own():
    """Two patterns in one file of type 2: each track keeps its own time."""

    def pattern(tempo: bytes, note: bytes) -> bytes:
        return b"\x00\xff\x51\x03" + tempo + b"\x00\x90" + note + b"\x7f\x60\x80" + note + b"\x00" + END

    slow, fast = pattern(b"\x0f\x42\x40", b"\x45"), pattern(b"\x03\xd0\x90", b"\x48")  # 1 s and 0.25 s a quarter
    content = smf(b"\x00\x60", slow, fast, kind=2)
    assert [(n.number, n.seconds) for n in read_midi(content, "x").notes] == [(69, pytest.approx(1.0))]
    assert [(n.number, n.seconds) for n in read_midi(content, "x", track=2).notes] == [(72, pytest.approx(0.25))]
