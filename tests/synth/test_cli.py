"""The command line as a person meets it: what goes where, exit codes, one message per fault, nothing overwritten."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from slow_ones import slow_ones

from synth.__main__ import run
from synth.build.workbench import say
from synth.cli import COMMANDS, build_parser, main
from synth.progress_line import RENEWAL, ProgressLine


@pytest.fixture
def in_tmp(tmp_path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def field_document(design: Path, capsys) -> dict:
    assert main(["field", str(design), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_every_argument_says_what_it_is(monkeypatch, capsys):
    """Every command has its help, no argument goes without, and none begins in the middle of a sentence."""
    monkeypatch.setenv("COLUMNS", "400")
    parser = build_parser()
    for command in COMMANDS:
        with pytest.raises(SystemExit) as ended:
            parser.parse_args([command, "--help"])
        assert ended.value.code == 0
        usage, _, *groups = re.sub(r"\n {10,}", "  ", capsys.readouterr().out).split("\n\n")
        assert command in usage
        rows = [line for group in groups for line in group.splitlines()[1:]]
        for row in rows:
            name, _, text = row.strip().partition("  ")
            assert text.strip(), (command, name)
            assert not re.match(r"(of|by|with|as|either|to|from|for) ", text.strip()), (command, row)


def test_help_names_every_command_once_under_who_uses_it(capsys):
    with pytest.raises(SystemExit):
        build_parser().parse_args(["--help"])
    lines = capsys.readouterr().out.splitlines()
    assert all(len(line) <= 80 for line in lines if line.startswith("  "))
    for name, command in COMMANDS.items():
        (place,) = [place for place, line in enumerate(lines) if line.split()[:1] == [name]]
        heading = next(line for line in reversed(lines[:place]) if line and not line.startswith(" "))
        assert heading == f"{command.group}:"
    groups = [command.group for command in COMMANDS.values()]
    assert groups == sorted(groups, key=groups.index), "each group stands together"


@pytest.mark.slow
def test_demo_writes_what_it_says(in_tmp, capsys):
    assert main(["demo", "out"]) == 0
    said = capsys.readouterr()
    assert said.out == ""
    for name in ("demo.toml", "demo.wav", "demo.png", "demo.txt"):
        assert name in said.err
        assert (in_tmp / "out" / name).stat().st_size > 500
    assert "beatfield play" in said.err
    samples, rate = soundfile.read(in_tmp / "out" / "demo.wav")
    assert rate == 48000
    assert 0.1 < np.abs(samples).max() <= 1.0


@pytest.mark.slow
def test_the_demo_can_be_run_again(in_tmp):
    assert main(["demo", "out"]) == 0
    assert main(["demo", "out"]) == 0


def test_new_makes_a_design_and_never_overwrites(in_tmp, capsys):
    assert main(["new", "mine.toml"]) == 0
    text = (in_tmp / "mine.toml").read_text("utf-8")
    assert main(["new", "mine.toml"]) == 2
    assert "--force" in capsys.readouterr().err
    assert (in_tmp / "mine.toml").read_text("utf-8") == text


@pytest.mark.slow
def test_a_new_design_has_a_field(in_tmp):
    assert main(["new", "mine.toml"]) == 0
    assert main(["field", "mine.toml"]) == 0


def test_field_says_the_same_everywhere(demos, in_tmp, capsys):
    document = field_document(demos / "meadow.toml", capsys)
    assert main(["field", str(demos / "meadow.toml")]) == 0
    text = capsys.readouterr().out
    for note in document["notes"]:
        assert f"{note['note']:<6}{note['frequency_hz']:>9.1f} Hz{100 * note['distance_m']:>8.2f} cm" in text
    assert f"{document['linearity_rms_cents']:.0f} cents RMS" in text
    assert main(["field", str(demos / "meadow.toml"), "--csv", "-"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    distances = np.array([float(row["distance_m"]) for row in rows])
    beats = np.array([float(row["beat_hz"]) for row in rows])
    for note in document["notes"]:  # the dense curve, interpolated, passes through the notes
        beat = np.exp(np.interp(note["distance_m"], distances[beats > 0], np.log(beats[beats > 0])))
        assert abs(1200 * np.log2(beat / note["frequency_hz"])) < 12.0
    assert main(["field", str(demos / "meadow.toml"), "--csv", "m.csv", "--plot", "m.svg"]) == 0
    assert "<svg" in (in_tmp / "m.svg").read_text("utf-8")
    assert (in_tmp / "m.csv").read_text("utf-8").splitlines()[0] == ",".join(rows[0])


@pytest.mark.parametrize("name", ["meadow", *slow_ones("heron", "puddle")])
def test_field_document_is_plain_json_with_a_version(name, demos, capsys):
    document = field_document(demos / f"{name}.toml", capsys)
    assert document["schema"] == "beatfield.field/1"
    assert document["design"].lower() == name


def test_the_bad_design_says_why(demos, capsys):
    document = field_document(demos / "puddle.toml", capsys)
    assert any("trimmer cannot reach" in notice for notice in document["notices"])


def test_rendered_trace_has_the_pitch_of_the_field(demos, in_tmp, capsys):
    note = next(n for n in field_document(demos / "meadow.toml", capsys)["notes"] if n["note"] == "A4")
    (in_tmp / "hold.csv").write_text(f"time_s,distance_m\n0,{note['distance_m']:.12f}\n2,{note['distance_m']:.12f}\n")
    assert main(["render", str(demos / "meadow.toml"), "--hand", "hold.csv", "-o", "a.wav", "--format", "float"]) == 0
    samples, rate = soundfile.read("a.wav")
    steady = samples[rate // 4 : rate // 4 + rate]
    spectrum = np.abs(np.fft.rfft(steady * np.hanning(rate)))
    peak = int(spectrum.argmax())
    low, middle, high = np.log(spectrum[peak - 1 : peak + 2])
    frequency = peak + 0.5 * (low - high) / (low - 2 * middle + high)  # parabola through the log spectrum
    assert abs(1200 * np.log2(frequency / 440.0)) < 1.0


@pytest.mark.parametrize(("name", "subtype"), [("a.wav", "pcm16"), *slow_ones(("a.wav", "pcm24")), ("a.flac", "pcm24")])
def test_render_formats_and_metadata(demos, in_tmp, capsys, name, subtype):
    arguments = [
        "render",
        str(demos / "heron.toml"),
        "--gesture",
        "vibrato",
        "--seconds",
        "1",
        "-o",
        name,
        "--format",
        subtype,
        "--json",
    ]
    assert main(arguments) == 0
    document = json.loads(capsys.readouterr().out)
    info = soundfile.info(name)
    assert info.frames == document["frames"]
    assert {"pcm16": "PCM_16", "pcm24": "PCM_24"}[subtype] == info.subtype
    with soundfile.SoundFile(name) as file:
        tags = file.copy_metadata()
    assert tags["title"] == "Heron"
    assert "design" in tags["comment"]
    assert main(arguments) == 2, "it exists now"
    assert main([*arguments, "--force"]) == 0


@pytest.mark.slow
def test_a_name_with_dollar_signs_is_plotted_as_it_stands(demos, in_tmp):
    text = (demos / "heron.toml").read_text("utf-8").replace('"Heron"', r"'Her$on\frac{ $'")
    (in_tmp / "odd.toml").write_text(text, "utf-8")
    assert main(["field", "odd.toml", "--plot", "odd.png"]) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["field", "missing.toml"], ["missing.toml"]),
        (["render", "DESIGN", "--gesture", "swoop", "-o", "a.wav"], ["swoop", "sweep"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.mp3"], ["a.mp3", ".wav"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "no/folder/a.wav"], ["folder"]),
        (["render", "DESIGN", "--hand", "none.csv", "-o", "a.wav"], ["none.csv"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.wav", "--rate", "12"], ["12"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.wav", "--rate", "0"], ["sample rate", "8000"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.wav", "--format", "pcm8"], ["pcm8", "pcm16"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.wav", "--seconds", "nan"], ["gesture lasts", "nan"]),
        (["render", "DESIGN", "--gesture", "sweep", "-o", "a.wav", "--seed", "-1"], ["seed"]),
        (["field", "DESIGN", "--plot", "a.bmp"], ["a.bmp", ".png"]),
        (["field", "DESIGN", "--csv", "a.csv", "--open"], ["--open", "picture or page"]),
        (["field", "DESIGN", "--plot", "-"], ["--plot -", "stdout"]),
        (["field", "DESIGN", "--csv", "-", "--json"], ["--csv and --json", "stdout"]),
        (["compare", "DESIGN", "DESIGN", "--csv", "a.txt", "--plot", "no/a.png"], ["folder", "no"]),
        (["sensitivity", "DESIGN", "--csv", "a.png", "--plot", "a.png"], ["a.png", "twice", "--csv and --plot"]),
        (["tune", "none.txt", "DESIGN", "--midi", "-"], ["--midi -", "stdout"]),
        (["play", "DESIGN", "--latency", "fast"], ["fast", "low"]),
        (["play", "DESIGN", "--latency", "1e9 s"], ["1e9 s", "1 ms to 1 s"]),
        (["play", "DESIGN", "--size", "huge"], ["huge"]),
        (["play", "DESIGN", "--rate", "1"], ["1"]),
        (["doctor", "--seconds", "-1"], ["seconds"]),
        (["field", "DESIGN", "--csv", "new/"], ["new/ names a folder"]),
        (["field", "DESIGN", "--csv", f"{'x' * 300}.csv"], ["cannot name a file (File name too long)"]),
        (["render", "DESIGN", "--tune", ".", "-o", "a.wav"], [".: is no plain file", "note list"]),
    ],
)
def test_bad_usage_is_one_message_and_leaves_nothing(demos, in_tmp, refused, arguments, words):
    refused([str(demos / "heron.toml") if word == "DESIGN" else word for word in arguments], words)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["field", ""], "DESIGN is empty"),
        (["compare", "heron", ""], "DESIGN is empty"),
        (["field", "heron", "--csv", " "], "--csv is empty"),
    ],
)
def test_an_empty_argument_is_named(arguments, words, capsys):
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert words in capsys.readouterr().err


def test_notices_and_progress_need_no_stderr(monkeypatch):
    """A full disk behind 2>, or a terminal that has gone, ends no computation."""

    class Gone(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(errno.EIO, "Input/output error")

        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stderr", Gone())
    monkeypatch.setattr("synth.progress_line.QUIET_TIME", 0.0)
    with ProgressLine("searching") as line:
        line(0.5)
        time.sleep(1.5 * RENEWAL)
        say("a notice")


def test_every_fault_of_a_design_is_told_at_once(in_tmp, capsys):
    Path("bad.toml").write_text(
        '[variable]\ninductanse = "1 mH"\ncapacitance = "100 uH"\n[reference]\ninductance = "1,5 mH"\n', "utf-8"
    )
    assert main(["field", "bad.toml"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert all(line.startswith("beatfield: bad.toml: ") for line in lines)
    told = "\n".join(lines)
    for words in ("did you mean 'inductance'", "wants farad", "1.5 mH, not 1,5 mH", "reference.capacitance"):
        assert words in told


@pytest.mark.parametrize(
    "arguments",
    [
        ["field", "mine.toml", "--csv", "mine.toml"],
        ["compare", "other.toml", "mine.toml", "--csv", "./mine.toml"],
        ["render", "mine.toml", "--hand", "hand.csv", "-o", "linked.wav"],
    ],
)
def test_force_never_writes_over_what_the_command_reads(demos, in_tmp, capsys, arguments):
    for name in ("mine.toml", "other.toml"):
        shutil.copy(demos / "heron.toml", name)
    Path("hand.csv").write_text("time_s,distance_m\n0,0.3\n1,0.2\n")
    Path("linked.wav").symlink_to("hand.csv")
    before = {path: path.read_bytes() for path in in_tmp.iterdir()}
    assert main([*arguments, "--force"]) == 2
    assert "reads that file; choose another name" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in in_tmp.iterdir()} == before


def test_one_file_cannot_be_written_twice(in_tmp, capsys):
    """Also where the two outputs spell its name differently."""
    ways = ("field.svg", "./field.svg")
    assert main(["field", "heron.toml", "--csv", ways[0], "--plot", ways[1], "--force"]) == 2
    assert "./field.svg: named twice, by --csv and --plot" in capsys.readouterr().err
    assert not Path("field.svg").exists()


def test_ctrl_c_before_the_command_line_is_set_up_is_quiet(monkeypatch, capsys):
    def interrupted() -> None:
        raise KeyboardInterrupt

    deaf = []
    monkeypatch.setattr("synth.cli.main", interrupted)
    monkeypatch.setattr("signal.signal", lambda number, handler: deaf.append(number))
    assert run() == 130
    assert {signal.SIGINT, signal.SIGTERM} <= set(deaf), "the way out is not disturbed"
    assert capsys.readouterr().err.strip() == "beatfield: interrupted"


def test_what_the_locale_cannot_show_is_replaced(demos, in_tmp, monkeypatch):
    text = (demos / "meadow.toml").read_text("utf-8").replace('"Meadow"', '"M\u00e9adow \u266a"')
    Path("odd.toml").write_text(text, "utf-8")
    said = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(said, encoding="ascii"))
    assert main(["field", "odd.toml"]) == 0
    assert b"M?adow ?" in said.getvalue()


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_marks_are_coloured_on_a_terminal_only(demos, in_tmp, capsys, monkeypatch):
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert main(["field", "missing.toml"]) == 2
    assert "\x1b" not in capsys.readouterr().err
    for name, value, start in (("LANG", "C", "\x1b[1;31mbeatfield:\x1b[0m"), ("NO_COLOR", "1", "beatfield:")):
        monkeypatch.setenv(name, value)
        said = Terminal()
        monkeypatch.setattr(sys, "stderr", said)
        assert main(["field", "missing.toml"]) == 2
        assert said.getvalue().startswith(f"{start} missing.toml")
    said = Terminal()
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setattr(sys, "stdout", said)
    assert main(["field", str(demos / "puddle.toml")]) == 0
    assert "\n\x1b[33mnote:\x1b[0m " in said.getvalue()


@pytest.mark.slow
def test_open_shows_what_was_written(demos, in_tmp, monkeypatch, capsys):
    shown: list[str] = []
    monkeypatch.setattr("webbrowser.open", lambda url: shown.append(url) or len(shown) == 1)
    command = ["field", str(demos / "heron.toml"), "--csv", "a.csv", "--plot", "a b.svg", "--open"]
    assert main(command) == 0
    assert shown == [(in_tmp / "a b.svg").as_uri()]
    assert main([*command, "--force"]) == 1
    assert "open it by hand" in capsys.readouterr().err


def test_a_shell_completes_commands_options_and_files(demos, in_tmp):
    pytest.importorskip("argcomplete")
    Path("mine.toml").touch()

    def completed(line: str) -> list[str]:
        environment = {**os.environ, "_ARGCOMPLETE": "1", "_ARGCOMPLETE_STDOUT_FILENAME": str(in_tmp / "answer")}
        environment |= {"COMP_LINE": line, "COMP_POINT": str(len(line)), "_ARGCOMPLETE_IFS": "\n"}
        program = "from synth.cli import main; main()"
        subprocess.run([sys.executable, "-c", program], env=environment, check=True)
        return Path("answer").read_text().split()

    assert completed("beatfield fie") == ["field"]
    assert completed("beatfield field mea") == ["meadow"]
    assert set(completed("beatfield field m")) == {"meadow", "mine.toml"}
    assert "--plot" in completed("beatfield field mine.toml --pl")


def test_interrupt_leaves_no_file(demos, in_tmp, capsys, monkeypatch):
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("synth.sound.voice.Voice.render", interrupted)
    assert main(["render", str(demos / "heron.toml"), "--gesture", "still", "-o", "a.wav"]) == 130
    assert list(in_tmp.iterdir()) == []


def test_unexpected_errors_hide_the_traceback_unless_asked(demos, in_tmp, capsys, monkeypatch):
    def broken(*_: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr("synth.sound.voice.Voice.render", broken)
    arguments = ["render", str(demos / "heron.toml"), "--gesture", "still", "-o", "a.wav"]
    assert main(arguments) == 1
    assert "a bug" in capsys.readouterr().err
    with pytest.raises(RuntimeError):
        main([*arguments, "--debug"])


def test_module_and_version_run():
    result = subprocess.run([sys.executable, "-m", "synth", "--version"], capture_output=True, text=True, check=True)
    assert result.stdout.startswith("beatfield ")


@pytest.mark.slow
def test_a_reader_that_leaves_is_no_fault(demos):
    command = [sys.executable, "-m", "synth", "field", str(demos / "meadow.toml"), "--csv", "-"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.close()
    _, said = process.communicate(timeout=60)
    assert "Traceback" not in said
    assert "Exception" not in said


@pytest.mark.parametrize("words", [["--help"], *slow_ones(["field", "meadow"], ["field", "--help"], ["--version"])])
def test_output_that_cannot_be_written_is_one_message(words):
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with open("/dev/full", "w") as full:
        command = [sys.executable, "-m", "synth", *words]
        result = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True)
    assert result.returncode == 1
    assert result.stderr.startswith("beatfield: the output cannot be written (")
    assert result.stderr.count("\n") == 1


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGTERM as elsewhere")
def test_a_request_to_end_leaves_no_file(demos, in_tmp):
    command = [
        sys.executable,
        "-m",
        "synth",
        "render",
        str(demos / "heron.toml"),
        "--gesture",
        "sweep",
        "--seconds",
        "600",
        "-o",
        "a.wav",
    ]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    deadline = time.monotonic() + 60.0
    while not list(in_tmp.iterdir()) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert list(in_tmp.iterdir()), "the rendering has begun"
    process.terminate()
    process.communicate(timeout=60)
    assert process.returncode == 130
    assert list(in_tmp.iterdir()) == []
