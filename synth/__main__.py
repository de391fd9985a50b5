"""`python -m synth`, and the program `beatfield`: the command line, interruptible from its first import on."""

import signal
import sys


def run() -> int:
    """Run the command line and return its exit code; Ctrl-C before it is set up ends as quietly as later.

    Once there is an exit code, Ctrl-C is not heard any more: the way out is short.
    """
    try:
        from synth.cli import main

        code = main()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        print("\nbeatfield: interrupted", file=sys.stderr)
        code = 130
    return code


if __name__ == "__main__":  # the sound process starts a fresh interpreter and must not run the command again
    sys.exit(run())
