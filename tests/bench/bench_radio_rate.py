"""The voice against the radio rate, every detector: python tests/bench/bench_radio_rate.py [--quick]

The same comparison as `beatfield bench --only voice`.
"""

import sys

from synth.cli import main

if __name__ == "__main__":
    sys.exit(main(["bench", "--only", "voice", *sys.argv[1:]]))
