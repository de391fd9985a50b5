"""Options of the command line that carry quantities: "65Hz:1047Hz", "5 %", "4 pF"."""

from __future__ import annotations

from synth.errors import DesignError
from synth.quantity import parse


def value(name: str, text: str, unit: str) -> float:
    """The quantity of option `name` in SI; DesignError naming the option where it cannot be read."""
    try:
        return parse(text, unit)
    except DesignError as error:
        raise DesignError(f"{name} {text}: {error}") from None


def pair(name: str, text: str, unit: str) -> tuple[float, float]:
    """Two rising quantities above 0 with a colon between, in SI."""
    ends = text.split(":")
    if len(ends) != 2:
        example = "65Hz:1047Hz" if unit == "Hz" else "5cm:50cm"
        raise DesignError(f"{name} {text}: write two values with a colon between, e.g. {name} {example}")
    low, high = (value(name, end, unit) for end in ends)
    if not 0.0 < low < high:
        raise DesignError(f"{name} {text}: the first value must be above 0 and below the second")
    return low, high
