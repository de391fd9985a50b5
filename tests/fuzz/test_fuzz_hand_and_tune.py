"""Hand traces, MIDI files and note lists of every kind of damage."""

from __future__ import annotations

import io
import math
import os
import tempfile
from pathlib import Path

import mido
import numpy as np
import pytest
import wild
from hypothesis import strategies as st

from synth.analysis.tune import LARGEST_FILE, load_tune
from synth.errors import DesignError
from synth.hands import trace_file
from synth.hands.trace_file import load_trace
from synth.midi.midi_file import MOST_MESSAGES, read_midi
from synth.tunes.melody import LONGEST, MOST_NOTES

DEMOS = Path(__file__).parents[2] / "demos"

TRACES = [
    b"time_s,distance_m,volume\n0,0.5,1\n0.5,0.25,0.5\n1,0.1,0\n",
    b"time_ms,distance_cm\r\n0,50\r\n10,49.5\r\n20,49\r\n",
    b"distance_mm,time_s,volume\n500, 0 ,1\n\n200,1.5,1e-1\n",
]


def midi_bytes(kind: int = 1, *, division: int = 480, notes: int = 8) -> bytes:
    """A small Standard MIDI File with a change of tempo, running notes and some percussion."""
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    lead = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=400_000), mido.MetaMessage("track_name", name="x")])
    tune = mido.MidiTrack()
    for number in range(notes):
        tune.append(mido.Message("note_on", note=60 + number % 20, velocity=90, time=30))
        tune.append(mido.Message("control_change", control=1, value=3))
        tune.append(mido.Message("note_off", note=60 + number % 20, time=200))
    tune.append(mido.Message("note_on", channel=9, note=40, velocity=9))
    file.tracks.extend([tune] if kind == 0 else [lead, tune])
    stream = io.BytesIO()
    file.save(file=stream)
    return stream.getvalue()


MIDI = [midi_bytes(0), midi_bytes(1), midi_bytes(2), midi_bytes(1, division=24)]
NOTES = [
    *(DEMOS.joinpath(name).read_bytes() for name in ("lark.txt", "tide.txt")),
    b"tempo 60\nA4 1/4, rest 1/8, C5 1/8 # end\nvolume 0.5\nlegato\nBb3 3/4\n",
]


def _in_file(content: bytes, suffix: str, reader: object) -> object:
    handle, name = tempfile.mkstemp(suffix=suffix)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        return wild.told(lambda: reader(name), name)  # type: ignore[operator]
    finally:
        os.unlink(name)


def _trace(content: bytes) -> None:
    path = _in_file(content, ".csv", load_trace)
    if path is not None:
        assert np.isfinite(path.times).all()
        assert (np.diff(path.times) > 0.0).all()
        assert ((path.distances > 0.0) & (path.distances <= trace_file.FARTHEST)).all()
        assert ((path.volumes >= 0.0) & (path.volumes <= 1.0)).all()


def _tune(content: bytes, suffix: str) -> None:
    tune = _in_file(content, suffix, load_tune)
    if tune is not None:
        assert 0 < len(tune.notes) <= MOST_NOTES
        assert math.isfinite(tune.seconds)
        assert tune.seconds <= LONGEST
        assert all(0 <= note.number <= 127 and note.seconds > 0.0 for note in tune.notes)


def _midi(content: bytes) -> None:
    _tune(content, ".mid")


def _note_list(content: bytes) -> None:
    _tune(content, ".txt")


_WORDS = st.sampled_from(
    [
        "A4",
        "Bb3",
        "C#5",
        "rest",
        "tempo",
        "volume",
        "legato",
        "separate",
        "1/4",
        "1/0",
        "0/1",
        "9999/1",
        "1/9999",
        "3/8",
        "96",
        "nan",
        "1e9",
        "-1",
        "0.5",
        "G9",
        "C-1",
        "C99999",
        "A" * 300,
        ",",
        ",",
        ",",
        "\n",
        "\n",
        "#",
        "\x1b[1m",
        "\x0c",
        "\u2028",
        "\x85",
    ]
)
_SOUP = st.lists(_WORDS, max_size=30).map(lambda words: " ".join(words).encode())

test_traces_few, test_traces = wild.quick_and_slow(_trace, wild.damaged(TRACES), 60, 150)
test_midi_files_few, test_midi_files = wild.quick_and_slow(_midi, wild.damaged(MIDI), 60, 150)
test_note_lists_few, test_note_lists = wild.quick_and_slow(_note_list, st.one_of(wild.damaged(NOTES), _SOUP), 60, 150)


def test_a_trace_is_bounded_in_rows_and_bytes(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    monkeypatch.setattr(trace_file, "MOST_ROWS", 100)
    rows = "".join(f"{time},0.5\n" for time in range(101))
    path.write_text("time_s,distance_m\n" + "".join(rows.splitlines(keepends=True)[:100]))
    assert load_trace(path).times.size == 100
    path.write_text("time_s,distance_m\n" + rows)
    with pytest.raises(DesignError, match=r"a\.csv: has more than 100 rows"):
        load_trace(path)
    monkeypatch.setattr(trace_file, "LARGEST_FILE", 1000)
    path.write_text("time_s,distance_m\n0,0.5\n" + " " * (1000 - 24))
    assert path.stat().st_size == 1000
    assert load_trace(path).times.size == 1
    path.write_text(path.read_text() + " ")
    with pytest.raises(DesignError, match=r"a\.csv: is larger than"):
        load_trace(path)


@pytest.mark.slow
def test_a_tune_is_bounded_in_bytes_and_messages(tmp_path):
    path = tmp_path / "a.txt"
    path.write_bytes(b"A4 1/4\n" + b"#" * (LARGEST_FILE - 7))
    assert len(load_tune(path).notes) == 1
    path.write_bytes(b"A4 1/4\n" + b"#" * (LARGEST_FILE - 6))
    with pytest.raises(DesignError, match=r"a\.txt: larger than 200000 bytes"):
        load_tune(path)

    # two bytes a message, by running status: as many as the bound of bytes lets in, with one note in front
    def messages(count: int) -> bytes:
        body = b"\x00\x90\x45\x40\x83\x60\x45\x00" + b"\x00\xc0\x00" + b"\x00\x00" * (count - 5) + b"\x00\xff\x2f\x00"
        return b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk" + len(body).to_bytes(4, "big") + body

    assert len(read_midi(messages(1000), "a.mid").notes) == 1
    with wild.at_most(5.0), pytest.raises(DesignError, match=rf"a\.mid: holds more than {MOST_MESSAGES} messages"):
        read_midi(messages(MOST_MESSAGES + 2), "a.mid")


@pytest.mark.parametrize("notes", [MOST_NOTES, MOST_NOTES + 1])
def test_a_tune_is_bounded_in_notes(notes):
    content = midi_bytes(notes=notes, division=960)
    if notes <= MOST_NOTES:
        assert len(read_midi(content, "a.mid").notes) == notes
    else:
        with pytest.raises(DesignError, match=r"a\.mid: holds \d+ notes, and 2000 are taken"):
            read_midi(content, "a.mid")
