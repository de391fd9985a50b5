"""Work done by a second process while this one goes on: two cores, or a library that takes long to load.

    with Beside(partial(field_figures, opened)) as beside:  # a fork of this process, which begins with that
        ...  # compute
        field = beside.worked()  # wait; what it returned, or raised
        beside.work(save_plot, picture, path)  # something more
        ...
        beside.worked()

On Linux it is a fork of this one, which has loaded numpy and all that is made by then, where no other thread runs; else
one that starts anew, if it has a library to load ahead. Where neither would gain anything, all is done here, when its
outcome is asked for.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from importlib import import_module
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from synth.errors import DeviceError, InstrumentError
from synth.progress_line import no_more_progress

ENDING = {signal.SIGTERM, signal.SIGHUP} if hasattr(signal, "pthread_sigmask") else set()
Work = Callable[[], object]
Item = TypeVar("Item")
Found = TypeVar("Found")


class Beside:
    """Outcomes come in the order of the work. What is given to `work`, and every outcome, must be plain data; a later
    outcome waits until the one before it is asked for, unless both are small.

    begun: what it begins with, if anything; module: loaded ahead, with what it is to do; ready: called then, to load
    what else it needs; here: nothing would be gained.
    """

    def __init__(
        self,
        begun: Work | None = None,
        *,
        module: str = "",
        ready: Callable[[], None] | None = None,
        here: bool = False,
    ) -> None:
        self._process: BaseProcess | None = None
        self._here = deque([] if begun is None else [begun])
        self._owed = len(self._here)
        forked = sys.platform == "linux" and threading.active_count() == 1
        if here or (os.cpu_count() or 1) < 2 or (ready is None and not forked):
            return
        if forked and module:
            import_module(module)
        context = multiprocessing.get_context("fork") if forked else multiprocessing.get_context("spawn")
        self._answers, theirs = context.Pipe()
        given = (theirs, self._answers if forked else None, begun, module, ready)
        process = context.Process(target=_work, args=given, name="beatfield beside", daemon=True)
        with _signals_held():
            process.start()
        theirs.close()
        self._process = process

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None and not self._owed:
            with suppress(OSError):
                self._answers.send(None)  # it ends at once, and takes down no library
            self._process.join(1.0)
        self._end()

    def work(self, function: Callable[..., object], *arguments: object) -> None:
        """Have something done; `worked` waits for it."""
        self._owed += 1
        if self._process is None:
            self._here.append(partial(function, *arguments))
            return
        with suppress(OSError):  # it has ended: what `worked` says
            self._answers.send(partial(function, *arguments))

    def worked(self) -> Any:
        """Wait for what was to be done next, and return what it did. Raises what it raised, and DeviceError where the
        process ended before.
        """
        if self._process is None:
            self._owed -= 1
            return self._here.popleft()()
        try:
            fault, result = self._answers.recv()
        except (EOFError, OSError):
            text = "a process that worked beside this one ended; free some memory and run it again"
            raise DeviceError(text) from None
        self._owed -= 1
        if fault is not None:
            raise fault
        return result

    def shared_out(self, function: Callable[[Item], Found], items: Sequence[Item]) -> Iterator[tuple[int, Found]]:
        """Apply `function` to every item: the first of them here, the last there, until none is left; the number of
        each and what was found for it, as it comes. Where that is broken off, the process ends.
        """
        left, given = deque(enumerate(items)), deque[int]()
        try:
            while left or given:
                # one more than it works at, so that it need not wait for this process, but not the last few
                while self._process is not None and left and len(given) < (2 if len(left) > 2 else 1):
                    place, item = left.pop()
                    self.work(function, item)
                    given.append(place)
                if left:
                    place, item = left.popleft()
                    yield place, function(item)
                while given and self._process is not None and (not left or self._answers.poll()):
                    yield given.popleft(), self.worked()
        finally:
            if given:
                self._end()

    def _end(self) -> None:
        process, self._process, self._owed = self._process, None, 0
        while process is not None and process.is_alive():
            process.terminate()  # it may come at a place where Python passes over it: while it imports
            process.join(0.1)


@contextmanager
def _signals_held() -> Iterator[None]:
    """A process started inside knows nothing of Ctrl-C, from its first instant on: whoever started it ends it. What
    ends it waits until it is ready for that.
    """
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not in the main thread
        yield
        return
    masked = signal.pthread_sigmask(signal.SIG_BLOCK, ENDING) if ENDING else None
    try:
        yield
    finally:
        if masked is not None:
            signal.pthread_sigmask(signal.SIG_SETMASK, masked)
        signal.signal(signal.SIGINT, before)


def _work(
    pipe: Connection, other_end: Connection | None, begun: Work | None, module: str, ready: Callable[[], None] | None
) -> None:
    """Body of the second process: load, do one thing after the other, answer. Ended early it leaves no file.

    other_end: of the pipe, which a fork holds as well: open here, it would never say that nobody is left.
    """
    if other_end is not None:
        other_end.close()
    gc.disable()  # it works for a moment and ends
    no_more_progress()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for one in ENDING:
        signal.signal(one, lambda *_: sys.exit(1))
    if ENDING:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, ENDING)
    try:
        if module:
            import_module(module)
        if ready is not None:
            ready()
        work = begun or pipe.recv()
        while work is not None:
            pipe.send(_outcome(work))
            work = pipe.recv()
    except (EOFError, OSError):  # nobody is left who waits for it
        return
    os._exit(0)  # who waits, waits for the end as well: a tenth of a second to take down a library


def _outcome(work: Work) -> tuple[Exception | None, object]:
    """What some work raises, as any process can read it, and what it returns."""
    try:
        return None, work()
    except InstrumentError as error:
        return error, None
    except Exception as error:
        return RuntimeError(f"{type(error).__name__}: {error}"), None
