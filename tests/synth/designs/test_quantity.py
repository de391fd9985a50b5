"""Quantities. Reference: IEC 60062 letter codes and the SI prefixes (SI brochure, 9th ed., table 7; from memory)."""

from __future__ import annotations

import contextlib
import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from letters import LETTERS

from synth.designs.quantity import UNITS, format_quantity, parse, percent_words
from synth.errors import DesignError

# IEC 60062: resistance and capacitance marked by letter and digits (examples of the standard, from memory)
CODES = [
    ("R47", "ohm", 0.47),
    ("4R7", "ohm", 4.7),
    ("470R", "ohm", 470.0),
    ("4K7", "ohm", 4700.0),
    ("47K", "ohm", 47e3),
    ("4M7", "ohm", 4.7e6),
    ("1G0", "ohm", 1e9),
    ("p33", "F", 0.33e-12),
    ("3p3", "F", 3.3e-12),
    ("33p", "F", 33e-12),
    ("330p", "F", 330e-12),
    ("n33", "F", 0.33e-9),
    ("3n3", "F", 3.3e-9),
    ("u33", "F", 0.33e-6),
    ("\u00b533", "F", 0.33e-6),
    ("3\u00b53", "F", 3.3e-6),
    ("3m3", "F", 3.3e-3),
    ("4k7", "ohm", 4700.0),
]
PLAIN = [
    ("820 uH", "H", 820e-6),
    ("820uH", "H", 820e-6),
    ("820 \u00b5H", "H", 820e-6),
    ("820 \u03bcH", "H", 820e-6),
    ("820\u00a0uH", "H", 820e-6),
    (" 820\u202fuH ", "H", 820e-6),
    ("0.45 m", "m", 0.45),
    ("45 cm", "m", 0.45),
    ("450 mm", "m", 0.45),
    ("12V", "V", 12.0),
    ("3V3", "V", 3.3),
    ("100 pF", "F", 100e-12),
    ("1e-10 F", "F", 1e-10),
    ("4.7 k\u03a9", "ohm", 4700.0),
    ("4.7 k\u2126", "ohm", 4700.0),
    ("4.7kohm", "ohm", 4700.0),
    ("4.7k", "ohm", 4700.0),
    ("236.445 kHz", "Hz", 236445.0),
    ("2 Hz", "Hz", 2.0),
    ("20 ms", "s", 0.02),
    ("2 mA", "A", 2e-3),
    ("25 \u00b0C", "degC", 25.0),
    ("\u221210 degC", "degC", -10.0),
    ("300 K", "K", 300.0),
    ("-6 dB", "dB", -6.0),
    ("5 %", "percent", 0.05),
    ("+-5 %", "percent", 0.05),
    ("\u00b1 5 %", "percent", 0.05),
    ("+/-5%", "percent", 0.05),
    ("-125 ppm/K", "ppm/K", -125e-6),
    ("50 %", "fraction", 0.5),
    ("0.5", "fraction", 0.5),
    (0.5, "fraction", 0.5),
    (100, "ratio", 100.0),
    ("1.5", "ratio", 1.5),
    (".5 m", "m", 0.5),
    ("5. m", "m", 5.0),
    ("-0 V", "V", 0.0),
]
REFUSED = [
    ("4,7 kohm", "ohm", "write 4.7 kohm, not 4,7 kohm"),
    ("1,000 Hz", "Hz", "'1000 Hz' or '1.000 Hz'"),
    ("100 pF", "H", "wants henry (H); got farad (pF)"),
    ("2n2F", "H", "got farad"),
    ("10 MF", "F", "megafarad"),
    ("10 MH", "H", "did you mean mH (milli)"),
    ("10 mh", "H", "write 'mH'"),
    ("100 pf", "F", "write 'pF'"),
    ("236 KHz", "Hz", "write 'kHz'"),
    ("820", "H", "add the unit, e.g. '820 uH'"),
    (820, "H", "add the unit in quotes, e.g. '820 uH'"),
    (0.45, "m", "add the unit"),
    ("2 k", "Hz", "wants hertz"),
    ("R47", "H", "marks ohms"),
    ("4r7", "ohm", "write R"),
    ("12 V extra", "V", "cannot read"),
    ("4k7x", "ohm", "cannot read"),
    ("236 445 Hz", "Hz", "without spaces"),
    ("1_000 Hz", "Hz", "without spaces and underscores"),
    ("0x10 ohm", "ohm", "cannot read"),
    ("nan F", "F", "is not a number"),
    ("inf", "F", "is not a number"),
    (float("nan"), "ratio", "finite"),
    (float("inf"), "fraction", "finite"),
    (10**400, "ratio", "finite"),
    (True, "ratio", "not a quantity"),
    (None, "ratio", "not a quantity"),
    (["1 m"], "m", "not a quantity"),
    ("", "F", "is empty"),
    ("   ", "F", "is empty"),
    ("1e999 F", "F", "too large or too small"),
    ("1e-999 F", "F", "too large or too small"),
    ("\u0661 m", "m", "is not a number"),  # a digit, but not 0-9
    ("1 m" + " " * 10 + "x" * 100, "m", "longer than"),
    ("7 %", "ratio", "left over"),
]


