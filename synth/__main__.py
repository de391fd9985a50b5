"""`python -m synth`, and the program `beatfield`: the command line, interruptible from its first import on."""

import gc
import signal
import sys

RARELY = 100_000
"""Objects more than before, at which garbage is looked for: a command makes half as many while it is loaded, all of
which stay, and looking through them every 700 takes a fortieth of a short command's time."""


def run() -> int:
    """Run the command line and return its exit code; Ctrl-C before it is set up ends as quietly as later.

    Once there is an exit code, no request to end is heard any more: the way out is short.
    """
    gc.set_threshold(RARELY)
    try:
        from synth.cli import main

        code = main()
        _hear_no_more()
    except KeyboardInterrupt:
        _hear_no_more()
        print("\nbeatfield: interrupted", file=sys.stderr)
        code = 130
    return code


def _hear_no_more() -> None:
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    # A Ctrl-C that came while text was run as code (a dataclass is made so) is remembered by CPython, which then ends
    # by that signal and not with our exit code; running any text makes it forget.
    exec("")


if __name__ == "__main__":  # the sound process starts a fresh interpreter and must not run the command again
    sys.exit(run())
