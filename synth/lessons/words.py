"""What the lessons say: one file of texts for each language, beside this module, read when it is first asked for.

A text may hold fields in braces, which the figures of its lesson fill in.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

LANGUAGE = "en"


@cache
def texts() -> dict[str, Any]:
    """The file of texts as a tree of tables."""
    return tomllib.loads(files("synth.lessons").joinpath("texts", f"{LANGUAGE}.toml").read_text(encoding="utf-8"))


def table(*keys: str) -> dict[str, str]:
    """The texts at the end of these keys as they stand, fields and all: for the page, which fills them in itself."""
    found: Any = texts()
    for key in keys:
        found = found[key]
    return {key: found[key] for key in found}


def said(*keys: str, **figures: object) -> str:
    """The text at the end of these keys, with the figures in its fields."""
    found: Any = texts()
    for key in keys:
        found = found[key]
    return str(found).format(**figures)
