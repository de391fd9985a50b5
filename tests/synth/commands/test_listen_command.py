"""`beatfield listen FILE`: every form, marks, clock, beat and capacitance, and messages with a remedy."""

import io
import json

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from synth.analysis.listen_figures import BELOW, Beating, Clock
from synth.cli import main
from synth.comparisons.made_sound import RATE, disturbed, note, scale_of
from synth.errors import DesignError, DeviceError

NOTES = (130.8, 196.0, 440.0)
MARKS = "30cm,20cm,away"


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    path = tmp_path_factory.mktemp("sound") / "played.wav"
    soundfile.write(path, disturbed(scale_of(NOTES, rest=0.6)), RATE, subtype="PCM_24")
    return path


def document(arguments, capsys):
    assert main(["listen", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.slow
def test_every_form(recording, tmp_path, capsys):
    table, plot, readings = (tmp_path / name for name in ("heard.csv", "heard.png", "readings.csv"))
    arguments = [recording, "--marks", MARKS, "--csv", table, "--plot", plot, "--readings", readings]
    made = document(arguments, capsys)
    assert made["schema"] == "beatfield.listen/1"
    assert_allclose([rest["frequency_hz"] for rest in made["rests"]], NOTES, rtol=6e-4)
    assert [rest["hand_distance_m"] for rest in made["rests"]] == [0.3, 0.2, None]
    assert [rest["hand_away"] for rest in made["rests"]] == [False, False, True]
    assert plot.stat().st_size > 10_000
    columns = np.genfromtxt(table, delimiter=",", names=True)
    assert columns.dtype.names[:4] == ("time_s", "frequency_hz", "note_number", "confidence")
    assert_allclose(columns["frequency_hz"][20:50], NOTES[0], rtol=3e-3)
    lines = readings.read_text().splitlines()
    assert lines[0] == "hand_distance,pitch"
    assert [line.split(",")[0] for line in lines[1:]] == ["0.3 m", "0.2 m", "away"]
    assert all(line.endswith(" Hz") for line in lines[1:])


def test_the_text_tells_what_the_document_tells(recording, capsys):
    assert main(["listen", str(recording)]) == 0
    text = capsys.readouterr().out
    for word in ("C3", "G3", "A4", "2.20 s at 48000 Hz"):
        assert word in text


def test_more_marks_than_rests_are_told_with_what_was_found(recording, tmp_path, capsys):
    readings = tmp_path / "readings.csv"
    assert main(["listen", str(recording), "--marks", "1cm,2cm,3cm,4cm", "--readings", str(readings)]) == 2
    said = capsys.readouterr().err
    assert "rests at 3 places, and --marks names 4" in said
    assert "at 130.8" in said
    assert not readings.exists()


def test_radio_frequency_by_the_beat_and_capacitance_by_the_shift(recording, capsys):
    options = ["--oscillator", "300kHz", "--capacitance", "500pF"]
    rests = document([recording, *options, "--side", "below"], capsys)["rests"]
    assert_allclose(rests[0]["oscillator_hz"], [300e3 - NOTES[0]], rtol=1e-6)
    wanted = 500e-12 * (((300e3 - NOTES[0]) / (300e3 - NOTES[1])) ** 2 - 1.0)
    assert rests[0]["added_capacitance_f"] == 0.0
    assert_allclose(rests[1]["added_capacitance_f"], wanted, rtol=2e-3, atol=0.0)
    both = document([recording, "--oscillator", "300kHz"], capsys)["rests"][0]
    assert_allclose(both["oscillator_hz"], [300e3 - NOTES[0], 300e3 + NOTES[0]], rtol=1e-6)


def test_one_hertz_of_beat_is_some_3_femtofarad():
    """2 C df / f at 300 kHz and 500 pF: 3.33 fF a hertz."""
    added = Beating(300e3, BELOW, 500e-12).added(1000.0, 1001.0)
    assert_allclose(added, 3.33e-15, rtol=5e-3, atol=0.0)


def test_the_clock_is_read_from_a_tone_and_corrects(tmp_path, capsys):
    tone = tmp_path / "tone.wav"
    soundfile.write(tone, note(440.044, 1.0), RATE, subtype="PCM_24")
    made = document([tone, "--calibration-tone", "440Hz"], capsys)
    assert_allclose(made["clock_ppm"], -100.0, atol=1.0)  # a slow clock reads tones too high
    assert_allclose(made["rests"][0]["frequency_hz"], 440.0, rtol=1e-6)
    other = document([tone, "--calibration-tone", "440Hz:440.044Hz"], capsys)
    assert_allclose(other["rests"][0]["frequency_hz"], 440.0, rtol=1e-6)
    assert main(["listen", str(tone), "--calibration-tone", "1kHz"]) == 2
    assert "no steady tone of 1 kHz" in capsys.readouterr().err
    assert Clock(440.0, 439.956).parts_per_million > 0.0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--marks", "5,10"], "--marks 5: "),
        (["--readings", "r.csv"], "--readings needs --marks"),
        (["--every", "5cm:2cm"], "--every is for live listening"),
        (["--silence", "3"], "--silence 3"),
        (["--calibration-tone", "440Hz:450Hz"], "more than a card's clock is off"),
        (["--calibration-tone", "1Hz"], "must be between 20 Hz and 20 kHz"),
        (["--capacitance", "500pF"], "--capacitance tells"),
        (["--side", "below"], "--side goes with --oscillator"),
        (["--oscillator", "300kHz", "--side", "up"], "must be one of above, below"),
    ],
)
def test_bad_options_are_told(recording, options, said, capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert main(["listen", str(recording), *options]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("content", [b"", b"RIFF no sound", b"time_s,distance_m\n0,1\n"])
def test_a_file_that_is_no_sound(content, tmp_path, capsys):
    path = tmp_path / "no.wav"
    path.write_bytes(content)
    assert main(["listen", str(path)]) == 2
    assert "no.wav: cannot be read as sound" in capsys.readouterr().err
    assert main(["listen", str(tmp_path)]) == 2
    assert main(["listen", str(tmp_path / "none.wav")]) == 2
    assert "no such file" in capsys.readouterr().err


def test_silence_has_no_pitch_and_no_rest(tmp_path, capsys):
    path = tmp_path / "silent.wav"
    soundfile.write(path, np.zeros(RATE // 2), RATE)
    made = document([path], capsys)
    assert made["rests"] == []
    assert made["lowest_hz"] is None
    assert made["silent_share"] == 1.0


class Hearing:
    """A sound input that hears A4."""

    sample_rate, running = RATE, True

    def __init__(self, device, each):
        assert each is None, "nothing is kept unless asked"

    def latest(self, seconds):
        return note(440.0, seconds, "bright")

    def close(self):
        pass


class Entry:
    name, sample_rate, index, channels = "line in", 48000.0, 0, 1


def test_a_live_session_from_the_first_enter_to_the_last(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr("synth.live.sound_input.choose_input", lambda device: Entry)
    monkeypatch.setattr("synth.live.sound_input.SoundInput", Hearing)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n\n30 cm\nu\n"))
    readings = tmp_path / "readings.csv"
    assert main(["listen", "--yes", "--every", "5cm:2cm", "--readings", str(readings)]) == 0
    said = capsys.readouterr()
    assert "reading 3: 30 cm" in said.err
    assert "reading 3 is taken back" in said.err
    assert said.out.count(" cm ") == 2
    lines = readings.read_text().splitlines()
    assert [line.split(",")[0] for line in lines] == ["hand_distance", "50 mm", "70 mm"]
    assert [path.name for path in tmp_path.iterdir()] == ["readings.csv"]
    assert main(["listen", "--yes", "--readings", str(readings)]) == 2  # never over a file without --force
    assert "exists already" in capsys.readouterr().err


def test_a_screen_that_goes_away_leaves_the_recording_whole(monkeypatch, capsys, tmp_path):
    """The program ends inside the library then: what `lost` does is all that is done."""

    class Recorded(Hearing):
        def __init__(self, device, each):
            each(note(440.0, 0.2, "bright"))

    def window(readings, hearing, *, lost):
        lost()
        assert soundfile.info(tmp_path / "sound.wav").frames == round(0.2 * RATE)

    monkeypatch.setattr("synth.live.sound_input.choose_input", lambda device: Entry)
    monkeypatch.setattr("synth.live.sound_input.SoundInput", Recorded)
    monkeypatch.setattr("synth.window.listen_page.run", window)
    assert main(["listen", "--yes", "--window", "--record", str(tmp_path / "sound.wav")]) == 0
    assert capsys.readouterr().err.count("Recorded sound.wav, 0.2 s") == 1


def test_live_needs_an_answer_and_an_input(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr("synth.live.sound_input.choose_input", lambda device: Entry)
    assert main(["listen"]) == 2  # the tests have no terminal to ask
    said = capsys.readouterr().err
    assert "listens to the sound input line in: no sound is kept" in said
    assert "add --yes" in said
    assert main(["listen", "--plot", "x.png"]) == 2
    assert "--plot needs a recording" in capsys.readouterr().err

    class Person:
        def isatty(self):
            return True

        def readline(self):
            return "n\n"

    monkeypatch.setattr("sys.stdin", Person())
    assert main(["listen"]) == 0
    assert "not listening" in capsys.readouterr().err

    def none(device):
        raise DeviceError("Nothing to listen with: a sound input was not found")

    monkeypatch.setattr("synth.live.sound_input.choose_input", none)
    assert main(["listen", "--yes"]) == 1
    assert "Nothing to listen with" in capsys.readouterr().err
    with pytest.raises(DesignError, match="--capacitance"):
        Beating(None, "", 1e-12)
