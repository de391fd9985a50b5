"""Rows of parts: read, written back, and every fault of a drawing named with its row and a remedy, all at once."""

from __future__ import annotations

import pytest

from models.circuit.network import GROUND
from synth.designs.circuit_templates import CIRCUITS
from synth.designs.design_file import design_hash, design_text, read_design
from synth.designs.part_rows import KINDS, ends_of_row, merged, read_rows, value_of
from synth.designs.template import circuit_template_text
from synth.errors import DesignError

TANKS = """
[variable]
inductance = "1 mH"
capacitance = "330 pF"
[reference]
inductance = "1 mH"
capacitance = "330 pF"
[circuit]
"""
WHOLE = (
    (
        TANKS
        + """
[circuit.parts]
coil = { coil = "tank", turns = 0.05, from = "ground", tap = "foot", to = "hot" }
tuning = { capacitor = "tank", from = "hot", to = "ground" }
gate capacitor = { capacitor = "47 pF", from = "hot", to = "gate" }
leak = { resistor = "470 kohm", from = "gate", to = "ground" }
fet = { field_effect = "n-channel", gate = "gate", drain = "supply", source = "source" }
source resistor = { resistor = "8.2 kohm", from = "source", to = "foot" }
output = { at = "source" }
"""
    )
    .replace("gate capacitor =", '"gate capacitor" =')
    .replace("source resistor =", '"source resistor" =')
)


def faults(text: str) -> list[str]:
    with pytest.raises(DesignError) as told:
        read_design(text, "mine.toml")
    return str(told.value).splitlines()


def test_rows_are_read_with_their_units_and_written_back() -> None:
    design = read_design(WHOLE)
    assert design.circuit is not None
    rows = dict(design.circuit.parts or ())
    assert dict(rows["leak"])["resistor"] == 470e3
    assert ends_of_row(("coil", rows["coil"])) == {"from": GROUND, "tap": "foot", "to": "hot"}
    assert value_of(("fet", rows["fet"]), "pinch_off") == 2.0
    assert read_design(design_text(design)) == design


def test_the_hash_goes_with_every_value_of_a_row_and_not_with_its_notation() -> None:
    first = design_hash(read_design(WHOLE))
    assert design_hash(read_design(WHOLE.replace('"470 kohm"', '"470k"'))) == first
    assert design_hash(read_design(WHOLE.replace('"470 kohm"', '"471k"'))) != first


def test_every_kind_reads_and_writes_all_its_keys() -> None:
    for kind in KINDS.values():
        ends = {end: f"node {place}" for place, end in enumerate((*kind.ends, *kind.optional_ends))}
        value: object = kind.value.choices[0] if kind.value.choices else kind.value.low
        if kind.word == "coil":
            ends["tap"] = "node 9"
        keys = {
            key.name: "other" if key.longest else key.choices[0] if key.choices else key.low
            for key in kind.keys.values()
        }
        told: list[str] = []
        units = {key.name: key for key in (kind.value, *kind.keys.values())}
        from synth.designs.quantity import PLAIN, format_quantity

        written = {
            name: format_quantity(each, units[name].unit)
            if isinstance(each, float) and units[name].unit not in PLAIN
            else each
            for name, each in {kind.word: value, **keys}.items()
        }
        rows = read_rows("circuit.parts", {"part": {**written, **ends}}, told)
        assert not told, told
        assert len(rows) == 1
        assert dict(rows[0][1])[kind.word] == value


