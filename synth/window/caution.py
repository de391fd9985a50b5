"""The hearing caution: its words, and whether it was answered on this account (a small file in the state folder)."""

from __future__ import annotations

from pathlib import Path

CAUTION_TITLE = "Before the first sound"
CAUTION = (
    "Take headphones off or turn them all the way down, start, and then raise the volume slowly. "
    "Loud sound over a long time harms hearing for good: WHO-ITU H.870 allows adults 80 dBA for 40 hours a "
    "week, and less time for anything louder. A computer cannot know how loud it is at your ear.",
    "The sound starts at a low listening level: full volume peaks at \N{MINUS SIGN}20 dB of full scale. "
    "The up and down keys change it. Where local rules are stricter, they come first.",
    "Press Enter or click to start the sound.",
)


def _marker() -> Path:
    from platformdirs import user_state_path

    return user_state_path("beatfield", appauthor=False) / "hearing-caution-read"


def caution_wanted(device_error: str | None) -> bool:
    """Whether to show it first: where sound comes out, until it was answered once."""
    return device_error is None and not _marker().is_file()


def remember_caution() -> None:
    """Remember the answer; where that cannot be written, the caution simply comes again."""
    try:
        _marker().parent.mkdir(parents=True, exist_ok=True)
        _marker().touch()
    except OSError:
        return
