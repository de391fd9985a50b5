"""Tunes from the command line: options and their units, a rendered tune, a tune written as MIDI."""

from __future__ import annotations

import json

import numpy as np
import pytest

from synth.analysis.tune import load_tune
from synth.cli import main
from synth.errors import EXIT_USAGE
from synth.hands.own_hand import OwnHand
from synth.hands.tune_path import LEAD


def test_tune_options_need_a_tune(tmp_path, demos, capsys):
    code = main(
        ["render", str(demos / "meadow.toml"), "--gesture", "still", "--transpose", "2", "-o", str(tmp_path / "x.wav")]
    )
    assert code == EXIT_USAGE
    assert "--transpose is for a tune" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("option", "value", "message"),
    [
        ("--placement-mm", "60", "--placement-mm 60: must be between 0 and 50 mm"),
        ("--tremor-mm", "-1", "--tremor-mm -1: must be between 0 and 50 mm"),
        ("--vibrato-mm", "nan", "--vibrato-mm nan: must be between 0 and 50 mm"),
        ("--portamento", "3", "--portamento 3: must be between 0 and 2 s"),
        ("--seed", "-1", "--seed -1: must be a whole number"),
    ],
)
def test_errors_speak_the_unit_that_was_given(option, value, message, demos, capsys):
    command = ["tune", str(demos / "lark.txt"), str(demos / "meadow.toml"), option, value]
    assert main(command) == EXIT_USAGE
    assert message in capsys.readouterr().err


@pytest.fixture
def opened_anyway(plain_workpiece, monkeypatch):
    """Commands open the plain design, whatever file they name."""
    monkeypatch.setattr("synth.build.workbench.open_design", lambda *_: plain_workpiece)


def test_render_tune(opened_anyway, demos, tmp_path, capsys):
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


def test_a_tune_is_rendered_with_the_own_hand_as_it_is_read(opened_anyway, monkeypatch, tmp_path, capsys):
    """The placement and tremor that were measured are those of the sound, as if they had been given."""
    soundfile = pytest.importorskip("soundfile")
    (tmp_path / "a.txt").write_text("D4 1/8, A4 1/8")
    command = ["render", "x.toml", "--tune", str(tmp_path / "a.txt"), "-o"]
    given = ["--placement-mm", "4", "--tremor-mm", "0.2"]
    assert main([*command, str(tmp_path / "given.wav"), *given]) == 0
    assert "your own hand" not in capsys.readouterr().err
    hand = OwnHand(0.05, 0.5, 0.004, 0.0002, 8.0, 1.0, 1e-4)
    monkeypatch.setattr("synth.hands.own_hand_file.own_hand", lambda: hand)
    assert main([*command, str(tmp_path / "own.wav")]) == 0
    assert "your own hand" in capsys.readouterr().err
    sounds = [soundfile.read(tmp_path / f"{name}.wav")[0] for name in ("given", "own")]
    np.testing.assert_array_equal(*sounds)


def test_midi_of_a_tune_reads_back(opened_anyway, tmp_path, capsys):
    """Notes parted by rests, played, written with pitch bend, and read again as a tune."""
    command = ["tune", str(tmp_path / "a.txt"), "x.toml", "--midi", str(tmp_path / "a.mid")]
    (tmp_path / "a.txt").write_text("D4 1/4, rest 1/8, F#4 1/4, rest 1/8, A4 1/2")
    assert main([*command, "--placement-mm", "0"]) == 0
    wanted, found = load_tune(tmp_path / "a.txt").notes, load_tune(tmp_path / "a.mid").notes
    assert [note.number for note in found] == [note.number for note in wanted]
    for one, two in zip(wanted, found, strict=True):
        assert two.start - found[0].start == pytest.approx(one.start, abs=0.02)
        assert two.seconds == pytest.approx(one.seconds, abs=0.06)