def test_rows_of_one_oscillator_replace_those_of_all_by_name() -> None:
    text = WHOLE + '\n[variable.parts]\nleak = { resistor = "1 Mohm", from = "gate", to = "ground" }\n'
    design = read_design(text)
    assert design.circuit is not None
    assert design.circuit.parts is not None
    rows = dict(merged(design.circuit.parts, design.variable.parts))
    assert dict(rows["leak"])["resistor"] == 1e6
    assert list(rows) == [name for name, _ in design.circuit.parts]
    assert read_design(design_text(design)) == design


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ('to = "gate" }', 'to = "gat" }', "circuit.parts.gate capacitor", "node 'gat' has this one end alone"),
        ('coil = "tank"', 'coil = "1 mH"', "circuit.parts", "has no tank coil"),
        ('capacitor = "tank"', 'capacitor = "1 nF"', "circuit.parts", "has no tank capacitor"),
        ('drain = "supply"', 'drain = "foot"', "circuit.parts", "no part is joined to \"supply\""),
        ('output = { at = "source" }', "", "circuit.parts", "does not say where the output is taken"),
        ('at = "source"', 'at = "nowhere"', "circuit.parts.output", "is no node of the drawing"),
        ("resistor = \"470 kohm\"", 'resistr = "470 kohm"', "circuit.parts.leak", "did you mean 'resistor'"),
        ('"470 kohm"', '"470 pF"', "circuit.parts.leak.resistor", "ohm"),
        ('turns = 0.05', 'turnz = 0.05', "circuit.parts.coil.turnz", "did you mean 'turns'"),
        ('turns = 0.05', 'quality_factor = 90, turns = 0.05', "circuit.parts.coil", "oscillator's own section"),
        ('leak = {', '"board stray" = { capacitor = "3 pF", from = "hot", to = "gate" }\nleak = {', "stray", "rename"),
        ('leak = {', 'more = { trimmer = "3 pF", minimum = "9p", from = "hot", to = "gate" }\nleak = {', "more", "exc"),
        ('gate = "gate", ', "", "circuit.parts.fet.gate", "is missing"),
        ('to = "hot" }', 'to = "tank" }', "circuit.parts.coil.to", "has a meaning of its own here"),
        ('leak = {', 'LEAK = { resistor = "1k", from = "hot", to = "ground" }\nleak = {', "circuit.parts.leak", "two"),
        ('field_effect = "n-channel"', 'field_effect = "m-channel"', "field_effect", "must be one of n-channel"),
        ('[circuit]\n', '[circuit]\nemitter_resistor = "10k"\n', "circuit.emitter_resistor", "draw it there"),
        ('leak = {', 'short = { coil = "1 mH", from = "supply", to = "ground" }\nleak = {', "parts.short", "shorts"),
        ('leak = {', 'wire = { resistor = "10 mohm", from = "supply", to = "ground" }\nleak = {', ".wire", "shorts"),
        ('from = "hot", to = "ground" }', 'from = "supply", to = "ground" }', "", "lies between supply and ground"),
        ('leak = { resistor = "470 kohm", from = "gate"', 'leak = { capacitor = "1 nF", from = "gate"', "", "no path"),
    ],
)  # fmt: skip
def test_faults_name_the_row_and_the_remedy(old: str, new: str, place: str, says: str) -> None:
    text = WHOLE.replace(old, new, 1) if old != "[circuit]\n" else WHOLE.replace(old, new)
    assert text != WHOLE
    lines = faults(text)
    assert any(line.startswith("mine.toml: ") and place in line and says in line for line in lines), lines


def test_all_faults_come_at_once() -> None:
    text = WHOLE.replace('coil = "tank"', 'coil = "1 mH"').replace('to = "gate" }', 'to = "gat" }')
    assert len(faults(text.replace('at = "source"', 'at = "nowhere"'))) >= 3


def test_faults_of_rows_and_of_the_drawing_come_together() -> None:
    text = WHOLE.replace('coil = "tank"', 'coil = "1 mH"').replace('"470 kohm"', '"470 pF"')
    text = text.replace('at = "source"', 'at = "source", to = "gate"').replace('to = "gate" }', 'to = "gat" }', 1)
    lines = faults(text)
    for says in ("leak.resistor", "has no tank coil", "output", "'gat' has this one end alone"):
        assert any(says in line for line in lines), lines


def test_a_name_given_twice_is_named() -> None:
    lines = faults(WHOLE + 'leak = { resistor = "1 kohm", from = "gate", to = "ground" }\n')
    assert "the name leak is given twice" in lines[0]


def test_parts_of_one_oscillator_need_a_whole_drawing() -> None:
    lines = faults(TANKS + '\n[reference.parts]\nleak = { resistor = "1k", from = "a", to = "b" }\n')
    assert any("replaces parts of a drawing that is missing" in line for line in lines)


def test_more_than_three_devices_are_refused() -> None:
    more = "".join(
        f'q{one} = {{ transistor = "npn", base = "hot", collector = "supply", emitter = "foot" }}\n' for one in range(3)
    )
    assert any("one device too many" in line for line in faults(WHOLE + more))


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_circuit_of_new_is_a_design_with_comments(name: str) -> None:
    text = circuit_template_text(name)
    design = read_design(text)
    assert design.law == "circuit"
    assert read_design(design_text(design)) == design
    assert text.count("#") > 100
    if name != "common-base":
        assert "[circuit.parts]" in text
        assert design.circuit is not None
        assert design.circuit.parts
    assert ("kill" in text.split("[design]")[0]) == (name == "tickler")  # the caution stands first
