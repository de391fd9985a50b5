"""The units a design file speaks: symbols, SI prefixes, spellings of the same sign."""

from __future__ import annotations

from dataclasses import dataclass

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
