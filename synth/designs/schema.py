"""What a key of a design file is, how it is declared (`quantity`, `quantities`, `choice`, `text`), read and written.

A section of a design (`SectionValues`) is a frozen dataclass whose fields are made here, one declaration a key: type,
help, unit, domain and default. Reading, checking, writing and the commented template all follow the declarations.
"""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, field, fields, replace
from typing import Any, ClassVar, Final, TypeVar, dataclass_transform

from models.quick_dataclass import dataclass
from synth.designs.quantity import PLAIN, format_quantity, parse
from synth.errors import DesignError
from synth.files.plain_text import invisible

T = TypeVar("T")
REQUIRED: Final[Any] = MISSING  # the default of a key that may not be left out


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a design file: a quantity (`unit` and `low`..`high`, SI), a row of them, one of `choices`, or a text.

    `words` are texts taken in place of a quantity and what they stand for ("bonded": None). A default of None
    without such a word is a key that may be left out; REQUIRED is one that may not.
    """

    help: str
    default: Any
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    words: Mapping[str, Any] = field(default_factory=dict)
    longest: int = 0  # of a text, characters; more than one line only above 200
    shortest: int = 0  # of a text, characters that are not spaces
    most: int = 0  # of a row of quantities (a TOML array), how many; 0: a single one
    section: str = ""  # this and `name`: the section and the field that declare the key
    name: str = ""

    @property
    def path(self) -> str:
        """The key as messages name it: section.key."""
        return f"{self.section}.{self.name}"

    @property
    def may_be_none(self) -> bool:
        """Whether None is a value of the key: left out, or said by a word."""
        return self.default is None or None in self.words.values()


Domain = tuple[str, float, float]  # unit, lowest and highest value (SI)


def quantity(help: str, domain: Domain, *, default: T = REQUIRED, words: Mapping[str, T] | None = None) -> T:
    """A field for a number in this domain, or one of the `words`."""
    return field(default=default, metadata={"key": Key(help, default, *domain, words=words or {})})


def quantities(help: str, domain: Domain, most: int, *, default: tuple[float, ...]) -> tuple[float, ...]:
    """A field for one to `most` numbers in this domain, written as an array."""
    return field(default=default, metadata={"key": Key(help, default, *domain, most=most)})


def choice(help: str, choices: tuple[str, ...], *, default: T = REQUIRED) -> T:
    """A field for one of these words."""
    return field(default=default, metadata={"key": Key(help, default, choices=choices)})


def text(help: str, longest: int, *, shortest: int = 0, default: T = REQUIRED) -> T:
    """A field for free text of `shortest` to `longest` characters."""
    return field(default=default, metadata={"key": Key(help, default, longest=longest, shortest=shortest)})


def rows(*, default: None) -> Any:
    """A field for a table of parts (synth.designs.part_rows); left out: None."""
    return field(default=default, metadata={"rows": True})


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
    elif key.most:
        value = _read_row(key, raw)
    else:
        value = _read_quantity(key, raw)
    return check_value(key, value)


def check_value(key: Key, value: Any) -> Any:
    """`value` as the key stores it; raise DesignError where it is of the wrong kind or out of its domain."""
    if value is None and key.may_be_none:
        return None
    for meaning in key.words.values():
        if meaning == math.inf and value == math.inf:
            return meaning
    if key.choices:
        return _checked_choice(key, value)
    if key.longest:
        return _checked_text(key, value)
    if key.most:
        if not isinstance(value, tuple) or not 1 <= len(value) <= key.most:
            raise DesignError(_row_remedy(key))
        return tuple(_checked_number(key, each) for each in value)
    return _checked_number(key, value)


def _checked_number(key: Key, value: Any) -> float:
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
    if key.most:
        return f"[{', '.join(_written_number(key, each) for each in value)}]"
    return _written_number(key, value)


def _written_number(key: Key, value: float) -> str:
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
    if key.most:
        return f"1 to {key.most} of {limits}"
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


def _read_row(key: Key, raw: Any) -> tuple[float, ...]:
    if not isinstance(raw, list) or not 1 <= len(raw) <= key.most:
        raise DesignError(_row_remedy(key))
    return tuple(_read_quantity(key, each) for each in raw)


def _row_remedy(key: Key) -> str:
    example = toml_text(format_quantity(key.high, key.unit))
    return f"must be an array of 1 to {key.most} values in brackets, e.g. [{example}, {example}]"


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


class SectionValues:
    """What all sections have: their name and help in a design file, their keys, and the check of every field."""

    __slots__ = ()
    section: ClassVar[str]
    help: ClassVar[str]
    keys: ClassVar[Mapping[str, Key]]
    drawn: ClassVar[bool]  # whether it may hold rows of parts, [section.parts]
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def __post_init__(self) -> None:
        for name, key in self.keys.items():
            value = getattr(self, name)
            try:
                checked = check_value(key, value)
            except DesignError as error:
                raise DesignError(f"{key.path} = {value!r}: {error}") from None
            object.__setattr__(self, name, checked)


Kind = TypeVar("Kind", bound=SectionValues)


@dataclass_transform(field_specifiers=(quantity, quantities, choice, text, rows), frozen_default=True)
def design_section(name: str = "", help: str = "") -> Callable[[type[Kind]], type[Kind]]:
    """Make a frozen dataclass of a class whose fields are keys: the section `name` of a design file."""

    def made(plain: type[Kind]) -> type[Kind]:
        kind = dataclass(frozen=True, slots=True)(plain)
        kind.section, kind.help = name, help
        kind.keys = {
            entry.name: replace(entry.metadata["key"], section=name, name=entry.name)
            for entry in fields(kind)
            if "key" in entry.metadata
        }
        kind.drawn = any("rows" in entry.metadata for entry in fields(kind))
        return kind

    return made
