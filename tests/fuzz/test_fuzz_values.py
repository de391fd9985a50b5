"""Quantities of every unit from any text: a finite number or one message."""

from __future__ import annotations

import math

import wild
from hypothesis import strategies as st
from letters import LETTERS

from synth.designs.quantity import UNITS, format_quantity, parse
from synth.errors import DesignError

_PIECES = st.sampled_from(
    [
        *"0123456789+-.,eERrkKmMuUnNpPfFGTHVAsSOohmzZC% _",
        "\u00b5",
        "\u03bc",
        "\u2126",
        "\u03a9",
        "\u2212",
        "\u00b0C",
        "\u00a0",
        "\u202f",
        "\u0663",
        "\u00b2",
        "\x00",
        "\n",
        "ohm",
        "Hz",
        "ppm/K",
        "degC",
        "nan",
        "inf",
        "1e9",
        "1e-400",
        "1e999999",
        "9" * 79,
        "0x1",
        "\U0001d7d9",
    ]
)
_TEXTS = st.one_of(
    st.text(LETTERS, max_size=100),
    st.lists(_PIECES, max_size=10).map("".join),
    st.builds(lambda number, unit: f"{number} {unit}", st.floats(), st.sampled_from(sorted(UNITS))),
    st.floats(),
    st.integers(),
    st.booleans(),
    st.sampled_from([10**400, -(10**400)]),
)


def _quantity(chosen: tuple[object, str]) -> None:
    written, unit = chosen
    try:
        value = parse(written, unit)  # type: ignore[arg-type]
    except DesignError as error:
        said = str(error)
        assert said
        assert len(said) < 600
        said.encode("utf-8")
        return
    assert math.isfinite(value)
    assert not (value == 0.0 and math.copysign(1.0, value) < 0.0), "-0.0"
    assert parse(format_quantity(value, unit, digits=None), unit) == value
    format_quantity(value, unit)


test_quantities_few, test_quantities = wild.quick_and_slow(
    _quantity, st.tuples(_TEXTS, st.sampled_from(sorted(UNITS))), 150, 1500
)
