"""Wild input and what every reader owes it, for the tests in tests/fuzz.

A property is run twice: on a few cases with the quick tests, on a hundred or so with the slow ones. The cases are the
same each time unless BEATFIELD_FUZZ=random is set, which draws others, and ten times as many of the slow ones.
"""

from __future__ import annotations

import json
import os
import signal
import threading
import tomllib
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from synth.designs.schema import Key, write_value
from synth.errors import DesignError

LONGEST = 5.0  # s of processor time that one input may take

NASTY = (
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r\n",
    b"\r",
    b"\n",
    b"\x1b[2J",
    b"\x7f",
    b'"',
    b"'",
    b'"""',
    b"[",
    b"]",
    b"[[",
    b"{",
    b"}",
    b"=",
    b",",
    b";",
    b"#",
    b"\\",
    b"\\u0000",
    b"\\ud800",
    b"nan",
    b"inf",
    b"-inf",
    b"-0.0",
    b"1e999",
    b"-1",
    b"9" * 400,
    b"[" * 300,
    b"{a=" * 200,
    b"A" * 3000,
    "\u202e".encode(),
    "\u2028".encode(),
    "\U0001f3b6".encode(),
    "\u0660\u0661".encode(),
    b"\xed\xa0\x80",
    b"\xc0\x80",
    b"true",
    b"1979-05-27",
    b"0x10",
    b"1_000",
    b"  ",
    b"\t",
    b"e",
    b"-",
    b"\x80\x80\x80\x80",
    b"\xff\xff\xff\xff",
    b"\xff\x2f\x00",
    b"\xff\x51\x03",
)

_EDITS = st.lists(
    st.tuples(
        st.sampled_from(("put", "replace", "drop", "double", "cut", "swap")),
        st.integers(0, 4095),
        st.one_of(st.sampled_from(NASTY), st.binary(min_size=1, max_size=4)),
    ),
    min_size=1,
    max_size=5,
)


def damaged(seeds: list[bytes]) -> st.SearchStrategy[bytes]:
    """One of `seeds` after one to five edits: bytes put in, replaced, dropped, doubled, cut off, lines exchanged."""
    return st.builds(_edited, st.sampled_from(seeds), _EDITS)


def _edited(content: bytes, edits: list[tuple[str, int, bytes]]) -> bytes:
    for kind, place, piece in edits:
        at = place % (len(content) + 1)
        if kind == "put":
            content = content[:at] + piece + content[at:]
        elif kind == "replace":
            content = content[:at] + piece + content[at + len(piece) :]
        elif kind == "drop":
            content = content[:at] + content[at + 1 + place % 40 :]
        elif kind == "double":
            content = content[:at] + content[max(0, at - place % 90) :]
        elif kind == "cut":
            content = content[:at]
        else:
            lines = content.split(b"\n")
            first, second = place % len(lines), (place // 64) % len(lines)
            lines[first], lines[second] = lines[second], lines[first]
            content = b"\n".join(lines)
    return content


def allowed(key: Key) -> st.SearchStrategy[Any]:
    """Values that the key takes: its ends, a few between, its words and choices."""
    if key.choices:
        return st.sampled_from(key.choices)
    if key.longest:
        return st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=min(key.longest, 20))
    ends = [key.low, key.high, *key.words.values()]
    low = max(key.low, 1e-4 * key.high)
    between = st.floats(0.0, 1.0).map(
        lambda share: low * (key.high / low) ** share if low > 0.0 and share < 1.0 else key.high
    )
    one = st.one_of(st.sampled_from(ends), between, between)
    return st.lists(one, min_size=1, max_size=key.most).map(tuple) if key.most else one


def changes(keys: list[Key], most: int) -> st.SearchStrategy[list[tuple[Key, Any]]]:
    """Up to `most` of `keys`, each with a value that it takes."""
    return st.lists(
        st.sampled_from(keys).flatmap(lambda key: st.tuples(st.just(key), allowed(key))),
        min_size=1,
        max_size=most,
        unique_by=lambda change: change[0].path,
    )


def with_changes(base: str, changes: list[tuple[Key, Any]]) -> str:
    """The design text `base` with keys set to other values."""
    return _joined(_changed(base, changes))


def with_line(base: str, key: Key, line: str) -> str:
    """The design text `base` with `line` in the place of the key's own."""
    sections = _changed(base, [])
    lines = sections.setdefault(key.section, [])
    sections[key.section] = [line, *(each for each in lines if not each.startswith(f"{key.name} ="))]
    return _joined(sections)


def _joined(sections: dict[str, list[str]]) -> str:
    return "\n".join(line for section, lines in sections.items() for line in (f"[{section}]", *lines))


def _changed(base: str, changes: list[tuple[Key, Any]]) -> dict[str, list[str]]:
    """By section, the lines of the design text `base` with keys set to other values."""
    document = tomllib.loads(base)
    for key, value in changes:
        written = write_value(key, value)
        if written is not None:
            document.setdefault(key.section, {})[key.name] = tomllib.loads(f"x = {written}")["x"]
    return {
        section: [f"{name} = {json.dumps(value)}" for name, value in content.items()]
        for section, content in document.items()
    }


def quick_and_slow(
    check: Callable[[Any], None], inputs: st.SearchStrategy[Any], quick: int, slow: int, longest: float = LONGEST
) -> tuple[Callable[[], None], Callable[[], None]]:
    """Two tests of `check` on `inputs`: one of `quick` cases, one of `slow` cases marked slow (drawn at random, of ten
    times as many), each input done within `longest`, s of processor time."""
    random = os.environ.get("BEATFIELD_FUZZ") == "random"

    def test(cases: int) -> Callable[[], None]:
        def once(value: Any) -> None:
            with at_most(longest), warnings.catch_warnings():
                warnings.simplefilter("error")
                check(value)

        def bounded(value: Any) -> None:
            try:
                once(value)
            except HangError:  # processor time stretches where others share the cores: once of two must do
                once(value)

        bounded.__name__ = bounded.__qualname__ = check.__name__
        chosen = settings(
            max_examples=cases,
            deadline=timedelta(seconds=20 * longest),
            database=None,
            derandomize=not random,
            suppress_health_check=list(HealthCheck),
        )
        made: Callable[[], None] = chosen(given(inputs)(bounded))
        return made

    return test(quick), pytest.mark.slow(test(10 * slow if random else slow))


class HangError(BaseException):
    """One input took too long; no `except Exception` hides it."""


@contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Break off after `seconds` of processor time, where the system can."""
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def broken_off(*_: object) -> None:
        raise HangError(f"more than {seconds:g} s of processor time for one input")

    before = signal.signal(signal.SIGPROF, broken_off)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def told(call: Callable[[], Any], place: str) -> Any:
    """What `call` returns; or None after a DesignError whose message is for a person and begins with `place`."""
    try:
        return call()
    except DesignError as error:
        fit_to_read(str(error), place)
        return None


def fit_to_read(message: str, place: str) -> None:
    """Every line of a message names the place, says something and can be printed on any terminal."""
    assert message, "a message without words"
    lines = message.split("\n")
    assert len(lines) <= 60, f"{len(lines)} lines of faults"
    for line in lines:
        assert line.startswith(place), f"the place {place!r} is missing: {line!r}"
        assert len(line) > len(place) + 8, f"says nothing: {line!r}"
        assert len(line) < 2000, f"too long: {line[:200]!r}"
    steering = [letter for letter in message if not letter.isprintable() and letter != "\n"]
    assert not steering, f"unprintable {steering[:3]!r} in {message[:300]!r}"
    message.encode("utf-8")
