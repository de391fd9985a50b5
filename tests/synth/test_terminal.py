"""What stands on a terminal: text and tables in its width, one line of progress that leaves nothing behind."""

from __future__ import annotations

import io
import sys
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synth.progress_line import QUIET_TIME, RENEWAL, ProgressLine, erase_progress
from synth.terminal import columns, fitted, shown

TABLE = """\
part                              limit   share of the spread of      and of the whole, tuned again
                                            trimmer   lowest  highest        lowest  highest
reference coil                      5 %      35.8 %    0.0 %    0.0 %         1.0 %    2.0 %
series inductor's own capacitance  20 %       0.1 %    1.2 %    1.2 %         3.0 %    4.0 %
"""
FACTS = """\
zero beat             54.0 cm
lowest note           20 Hz, where hearing or the field ends; a hand that trembles could hold 3.9 Hz within 10 cents
note: a common that counts as bonded to earth, as the design does not say how it is fed, makes the hand do more
"""


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("width", [24, 40, 60, 80])
@pytest.mark.parametrize("text", [TABLE, FACTS])
def test_every_word_is_there_and_no_line_is_too_long(text, width):
    lines = fitted(text, width).splitlines()
    assert max(map(len, lines)) <= width
    assert set(" ".join(lines).split()) == set(text.split())


def test_what_fits_stays_as_it_is():
    assert fitted(TABLE + FACTS, 130) == TABLE + FACTS


def test_a_line_goes_on_under_what_it_says():
    lines = fitted(FACTS, 60).splitlines()
    assert lines[1].startswith("lowest note           20 Hz")
    assert all(line[:22].isspace() and not line[22].isspace() for line in lines[2:4])
    assert lines[4].startswith("note: a common")
    assert all(line[:6].isspace() and not line[6].isspace() for line in lines[5:])


def test_a_table_is_closed_up_before_it_is_cut():
    wide = "note     frequency       distance\nA4        440.0 Hz       15.09 cm\n"
    assert fitted(wide, 28) == "note  frequency     distance\nA4     440.0 Hz     15.09 cm\n"


def test_columns_without_room_stand_below_with_their_rows_named_again():
    table = "".join(
        f"{name:<6}" + "".join(f"{value:>12}" for value in row) + "\n"
        for name, row in (("name", ("aaaaaaaaaa", "bbbbbbbbbb", "cccccccccc")), ("one", range(3)), ("two", range(3, 6)))
    )
    first, second = fitted(table, 32).split("\n\n")
    assert first.split() == ["name", "aaaaaaaaaa", "bbbbbbbbbb", "one", "0", "1", "two", "3", "4"]
    assert second.split() == ["name", "cccccccccc", "one", "2", "two", "5"]


@settings(max_examples=40)
@given(st.text("ab  \n-1", max_size=300), st.integers(24, 100))
def test_no_text_is_lost(text, width):
    made = fitted(text, width)
    assert sorted(set(made.split())) == sorted(set(text.split()))
    assert all(len(line) <= width or " " not in line.strip() for line in made.split("\n"))


def test_only_a_terminal_has_a_width(monkeypatch):
    monkeypatch.setenv("COLUMNS", "50")
    monkeypatch.setenv("NO_COLOR", "1")
    assert columns(io.StringIO()) is None
    assert columns(None) is None
    assert columns(Terminal()) == 50
    assert shown(FACTS, io.StringIO()) == FACTS
    assert max(map(len, shown(FACTS, Terminal()).splitlines())) <= 50


def test_progress_is_told_once_it_has_taken_a_while():
    line = ProgressLine("searching")
    with line:
        now = time.monotonic()
        assert line.text(now) == ""
        assert line.text(now + 5.0) == "searching, 5 s so far"
        line(0.25)
        assert line.text(now + 5.0) == "searching  25%, about 15 s left"
        assert line.text(now + 500.0) == "searching  25%, about 25 min left"


def test_what_is_counted_may_begin_later():
    with ProgressLine("searching") as line:
        line(0.0)
        later = time.monotonic()
        line(0.5)
        assert line.text(later + 8.0).endswith("50%, about 8 s left")


def test_a_line_within_fills_its_part():
    outer, inner = ProgressLine("trying four"), ProgressLine("solving")
    outer(0.25, 0.5)
    inner(0.8)
    assert outer.share([inner]) == pytest.approx(0.45)
    assert outer.share([ProgressLine("opening"), inner]) == pytest.approx(0.45)
    inner(1.0)
    assert outer.share([inner]) == pytest.approx(0.5), "what is done stays done until the next part begins"
    outer(0.5)
    assert outer.share([inner]) == 0.5


def test_each_of_several_is_an_equal_part():
    line, inner = ProgressLine("trying two"), ProgressLine("solving")
    inner(0.5)
    assert [(item, line.share([inner])) for item in line.each(["first", "second"])] == [
        ("first", 0.25),
        ("second", 0.75),
    ]


def test_of_one_the_line_within_is_told():
    line = ProgressLine("trying one")
    assert [(item, line.counts) for item in line.each(["first"])] == [("first", False)]


def shown_by(stream: Terminal | io.StringIO, monkeypatch: pytest.MonkeyPatch, seconds: float) -> str:
    """What the line of some work writes."""
    monkeypatch.setattr("sys.stderr", stream)
    monkeypatch.setattr("synth.progress_line.QUIET_TIME", 0.0)
    with ProgressLine("outside"), ProgressLine("searching") as line:
        line(0.5)
        time.sleep(seconds)
        erase_progress()
    return stream.getvalue()


def test_the_innermost_is_shown_on_a_terminal_and_erased(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    said = shown_by(Terminal(), monkeypatch, 1.5 * RENEWAL)
    assert "searching  50%" in said
    assert "outside" not in said
    assert said.split("\r")[-1] == ""
    assert said.split("\r")[-2].strip() == ""


def test_a_line_that_counts_others_stands_for_them(monkeypatch):
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stderr", Terminal())
    monkeypatch.setattr("synth.progress_line.QUIET_TIME", 0.0)
    with ProgressLine("trying four") as outer:
        outer(0.5, 0.75)
        with ProgressLine("solving") as line:
            line(0.4)
            time.sleep(1.5 * RENEWAL)
            assert "trying four  60%" in sys.stderr.getvalue()
            assert "solving" not in sys.stderr.getvalue()


@pytest.mark.parametrize(("stream", "term"), [(io.StringIO(), "xterm"), (Terminal(), "dumb")])
def test_pipes_and_dumb_terminals_see_none(stream, term, monkeypatch):
    monkeypatch.setenv("TERM", term)
    assert shown_by(stream, monkeypatch, 1.5 * RENEWAL) == ""


def test_a_second_is_quiet():
    assert QUIET_TIME == 1.0
