"""One value of a design file: read, checked and written by its key in the table."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Iterable
from typing import Any

from synth.designs.quantity import format_quantity, parse
from synth.designs.schema import Key
from synth.designs.units import PLAIN
from synth.errors import DesignError
from synth.files.plain_text import invisible


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """ "; did you mean 'x'?" for the nearest known word, or "" where none is near."""
    near = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else ""


def read_value(key: Key, raw: Any) -> Any:
    """The value that `raw`, as TOML gives it, stands for: SI float, text or None. Raises DesignError."""
    if key.longest or key.choices:
        value = raw
    elif isinstance(raw, str) and raw.strip() in key.words:
        return key.words[raw.strip()]
    else:
        value = _read_quantity(key, raw)
    return check_value(key, value)


def check_value(key: Key, value: Any) -> Any:
    """`value` as the key stores it; raise DesignError where it is of the wrong kind or out of its domain."""
    if value is None and key.may_be_none:
        return None
    if key.choices:
        return _checked_choice(key, value)
    if key.longest:
        return _checked_text(key, value)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise DesignError("is not a finite number")
    if not key.low <= value <= key.high:
        low, high = (format_quantity(limit, key.unit) for limit in (key.low, key.high))
        raise DesignError(f"is out of its domain; it must be between {low} and {high}")
    return float(value) + 0.0


def write_value(key: Key, value: Any) -> str | None:
    """`value` as TOML text that `read_value` turns back into exactly it; None where the key is left out."""
    for word, meaning in key.words.items():
        if value is meaning:
            return toml_text(word)
    if value is None:
        return None
    if key.choices or key.longest:
        return toml_text(value)
    text = format_quantity(value, key.unit, digits=None)
    return text if key.unit in PLAIN else toml_text(text)


def toml_text(text: str) -> str:
    """`text` as a TOML basic string (JSON's escapes are a subset of TOML's)."""
    return json.dumps(text, ensure_ascii=False)


def domain_text(key: Key) -> str:
    """What the key takes, for comments."""
    if key.choices:
        return " | ".join(f'"{choice}"' for choice in key.choices)
    if key.longest:
        return f"text, at most {key.longest} characters"
    limits = f"{format_quantity(key.low, key.unit)} to {format_quantity(key.high, key.unit)}"
    return " | ".join([limits, *(f'"{word}"' for word in key.words)])


def _read_quantity(key: Key, raw: Any) -> float:
    try:
        return parse(raw, key.unit)
    except DesignError as error:
        if not key.words or not isinstance(raw, str):
            raise
        words = " or ".join(f'"{word}"' for word in key.words)
        near = did_you_mean(raw, key.words)
        raise DesignError(f"{error}{near or f', or {words}'}") from None


def _checked_choice(key: Key, value: Any) -> str:
    if isinstance(value, str) and value in key.choices:
        return value
    near = did_you_mean(value, key.choices) if isinstance(value, str) else ""
    raise DesignError(f"must be one of {', '.join(key.choices)}{near}")


def _checked_text(key: Key, value: Any) -> str:
    """A text that can be printed and stored: bounded, nothing invisible but line feeds and tabs."""
    if not isinstance(value, str):
        raise DesignError(f"must be a text in quotes, at most {key.longest} characters")
    if len(value) > key.longest:
        raise DesignError(f"is too long: {len(value)} characters, at most {key.longest} are taken")
    if len(value.strip()) < key.shortest:
        raise DesignError(f"is empty; write the {key.name}, or leave the key out")
    allowed = "\n\t" if key.longest > 200 else ""
    if any(invisible(character) and character not in allowed for character in value):
        raise DesignError("holds a control or invisible character; use plain printable text")
    return value
