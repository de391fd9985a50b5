"""Harmonic balance against the integration in time, side by side in one run: agreement and speed.

Run: python tests/benchmarks/oscillator.py [name ...]   (two minutes for all; names as in
synth/comparisons/oscillator.py). The same comparison as `beatfield benchmark --only oscillator`.
"""

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from synth.comparisons.benchmark_report import section_lines
from synth.comparisons.oscillator import oscillator_section

if __name__ == "__main__":
    print("\n".join(section_lines(oscillator_section(quick=False, cases=sys.argv[1:], each=print))))
