"""Values in everyday notation: "820 uH", "4k7", "2n2", "0.45 m" to SI numbers and back.

Notation: a decimal number with a point, an optional SI prefix and the unit ("4.7 kohm", "12V"), or the letter
and digit code of IEC 60062 ("4k7", "R47", "2n2", "p68": the letter stands for prefix or unit and marks the
decimal point; code letters from memory). The decimal digits are converted once, so "820 uH" is the float
nearest to 820e-6.
"""

from __future__ import annotations

import math
import re
from decimal import MAX_EMAX, MIN_EMIN, ROUND_HALF_EVEN, Context, Decimal

from models.quick_dataclass import dataclass
from synth.errors import DesignError

PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "c": -2, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
_WORDS = ("femto", "pico", "nano", "micro", "milli", "centi", "", "kilo", "mega", "giga", "tera")
PREFIX_WORDS = dict(zip(PREFIXES, _WORDS, strict=True))


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: symbol, word, prefixes taken when reading, prefixes preferred when writing, an example."""

    symbol: str
    word: str
    reads: str
    writes: str
    example: str
    code: bool = False  # the letter and digit code is taken ("4k7", "3V3")
    bare_prefix: bool = False  # the unit may be left out after a prefix ("100n")


UNITS = {
    unit.symbol: unit
    for unit in (
        Unit("F", "farad", "fpnum", "pnum", "100 pF", code=True, bare_prefix=True),
        Unit("H", "henry", "pnum", "num", "820 uH", code=True, bare_prefix=True),
        Unit("ohm", "ohm", "umkMG", "mkMG", "4.7 kohm", code=True, bare_prefix=True),
        Unit("Hz", "hertz", "mkMG", "kMG", "236 kHz"),
        Unit("m", "metre", "umck", "um", "0.45 m"),
        Unit("V", "volt", "pnumk", "num", "12 V", code=True),
        Unit("A", "ampere", "fpnumk", "pnum", "2 mA"),
        Unit("s", "second", "pnum", "num", "20 ms"),
        Unit("degC", "degree Celsius", "", "", "25 degC"),
        Unit("deg", "degree of angle", "", "", "20 deg"),
        Unit("K", "kelvin", "m", "", "300 K"),
        Unit("dB", "decibel", "", "", "-6 dB"),
        Unit("percent", "percent", "", "", "5 %"),
        Unit("ppm/K", "parts per million per kelvin", "", "", "30 ppm/K"),
        Unit("fraction", "fraction from 0 to 1 (or percent)", "", "", "0.5"),
        Unit("ratio", "plain number", "", "", "1.5"),
    )
}
PLAIN = ("fraction", "ratio")  # units that a bare number satisfies
SCALED = {"percent": -2, "ppm/K": -6}  # units that are a power of ten: fraction, fraction per kelvin
SPELLINGS = {
    "\u03a9": "ohm",
    "Ohm": "ohm",
    "ohms": "ohm",
    "%": "percent",
    "\u00b0C": "degC",
    "\u00b0": "deg",
    "\u2103": "degC",
    "": "ratio",
    "1": "ratio",
}
_SPACES = "\t\u00a0\u2007\u2009\u202f"
SAME_SIGN = str.maketrans(
    {"\u00b5": "u", "\u03bc": "u", "\u2126": "\u03a9", "\u2212": "-"} | dict.fromkeys(_SPACES, " ")
)


def unit_named(name: str) -> Unit:
    """The unit with this symbol or spelling ("ohm", "Ω", "%", ...); raise ValueError for an unknown one."""
    symbol = SPELLINGS.get(name.translate(SAME_SIGN), name)
    if symbol not in UNITS:
        raise ValueError(f"unit must be one of {', '.join(UNITS)}; got {name!r}")
    return UNITS[symbol]


_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,6})?) *(.*)", re.DOTALL)
_CODE = re.compile(r"([0-9]*)([RrVFHKpnumkMGT])([0-9]*) *(.*)", re.DOTALL)
_LONGEST = 80
_EXACT = Context(prec=2 * _LONGEST, Emax=MAX_EMAX, Emin=MIN_EMIN, traps=[])


EITHER_WAY = ("+-", "+/-", "\u00b1")


def parse(text: str | float, unit: str) -> float:
    """Return the value written in `text` in SI units (percent as a fraction, ppm/K per kelvin, degC, deg and dB
    as they stand).

    `unit` is the symbol expected: F H ohm Hz m V A s degC deg K dB percent ppm/K, or "fraction" or "ratio" for plain
    numbers. A number that is not text is taken only for these two. Raises DesignError (a ValueError) saying
    what is wrong and what to write instead: no unit, another unit, a comma, a letter in the wrong case, ...
    """
    wanted = unit_named(unit)
    if not isinstance(text, str):
        return _bare_number(text, wanted)
    cleaned = text.translate(SAME_SIGN).strip(" ")
    if wanted.symbol == "percent":  # a tolerance as parts lists and reports write it
        cleaned = next((cleaned[len(sign) :].lstrip(" ") for sign in EITHER_WAY if cleaned.startswith(sign)), cleaned)
    if not cleaned:
        raise DesignError(f"is empty; write for example {wanted.example!r}")
    if len(cleaned) > _LONGEST:
        raise DesignError(f"is longer than {_LONGEST} characters; write for example {wanted.example!r}")
    if not cleaned.isprintable():
        raise DesignError(f"holds a control or invisible character; write for example {wanted.example!r}")
    _refuse_commas(cleaned)
    digits, exponent = _split_code(cleaned, wanted) or _split_number(cleaned, wanted)
    return _to_float(digits, exponent, wanted)


def format_quantity(value: float, unit: str, digits: int | None = 4) -> str:
    """Return `value` as text that `parse` reads back: "820 uH", "0.45 m", "4.7 kohm".

    `digits` significant decimals, trailing zeros dropped; None writes as many as give back exactly `value`.
    Raises ValueError for NaN and infinity.
    """
    wanted = unit_named(unit)
    if not math.isfinite(value):
        raise ValueError(f"value must be a finite number; got {value!r}")
    number = Decimal(repr(float(value)))
    if digits is not None:
        number = Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(number)
    if wanted.symbol in PLAIN:
        return _plain_digits(number)
    if wanted.symbol in SCALED:
        sign = "%" if wanted.symbol == "percent" else wanted.symbol
        return f"{_plain_digits(number.scaleb(-SCALED[wanted.symbol], _EXACT))} {sign}"
    prefix = _best_prefix(number, wanted)
    return f"{_plain_digits(number.scaleb(-PREFIXES[prefix], _EXACT))} {prefix}{wanted.symbol}"


def _bare_number(value: object, wanted: Unit) -> float:
    """A number that came without text around it: fine for a fraction or ratio, else the unit is missing."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise DesignError(f"is not a quantity; write for example {wanted.example!r}")
    if wanted.symbol not in PLAIN:
        raise DesignError(f"has no unit; add the unit in quotes, e.g. {wanted.example!r}")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise DesignError("is not a finite number")
    return number + 0.0


