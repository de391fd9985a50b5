"""100 000 builds through the full pitch law, against a plain loop over instruments of their own, in one run.

    python tests/benchmarks/tolerance.py [DESIGN]

The same comparison as `beatfield benchmark --only builds`, of any design.
"""

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from synth.build.workbench import open_design
from synth.comparisons.benchmark_report import section_lines
from synth.comparisons.builds import builds_section

if __name__ == "__main__":
    piece = open_design(Path(sys.argv[1])) if len(sys.argv) > 1 else None
    print("\n".join(section_lines(builds_section(quick=False, workpiece=piece))))
