"""Where a report goes: JSON to stdout, text to stdout or to a file that is written whole or not at all."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Sequence
from typing import Any

from synth.files import atomic_file
from synth.files.plain_text import valid_utf8


def known(value: float) -> float | None:
    """`value`; None, as JSON has it, where it is not a number."""
    return None if value != value else float(value)


def csv_text(heads: Sequence[str], rows: Iterable[Iterable[float]]) -> str:
    """Numbers as CSV with nine digits under `heads`; an empty cell where there is no number."""
    lines = [",".join("" if cell != cell else f"{cell:.9g}" for cell in row) for row in rows]
    return "\n".join([",".join(heads), *lines]) + "\n"


def print_json(document: dict[str, Any]) -> None:
    """Print `document` as JSON in valid UTF-8 (no NaN or infinity: they are not JSON)."""
    sys.stdout.write(valid_utf8(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)) + "\n")


def write_text(text: str, target: str, force: bool) -> None:
    """Write `text` to the file `target`, or to stdout for `-`."""
    if target == "-":
        sys.stdout.write(valid_utf8(text))
    else:
        atomic_file.write_text(target, text, force)
