"""The voice against the radio rate, every detector: python tests/benchmarks/radio_rate.py [--quick]

The same comparison as `beatfield benchmark --only voice`.
"""

import sys

from synth.cli import main

if __name__ == "__main__":
    sys.exit(main(["benchmark", "--only", "voice", *sys.argv[1:]]))
