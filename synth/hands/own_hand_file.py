"""The player's own hand, kept in the user's folder: one small TOML file, in centimetres and millimetres."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from synth.errors import DesignError
from synth.files.atomic_file import make_folder, write_text
from synth.files.input_file import read_text
from synth.hands.own_hand import OwnHand

LARGEST_FILE = 20_000  # bytes
#: Key in the file -> (field, how many of its unit are one of SI, what it is).
KEYS: dict[str, tuple[str, float, str]] = {
    "nearest_cm": ("nearest", 100.0, "nearest to the antenna that the hand goes"),
    "farthest_cm": ("farthest", 100.0, "farthest from it"),
    "scatter_mm": ("scatter", 1000.0, "coming back to a place, standard deviation"),
    "tremor_mm": ("tremor", 1000.0, "while it rests, RMS"),
    "tremor_rate_hz": ("tremor_rate", 1.0, "how often it trembles in a second"),
    "speed_cm_per_s": ("speed", 100.0, "at its fastest, on the way from place to place"),
    "resolution_mm": ("resolution", 1000.0, "the smallest step that was seen"),
}
OPTIONAL = ("tremor_mm", "tremor_rate_hz")
REMEDY = "measure the hand again (U in the window), or remove the file"


def hand_file() -> Path:
    """Where the hand is kept."""
    from platformdirs import user_data_path

    return user_data_path("beatfield", appauthor=False) / "hand.toml"


def hand_text(hand: OwnHand) -> str:
    """The file's text."""
    lines = ["# The player's own hand, as Beatfield measured it."]
    for key, (name, scale, what) in KEYS.items():
        value = getattr(hand, name)
        if value is not None:
            lines.append(f"{key} = {scale * value:.4g}  # {what}")
    lines += [f"{key} = {_quoted(getattr(hand, key))}" for key in ("source", "when")]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    import tomlkit

    return str(tomlkit.string(text).as_string())


def keep_hand(path: Path, hand: OwnHand) -> None:
    """Write the file in place of an older one."""
    make_folder(path.parent)
    write_text(path, hand_text(hand), force=True)


def kept_hand(path: Path) -> OwnHand | None:
    """The hand in a file; None where there is no file. DesignError names what cannot be read."""
    if not (path.exists() or path.is_symlink()):
        return None
    text = read_text(path, LARGEST_FILE, "remove it", "measure the hand", "remove it")
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        raise DesignError(f"{path}: not readable as TOML ({str(error)[:80]}); {REMEDY}") from None
    values: dict[str, Any] = {"tremor": None, "tremor_rate": None}
    for key, (name, scale, _) in KEYS.items():
        value = table.get(key)
        if value is None and key in OPTIONAL:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise DesignError(f"{path}: {key} must be a number; {REMEDY}")
        values[name] = float(value) / scale if abs(value) < 1e12 else float("inf")
    for key in ("source", "when"):
        values[key] = str(table.get(key, ""))[:200]
    try:
        return OwnHand(**values)
    except ValueError as error:
        keys = [key for key, (name, _, _) in KEYS.items() if name == str(error).split()[0]]
        where = f"{keys[0]}: " if keys else ""
        raise DesignError(f"{path}: {where}{error}; {REMEDY}") from None


def own_hand() -> OwnHand | None:
    """The hand that is kept for this user, or None."""
    return kept_hand(hand_file())
