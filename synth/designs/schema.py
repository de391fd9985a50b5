"""What a key of a design file is, and how one is declared: `quantity`, `choice` and `text`, fields of a section.

A section of `synth.designs.sections` is a frozen dataclass whose fields are made here, one declaration a key: type,
help, unit, domain and default. Reading, checking, writing and the commented template all follow the declarations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field
from typing import Any, Final, TypeVar

T = TypeVar("T")
REQUIRED: Final[Any] = MISSING  # the default of a key that may not be left out


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a design file: a quantity (`unit` and `low`..`high`, SI), one of `choices`, or a text.

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


def choice(help: str, choices: tuple[str, ...], *, default: T = REQUIRED) -> T:
    """A field for one of these words."""
    return field(default=default, metadata={"key": Key(help, default, choices=choices)})


def text(help: str, longest: int, *, shortest: int = 0, default: T = REQUIRED) -> T:
    """A field for free text of `shortest` to `longest` characters."""
    return field(default=default, metadata={"key": Key(help, default, longest=longest, shortest=shortest)})
