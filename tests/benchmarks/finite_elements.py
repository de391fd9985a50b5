"""Boundary elements against finite elements at equal accuracy: python tests/benchmarks/finite_elements.py [--quick]

The same comparison as `beatfield benchmark --only field`; needs scikit-fem (pip install "beatfield[test]").
"""

import sys

from synth.cli import main

if __name__ == "__main__":
    sys.exit(main(["benchmark", "--only", "field", *sys.argv[1:]]))
