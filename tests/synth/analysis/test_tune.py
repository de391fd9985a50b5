"""Tunes: read back, played through the field, missed by a seeded human error; and the sensitivity report."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.hand.capacitance_curve import CapacitanceCurve
from models.pitch import frequency_of_note
from models.pitch_discrimination import frequency_limen, limen_cents
from models.pitch_field import pitch_field
from synth.analysis.tune import load_tune
from synth.build.assembly import assemble
from synth.build.workbench import Workpiece
from synth.cli import main
from synth.designs.template import template_design
from synth.errors import EXIT_USAGE, DesignError
from synth.hands.tune_path import LEAD, Manner, perform
from synth.midi.midi_file import read_midi
from synth.report.sensitivity_plot import save_sensitivity_plot
from synth.report.sensitivity_report import sensitivity_report
from synth.report.tune_report import tune_report
from synth.sound.voice import Voice
from synth.tunes.melody import Tune, TuneNote
from synth.tunes.note_list import read_note_list
from synth.tunes.reach import advice, reaches_all, retuned

_DISTANCES = np.geomspace(0.01, 0.8, 30)
CURVE = CapacitanceCurve(_DISTANCES, 6.24e-12 + 0.033e-12 / (_DISTANCES + 0.015), 6.24e-12)
EXACT = Manner(tremor=0.0, placement=0.0)


@pytest.fixture(scope="module")
def workpiece() -> Workpiece:
    design = replace(template_design(), volume_antenna=None, volume=None, volume_response=None)
    made = assemble(design, CURVE)
    return Workpiece(design, made.instrument, made.reference, pitch_field(made.instrument), made.notices)


def test_note_list_by_hand():
    tune = read_note_list("tempo 60\nA4 1/4, rest 1/8, C5 1/8 # end\nvolume 0.5\nlegato\nBb3 3/4\n", "x")
    assert [(n.number, n.start, n.seconds, n.loudness, n.legato) for n in tune.notes] == [
        (69, 0.0, 1.0, 1.0, False),
        (72, 1.5, 0.5, 1.0, False),
        (58, 2.0, 3.0, 0.5, True),
    ]


@pytest.mark.parametrize(
    "text", ["", "A4", "H4 1/4", "A4 1/0", "A4 1/4 1/4", "tempo 1e9", "volume nan", "A4 1/4000", "rest 9999", "A4 0.5"]
)
def test_bad_note_lists_are_refused(text):
    with pytest.raises(DesignError, match=r"^x"):
        read_note_list(text + "\nrest 9999\nA4 1/4" if text.startswith("rest") else text, "x")


def test_demo_tunes_sound_as_written(demos, workpiece):
    """Every note within 0.1 cents of equal temperament (ISO 16), with a hand without error."""
    for name in ("lark.txt", "tide.txt"):
        tune = load_tune(demos / name)
        played = perform(tune, workpiece.field, EXACT)
        off = [note.cents for note in played.notes if note.cents is not None]
        assert len(off) == len(tune.notes)
        assert np.abs(off).max() < 0.1


def test_rendered_sound_has_the_wanted_pitch(workpiece):
    """Phase of the voice over the held part of a note, through the 5 ms pole: within 1 cent."""
    tune = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(67, 1.0, 1.0)))
    path = perform(tune, workpiece.field, EXACT).path
    voice = Voice(workpiece.instrument, 48000)
    for note in tune.notes:
        start = round((LEAD + note.start + 0.3) * 48000)
        voice.reset()
        samples = voice.render(path.block(start, 24000, 48000), 24000)
        spectrum = np.abs(np.fft.rfft(samples * np.hanning(24000), 480000))
        band = np.fft.rfftfreq(480000, 1 / 48000)
        wanted = float(frequency_of_note(note.number))
        spectrum[np.abs(band / wanted - 1.0) > 0.05] = 0.0
        peak = int(spectrum.argmax())
        low, mid, high = np.log(spectrum[peak - 1 : peak + 2])
        found = band[peak] + 0.1 * 0.5 * (low - high) / (low - 2 * mid + high)
        assert 1200 * abs(np.log2(found / wanted)) < 1.0


def test_error_in_cents_is_steepness_times_error_in_mm(workpiece):
    """Small placing errors: RMS cents = cents per mm x RMS mm, on a note that is left and found again."""
    notes = tuple(TuneNote((60, 64)[i % 2], 0.2 * i, 0.2) for i in range(1000))
    played = perform(Tune("x", notes), workpiece.field, Manner(tremor=0.0, placement=0.1e-3, seed=4)).notes
    for number in (60, 64):
        chosen = [note for note in played if note.note.number == number]
        rms = np.sqrt(np.mean([note.cents**2 for note in chosen]))
        slope = float(workpiece.field.cents_per_mm(chosen[0].distance))
        missed = 1e3 * np.sqrt(np.mean([(note.placed - note.distance) ** 2 for note in chosen]))
        assert missed == pytest.approx(0.1, rel=0.1)  # 500 draws: 3 % standard error
        assert rms == pytest.approx(slope * missed, rel=0.01)


def test_same_seed_same_person(workpiece, demos):
    tune = load_tune(demos / "lark.txt")
    one, again = (perform(tune, workpiece.field, Manner(seed=5)) for _ in range(2))
    other = perform(tune, workpiece.field, Manner(seed=6))
    np.testing.assert_array_equal(one.path.distances, again.path.distances)
    assert not np.array_equal(one.path.distances, other.path.distances)


def test_advice_is_true_when_followed(workpiece):
    field = workpiece.field
    top = max(line.number for line in field.notes())
    tune = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(top + 2, 1.0, 1.0)))
    report, played = tune_report(workpiece, tune, EXACT)
    assert report.in_reach == 1
    assert played is not None
    assert "above" in str(report.notes[1].fault)
    found = advice(tune, field)
    assert (found.semitones, found.octaves) == (-2, -12)
    assert reaches_all(tune.transposed(-2), field)
    assert not reaches_all(tune.transposed(-1), field)
    flat = retuned(field, 0.2)  # a zero beat too near: the top is lost, and the advice brings it back
    high = Tune("x", (TuneNote(60, 0.0, 1.0), TuneNote(top - 1, 1.0, 1.0)))
    assert not reaches_all(high, flat)
    zero_beat = advice(high, flat).zero_beat
    assert zero_beat is not None
    there = retuned(flat, zero_beat)
    assert there.zero_beat_distance == pytest.approx(zero_beat, abs=1e-6)
    assert reaches_all(high, there)


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


def test_limen_near_one_kilohertz():
    """Moore's textbook, from memory: some 2 to 3 Hz at 1 kHz and moderate level; relative limen worse at both ends."""
    assert 1.5 < float(frequency_limen(1000.0)) < 3.0
    assert float(limen_cents(1000.0)) < 5.0 < min(float(limen_cents(150.0)), float(limen_cents(8000.0)))