def _refuse_commas(text: str) -> None:
    if "," not in text:
        return
    if re.search(r"[0-9],[0-9]{3}(?![0-9])", text):
        raise DesignError(f"has a comma; write {text.replace(',', '')!r} or {text.replace(',', '.')!r}")
    if text.count(",") + text.count(".") > 1:
        raise DesignError("has a comma; write the number with one decimal point and no mark between thousands")
    raise DesignError(f"has a decimal comma; write {text.replace(',', '.')}, not {text}")


def _split_code(text: str, wanted: Unit) -> tuple[str, int] | None:
    """Digits and power of ten of a letter and digit code ("4k7", "R47", "470R"), or None where it is none."""
    match = _CODE.fullmatch(text) if wanted.code else None
    if match is None:
        return None
    whole, letter, part, rest = match.groups()
    if not (whole or part) or not (part or letter in "Rr"):
        return None  # "12V", "100n", "820uH" are read as a number with prefix and unit
    exponent = _code_exponent(letter, wanted)
    if rest and not _is_unit(rest, wanted):
        raise _unit_fault(rest, wanted)
    return f"{whole or '0'}.{part or '0'}", exponent


def _code_exponent(letter: str, wanted: Unit) -> int:
    """Power of ten that the letter of a code stands for; raise DesignError where it makes no sense here."""
    if letter in "Rr":
        if wanted.symbol == "ohm" and letter == "R":
            return 0
        hint = "write R" if wanted.symbol == "ohm" else f"wants {wanted.word} ({wanted.symbol})"
        raise DesignError(f"the letter {letter} marks ohms; {hint}, e.g. {wanted.example!r}")
    if letter == wanted.symbol:
        return 0
    if letter == "K" and wanted.symbol == "ohm":  # the code's capital K for kilo-ohms
        return 3
    if letter in "VFHK":
        raise _unit_fault(letter, wanted)
    if letter not in wanted.reads:
        raise _prefix_fault(letter, wanted)
    return PREFIXES[letter]


