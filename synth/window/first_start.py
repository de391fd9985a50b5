"""Whether the hearing caution was answered on this account: a small file in the user's state folder."""

from __future__ import annotations

from pathlib import Path


def _marker() -> Path:
    from platformdirs import user_state_path

    return user_state_path("beatfield", appauthor=False) / "hearing-caution-read"


def caution_was_read() -> bool:
    """True where the caution was answered at an earlier start."""
    return _marker().is_file()


def remember_caution() -> None:
    """Remember the answer; where that cannot be written, the caution simply comes again."""
    try:
        _marker().parent.mkdir(parents=True, exist_ok=True)
        _marker().touch()
    except OSError:
        return
