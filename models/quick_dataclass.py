"""Frozen dataclasses of which a program can have hundreds and still begin at once.

The standard library writes and compiles six methods for each dataclass: with some 200 of them that was a quarter of the
time that a short command takes. Here all classes share these methods; only `__init__`, which has to be fast, is
written for each class, when its first object is made. All else is the standard library's own, and so are `field`,
`fields`, `replace` and `asdict`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, field, fields
from dataclasses import dataclass as usual_dataclass
from operator import attrgetter
from typing import Any, Literal, TypeVar, dataclass_transform

Kind = TypeVar("Kind")


@dataclass_transform(field_specifiers=(field,))
def dataclass(
    *, frozen: Literal[True], slots: bool = False, eq: bool = True, kw_only: bool = False
) -> Callable[[type[Kind]], type[Kind]]:
    """As `dataclasses.dataclass`, for frozen classes; methods that the class itself defines stay."""

    def made(plain: type[Kind]) -> type[Kind]:
        own = set(vars(plain))
        kind = usual_dataclass(init=False, repr=False, eq=False, slots=slots, kw_only=kw_only)(plain)
        methods: dict[str, Callable[..., object]] = {
            "__init__": _init_when_first_called(kind),
            "__repr__": _repr,
            "__setattr__": _refuse_assignment,
            "__delattr__": _refuse_deletion,
        }
        if slots:
            methods |= {"__getstate__": _values, "__setstate__": _put_values}
        if eq:
            methods |= _comparison(kind)
        for name in methods.keys() - own:
            setattr(kind, name, methods[name])
        return kind

    return made


def _init_when_first_called(kind: type) -> Callable[..., None]:
    def __init__(self: object, *given: object, **named: object) -> None:  # noqa: N807
        init = _written_init(kind)
        setattr(kind, "__init__", init)  # noqa: B010  the next object is made by it directly
        init(self, *given, **named)

    return __init__


def _written_init(kind: Any) -> Callable[..., None]:
    """The `__init__` of `kind`: a parameter and a line for each field. No field is named with two underscores."""
    names: dict[str, object] = {"__put": object.__setattr__, "__MISSING": MISSING}
    by_place, by_name, lines = ["self"], ["*"], []
    for one in fields(kind):
        name, default, absent = one.name, "", ""
        value = name
        if one.default is not MISSING:
            names[f"__default_{name}"] = one.default
            absent = f"__default_{name}"
            default = f"={absent}"
        elif one.default_factory is not MISSING:
            names[f"__made_{name}"] = one.default_factory
            absent = f"__made_{name}()"
            default, value = "=__MISSING", f"{absent} if {name} is __MISSING else {name}"
        if one.init:
            (by_name if one.kw_only else by_place).append(name + default)
        if one.init or absent:
            lines.append(f"__put(self, {name!r}, {value if one.init else absent})")
    if hasattr(kind, "__post_init__"):
        lines.append("self.__post_init__()")
    parameters = ", ".join(by_place + (by_name if len(by_name) > 1 else []))
    exec(f"def __init__({parameters}):\n " + "\n ".join(lines or ["pass"]), names)
    init: Any = names["__init__"]
    init.__qualname__ = f"{kind.__qualname__}.__init__"  # what a missing argument is told of
    return init  # type: ignore[no-any-return]


def _comparison(kind: Any) -> dict[str, Callable[..., object]]:
    names = [one.name for one in fields(kind) if one.compare]
    values: Callable[[object], object] = attrgetter(*names) if len(names) > 1 else _tuple_of(names)

    def __eq__(self: object, other: object) -> bool:  # noqa: N807
        return values(self) == values(other) if other.__class__ is self.__class__ else NotImplemented

    def __hash__(self: object) -> int:  # noqa: N807
        return hash(values(self))

    return {"__eq__": __eq__, "__hash__": __hash__}


def _tuple_of(names: list[str]) -> Callable[[object], object]:
    """As `attrgetter`, which gives no tuple for a single name and refuses none at all."""
    return lambda self: tuple(getattr(self, name) for name in names)


def _repr(self: Any) -> str:
    shown = ", ".join(f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{type(self).__qualname__}({shown})"


def _refuse_assignment(self: object, name: str, value: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_deletion(self: object, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


def _values(self: Any) -> list[object]:
    """What is kept of an object with slots when it is pickled or copied."""
    return [getattr(self, one.name) for one in fields(self)]


def _put_values(self: Any, values: list[object]) -> None:
    for one, value in zip(fields(self), values, strict=True):
        object.__setattr__(self, one.name, value)
