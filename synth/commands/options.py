"""Options of commands read as values ("65Hz:1047Hz", "5 %", "4 pF"), with one clear message that names the option."""

from __future__ import annotations

from argparse import ArgumentTypeError
from collections.abc import Callable, Sequence

from synth.errors import DesignError

LOWEST, HIGHEST = 10e3, 30e6  # Hz, of a carrier


def value(name: str, text: str, unit: str) -> float:
    """The quantity of option `name` in SI; DesignError naming the option where it cannot be read."""
    from synth.designs.quantity import parse

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


def chosen(option: str, text: str | None, choices: Sequence[str]) -> str | None:
    """`text` if it is one of `choices`, letter case aside; None where the option was not given."""
    from synth.designs.schema import did_you_mean

    if text is None:
        return None
    for choice in choices:
        if text.strip().lower() == choice.lower():
            return choice
    raise DesignError(f"{option} {text!r}: must be one of {', '.join(choices)}{did_you_mean(text, choices)}")


def quantity_of(option: str, text: str | None, unit: str, low: float, high: float) -> float | None:
    """The quantity `text` stands for, SI; None where the option was not given. Raises DesignError outside low..high."""
    return None if text is None else within(option, text, unit, low, high)


def within(option: str, text: str, unit: str, low: float, high: float) -> float:
    """The quantity `text` stands for, SI. Raises DesignError outside low..high."""
    from synth.designs.quantity import format_quantity

    found = value(option, text, unit)
    if not low <= found <= high:
        limits = f"{format_quantity(low, unit)} to {format_quantity(high, unit)}"
        raise DesignError(f"{option} {text!r}: must be within {limits}")
    return found


def frequency_of(option: str, text: str | None) -> float | None:
    """A carrier frequency, Hz; None where the option was not given."""
    return quantity_of(option, text, "Hz", LOWEST, HIGHEST)


def whole_number(low: int, high: int) -> Callable[[str], int]:
    """The type of an option that is a whole number from `low` to `high`."""

    def read(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = low - 1
        if not low <= value <= high:
            raise ArgumentTypeError(f"must be a whole number from {low} to {high}; got {text!r}")
        return value

    return read
