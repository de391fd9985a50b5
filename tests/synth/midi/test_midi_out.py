"""MIDI out: the messages, decoded by the rules of MIDI 1.0, give the hand's pitch back; ports and their faults."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.analysis.tune import load_tune
from synth.cli import main
from synth.errors import DeviceError
from synth.midi.midi_messages import BEND_RANGE, INTERVAL, MidiLine, MidiSettings, bend_value, midi_messages, write_midi
from synth.midi.midi_out import MidiOut, chosen_port, list_midi_outputs

mido = pytest.importorskip("mido")


class Receiver:
    """An instrument by the rules of MIDI 1.0: works on the bytes alone, knows RPN 0, pitch bend, notes, controllers."""

    def __init__(self) -> None:
        self.rpn = [127, 127]
        self.range = 2.0  # semitones, the usual setting at power-on
        self.bend = 8192
        self.held: list[int] = []
        self.controllers: dict[int, int] = {}

    def take(self, message) -> None:
        status, first, second = message.bytes()
        kind = status & 0xF0
        if kind == 0xB0:
            self.controllers[first] = second
            if first in (100, 101):
                self.rpn[101 - first] = second
            elif first == 6 and self.rpn == [0, 0]:
                self.range = second + self.range % 1.0
            elif first == 38 and self.rpn == [0, 0]:
                self.range = int(self.range) + second / 100.0
            elif first == 123:
                self.held.clear()
        elif kind == 0xE0:
            self.bend = first | second << 7
        elif kind == 0x90 and second > 0:
            assert first not in self.held
            self.held.append(first)
        elif kind in (0x80, 0x90):
            self.held.remove(first)

    @property
    def frequency(self) -> float | None:
        if not self.held:
            return None
        return 440.0 * 2.0 ** ((self.held[-1] - 69 + (self.bend - 8192) / 8192.0 * self.range) / 12.0)


def pairs(messages):
    return [(m.control, m.value) for m in messages if m.type == "control_change"]


@pytest.mark.parametrize("bend_range", [BEND_RANGE, 24, 2])
def test_opening_sets_rpn_0(bend_range):
    line = MidiLine(MidiSettings(bend_range=bend_range, channel=3))
    messages = line.opening()
    assert pairs(messages)[:4] == [(101, 0), (100, 0), (6, bend_range), (38, 0)]
    assert pairs(messages)[4:] == [(101, 127), (100, 127)]  # no parameter stays open to stray data entry
    assert {m.channel for m in messages} == {2}
    receiver = Receiver()
    for message in messages:
        receiver.take(message)
    assert receiver.range == bend_range


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.floats(20.5, 12_000.0), st.floats(0.02, 1.0)), min_size=1, max_size=40),
    st.sampled_from([48, 24, 12]),
)
def test_decoded_pitch_is_within_a_cent(points, bend_range):
    """However the hand jumps, as long as a step takes longer than the rate limit."""
    line, receiver = MidiLine(MidiSettings(bend_range=bend_range)), Receiver()
    for message in line.opening():
        receiver.take(message)
    for step, (frequency, volume) in enumerate(points):
        for message in line.play(0.01 * step, frequency, volume):
            receiver.take(message)
        assert receiver.frequency is not None
        assert abs(1200.0 * math.log2(receiver.frequency / frequency)) < 1.0
        assert (receiver.controllers[11] / 127.0) ** 2 == pytest.approx(volume, abs=0.009)
        assert len(receiver.held) == 1
    for message in line.closing():
        receiver.take(message)
    assert receiver.held == []
    assert receiver.bend == 8192


def test_a_glide_over_four_octaves_is_one_note():
    glide = [(0.005 * i, 131.0 * 2.0 ** (4.0 * i / 1000), 0.5) for i in range(1000)]
    messages = midi_messages(glide)
    assert sum(m.type == "note_on" for m in messages) == 1
    narrow = midi_messages(glide, MidiSettings(bend_range=2))
    assert 9 <= sum(m.type == "note_on" for m in narrow) <= 25  # struck anew at the border, not stuttering there


def test_borders_do_not_stutter():
    """A volume that trembles about the threshold, a pitch that trembles about the low end and about a bend's border."""
    tremble = np.tile([1.0, -1.0], 500)
    cases = (
        [(0.01 * i, 440.0, 0.009 + 0.002 * t) for i, t in enumerate(tremble)],
        [(0.01 * i, 20.0 + 1.0 * t, 0.5) for i, t in enumerate(tremble)],
        [(0.0, 440.0, 0.5)] + [(0.01 + 0.01 * i, 880.0 * 2.0 ** (0.01 * t), 0.5) for i, t in enumerate(tremble)],
    )
    for points in cases:
        starts = sum(m.type == "note_on" for m in midi_messages(points, MidiSettings(bend_range=12)))
        assert 1 <= starts <= 2


