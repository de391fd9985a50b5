"""Shared by all tests: a cache folder of the run's own, so that a field is solved once and home stays clean."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

# Before numpy is loaded: threads of a linear-algebra library only get in each other's way on a busy two-core machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

settings.register_profile("untimed", deadline=None)  # tests are not timed
settings.load_profile("untimed")


@pytest.fixture(scope="session", autouse=True)
def private_cache(tmp_path_factory: pytest.TempPathFactory):
    """Point the user's cache, configuration and data folders at a temporary one, for child processes too.

    Tests that run side by side share the cache, so that each field is solved once in all.
    """
    folder = tmp_path_factory.mktemp("home")
    shared = folder if os.environ.get("PYTEST_XDIST_WORKER") is None else tmp_path_factory.getbasetemp().parent
    names = ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "APPDATA")
    with pytest.MonkeyPatch.context() as patch:
        for name in names:
            patch.setenv(name, str(folder / name.lower()))
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, str(shared / name.lower()))
        patch.setenv("PYGAME_HIDE_SUPPORT_PROMPT", "1")
        yield Path(os.environ["XDG_CACHE_HOME"])


@pytest.fixture(scope="session")
def demos() -> Path:
    """The folder of the demo designs."""
    return Path(__file__).parents[1] / "demos"
