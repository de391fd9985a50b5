"""Work done by a second process: a plot is the same file as drawn here, and its faults are raised here."""

from __future__ import annotations

import operator
import os
import subprocess
import sys
import time
from functools import partial
from multiprocessing import active_children

import numpy as np
import pytest

from synth.analysis.start_up_picture import COMMON, CONTROL, SUPPLY, Curve, Cycle, StartUpCurves
from synth.beside import Beside
from synth.errors import DesignError, DeviceError
from synth.report.figure import begin_figure, drawing_beside
from synth.report.start_up_plot import UNSTEADY, save_unsteady_plot

MODULE = "synth.report.start_up_plot"


@pytest.fixture(scope="module")
def curves() -> StartUpCurves:
    times = np.linspace(0.0, 1e-3, 200)
    curve = Curve(times, 2.0 + np.sin(1e4 * times), 5.0 + np.cos(3e4 * times))
    wave = np.cos(np.linspace(0.0, 2.0 * np.pi, 100, endpoint=False))
    cycles = tuple(Cycle(after, 4e-6, wave, 0.1 * wave) for after in (1e-4, 2e-4, 9e-4))
    names = {"tank": "tank", SUPPLY: "supply", CONTROL: "base", COMMON: "emitter"}
    return StartUpCurves(dict.fromkeys(names, curve), names, cycles, None, 0.0, 1e-3)


@pytest.fixture
def not_loaded(monkeypatch) -> None:
    """As in a program that has drawn nothing yet."""
    monkeypatch.delitem(sys.modules, "matplotlib.backends.backend_agg", raising=False)
    monkeypatch.setattr("os.cpu_count", lambda: 2)


@pytest.mark.slow
@pytest.mark.parametrize("begun", [False, True])
def test_the_file_is_the_same_as_drawn_here(curves, tmp_path, not_loaded, begun):
    with drawing_beside(MODULE) as drawing:
        assert len(active_children()) == 1
        if begun:
            drawing.work(begin_figure, UNSTEADY)
            drawing.worked()
        drawing.work(save_unsteady_plot, "a title", curves, str(tmp_path / "beside.png"), False)
        drawing.worked()
    assert not active_children()
    save_unsteady_plot("a title", curves, str(tmp_path / "here.png"), False)
    assert (tmp_path / "beside.png").read_bytes() == (tmp_path / "here.png").read_bytes()


@pytest.mark.slow
def test_its_fault_is_raised_here(curves, tmp_path, not_loaded):
    target = tmp_path / "a.svg"
    target.write_text("mine")
    with drawing_beside(MODULE) as drawing:
        drawing.work(save_unsteady_plot, "a title", curves, str(target), False)
        with pytest.raises(DesignError, match="exists already"):
            drawing.worked()
    assert target.read_text() == "mine"
    assert not active_children()


@pytest.mark.slow
def test_one_that_is_given_up_leaves_nothing(curves, tmp_path, not_loaded):
    with pytest.raises(KeyboardInterrupt), drawing_beside(MODULE) as drawing:  # noqa: PT012
        drawing.work(save_unsteady_plot, "a title", curves, str(tmp_path / "a.png"), False)
        while not list(tmp_path.iterdir()):  # until it draws
            time.sleep(0.01)
        raise KeyboardInterrupt
    assert not active_children()
    assert list(tmp_path.iterdir()) == []


def test_one_that_is_ended_is_told_and_one_that_is_not_needed_ends(not_loaded):
    with drawing_beside(MODULE) as drawing:
        (process,) = active_children()
        process.kill()
        process.join()
        drawing.work(print, "nobody listens")
        with pytest.raises(DeviceError, match="worked beside this one ended"):
            drawing.worked()
    with drawing_beside(MODULE):
        assert len(active_children()) == 1
    assert not active_children()


KILLED = """
import os
os.cpu_count = lambda: 2
from synth.beside import Beside
with Beside():
    os.kill(os.getpid(), 9)
"""


@pytest.mark.slow
def test_it_ends_with_who_started_it_also_where_that_is_killed():
    # run waits until nobody holds the pipe of the output any more, the second process neither
    assert subprocess.run([sys.executable, "-c", KILLED], capture_output=True, timeout=60.0).returncode == -9


@pytest.mark.parametrize("processors", [1, 2])
def test_it_does_one_thing_after_the_other(processors, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: processors)
    with Beside(os.getpid) as beside:
        assert len(active_children()) == processors - 1
        beside.work(operator.add, 1, 2)
        done_by = beside.worked()
        assert (done_by == os.getpid()) == (processors == 1)
        assert beside.worked() == 3
        beside.work(operator.mul, 2, 3)
        assert beside.worked() == 6
    assert not active_children()


@pytest.mark.parametrize("processors", [1, 2])
def test_what_it_raises_is_raised_here_and_it_goes_on(processors, monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: processors)
    with Beside() as beside:
        beside.work(operator.truediv, 1, 0)
        beside.work(operator.add, 1, 2)
        with pytest.raises(ZeroDivisionError if processors == 1 else RuntimeError, match="division by zero"):
            beside.worked()
        assert beside.worked() == 3


def test_what_is_made_by_then_need_not_be_sent(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    made = lambda: 3  # noqa: E731  cannot be sent
    with Beside(lambda: made() + 1) as beside:
        assert len(active_children()) == 1
        assert beside.worked() == 4


def test_where_other_threads_run_it_is_done_here(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    monkeypatch.setattr("threading.active_count", lambda: 2)
    with Beside(os.getpid) as beside:
        assert not active_children()
        assert beside.worked() == os.getpid()


def test_where_the_library_is_loaded_it_is_drawn_here(curves, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib.backends.backend_agg", sys)
    with drawing_beside(MODULE) as drawing:
        assert not active_children()
        drawing.work(save_unsteady_plot, "a title", curves, str(tmp_path / "a.gif"), False)
        with pytest.raises(DesignError, match="name the plot"):
            drawing.worked()


def test_work_is_shared_out(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    with Beside() as beside:
        found = dict(beside.shared_out(slept_by, [0.01] * 12))
        assert sorted(found) == list(range(12))
        assert len(set(found.values())) == 2
        assert dict(beside.shared_out(abs, [-1, 2])) == {0: 1, 1: 2}
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    with Beside() as beside:
        assert list(beside.shared_out(abs, [-1, 2, -3])) == [(0, 1), (1, 2), (2, 3)]


def test_what_is_shared_out_and_broken_off_ends_there(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    with Beside() as beside:
        with pytest.raises(ZeroDivisionError):
            dict(beside.shared_out(partial(operator.truediv, 1), [0, 1, 2]))
        assert not active_children()
        assert dict(beside.shared_out(abs, [-1, 2])) == {0: 1, 1: 2}


def slept_by(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()
