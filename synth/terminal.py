"""A long text on a terminal, page by page."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NO_PAGER = (127, 126)  # exit codes of a shell for a command that is not there or cannot be run (POSIX XCU 2.8.2)


def paged(text: str) -> None:
    """Print `text`; where it is longer than the terminal, through the user's pager ($PAGER, else `less`).

    A pager that cannot be started is passed over.
    """
    pager = os.environ.get("PAGER") or shutil.which("less")
    if not sys.stdout.isatty() or text.count("\n") < shutil.get_terminal_size().lines or not pager:
        sys.stdout.write(text)
        return
    environment = {"LESS": "FRX", "LESSCHARSET": "utf-8", **os.environ}
    try:
        code = subprocess.run(pager, input=text, shell=True, check=False, encoding="utf-8", env=environment).returncode
    except OSError:
        code = NO_PAGER[0]
    if code in NO_PAGER:
        sys.stdout.write(text)
