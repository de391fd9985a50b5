"""The process in which circuits and fields are solved: answers, errors, what is given up, what dies and comes again."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from concurrent.futures import CancelledError

import pytest

from synth.errors import DesignError
from synth.window.solver_process import SolverLostError, SolverProcess


@pytest.fixture(scope="module")
def solver() -> Iterator[SolverProcess]:
    solver = SolverProcess()
    yield solver
    solver.shutdown(cancel_futures=True)


def refuse() -> None:
    raise DesignError("no such part")


def test_work_is_done_in_another_process_and_answers_in_order(solver: SolverProcess) -> None:
    answers = [solver.submit(divmod, number, 7) for number in (30, 50, 7)]
    assert [answer.result(60.0) for answer in answers] == [(4, 2), (7, 1), (1, 0)]
    assert solver.submit(os.getpid).result(60.0) == solver.pid != os.getpid()


def test_its_errors_are_raised_here(solver: SolverProcess) -> None:
    with pytest.raises(DesignError, match="no such part"):
        solver.submit(refuse).result(60.0)
    with pytest.raises(ZeroDivisionError):
        solver.submit(divmod, 1, 0).result(60.0)


def test_what_nobody_wants_any_more_is_given_up(solver: SolverProcess) -> None:
    """Work without end is cancelled, and so is what waits behind it; the next is done by the same process."""
    process = solver.submit(os.getpid).result(60.0)
    endless, waiting = solver.submit(forever), solver.submit(divmod, 1, 0)
    while not endless.running():
        time.sleep(0.001)
    assert waiting.cancel()
    assert endless.cancel()  # once: it may not yet have begun there when it is told
    with pytest.raises(CancelledError):
        endless.result(20.0)
    assert waiting.cancelled()
    assert solver.submit(os.getpid).result(60.0) == process


def forever() -> None:
    while True:
        sum(range(1000))


def test_one_that_died_says_so_and_is_started_again(solver: SolverProcess) -> None:
    """What is given up while it starts is given up all the same."""
    process = solver.submit(os.getpid).result(60.0)
    with pytest.raises(SolverLostError, match="ended"):
        solver.submit(os.kill, process, 9).result(60.0)
    unwanted = solver.submit(forever)
    while not unwanted.running():
        time.sleep(0.001)
    assert unwanted.cancel()  # the process that is to begin it is only starting
    with pytest.raises(CancelledError):
        unwanted.result(20.0)
    assert solver.submit(os.getpid).result(60.0) != process


def test_it_ends_with_the_window(solver: SolverProcess) -> None:
    """Ending waits for nothing that is under way, and nothing is taken any more."""
    under_way = solver.submit(forever)
    solver.shutdown(cancel_futures=True)
    with pytest.raises((SolverLostError, CancelledError)):
        under_way.result(60.0)
    assert solver.pid is None
    with pytest.raises(RuntimeError):
        solver.submit(os.getpid)
