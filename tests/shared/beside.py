"""What is worked out beside the window, in a thread of the test's own process: what a test puts in place is seen there,
and no process has to be started.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor


def beside() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1)
