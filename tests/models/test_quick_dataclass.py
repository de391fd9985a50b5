"""Each class is made twice here, by the standard library as well: whatever is done with the two comes out the same."""

import copy
import dataclasses
import pickle
from dataclasses import FrozenInstanceError, field, replace

import pytest

from models import quick_dataclass


def made_by(dataclass):
    @dataclass(frozen=True, slots=True)
    class Part:
        """A part."""

        name: str
        value: float = 1.5
        tags: list[str] = field(default_factory=list)
        source: str = field(default="", compare=False, repr=False)

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Fitted(Part):
        """A part with a place, checked; its doubled value is worked out."""

        place: int
        doubled: float = field(init=False)
        joined: bool = field(init=False, default=True)

        def __post_init__(self):
            if self.place < 0:
                raise ValueError("place must be >= 0")
            object.__setattr__(self, "doubled", 2.0 * self.value)

    @dataclass(frozen=True, eq=False)
    class Own:
        """Told apart by identity, shown in its own way; has no slots."""

        _put: int
        self_: int = 3

        def __repr__(self):
            return "own"

    @dataclass(frozen=True, slots=True)
    class Nothing:
        """Has no fields."""

    @dataclass(frozen=True, slots=True)
    class Single:
        """Has one."""

        only: float

    return Part, Fitted, Own, Nothing, Single


USUAL, QUICK = made_by(dataclasses.dataclass), made_by(quick_dataclass.dataclass)
NAN = float("nan")
DEEDS = {
    "values by place, name and default": lambda part, fitted, own, *_: (
        dataclasses.asdict(part("a", 2.0, tags=["b"], source="c")),
        dataclasses.asdict(part(name="a")),
        dataclasses.asdict(fitted("a", 4.0, place=2)),
        vars(own(1)),
    ),
    "a default that is made is made for each": lambda part, *_: part("a").tags is part("a").tags,
    "text": lambda part, fitted, own, nothing, single: [
        repr(one).replace("made_by.<locals>.", "")
        for one in (part("a", source="b"), fitted("a", place=1), own(1), nothing(), single(2.0))
    ],
    "equality": lambda part, fitted, own, nothing, single: (
        part("a", source="b") == part("a"),
        part("a") == part("b"),
        part("a") == fitted("a", place=1),
        part("a") == "a",
        own(1) == own(1),
        nothing() == nothing(),
        single(NAN) == single(NAN),
        single(1.0) == single(1),
    ),
    "hash": lambda part, fitted, own, nothing, single: (
        len({single(1.0), single(1), single(2.0)}),
        len({nothing(), nothing()}),
        len({own(1), own(1)}),
    ),
    "what has no hash": lambda part, *_: hash(part("a")),
    "another of it": lambda part, fitted, *_: dataclasses.asdict(replace(fitted("a", place=1), value=3.0)),
    "a check": lambda part, fitted, *_: fitted("a", place=-1),
    "one value too many": lambda *kinds: kinds[4](1.0, 2.0),
    "one too few": lambda *kinds: kinds[1]("a"),
    "an unknown one": lambda *kinds: kinds[4](other=1.0),
    "assignment": lambda *kinds: setattr(kinds[4](1.0), "only", 2.0),
    "deletion": lambda *kinds: delattr(kinds[4](1.0), "only"),
    "copies": lambda part, fitted, own, *_: [
        dataclasses.asdict(how(one))
        for how in (copy.copy, copy.deepcopy)
        for one in (part("a", tags=["b"]), fitted("a", place=1), own(1))
    ],
}


def outcome(deed, kinds):
    try:
        return deed(*kinds)
    except Exception as error:
        return type(error), str(error)


@pytest.mark.parametrize("deed", DEEDS.values(), ids=DEEDS)
def test_it_is_as_the_standard_library_makes_it(deed):
    assert outcome(deed, QUICK) == outcome(deed, USUAL)


@quick_dataclass.dataclass(frozen=True, slots=True)
class Sent:
    """Goes to another process."""

    value: float
    where: tuple[int, ...] = ()


def test_it_goes_to_another_process_and_stays_frozen():
    sent = Sent(1.5, (1, 2))
    came = pickle.loads(pickle.dumps(sent))
    assert came == sent
    assert hash(came) == hash(sent)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'value'"):
        came.value = 2.0


def test_a_class_is_prepared_once_its_first_object_is_made():
    assert QUICK[4](1.0).only == 1.0
    assert QUICK[4].__init__.__code__.co_varnames == ("self", "only")
