"""Every lesson says what is in its sounds: read back from the WAV, by Fourier transform and Hilbert envelope."""

from __future__ import annotations

import functools
import json

import numpy as np
import pytest
import scipy.fft
from scipy.signal import hilbert
from scipy.signal.windows import kaiser
from slow_ones import slow_ones
from small_setup import small_setup

from models.pulling import pulled_line_ratio
from synth.cli import main
from synth.lessons.lesson_plot import save_stage_plot
from synth.lessons.lesson_report import lesson_report, write_lesson
from synth.lessons.setup import open_setup
from synth.lessons.stage import ABSENT_DB, absent, beat, line, silent
from synth.lessons.table import LESSONS, build_lesson

bench = functools.cache(open_setup)


def lines_of(piece, rate):
    """Frequencies and heights by a Kaiser window, side lobes below -110 dB."""
    count = scipy.fft.next_fast_len(4 * piece.size)
    size = np.abs(scipy.fft.rfft((piece - piece.mean()) * kaiser(piece.size, 14.0), count))
    return np.fft.rfftfreq(count, 1.0 / rate), size


def peak_near(bins, size, frequency):
    """Frequency and height of the highest bin within 1 Hz of `frequency`, the height there, and the strongest."""
    near = np.flatnonzero(np.abs(bins - frequency) < 1.0)
    best = near[np.argmax(size[near])]
    return bins[best], size[best], size[np.argmin(np.abs(bins - frequency))], size.max()


@pytest.fixture(scope="module")
def reports():
    """Every lesson that is asked for, rendered once; the beats need no instrument."""

    class Rendered(dict):
        def __missing__(self, name):
            self[name] = lesson_report(build_lesson(name, small_setup() if name == "beats" else bench()))
            return self[name]

    return Rendered()


QUICK = ("beats",)
NAMES = [pytest.param(name, marks=[] if name in QUICK else [pytest.mark.slow]) for name in LESSONS]


@pytest.mark.parametrize("name", NAMES)
def test_sound_files_hold_what_the_claims_say(name, reports, tmp_path, monkeypatch):
    import soundfile

    monkeypatch.setattr("synth.lessons.lesson_plot.save_stage_plot", lambda *_: None)
    report = reports[name]
    write_lesson(report, str(tmp_path), force=False)
    assert "turn the volume right down" in (tmp_path / "lesson.txt").read_text()
    for index, stage in enumerate(report.lesson.stages):
        sound, rate = soundfile.read(tmp_path / f"{report.lesson.stem(index)}.wav")
        assert 0.05 < np.abs(sound).max() <= 10 ** (-14 / 20) + 1e-6
        assert max(abs(sound[0]), abs(sound[-1])) < 1e-3
        found = {}
        for claim in stage.claims:
            check_claim(claim, sound, rate, found)


def check_claim(claim, sound, rate, found):
    """`found` keeps the spectra of stretches already looked at."""
    piece = sound[round(claim.start * rate) : round(claim.end * rate)]
    if claim.kind == "silent":
        assert np.abs(piece).max() < 1e-3 * np.abs(sound).max()
    elif claim.kind == "softer":
        assert 20 * np.log10(np.abs(piece).max() / np.abs(sound).max()) == pytest.approx(claim.level_db, abs=0.2)
    elif claim.kind == "beat":
        count = scipy.fft.next_fast_len(2 * piece.size)
        swell = np.abs(hilbert(piece - piece.mean(), count)[: piece.size]) ** 2
        assert peak_near(*lines_of(swell, rate), claim.frequency)[0] == pytest.approx(claim.frequency, abs=0.1)
    else:
        if (claim.start, claim.end) not in found:
            found[claim.start, claim.end] = lines_of(piece, rate)
        place, level, exact, strongest = peak_near(*found[claim.start, claim.end], claim.frequency)
        if claim.kind == "absent":
            assert 20 * np.log10(exact / strongest + 1e-12) < ABSENT_DB, claim.text
        else:
            assert place == pytest.approx(claim.frequency, abs=0.15), claim.text
            assert 20 * np.log10(level / strongest) == pytest.approx(claim.level_db, abs=0.2), claim.text


def test_wrong_claims_are_found(reports):
    """The measurement itself: claims that are not so fail."""
    sound = reports["beats"].sounds[1]
    for wrong in (
        absent(440.0, 0.05, 4.95),
        line(442.0, 0.0, 0.05, 4.95),
        line(440.0, -1.0, 0.05, 4.95),
        beat(5.0, 0.05, 4.95),
        silent(1.0, 2.0),
    ):
        with pytest.raises(AssertionError):
            check_claim(wrong, sound, 48_000, {})


@pytest.mark.parametrize(("name", "index"), [("beats", 1), *slow_ones(("locking", 1), ("taps", 1))])
def test_plot_of_each_kind(name, index, reports, tmp_path):
    """Hertz in a row, with a silent stretch, and by octaves."""
    report = reports[name]
    save_stage_plot(report.lesson.stages[index], report.sounds[index], tmp_path / "a.png", False)
    assert (tmp_path / "a.png").stat().st_size > 10_000


