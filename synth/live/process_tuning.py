"""What makes a process fit for sound: priority, quick thread changes, no garbage collection, no chatter."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

NICENESS = -11
REAL_TIME_PRIORITY = 5  # of 1 (lowest) to 99
SWITCH_INTERVAL = 0.0005  # s a thread may hold the interpreter while the callback waits


def prepare_process() -> None:
    """To be called first in the audio process, before any thread exists: threads inherit the priority."""
    sys.setswitchinterval(SWITCH_INTERVAL)
    quiet_c_libraries()
    raise_priority()


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


def quiet_c_libraries() -> None:
    """Drop what C libraries print to stderr (ALSA: every underrun); Python's own stderr stays."""
    kept = os.fdopen(os.dup(2), "w", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = kept


def raise_priority() -> None:
    """Ask to be scheduled before ordinary programs; where the system does not allow it, nothing changes."""
    try:
        os.setpriority(os.PRIO_PROCESS, 0, NICENESS)
    except (AttributeError, OSError):
        return
