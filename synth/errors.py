"""Errors a person can act on: each message names the place and the remedy; the command line prints no traceback.

The exit codes of the command line stand beside them: one for each kind of ending.
"""

EXIT_OK, EXIT_FAILED, EXIT_USAGE, EXIT_GOAL_MISSED, EXIT_INTERRUPTED = 0, 1, 2, 3, 130


class InstrumentError(Exception):
    """Base of every error Beatfield raises on purpose."""


class DesignError(InstrumentError, ValueError):
    """A design, trace or command that cannot be used; the message lists every fault with its place and remedy."""


def at_place(place: str, error: Exception, about: str = "") -> DesignError:
    """`error` as a DesignError that begins with `place` and what it is `about`.

    One that names the place already stays as it is.
    """
    text = str(error)
    return DesignError(text if text.startswith(f"{place}: ") else f"{place}: {about}{text}")


class DeviceError(InstrumentError, RuntimeError):
    """A sound device, screen or file system that does not do its part; the message says what to install or free."""
