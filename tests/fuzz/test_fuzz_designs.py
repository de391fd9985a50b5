"""Design files of every kind of damage: read, or refused with the place of every fault."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path

import pytest
import wild
from hypothesis import strategies as st
from letters import LETTERS
from slow_ones import slow_ones

from synth.designs.design_file import Design, design_hash, design_text, load_design, read_design
from synth.designs.sections import KEYS, SECTIONS
from synth.designs.template import template_text
from synth.errors import DesignError

DEMOS = Path(__file__).parents[2] / "demos"
SEEDS = [*(path.read_bytes() for path in sorted(DEMOS.glob("*.toml"))), template_text().encode()]


def sound(design: Design | None) -> None:
    """A design that was read is one that is written and read back the same."""
    if design is None:
        return
    assert read_design(design_text(design)) == design
    assert len(design_hash(design)) == 12


def _damaged_file(content: bytes) -> None:
    handle, name = tempfile.mkstemp(suffix=".toml")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        sound(wild.told(lambda: load_design(name), name))
    finally:
        os.unlink(name)


NUMBERS = st.one_of(
    st.floats(), st.integers(), st.sampled_from([10**400, -(10**4000), 1e308, 5e-324, float("nan"), float("inf")])
)
TEXTS = st.one_of(
    st.text(LETTERS, max_size=40),
    st.builds(
        lambda number, unit: f"{number}{unit}",
        NUMBERS,
        st.sampled_from(["", " F", " pF", " uH", " H", " m", " mm", " Hz", " kHz", " ohm", "k7", " V", " %", " K"]),
    ),
    st.sampled_from(["", "\x00", "bonded", "computed", "open", "circuit", "x" * 3000, "\u202e", "$(id)", "../../x"]),
)
VALUES = st.recursive(
    st.one_of(NUMBERS, TEXTS, st.booleans(), st.dates(), st.times(), st.datetimes()),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(LETTERS, max_size=8), inner, max_size=3)
    ),
    max_leaves=4,
)


def _toml(value: object) -> str:
    """A value as TOML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, int):
        return hex(value) if value.bit_length() > 10_000 and value > 0 else str(value % 10**4000)
    if isinstance(value, str):
        return json.dumps(value).replace("\\ud", "\\\\ud").replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml(str(name))} = {_toml(content)}" for name, content in value.items()) + "}"
    return value.isoformat()  # type: ignore[attr-defined]


_NAMES = st.one_of(st.sampled_from([key.name for key in KEYS]), st.text(LETTERS, max_size=10))
_SECTION_NAMES = st.one_of(st.sampled_from(list(SECTIONS)), st.text(LETTERS, max_size=10))
_LINES = st.lists(
    st.one_of(
        st.builds(lambda name, value: f"{_toml(name)} = {_toml(value)}", _NAMES, VALUES),
        st.builds(lambda name: f"[{_toml(name)}]", _SECTION_NAMES),
        st.builds(lambda name: f"[[{_toml(name)}]]", _SECTION_NAMES),
        st.builds(
            lambda first, second, value: f"{_toml(first)}.{_toml(second)} = {_toml(value)}",
            _SECTION_NAMES,
            _NAMES,
            VALUES,
        ),
    ),
    max_size=12,
)


def _any_toml(lines: list[str]) -> None:
    sound(wild.told(lambda: read_design("\n".join(lines), "a.toml"), "a.toml: "))


_ONE_VALUE = st.tuples(st.sampled_from(KEYS), VALUES)


def _one_wild_value(chosen: tuple[object, object]) -> None:
    """A good design with one key set to anything: the message names that key (or one it does not agree with)."""
    key, value = chosen
    text = f"[{key.section}]\n{key.name} = {_toml(value)}\n"  # type: ignore[attr-defined]
    if key.section not in ("variable", "reference"):  # type: ignore[attr-defined]
        text += '[variable]\ninductance = "1 mH"\ncapacitance = "330 pF"\n'
        text += '[reference]\ninductance = "1 mH"\ncapacitance = "330 pF"\n'
    sound(wild.told(lambda: read_design(text, "a.toml"), "a.toml: "))


test_damaged_files_few, test_damaged_files = wild.quick_and_slow(_damaged_file, wild.damaged(SEEDS), 60, 250)
test_any_toml_few, test_any_toml = wild.quick_and_slow(_any_toml, _LINES, 40, 150)
test_one_wild_value_few, test_one_wild_value = wild.quick_and_slow(_one_wild_value, _ONE_VALUE, 60, 150)


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + SEEDS[0],
        SEEDS[0].replace(b"\n", b"\r\n"),
    ],
)
def test_a_byte_order_mark_and_other_line_ends_are_taken(tmp_path, content):
    (tmp_path / "a.toml").write_bytes(content)
    assert load_design(tmp_path / "a.toml") == read_design(SEEDS[0].decode())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = " + "[" * 4000, "not valid TOML"),
        ("a = " + "[\n" * 100_000, "not valid TOML"),
        ("a = " + "{a=" * 1300, "not valid TOML"),
        ("a = 0x" + "9" * 4000, "a = ..."),
        ("[design]\na.b" + ".c" * 50_000 + " = 1", "line 2 has more than 4100 characters"),
        *slow_ones(("\n".join(f"a{i}.b" + ".c" * 2030 + " = 1" for i in range(15)), "a0")),
        ("[" + "a." * 50_000 + "b]", "line 1 has more than 4100 characters"),
        ("[antenna]\nlength = 1\nlength = 2", "line 3"),
        ("[antenna]\n[antenna]", "line 2"),
        ('[antenna]\nlength = "\x00"', "line 2"),
        ("[antenna]\nlength = nan", "antenna.length"),
        ("[player]\nbody_capacitance = 1e400", "player.body_capacitance"),
        ("\n".join(f"k{i} = 1" for i in range(5000)), "more faults"),
    ],
)
def test_known_traps_name_their_place(text, words):
    with wild.at_most(5.0), pytest.raises(DesignError) as caught:
        read_design(text, "a.toml")
    wild.fit_to_read(str(caught.value), "a.toml: ")
    assert words in str(caught.value)


def test_too_large_a_file_is_refused_at_the_bound(tmp_path):
    from synth.designs.design_file import LARGEST_FILE

    path = tmp_path / "a.toml"
    path.write_bytes(SEEDS[0] + (b"#" * 63 + b"\n") * (LARGEST_FILE // 64))
    path.write_bytes(path.read_bytes()[:LARGEST_FILE])
    assert load_design(path).name
    path.write_bytes(path.read_bytes() + b"#")
    with pytest.raises(ValueError, match=r"a\.toml: is larger than 128 KiB"):
        load_design(path)