def test_rate_is_limited():
    rng = np.random.default_rng(1)
    points = [(0.0005 * i, 440.0 + 50.0 * rng.random(), 0.3 + 0.5 * rng.random()) for i in range(2000)]
    for kind in ("pitchwheel", "control_change"):
        times = np.array([m.time for m in midi_messages(points)[7:-2] if m.type == kind])
        assert times.size > 150
        assert np.diff(times).min() >= INTERVAL - 1e-9


def test_bend_meets_the_standard():
    """0x0000 full down, 0x2000 centre, 0x3FFF full up (MIDI 1.0 Detailed Specification, from memory)."""
    assert mido.Message("pitchwheel", pitch=bend_value(-48.0, 48)).bytes()[1:] == [0, 0]
    assert mido.Message("pitchwheel", pitch=bend_value(0.0, 48)).bytes()[1:] == [0, 0x40]
    assert mido.Message("pitchwheel", pitch=bend_value(48.0, 48)).bytes()[1:] == [0x7F, 0x7F]


@pytest.mark.parametrize(
    "values",
    [
        {"channel": 0},
        {"channel": 17},
        {"bend_range": 0},
        {"bend_range": 97},
        {"bend_range": True},
        {"bend_range": 2.0},
        {"interval": 0.0},
    ],
)
def test_bad_settings(values):
    with pytest.raises(ValueError, match=next(iter(values))):
        MidiSettings(**values)


@pytest.mark.parametrize("point", [(math.nan, 440.0, 0.5), (1.0, math.inf, 0.5), (1.0, 440.0, 1.1), (-1.0, 440.0, 0.5)])
def test_bad_points(point):
    line = MidiLine()
    line.play(0.0, 440.0, 0.5)
    with pytest.raises(ValueError, match="must"):
        line.play(*point)


def test_written_file_is_read_back_as_the_tune(tmp_path):
    """Notes parted by the volume hand come back with their numbers, starts and lengths."""
    wanted = [(60, 0.0, 0.5), (64, 0.7, 0.4), (67, 1.3, 1.0)]
    points = []
    for time in np.arange(0.0, 2.5, 0.002):
        note = next((n for n in wanted if n[1] <= time < n[1] + n[2]), None)
        points.append((float(time), 440.0 * 2.0 ** (((note or wanted[-1])[0] - 69) / 12), 0.6 if note else 0.0))
    write_midi(midi_messages(points), tmp_path / "a.mid", force=False)
    assert [
        (n.number, pytest.approx(n.start, abs=4e-3), pytest.approx(n.seconds, abs=6e-3))
        for n in load_tune(tmp_path / "a.mid").notes
    ] == wanted


class Port:
    """A port that keeps what is sent, or fails."""

    def __init__(self, fails_after: int = 10**9) -> None:
        self.sent: list[object] = []
        self.closed = False
        self.fails_after = fails_after

    def send(self, message) -> None:
        if len(self.sent) >= self.fails_after:
            raise OSError("unplugged")
        self.sent.append(message)

    def close(self) -> None:
        self.closed = True


class Backend:
    """Two ports."""

    def __init__(self, port: Port) -> None:
        self.port = port

    def get_output_names(self):
        return ["Synth One", "Synth Two"]

    def open_output(self, name):
        return self.port


def test_port_is_opened_played_and_silenced():
    port = Port()
    with MidiOut("two", backend=Backend(port)) as midi:
        assert midi.name == "Synth Two"
        midi.play(1.0, -440.0, 0.5)  # a beat on the other side of zero is the same tone
        midi.play(0.9, 445.0, 0.5)
    midi.close()
    kinds = [m.type for m in port.sent]
    assert kinds.count("note_on") == kinds.count("note_off") == 1
    assert (123, 0) in pairs(port.sent)
    assert port.closed


def test_a_lost_port_says_so_and_does_not_raise():
    port = Port(fails_after=9)
    midi = MidiOut(None, backend=Backend(port))
    for step in range(10):
        midi.play(0.1 * step, 440.0 + step, 0.5)
    assert midi.failure is not None
    assert "unplugged" in midi.failure
    midi.close()
    assert port.closed


@pytest.mark.parametrize(("wanted", "message"), [("synth", "several"), ("organ", "no MIDI output holds 'organ'")])
def test_port_names_that_do_not_fit(wanted, message):
    with pytest.raises(DeviceError, match=message):
        chosen_port(wanted, ("Synth One", "Synth Two"))
    with pytest.raises(DeviceError, match="beatfield devices"):
        chosen_port(None, ())


def test_no_backend_says_what_to_install(monkeypatch):
    monkeypatch.setattr("synth.midi.midi_out.BACKENDS", ("mido.backends.nothing",))
    with pytest.raises(DeviceError, match="python-rtmidi"):
        list_midi_outputs()


def test_devices_lists_midi_outputs(monkeypatch, capsys):
    monkeypatch.setattr("synth.live.sound_device.list_devices", lambda: ())
    monkeypatch.setattr("synth.midi.midi_out.open_backend", lambda: Backend(Port()))
    assert main(["devices", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["midi_outputs"] == ["Synth One", "Synth Two"]
