"""`python -m synth` is the command line."""

import sys

from synth.cli import main

if __name__ == "__main__":  # the sound process starts a fresh interpreter and must not run the command again
    sys.exit(main())
