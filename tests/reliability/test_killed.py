"""Killed without warning at every step of writing: nothing damaged under a final name, and the next run goes on.

The child kills itself (SIGKILL) at one named step, so that every step is met and no test depends on timing.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
import soundfile
from small_instrument import same_field, small_field

from synth.cli import main
from synth.files.atomic_file import atomic_path, write_text
from synth.files.left_overs import held_temporary, remove_left_overs
from synth.files.unfinished import PREFIX, recovered

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")

FRAMES = 2 * 48_000 + 1 + 2_400  # two seconds with both ends, and the closing fade

DYING = """
import os, pathlib, signal, sys
def die(*_, **__):
    os.kill(os.getpid(), signal.SIGKILL)
class HalfWritten:
    def __init__(self, file):
        self.file = file
    def __enter__(self):
        return self
    def __exit__(self, *_):
        self.file.close()
    def write(self, content):
        self.file.write(content[: len(content) // 2])
        self.file.flush()
        die()
def open_to_die(path, mode="r", *more, **named):
    file = opened(path, mode, *more, **named)
    return HalfWritten(file) if mode == "wb" else file
def die_in_the_middle(self, block):
    if self.frames > 40_000:
        die()
    return write(self, block)
from synth.files import atomic_file, left_overs
from synth.sound import audio_file
step = sys.argv.pop(1)
if step == "writing":
    opened, pathlib.Path.open = pathlib.Path.open, open_to_die
    write, audio_file.AudioWriter.write = audio_file.AudioWriter.write, die_in_the_middle
elif step == "flushing":
    os.fsync = die
elif step == "renaming":
    os.link = os.replace = die
elif step == "tidying":
    pathlib.Path.unlink = die
"""
MAIN = DYING + "from synth.cli import main\nsys.exit(main(sys.argv[1:]))"
STEPS = ("writing", "flushing", "renaming", "tidying")


def left_overs(folder: Path) -> list[str]:
    return [name for name in os.listdir(folder) if name.startswith(".beatfield-")]


def killed(result: object) -> bool:
    return result.returncode == -signal.SIGKILL  # type: ignore[attr-defined,no-any-return]


def next_run(arguments: list[str], folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same command again, as the first of a new process would do it."""
    monkeypatch.setattr("synth.files.left_overs.looked_through", set())
    assert main([*arguments, "--force"]) == 0
    assert left_overs(folder) == []


@pytest.mark.parametrize("step", ["writing", *(pytest.param(step, marks=pytest.mark.slow) for step in STEPS[1:])])
def test_render(heron, here, run, step, monkeypatch):
    arguments = ["render", heron, "--gesture", "sweep", "--seconds", "2", "-o", "a.wav"]
    result = run("-c", MAIN, step, *arguments)
    assert killed(result), result.stderr
    if step == "tidying":
        assert soundfile.info("a.wav").frames == FRAMES, "whole, once it has its name"
    else:
        assert not Path("a.wav").exists()
    assert len(left_overs(here)) == 1
    next_run(arguments, here, monkeypatch)
    assert soundfile.info("a.wav").frames == FRAMES


@pytest.mark.slow
@pytest.mark.parametrize("step", STEPS)
def test_sheet(heron, here, run, step, monkeypatch):
    arguments = ["sheet", heron, "-o", "a.html"]
    result = run("-c", MAIN, step, *arguments)
    assert killed(result), result.stderr
    if step == "tidying":
        assert Path("a.html").read_text("utf-8").rstrip().endswith("</html>")
    else:
        assert not Path("a.html").exists()
    next_run(arguments, here, monkeypatch)
    assert Path("a.html").read_text("utf-8").rstrip().endswith("</html>")


CACHE = (
    DYING
    + """
from small_instrument import small_field
from synth.build import curve_cache
curve_cache.kept_field("0" * 32, small_field, print, pathlib.Path("curves"))
"""
)


@pytest.mark.parametrize(
    "step", ["renaming", *(pytest.param(step, marks=pytest.mark.slow) for step in STEPS if step != "renaming")]
)
def test_cache(here, run, step, monkeypatch):
    from synth.build import curve_cache

    result = run("-c", CACHE, step)
    if step != "tidying":  # a cached field is put in place by one rename, and nothing is left to tidy
        assert killed(result), result.stderr
        assert len(left_overs(here / "curves")) == 1
    monkeypatch.setattr("synth.files.left_overs.looked_through", set())
    for solve in (small_field, lambda: pytest.fail("it was kept")):
        notice = pytest.fail if step == "tidying" else print
        assert same_field(curve_cache.kept_field("0" * 32, solve, notice, here / "curves"), small_field())
    assert os.listdir(here / "curves") == ["0" * 32 + ".json"]


RECORD = (
    DYING
    + """
import numpy as np
from synth.live.recorder import Recorder
recorder = Recorder(pathlib.Path("a.wav"), 48000)
for _ in range(1000):
    recorder.put(np.zeros(128))
recorder.finish()
"""
)


@pytest.mark.slow
@pytest.mark.parametrize(("step", "least"), [("writing", 40_000), ("renaming", 128_000)])
def test_a_recording_is_kept(here, run, step, least, monkeypatch):
    assert killed(run("-c", RECORD, step))
    assert not Path("a.wav").exists()
    monkeypatch.setattr("synth.files.left_overs.looked_through", set())
    write_text("other.txt", "x")
    assert left_overs(here) == [f"{PREFIX}a.wav"], "what others left is removed, a recording never"
    assert recovered(here) == [here / "a.wav"]
    assert soundfile.info("a.wav").frames >= least


def test_a_file_in_the_making_is_never_removed(here):
    with held_temporary(here / "a.txt") as first:
        assert remove_left_overs(here) == []
        with held_temporary(here / "a.txt") as second:
            assert remove_left_overs(here) == []
            assert {first.name, second.name} == set(os.listdir(here))
    assert os.listdir(here) == []


def test_a_writer_that_lost_its_file_between_creating_and_locking_takes_another(here, monkeypatch):
    import fcntl

    lock, lost = fcntl.flock, []

    def late(handle, how):
        if how == fcntl.LOCK_EX and len(lost) < 3:
            lost.extend(remove_left_overs(here))  # another instance comes first
        lock(handle, how)

    monkeypatch.setattr("synth.files.left_overs.fcntl.flock", late)
    write_text(here / "a.txt", "whole")
    assert len(lost) == 3
    assert os.listdir(here) == ["a.txt"]
    assert Path("a.txt").read_text() == "whole"


def test_only_our_own_kind_of_file_is_removed(here):
    Path(".beatfield-notes.txt").write_text("a person's")
    Path(".beatfield-0123456789ab.wav").write_text("left by a killed run")
    Path("precious.txt").write_text("x")
    Path(".beatfield-0123456789ac").symlink_to("precious.txt")
    os.mkfifo(".beatfield-0123456789ad")
    Path(".beatfield-0123456789ae").mkdir()
    assert [path.name for path in remove_left_overs(here)] == [".beatfield-0123456789ab.wav"]
    assert Path("precious.txt").exists()
    assert len(os.listdir(here)) == 5


def test_without_locks_nothing_is_removed_and_files_are_written_all_the_same(here, monkeypatch):
    monkeypatch.setattr("synth.files.left_overs.fcntl", None)
    Path(".beatfield-0123456789ab.wav").write_text("left by a killed run")
    with atomic_path(here / "a.txt") as temporary:
        temporary.write_text("whole")
    assert sorted(os.listdir(here)) == [".beatfield-0123456789ab.wav", "a.txt"]


def test_a_request_to_end_right_after_a_file_was_made_removes_it(here, monkeypatch):
    def asked_to_end(*_):
        assert len(os.listdir(here)) == 1  # it is there by now
        raise KeyboardInterrupt

    monkeypatch.setattr("synth.files.left_overs.fcntl.flock", asked_to_end)
    with pytest.raises(KeyboardInterrupt), held_temporary(here / "a.txt"):
        pass
    assert os.listdir(here) == []
