"""Boundary elements against finite elements at equal accuracy: python tests/bench/bench_finite_elements.py [--quick]

The same comparison as `beatfield bench --only field`; needs scikit-fem (pip install "beatfield[test]").
"""

import sys

from synth.cli import main

if __name__ == "__main__":
    sys.exit(main(["bench", "--only", "field", *sys.argv[1:]]))