def test_sensitivity_says_the_same_everywhere(workpiece, tmp_path):
    report = sensitivity_report(workpiece)
    rows = list(csv.DictReader(io.StringIO(report.csv())))
    document = json.loads(json.dumps(report.document(), allow_nan=False))
    text = report.text()
    for note, row, entry in zip(report.notes, rows, document["notes"], strict=True):
        assert float(row["tremor_cents"]) == pytest.approx(entry["tremor_cents"], rel=1e-8)
        line = next(line for line in text.splitlines() if line.startswith(f"{note.note:<6}"))
        assert f"{note.cents_per_mm:.1f} cents" in line
        assert note.verdict in line
        step = 0.05e-3
        moved = workpiece.field.frequency_at([note.distance_m - step, note.distance_m + step])
        if note.cents_per_mm < 100.0:
            assert 600 * abs(np.log2(moved[0] / moved[1])) == pytest.approx(note.tremor_cents, rel=0.02)
    save_sensitivity_plot(report, tmp_path / "s.png", force=False)
    assert (tmp_path / "s.png").stat().st_size > 5000


def test_tune_options_need_a_tune(tmp_path, demos, capsys):
    code = main(
        ["render", str(demos / "meadow.toml"), "--gesture", "still", "--transpose", "2", "-o", str(tmp_path / "x.wav")]
    )
    assert code == EXIT_USAGE
    assert "--transpose is for a tune" in capsys.readouterr().err


def test_tune_report_says_the_same_everywhere(workpiece):
    report, _ = tune_report(workpiece, read_note_list("A4 1/4, C5 1/4, G9 1/4", "x"), Manner())
    rows = list(csv.DictReader(io.StringIO(report.csv())))
    document = json.loads(json.dumps(report.document(), allow_nan=False))
    for row, entry, line in zip(rows, document["notes"], report.text().split("wobble\n")[1].splitlines(), strict=False):
        assert row["note"] == entry["note"]
        if entry["cents"] is None:
            assert row["cents"] == ""
            assert "out of reach" in line
        else:
            assert float(row["cents"]) == pytest.approx(entry["cents"], rel=1e-8)
            assert f"{entry['cents']:+.1f} cents" in line


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


@pytest.mark.parametrize(
    ("option", "value", "message"),
    [
        ("--placement-mm", "60", "--placement-mm must be between 0 and 50 mm; got 60"),
        ("--tremor-mm", "-1", "--tremor-mm must be between 0 and 50 mm; got -1"),
        ("--vibrato-mm", "nan", "--vibrato-mm must be between 0 and 50 mm; got nan"),
        ("--portamento", "3", "--portamento must be between 0 and 2 s; got 3"),
        ("--seed", "-1", "--seed: seed must be a whole number >= 0"),
    ],
)
def test_errors_speak_the_unit_that_was_given(option, value, message, demos, capsys):
    command = ["tune", str(demos / "lark.txt"), str(demos / "meadow.toml"), option, value]
    assert main(command) == EXIT_USAGE
    assert message in capsys.readouterr().err