@pytest.mark.parametrize(("text", "unit", "value"), CODES + PLAIN)
def test_reads_everyday_notation(text: str | float, unit: str, value: float) -> None:
    result = parse(text, unit)
    assert result == value
    assert math.copysign(1.0, result) == math.copysign(1.0, value)


@pytest.mark.parametrize(("text", "unit", "part"), REFUSED)
def test_refuses_with_a_remedy(text: object, unit: str, part: str) -> None:
    with pytest.raises(DesignError) as caught:
        parse(text, unit)  # type: ignore[arg-type]
    assert part in str(caught.value)


def test_unit_names_have_synonyms() -> None:
    assert parse("4k7", "\u03a9") == parse("4k7", "ohm")
    with pytest.raises(ValueError, match="unit must be one of"):
        parse("1 m", "furlong")


@given(st.integers(1, 10**17), st.integers(0, 16), st.sampled_from(["p", "n", "u", "m", ""]))
def test_value_is_the_nearest_float(digits: int, point: int, prefix: str) -> None:
    """Rounded once: the float nearest to the exact decimal value."""
    exponent = {"p": 12, "n": 9, "u": 6, "m": 3, "": 0}[prefix]
    exact = Fraction(digits, 10**point) / 10**exponent
    assert parse(f"{Decimal(digits).scaleb(-point):f} {prefix}H", "H") == float(exact)


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(sorted(UNITS)))
def test_round_trip_is_exact(value: float, unit: str) -> None:
    assert parse(format_quantity(value, unit, digits=None), unit) == value


@given(st.floats(1e-15, 1e12), st.sampled_from(["F", "H", "ohm", "Hz", "m", "V", "A", "s"]), st.integers(1, 12))
def test_short_form_is_within_its_digits(value: float, unit: str, digits: int) -> None:
    assert parse(format_quantity(value, unit, digits), unit) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits))


@given(
    st.text(LETTERS, max_size=30) | st.from_regex(r"[0-9.,eEkKmMRnpuFHV% -]{0,12}", alphabet=LETTERS),
    st.sampled_from(sorted(UNITS)),
)
def test_any_text_is_a_number_or_a_design_error(text: str, unit: str) -> None:
    with contextlib.suppress(DesignError):
        assert math.isfinite(parse(text, unit))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (820e-6, "H", "820 uH"),
        (0.45, "m", "0.45 m"),
        (0.01, "m", "10 mm"),
        (4700.0, "ohm", "4.7 kohm"),
        (2.2e-9, "F", "2.2 nF"),
        (999.96e-12, "F", "1 nF"),
        (0.0, "F", "0 F"),
        (236445.4, "Hz", "236.4 kHz"),
        (0.5e-12, "F", "0.5 pF"),
        (0.05, "percent", "5 %"),
        (100.0, "ratio", "100"),
        (-6.0, "dB", "-6 dB"),
        (1.25, "m", "1.25 m"),
    ],
)
def test_writes_everyday_notation(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


def test_does_not_write_what_is_no_number() -> None:
    with pytest.raises(ValueError, match="finite"):
        format_quantity(float("nan"), "m")


@pytest.mark.parametrize(
    ("share", "words"),
    [(3.7e-16, "less than 0.01 %"), (1.2, "+120 %"), (-0.034, "-3.4 %"), (0.0999, "+10 %"), (-0.00021, "-0.021 %")],
)
def test_percent_is_told_in_plain_figures(share, words):
    assert percent_words(share) == words
