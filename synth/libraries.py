"""Libraries that only some commands need: imported when used, and missed with a message that says what to install."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType

from synth.errors import DeviceError

DISTRIBUTIONS = {"soundfile": "soundfile", "matplotlib": "matplotlib", "pygame": "pygame-ce", "skfem": "scikit-fem"}


def require(module: str, purpose: str) -> ModuleType:
    """Import and return `module`; raise DeviceError naming the `purpose` and the remedy where it cannot be had."""
    try:
        return import_module(module)
    except (ImportError, OSError) as error:
        remedy = f"{sys.executable} -m pip install {DISTRIBUTIONS.get(module, module)}"
        text = f"{purpose} needs the library {module}, which cannot be loaded ({error}): {remedy}"
        raise DeviceError(text) from error


@contextmanager
def libraries_quiet() -> Iterator[None]:
    """Drop what C libraries print to stderr meanwhile (ALSA: that there is no sequencer); our own message says it."""
    try:
        kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    except OSError:  # started without stderr
        yield
        return
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
