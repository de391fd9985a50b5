"""`python -m synth`, and the program `beatfield`: the command line, interruptible from its first import on."""

import sys


def run() -> int:
    """Run the command line and return its exit code; Ctrl-C before it is set up ends as quietly as later."""
    try:
        from synth.cli import main

        return main()
    except KeyboardInterrupt:
        print("\nbeatfield: interrupted", file=sys.stderr)
        return 130


if __name__ == "__main__":  # the sound process starts a fresh interpreter and must not run the command again
    sys.exit(run())
