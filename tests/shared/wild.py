"""Wild input and what every reader owes it, for the tests in tests/fuzz.

A property is run twice: on a few cases with the quick tests, on hundreds with the slow ones. The cases are the same
each time unless BEATFIELD_FUZZ=random is set, which draws others, and four times as many of the slow ones.
"""

from __future__ import annotations

import os
import signal
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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


def quick_and_slow(
    check: Callable[[Any], None], inputs: st.SearchStrategy[Any], quick: int, slow: int
) -> tuple[Callable[[], None], Callable[[], None]]:
    """Two tests of `check` on `inputs`: one of `quick` cases, one of `slow` cases marked slow (drawn at random, of four
    times as many)."""
    random = os.environ.get("BEATFIELD_FUZZ") == "random"

    def test(cases: int) -> Callable[[], None]:
        def once(value: Any) -> None:
            with at_most(LONGEST), warnings.catch_warnings():
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
            deadline=timedelta(seconds=20 * LONGEST),
            database=None,
            derandomize=not random,
            suppress_health_check=list(HealthCheck),
        )
        made: Callable[[], None] = chosen(given(inputs)(bounded))
        return made

    return test(quick), pytest.mark.slow(test(4 * slow if random else slow))


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
