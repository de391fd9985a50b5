"""A design, tune, trace or table of readings is data: it names no file, and reading it runs nothing."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from synth.cli import main
from synth.designs.sections import KEYS

AUDITED = r"""
import sys
from synth.analysis.readings import read_readings
from synth.designs.design_file import design_text, read_design
from synth.designs.template import template_text
from synth.errors import DesignError
from synth.hands.trace_file import load_trace
from synth.analysis.tune import load_tune
from synth.midi.midi_file import read_midi
import difflib, mido, unicodedata
load_tune(sys.argv[1])  # whatever is imported late is imported now
texts = [template_text(), *(f'[design]\nname = "{evil}"\n' for evil in (
    "__import__('os').system('id')", "$(id)", "`id`", "{0.__class__}", "%(x)s", "!!python/object:os.system", "../x"))]
events = []
allowed = {"object.__getattr__", "marshal.loads", "sys._getframe"}
def watch(event, arguments):
    if event == "open" and arguments[0] == sys.argv[1] and arguments[1] in ("r", "rb"):
        return
    if event not in allowed:
        events.append((event, str(arguments)[:80]))
def tried(read, *arguments):
    try:
        read(*arguments)
    except DesignError:
        pass
tried(read_design, "x = 1")
tried(read_readings, "x")
tried(read_midi, b"MThd", "a")
tried(read_design, template_text())  # a record's first one makes its way in
tried(read_readings, "fitted_capacitor,frequency\n100 pF,1 MHz\n")
tried(load_trace, sys.argv[1])
sys.addaudithook(watch)
for text in texts:
    tried(read_design, text)
    tried(read_readings, "fitted_capacitor,frequency\n" + text)
    tried(read_midi, text.encode(), "a")
tried(load_tune, sys.argv[1])
tried(load_trace, sys.argv[1])
watched, events = events, None
if watched:
    sys.exit(repr(watched))
"""


def test_reading_opens_only_the_file_it_was_given_and_runs_nothing(demos):
    command = [sys.executable, "-c", AUDITED, str(demos / "lark.txt")]
    result = subprocess.run(command, capture_output=True, text=True)
    assert result.returncode == 0, result.stderr


def test_no_key_of_a_design_holds_a_path():
    """Every value is a quantity, one of a few words, or one of two texts that are only shown."""
    texts = {key.path for key in KEYS if not key.unit and not key.choices}
    assert texts == {"design.name", "design.description"}
    assert all(not set("/\\.") & set(choice) for key in KEYS for choice in (*key.choices, *key.words))


@pytest.mark.slow
def test_a_name_like_a_path_stays_a_name(heron, here, capsys):
    """The design's texts never become the name of a file."""
    inner = here / "inner"
    inner.mkdir()
    os.chdir(inner)
    text = Path(heron).read_text("utf-8").replace('name = "Heron"', 'name = "../outside"')
    assert "../outside" in text
    Path("a.toml").write_text(text, "utf-8")
    assert main(["render", "a.toml", "--gesture", "still", "--seconds", "1", "-o", "a.wav"]) == 0
    assert main(["field", "a.toml", "--plot", "a.svg", "--csv", "a.csv"]) == 0
    assert os.listdir(here) == ["inner"]
    assert sorted(os.listdir()) == ["a.csv", "a.svg", "a.toml", "a.wav"]
