"""What makes a process fit for sound: priority, quick thread changes, no garbage collection, no chatter."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

NICENESS = -11
REAL_TIME_PRIORITY = 5  # of 1 (lowest) to 99
SWITCH_INTERVAL = 0.0005  # s a thread may hold the interpreter while the callback waits


def prepare_process() -> None:
    """To be called first in the audio process, before any thread exists: threads inherit the priority.

    What C libraries print to stderr is dropped (ALSA: every underrun); Python's own stderr stays. Where the system does
    not allow the process to be scheduled before ordinary programs, its priority stays as it is.
    """
    sys.setswitchinterval(SWITCH_INTERVAL)
    kept = os.fdopen(os.dup(2), "w", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = kept
    with suppress(AttributeError, OSError):
        os.setpriority(os.PRIO_PROCESS, 0, NICENESS)


def settle_memory() -> None:
    """Collect garbage a last time: a collection would hold the callback up; rendering makes no cycles."""
    gc.collect()
    gc.freeze()
    gc.disable()


@contextmanager
def real_time_threads() -> Iterator[None]:
    """Threads started meanwhile are scheduled in real time where the system allows it; the calling one only for now.

    A stream is opened in it, so that PortAudio's thread and those of the libraries below it run when they must. Linux
    shares the processor among sessions first: a process's priority alone does not stand against a busy one elsewhere.
    """
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(REAL_TIME_PRIORITY))
    except (AttributeError, OSError):
        yield
        return
    try:
        yield
    finally:
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