@pytest.mark.slow
@pytest.mark.parametrize("name", ["beats", "hand"])
def test_command_writes_every_file(name, tmp_path, capsys):
    assert main(["lesson", name, "-o", str(tmp_path)]) == 0
    stages = build_lesson(name, bench()).stages
    stems = [f"{index + 1:02d}-{stage.slug}" for index, stage in enumerate(stages)]
    assert {path.name for path in tmp_path.iterdir()} == {
        "lesson.txt",
        *(f"{stem}{end}" for stem in stems for end in (".wav", ".png")),
    }
    for stem in stems:
        assert (tmp_path / f"{stem}.png").stat().st_size > 10_000


def test_refuses_to_replace_without_force(reports, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("synth.lessons.lesson_plot.save_stage_plot", lambda *_: None)

    def too_early(*_: object) -> None:
        raise AssertionError("measured before its folder was looked at")

    monkeypatch.setattr("synth.lessons.lesson_report.lesson_report", too_early)
    monkeypatch.setattr("synth.lessons.setup.open_setup", small_setup)
    (tmp_path / "02-four-beats.wav").write_text("mine")
    assert main(["lesson", "beats", "-o", str(tmp_path)]) == 2
    assert "02-four-beats.wav exists already; add --force" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["02-four-beats.wav"]
    assert (tmp_path / "02-four-beats.wav").read_text() == "mine"
    assert main(["lesson", "beats", "-o", str(tmp_path / "02-four-beats.wav")]) == 2
    assert "is a file; name a folder" in capsys.readouterr().err
    monkeypatch.setattr("synth.lessons.lesson_report.lesson_report", lambda *_: reports["beats"])
    assert main(["lesson", "beats", "-o", str(tmp_path), "--force"]) == 0
    assert (tmp_path / "02-four-beats.wav").read_bytes().startswith(b"RIFF")


@pytest.mark.parametrize("name", NAMES)
def test_json_says_what_the_text_says(name, reports):
    report = reports[name]
    document = json.loads(json.dumps(report.document(), allow_nan=False))
    text = " ".join(report.text().split())
    assert (document["schema"], document["name"]) == ("beatfield.lesson/1", name)
    for stage, entry in zip(report.lesson.stages, document["stages"], strict=True):
        for key in ("question", "answer", "text"):
            assert " ".join(entry[key].split()) in text
        for claim, row in zip(stage.claims, entry["claims"], strict=True):
            assert f"{claim.text} (measured {row['measured_db']:z.1f} dB)" in text


@pytest.mark.slow
def test_experiments_stand_in_text_and_json(reports):
    document, text = reports["path"].document(), " ".join(reports["path"].text().split())
    assert len(document["experiments"]) == 3
    for found in document["experiments"]:
        for words in (found["title"], found["bring"], *found["steps"], found["expected"], found["caution"]):
            assert " ".join(words.split()) in text


def test_json_of_list_and_lesson(reports, capsys, monkeypatch):
    monkeypatch.setattr("synth.lessons.setup.open_setup", small_setup)
    monkeypatch.setattr("synth.lessons.lesson_report.lesson_report", lambda *_: reports["beats"])
    assert main(["lesson", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["lessons"].keys() == set(LESSONS)
    assert main(["lesson", "beats", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["name"] == "beats"


def test_live_needs_a_name_and_no_folder(capsys):
    assert main(["lesson", "--live"]) == 2
    assert main(["lesson", "beats", "--live", "-o", "x"]) == 2
    assert "leave -o" in capsys.readouterr().err


@pytest.mark.slow
def test_numbers_in_the_texts(reports):
    """What the texts reckon, reckoned here: the fourth, the depth of unequal beats, the fist's interval."""
    assert 1200 * np.log2(4 / 3 / 1.33) == pytest.approx(4.0, abs=0.5)  # 1330 Hz over 1000 Hz against a pure fourth
    assert 20 * np.log10(1.3 / 0.7) == pytest.approx(5.4, abs=0.05)
    assert "by 5.4 dB" in " ".join(reports["beats"].lesson.stages[2].text.split())
    fist = reports["hand"].lesson.stages[1]
    high, low = (claim.frequency for claim in fist.claims)
    assert f"{12 * np.log2(high / low):.1f} semitones lower" in fist.text


def test_pulled_lines_of_the_three_four_five_triangle():
    assert pulled_line_ratio(200.0, 120.0) == pytest.approx(1.0 / 3.0)
    with pytest.raises(ValueError, match="beyond the lock range"):
        pulled_line_ratio(100.0, 120.0)


def test_list_and_unknown_name(capsys):
    assert main(["lesson"]) == 0
    assert "octaves" in capsys.readouterr().out
    assert main(["lesson", "nothing"]) == 2