def test_placement_is_called_assumed_unless_given(workpiece):
    tune = read_note_list("A4 1/4", "x")
    text = tune_report(workpiece, tune, Manner())[0].text()
    assert "placement 1 mm (assumed)" in text
    assert "archneur" in text
    assert "mm (assumed)," not in tune_report(workpiece, tune, Manner(placement=2e-3))[0].text()


@pytest.fixture
def opened(workpiece, monkeypatch):
    """Commands open the module's small design, whatever file they name."""
    monkeypatch.setattr("synth.build.workbench.open_design", lambda *_: workpiece)


def test_render_tune(opened, demos, tmp_path, capsys):
    """The file lasts as long as the tune and its ends; its first note is D4, half-way through within a cent."""
    soundfile = pytest.importorskip("soundfile")
    out = tmp_path / "lark.wav"
    command = ["render", str(demos / "meadow.toml"), "--tune", str(demos / "lark.txt"), "-o", str(out), "--json"]
    assert main([*command, "--placement-mm", "0", "--tremor-mm", "0"]) == 0
    told = json.loads(capsys.readouterr().out)
    sound, rate = soundfile.read(out)
    tune = load_tune(demos / "lark.txt")
    assert told["frames"] == sound.size
    assert sound.size / rate == pytest.approx(tune.seconds + 0.45, abs=0.05)
    piece = sound[round((LEAD + 0.2) * rate) : round((LEAD + 0.55) * rate)] * np.hanning(round(0.35 * rate))
    size = np.abs(np.fft.rfft(piece, 2**20))
    band = np.fft.rfftfreq(2**20, 1.0 / rate)
    size[np.abs(band / 293.66 - 1.0) > 0.1] = 0.0
    assert 1200 * abs(np.log2(band[size.argmax()] / (440.0 * 2.0 ** (-7 / 12)))) < 1.0
    assert main([*command, "--transpose", "60", "--force"]) == EXIT_USAGE
    assert "above the highest pitch in reach" in capsys.readouterr().err


def test_midi_of_a_tune_reads_back(opened, tmp_path, capsys):
    """Notes parted by rests, played, written with pitch bend, and read again as a tune."""
    command = ["tune", str(tmp_path / "a.txt"), "x.toml", "--midi", str(tmp_path / "a.mid")]
    (tmp_path / "a.txt").write_text("D4 1/4, rest 1/8, F#4 1/4, rest 1/8, A4 1/2")
    assert main([*command, "--placement-mm", "0"]) == 0
    wanted, found = load_tune(tmp_path / "a.txt").notes, load_tune(tmp_path / "a.mid").notes
    assert [note.number for note in found] == [note.number for note in wanted]
    for one, two in zip(wanted, found, strict=True):
        assert two.start - found[0].start == pytest.approx(one.start, abs=0.02)
        assert two.seconds == pytest.approx(one.seconds, abs=0.06)


def test_steep_spans_are_where_a_millimetre_is_half_a_semitone(workpiece):
    """At their ends the pitch of two places 1 mm apart differs by 50 cents; every steep note lies in one, no other."""
    report = sensitivity_report(workpiece)
    field = workpiece.field
    assert report.steep_spans_m
    for near, far in report.steep_spans_m:
        for end in (near, far):
            if field.playable_near + 1e-3 < end < field.playable_far - 1e-3:
                pair = field.frequency_at([end - 0.5e-3, end + 0.5e-3])
                assert 1200 * abs(np.log2(pair[0] / pair[1])) == pytest.approx(50.0, rel=0.05)
    for note in report.notes:
        within = any(near <= note.distance_m <= far for near, far in report.steep_spans_m)
        assert within == (note.verdict == "too steep")
    assert f"{100 * report.steep_spans_m[0][1]:.1f} cm" in report.text()


def test_names_of_notes_do_not_touch(workpiece, tmp_path, monkeypatch):
    """Every C that has room is named; the written names are apart and inside the picture."""
    from matplotlib.figure import Figure

    drawn = []
    save = Figure.savefig

    def keep(figure, *args, **kwargs):
        save(figure, *args, **kwargs)
        drawn.append(figure)

    monkeypatch.setattr(Figure, "savefig", keep)
    report = sensitivity_report(workpiece)
    save_sensitivity_plot(report, tmp_path / "s.png", force=False)
    labels = [text for text in drawn[0].axes[0].child_axes[0].get_xticklabels() if text.get_text()]
    boxes = sorted((text.get_window_extent() for text in labels), key=lambda box: box.x0)
    assert len(boxes) >= 5
    assert {text.get_text() for text in labels} >= {"C4", "C5", "C6"}
    assert all(one.x1 < two.x0 for one, two in zip(boxes, boxes[1:], strict=False))
    whole = drawn[0].bbox
    assert all(whole.x0 <= box.x0 and box.x1 <= whole.x1 and box.y1 <= whole.y1 for box in boxes)
