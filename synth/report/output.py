"""Where a report goes: JSON to stdout, text to stdout or to a file that is written whole or not at all."""

from __future__ import annotations

import json
import sys
from typing import Any

from synth import atomic_file


def print_json(document: dict[str, Any]) -> None:
    """Print `document` as JSON (no NaN or infinity: they are not JSON)."""
    json.dump(document, sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
    sys.stdout.write("\n")


def write_text(text: str, target: str, force: bool) -> None:
    """Write `text` to the file `target`, or to stdout for `-`."""
    if target == "-":
        sys.stdout.write(text)
    else:
        atomic_file.write_text(target, text, force)
