"""Write the golden figures anew, or compare them to the last digit.

python -m tests.golden.renew_golden            writes figures/ anew; say in the commit why a figure changed
python -m tests.golden.renew_golden --compare  prints what differs by more than 1e-9, and every sound not equal
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from tests.golden.golden_cases import CASES, FIGURES, ROOT, SEARCHES, SOUNDS, differences, figures_of, sound_of


def renew(compare: bool, only: list[str]) -> int:
    """Run every case (or those whose name begins with one of `only`); return how many differ."""
    differing = 0
    with tempfile.TemporaryDirectory() as folder:
        for name, arguments in {**CASES, **SEARCHES, **{f"sound-{name}": row for name, row in SOUNDS.items()}}.items():
            if only and not name.startswith(tuple(only)):
                continue
            start = time.perf_counter()
            make = sound_of if name.startswith("sound-") else figures_of
            found = make(arguments, Path(folder))
            path = FIGURES / f"{name}.json"
            if not compare:
                path.write_text(json.dumps(found, indent=1).replace(f"{ROOT}/", "") + "\n")  # wherever the clone lies
                print(f"{name}: written, {time.perf_counter() - start:.1f} s")
                continue
            golden = json.loads(path.read_text())
            lines = differences(found, golden, 1e-9)
            if name.startswith("sound-") and found["sha256"] != golden["sha256"]:
                lines.append("the samples are not the same to the last bit")
            differing += bool(lines)
            print("\n  ".join([f"{name}: {'differs' if lines else 'same'}", *lines[:20]]))
    return differing


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--compare", action="store_true", help="write nothing; print what differs")
    parser.add_argument("names", nargs="*", help="only the cases whose names begin so")
    given = parser.parse_args()
    sys.exit(min(renew(given.compare, given.names), 1))
