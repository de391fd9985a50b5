"""A long text on a terminal, page by page."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys


def paged(text: str) -> None:
    """Print `text`; where it is longer than the terminal, through the user's pager ($PAGER, else `less`)."""
    pager = os.environ.get("PAGER") or shutil.which("less")
    if not sys.stdout.isatty() or text.count("\n") < shutil.get_terminal_size().lines or not pager:
        sys.stdout.write(text)
        return
    environment = {"LESS": "FRX", "LESSCHARSET": "utf-8", **os.environ}
    try:
        subprocess.run(pager, input=text, shell=True, check=False, encoding="utf-8", env=environment)
    except OSError:
        sys.stdout.write(text)
