"""The installed version of Beatfield."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """The version of the installed distribution."""
    try:
        return version("beatfield")
    except PackageNotFoundError:
        return "0 (not installed)"