def _split_number(text: str, wanted: Unit) -> tuple[str, int]:
    """Digits and power of ten of a number followed by prefix and unit."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        kind = "a plain number" if wanted.symbol in PLAIN else "a number with a unit"
        raise DesignError(f"is not {kind}; write for example {wanted.example!r}")
    digits, rest = match.group(1), match.group(2)
    if wanted.symbol in PLAIN:
        return digits, _plain_exponent(rest, wanted)
    if not rest:
        raise DesignError(f"has no unit; add the unit, e.g. {wanted.example!r}")
    if wanted.symbol in SCALED and _is_unit(rest, wanted):
        return digits, SCALED[wanted.symbol]
    return digits, _prefix_exponent(rest, wanted)


def _plain_exponent(rest: str, wanted: Unit) -> int:
    if not rest:
        return 0
    if wanted.symbol == "fraction" and rest in ("%", "percent"):
        return -2
    raise DesignError(f"wants a {wanted.word}; {rest!r} is left over")


def _prefix_exponent(rest: str, wanted: Unit) -> int:
    """Power of ten of "uH", "m" or, where a bare prefix is taken, "k"; DesignError where it does not fit."""
    if _is_unit(rest, wanted):
        return 0
    prefix, tail = rest[0], rest[1:]
    if prefix in PREFIXES and (_is_unit(tail, wanted) or (wanted.bare_prefix and not tail)):
        if prefix not in wanted.reads:
            raise _prefix_fault(prefix, wanted)
        return PREFIXES[prefix]
    if wanted.symbol == "ohm" and rest == "K":
        return 3
    raise _unit_fault(rest, wanted)


def _is_unit(text: str, wanted: Unit) -> bool:
    return bool(text) and SPELLINGS.get(text, text) == wanted.symbol


def _prefix_fault(prefix: str, wanted: Unit) -> DesignError:
    """The message for a real prefix that no such quantity has, mostly a letter in the wrong case."""
    swapped = prefix.swapcase()
    hints = [letter for letter in dict.fromkeys((swapped, "u", "k")) if letter and letter in wanted.reads][:2]
    instead = " or ".join(f"{letter}{wanted.symbol} ({PREFIX_WORDS[letter]})" for letter in hints)
    remedy = f"; did you mean {instead}?" if hints else f"; write for example {wanted.example!r}"
    return DesignError(f"{prefix}{wanted.symbol} is {PREFIX_WORDS[prefix]}{wanted.word}, out of reach here{remedy}")


def _unit_fault(rest: str, wanted: Unit) -> DesignError:
    """The message for another unit, a unit in the wrong case, or leftovers."""
    wants = f"wants {wanted.word} ({'%' if wanted.symbol == 'percent' else wanted.symbol})"
    right_case = _in_right_case(rest, wanted)
    if right_case:
        return DesignError(f"{wants}; got {rest!r}: the case of letters counts, write {right_case!r}")
    if rest[0] in "0123456789_":
        return DesignError(f"{wants}; write the digits of a number without spaces and underscores")
    other = _other_unit(rest)
    if other and other.symbol == wanted.symbol:
        return DesignError(f"has a letter in the number and {rest!r} behind it; write for example {wanted.example!r}")
    if other:
        return DesignError(f"{wants}; got {other.word} ({rest})")
    return DesignError(f"{wants}; cannot read {rest!r}; write for example {wanted.example!r}")


def _in_right_case(rest: str, wanted: Unit) -> str:
    """`rest` with the case of its letters corrected, or "" where that does not give the wanted unit."""
    spellings = [prefix + wanted.symbol for prefix in ("", *wanted.reads)]
    matches = [spelling for spelling in spellings if spelling.casefold() == rest.casefold()]
    return matches[0] if matches and rest not in spellings else ""


def _other_unit(rest: str) -> Unit | None:
    """The unit that `rest` does name, with or without a prefix."""
    for text in (rest, rest[1:] if rest[:1] in PREFIXES else ""):
        symbol = SPELLINGS.get(text, text)
        if text and symbol in UNITS and symbol not in PLAIN:
            return UNITS[symbol]
    return None


def _to_float(digits: str, exponent: int, wanted: Unit) -> float:
    """The float nearest to digits * 10**exponent; DesignError where no float comes near."""
    number = Decimal(digits).scaleb(exponent, _EXACT)
    value = float(number)
    if not math.isfinite(value) or (value == 0.0 and number != 0):
        raise DesignError(f"is too large or too small a number; write for example {wanted.example!r}")
    return value + 0.0  # turns -0.0 into 0.0


def _best_prefix(number: Decimal, wanted: Unit) -> str:
    """The prefix that leaves 1 to 999 before the point; lengths stay in metres down to 0.1 m."""
    if number == 0 or not wanted.writes or (wanted.symbol == "m" and number.adjusted() >= -1):
        return ""
    ladder: list[str] = sorted(("", *wanted.writes), key=lambda prefix: PREFIXES[prefix])
    fitting = [prefix for prefix in ladder if number.adjusted() >= PREFIXES[prefix]]
    return fitting[-1] if fitting else ladder[0]


def _plain_digits(number: Decimal) -> str:
    """The number without trailing zeros, without an exponent unless it would be a very long row of zeros."""
    if number == 0:
        return "0"
    normal = number.normalize(_EXACT)
    text: str = format(normal, "f")
    return text if len(text) <= 30 else str(normal)


def percent_words(share: float) -> str:
    """A signed share as percent with two figures; one too small to tell as less than a hundredth of a percent."""
    percent = 100.0 * share
    if abs(percent) < 0.01:
        return "less than 0.01 %"
    return f"{percent:+.0f} %" if abs(percent) >= 9.95 else f"{percent:+.2g} %"
