"""Plots drawn by a second process: it loads the library, half a second of work, while this one solves.

    with DrawnBeside("synth.analysis.oscillator") as drawing:  # loads that module, and starts it
        drawing.work(turned_pot, circuit, state)  # it may help as long as there is nothing to draw
        ...  # compute
        turned = drawing.worked()  # wait; what it returned, or raised
        drawing.draw(save_unsteady_plot, title, curves, path, force)  # hand over what is to be drawn
        ...  # compute on
        drawing.finish()  # wait; what drawing returned, or raised

Where that would gain nothing (one processor, or the plotting library is loaded here already) it is drawn here. On Linux
it is a fork of this one, which has loaded numpy and the module then, where no other thread runs; else it starts anew.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from multiprocessing.connection import Connection
from typing import Any

from synth.errors import DeviceError, InstrumentError

ENDING = {signal.SIGTERM, signal.SIGHUP} if hasattr(signal, "pthread_sigmask") else set()
PLOTS = ("matplotlib.backends.backend_agg", "matplotlib.figure", "PIL.PngImagePlugin")


class DrawnBeside:
    """What a function of `module` draws; what it is given and returns must be plain data. plots: whether it draws with
    the plotting library, which is loaded ahead.
    """

    def __init__(self, module: str, plots: bool = True) -> None:
        self._process = None
        self._result: object = None
        if (plots and PLOTS[0] in sys.modules) or (os.cpu_count() or 1) < 2:
            return
        forked = sys.platform == "linux" and threading.active_count() == 1
        if forked:
            import_module(module)
        context = multiprocessing.get_context("fork") if forked else multiprocessing.get_context("spawn")
        self._answers, theirs = context.Pipe()
        given = (theirs, self._answers if forked else None, module, plots)
        process = context.Process(target=_draw_one, args=given, name="beatfield plot", daemon=True)
        with _signals_held():
            process.start()
        theirs.close()
        self._process = process

    def __enter__(self) -> DrawnBeside:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:  # asked for nothing, or given up
            while self._process.is_alive():  # it may come at a place where Python passes over it: while it imports
                self._process.terminate()
                self._process.join(0.1)

    def work(self, function: Callable[..., object], *arguments: object) -> None:
        """Have something worked out before there is anything to draw; `worked` gives it."""
        self._hand_over(function, arguments, last=False)

    def worked(self) -> Any:
        """Wait for what was to be worked out. Raises as `finish` does."""
        return self._result if self._process is None else _value(*self._answer())

    def draw(self, function: Callable[..., object], *arguments: object) -> None:
        """Have it drawn."""
        self._hand_over(function, arguments, last=True)

    def finish(self) -> Any:
        """Wait until it is drawn, and return what the function did. Raises what its drawing raised, and DeviceError
        where the process ended before.
        """
        if self._process is None:
            return self._result
        answer = self._answer()
        self._process.join()
        self._process = None
        return _value(*answer)

    def _hand_over(self, function: Callable[..., object], arguments: tuple[object, ...], last: bool) -> None:
        if self._process is None:
            self._result = function(*arguments)
            return
        with suppress(OSError):  # it has ended: what `_answer` says
            self._answers.send((function, arguments, last))

    def _answer(self) -> tuple[Exception | None, object]:
        try:
            fault, result = self._answers.recv()
        except (EOFError, OSError):
            text = "the plot was not drawn: the process that draws it ended; free some memory and run it again"
            raise DeviceError(text) from None
        return fault, result


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


def _draw_one(pipe: Connection, other_end: Connection | None, module: str, plots: bool) -> None:
    """Body of the second process: load, wait for what is to be drawn, draw, answer. Ended early it leaves no file.

    other_end: of the pipe, which a fork holds as well: open here, it would never say that nobody is left.
    """
    if other_end is not None:
        other_end.close()
    gc.disable()  # it draws once and ends
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for one in ENDING:
        signal.signal(one, lambda *_: sys.exit(1))
    if ENDING:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, ENDING)
    try:
        import_module(module)
        if plots:
            from synth.report.figure import plotting_library

            with suppress(InstrumentError, ImportError):  # one that is missing is told of by whoever draws with it
                plotting_library()
                for name in PLOTS:
                    import_module(name)
        last = False
        while not last:
            function, arguments, last = pipe.recv()
            pipe.send(_outcome(function, arguments))
    except (EOFError, OSError):  # nobody is left who waits for it
        return
    os._exit(0)  # who waits, waits for the end as well: a tenth of a second to take down the library


def _value(fault: Exception | None, result: object) -> Any:
    if fault is not None:
        raise fault
    return result


def _outcome(function: Callable[..., object], arguments: tuple[object, ...]) -> tuple[Exception | None, object]:
    """What a function raises, as any process can read it, and what it returns."""
    try:
        return None, function(*arguments)
    except InstrumentError as error:
        return error, None
    except Exception as error:
        return RuntimeError(f"{type(error).__name__}: {error}"), None
