"""A process of its own for what takes long: circuits and fields are solved there while the window draws and plays.

In the window's own process the work would hold the interpreter's lock while a picture is due. The process is an
executor, which is given a function of a module and its arguments and gives a future; what both hold is small. One piece
of work is done at a time. Cancelled, one that waits is never begun, and one under way is given up within some
milliseconds, also where it is only on its way there: nobody waits for an answer that no one wants any more.

It ends with the window, or when the window's process has died. One that has died itself is started again for the next
piece of work; the piece that was lost raises `SolverLostError`.
"""

from __future__ import annotations

import _thread
import multiprocessing
import os
import pickle
import signal
import threading
from collections.abc import Callable
from concurrent.futures import CancelledError, Executor, Future
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from queue import SimpleQueue
from typing import Any, Protocol, TypeVar

from synth.errors import InstrumentError
from synth.live.sound_process import no_interrupt

Value = TypeVar("Value")
NICENESS = 10  # the sound and the pictures go first


class SolverLostError(InstrumentError):
    """The process ended before it had answered."""


class Work(Protocol):
    """What session and window ask of an executor."""

    def submit(self, function: Callable[..., Value], /, *arguments: Any) -> Future[Value]:
        """Do a piece of work."""

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End it."""


class Errand(Future[Any]):
    """One piece of work under way. Cancelled while it is done it raises CancelledError as soon as it is given up."""

    def __init__(self, number: int, work: tuple[Any, ...], give_up: Callable[[Errand], None]) -> None:
        super().__init__()
        self.number = number
        self.message = pickle.dumps((number, *work))
        self.unwanted = False
        self._give_up = give_up

    def cancel(self) -> bool:
        """Never begin it, or give it up; False where it is done."""
        if super().cancel():
            return True
        self._give_up(self)
        return not self.done()


class SolverProcess(Executor):
    """The process, from the window's side. It starts with the first piece of work."""

    def __init__(self) -> None:
        self._errands: SimpleQueue[Errand | None] = SimpleQueue()
        self._courier: threading.Thread | None = None
        self._process: Any = None
        self._pipe: Connection | None = None
        self._stops: Connection | None = None
        self._under_way: Errand | None = None
        self._lock = threading.Lock()
        self._ended = self._dropped = False
        self._count = 0

    @property
    def pid(self) -> int | None:
        """Its number in the operating system; None while there is none."""
        process = self._process
        return None if process is None else process.pid

    def submit(self, function: Callable[..., Value], /, *arguments: Any, **keywords: Any) -> Future[Value]:
        """Do a piece of work: a function of a module, and what can be sent. Raises RuntimeError after `shutdown`."""
        if self._ended:
            raise RuntimeError("the solver has been shut down")
        self._count += 1
        errand = Errand(self._count, (function, arguments, keywords), self._stop)
        self._errands.put(errand)
        if self._courier is None:
            self._courier = threading.Thread(target=self._carry, name="beatfield solver", daemon=True)
            self._courier.start()
        return errand

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End it. Work that has not begun is cancelled or, without `cancel_futures`, still done; `wait` for that."""
        self._ended, self._dropped = True, cancel_futures
        self._errands.put(None)
        if cancel_futures and (process := self._process) is not None:
            with suppress(ValueError):  # it has just been given back
                process.kill()
        if wait and self._courier is not None:
            self._courier.join()

    def _stop(self, errand: Errand) -> None:
        """Let the process give up an errand, if that is what it does; if it has not been sent there, as it is sent."""
        with self._lock, suppress(OSError):
            errand.unwanted = True
            if errand is self._under_way and self._stops is not None:
                self._stops.send(errand.number)

    def _carry(self) -> None:
        """Take errands there and answers back, one at a time, until told to end."""
        while (errand := self._errands.get()) is not None:
            if self._dropped:
                errand.cancel()
            if not errand.set_running_or_notify_cancel():
                continue
            try:
                self._deliver(errand)
            except (EOFError, OSError) as error:
                self._release()
                errand.set_exception(SolverLostError(f"the solving process ended ({error or 'without a word'})"))
        self._release()

    def _deliver(self, errand: Errand) -> None:
        if self._process is None or not self._process.is_alive():
            self._release()
            self._start()
        if self._dropped:  # shut down while the process was starting
            raise EOFError
        assert self._pipe is not None
        assert self._stops is not None
        with self._lock:
            self._under_way = errand
            if errand.unwanted:
                self._stops.send(errand.number)
        self._pipe.send_bytes(errand.message)
        answer = self._pipe.recv_bytes()
        self._under_way = None
        good, value = pickle.loads(answer)
        if good:
            errand.set_result(value)
        else:
            errand.set_exception(value)

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        hears, self._stops = context.Pipe(duplex=False)
        process = context.Process(target=_run, args=(theirs, hears), name="beatfield solver", daemon=True)
        with no_interrupt():
            process.start()
        theirs.close()
        hears.close()
        self._process = process

    def _release(self) -> None:
        """Give process and pipes back."""
        with self._lock:
            self._under_way = None
            for pipe in (self._pipe, self._stops):
                if pipe is not None:
                    pipe.close()
            self._pipe = self._stops = None
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.join()
            process.close()


class _GivenUpError(BaseException):
    """Raised within the work that nobody wants any more."""


def _run(pipe: Connection, stops: Connection) -> None:
    """Body of the process: work, until the other side hangs up or dies."""
    working, unwanted = 0, [0]  # numbers of pieces of work

    def give_up(*_: object) -> None:
        nonlocal working
        if working and working == unwanted[0]:
            working = 0
            raise _GivenUpError

    signal.signal(signal.SIGINT, give_up)  # from `_hear` alone: Ctrl-C is blocked here, it is the window's business
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    threading.Thread(target=_hear, args=(stops, unwanted), daemon=True).start()
    import synth.window.steering  # noqa: F401 - all that is solved there, before the first piece of work comes

    with suppress(EOFError, OSError):
        while True:
            message = pipe.recv_bytes()
            try:
                number, function, arguments, keywords = pickle.loads(message)
                working = number
                give_up()  # if that was told before it came
                answer = pickle.dumps((True, function(*arguments, **keywords)))
                working = 0
            except _GivenUpError:
                answer = pickle.dumps((False, CancelledError()))
            except Exception as error:  # told to who waits for the answer
                working = 0
                answer = _fault(error)
            pipe.send_bytes(answer)


def _fault(error: Exception) -> bytes:
    """An error as a message; one that cannot be sent as its words."""
    try:
        message = pickle.dumps((False, error))
        pickle.loads(message)
    except Exception:
        return pickle.dumps((False, InstrumentError(str(error))))
    return message


def _hear(stops: Connection, unwanted: list[int]) -> None:
    """Interrupt the work whose number is told; end the process when the window's process has gone."""
    parent = multiprocessing.parent_process()
    watched: list[Any] = [stops] + ([] if parent is None else [parent.sentinel])
    with suppress(EOFError, OSError):
        while stops in wait(watched):
            unwanted[0] = stops.recv()
            _thread.interrupt_main(signal.SIGINT)
    os._exit(0)
