"""Tables for spreadsheets: numbers stay numbers, and no text is run as a formula."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

import pytest

from synth.report.written import rows_csv


@dataclass(frozen=True)
class Row:
    """One line of a table."""

    name: str
    change: float


@pytest.mark.parametrize("name", ["=1+2", "+cmd", "-2+3", "@SUM(A1)", "\tx"])
def test_no_text_is_run_as_a_formula(name):
    (_, line) = csv.reader(io.StringIO(rows_csv(("name", "change"), [Row(name, -0.5)])))
    assert line == [f"'{name}", "-0.5"]


def test_other_text_stays_as_it_is():
    (_, line) = csv.reader(io.StringIO(rows_csv(("name", "change"), [Row("a = b, c", 1.0)])))
    assert line == ["a = b, c", "1"]
