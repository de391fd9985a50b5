"""Is a drawing whole? Every fault of the rows of an oscillator or a mixer, with its row and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from models.circuit.drawing import SUPPLY
from models.circuit.network import GROUND
from synth.designs.part_rows import (
    ALL_ENDS,
    KINDS,
    MIXER_PLACES,
    PLACES,
    TANK,
    Row,
    Rows,
    ends_of_row,
    kind_of,
    value_of,
)

RAILS = (GROUND, SUPPLY)
MOST_DEVICES = 3
WIRE = 1.0
"""ohm of a resistor that counts as a wire."""
TANK_KEYS = frozenset({"quality_factor", "self_capacitance"})
"""Keys of a coil that the section of the oscillator has for the coil of its tank."""
_DIRECT = ("resistor", "coil", "pot")  # what lets direct current through whatever its voltage


def drawing_faults(rows: Rows) -> Iterator[tuple[str, str]]:
    """Every fault of an oscillator's drawing: the name of the row (empty: of the whole), what is wrong, the remedy."""
    parts = [row for row in rows if row[0] not in PLACES]
    places = {name: dict(values)["at"] for name, values in rows if name in PLACES}
    ends = _ends_by_node(parts)
    yield from _tank_faults(parts)
    yield from _amplifier_faults(parts)
    yield from _device_faults(parts)
    if "output" not in places:
        yield "", 'does not say where the output is taken; add output = { at = "NODE" }'
    if SUPPLY not in ends:
        yield "", f'no part is joined to "{SUPPLY}"; draw what feeds the device'
    yield from _joint_faults(parts, places, ends)


def mixer_faults(rows: Rows) -> Iterator[tuple[str, str]]:
    """Every fault of a mixer's drawing, in the same way."""
    parts = [row for row in rows if row[0] not in MIXER_PLACES]
    places = {name: dict(values)["at"] for name, values in rows if name in MIXER_PLACES}
    if not any(kind_of(row).device for row in parts):
        yield "", "has no device that mixes; draw a diode, transistor, field_effect, triode or inverter"
    yield from _device_faults(parts)
    for row in parts:
        if row[1][0][1] == TANK:
            yield row[0], f'has the value "{TANK}" of an oscillator; a mixer has no tank, write its value'
        if kind_of(row).device and value_of(row, "amplifies") is not None:
            yield (
                row[0],
                "says whether it amplifies; no device of a mixer keeps an oscillation up, so leave amplifies out",
            )
    said = {"reference": "the reference oscillator enters", "variable": "the variable oscillator enters"}
    for name in MIXER_PLACES:
        if name not in places:
            yield "", f'does not say where {said.get(name, "the tone is taken")}; add {name} = {{ at = "NODE" }}'
    yield from _joint_faults(parts, places, _ends_by_node(parts))


def _ends_by_node(parts: list[Row]) -> dict[str, list[str]]:
    ends: dict[str, list[str]] = {}
    for row in parts:
        for node in dict.fromkeys(ends_of_row(row).values()):
            ends.setdefault(node, []).append(row[0])
    return ends


def _joint_faults(parts: list[Row], places: dict[str, str], ends: dict[str, list[str]]) -> Iterator[tuple[str, str]]:
    """What is not joined as it must be, in any drawing."""
    for name, node in places.items():
        if node not in ends or node in RAILS:
            yield name, f"is joined to {node!r}, which is no node of the drawing"
    for node, names in ends.items():
        if node not in RAILS and len(names) == 1 and node not in places.values():
            yield names[0], f"the node {node!r} has this one end alone; join another part to it, or correct its name"
    if GROUND not in ends:
        yield "", f'no part is joined to "{GROUND}"'
    yield from _path_faults(parts, ends)
    yield from _short_faults(parts)
    yield from _trimmer_faults(parts)
    known = {row[0] for row in parts}
    for row in parts:
        other = value_of(row, "coupled_to") if kind_of(row).word == "coil" else ""
        if other and (other not in known or kind_of(_row(parts, other)).word != "coil" or other == row[0]):
            yield row[0], f"is coupled to {other!r}, which is no other coil of the drawing"
        elif other and (value_of(row, "turns") or value_of(_row(parts, other), "turns")):
            yield row[0], "is coupled to another coil, and one of the two is tapped; draw the tapped one as two coils"
        if len(set(ends_of_row(row).values())) == 1:
            yield row[0], "has all its ends at one node; correct one of them"


def _row(rows: list[Row], name: str) -> Row:
    return next(row for row in rows if row[0] == name)


def _tank_faults(parts: list[Row]) -> Iterator[tuple[str, str]]:
    for word in ("coil", "capacitor"):
        tanks = [row[0] for row in parts if row[1][0] == (word, TANK)]
        if not tanks:
            yield "", f'has no tank {word}; give the {word} of the tank the value "{TANK}"'
        for name in tanks[1:]:
            yield name, f'is a second {word} of value "{TANK}" beside {tanks[0]}; write its value'
    for row in parts:
        if row[1][0] == ("coil", TANK):
            for key in TANK_KEYS & dict(row[1]).keys():
                yield row[0], f"{key} of the tank's coil stands in the oscillator's own section; write it there"
    across = next((row for row in parts if row[1][0] == ("capacitor", TANK)), None)
    if across is not None and set(ends_of_row(across).values()) <= set(RAILS):
        yield across[0], "lies between supply and ground; join one end of it to the hot end of the coil"


def _trimmer_faults(parts: list[Row]) -> Iterator[tuple[str, str]]:
    for row in parts:
        if kind_of(row).word == "trimmer" and value_of(row, "minimum") > row[1][0][1]:
            yield row[0], "has a minimum larger than its capacitance all the way in; exchange the two"


def _device_faults(parts: list[Row]) -> Iterator[tuple[str, str]]:
    devices = [row for row in parts if kind_of(row).device]
    if len(devices) > MOST_DEVICES:
        yield devices[MOST_DEVICES][0], f"is one device too many; at most {MOST_DEVICES} can be solved"


def _amplifier_faults(parts: list[Row]) -> Iterator[tuple[str, str]]:
    amplifying = [row for row in parts if kind_of(row).device and kind_of(row).word != "diode"]
    if not amplifying:
        yield "", "has no device that amplifies; draw a transistor, field_effect, triode or inverter"
    chosen = [row[0] for row in amplifying if value_of(row, "amplifies") == "yes"]
    for name in chosen[1:]:
        yield name, f'and {chosen[0]} both have amplifies = "yes"; keep it at one of them'
    if amplifying and all(value_of(row, "amplifies") == "no" for row in amplifying):
        yield (
            amplifying[0][0],
            'does not amplify, and neither does any other device; one must: leave amplifies = "no" out',
        )


def _path_faults(parts: list[Row], ends: dict[str, list[str]]) -> Iterator[tuple[str, str]]:
    """Nodes that no direct current reaches, and devices that the supply does not."""
    reached = _reached(parts, set(RAILS), devices=True)
    for node, names in ends.items():
        if node not in reached:
            yield names[0], f"no direct current reaches the node {node!r}: no path to supply or ground but capacitors"
    fed = _reached(parts, {SUPPLY}, devices=False)
    for row in parts:
        kind, nodes = kind_of(row), ends_of_row(row)
        if not kind.device or kind.word == "diode":
            continue
        inner = [nodes[end] for end in (*kind.ends[1:], *kind.optional_ends)]
        through = {
            node
            for other in parts
            if kind_of(other).device and other is not row
            for node in ends_of_row(other).values()
        }
        if not any(node in fed for node in inner) and not any(node in through for node in inner):
            named = " nor ".join(kind.ends[1:])
            yield row[0], f"has no path to the supply from {named}; draw what feeds it"


def _short_faults(parts: list[Row]) -> Iterator[tuple[str, str]]:
    """Ways for direct current from supply to ground that nothing limits: coils, and resistors of WIRE or less."""
    found, last = {SUPPLY}, ""
    conducting = [row for row in parts if row[1][0][0] == "coil"]
    conducting += [row for row in parts if row[1][0][0] == "resistor" and row[1][0][1] <= WIRE]
    more = True
    while more:
        more = False
        for row in conducting:
            nodes = set(ends_of_row(row).values())
            if nodes & found and not nodes <= found:
                last, more = (row[0] if GROUND in nodes - found else last), True
                found |= nodes
    if GROUND in found:
        yield last, f"shorts the supply: only coils, or resistors of {WIRE:g} ohm or less, lie from supply to ground"


def unreadable_faults(raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults of a table with rows that cannot be read, of those that stand whatever the rows were meant to be."""
    rows = {name: content for name, content in raw.items() if isinstance(content, dict)}
    for word in ("coil", "capacitor"):
        said = [key for content in rows.values() for key, value in content.items() if value == TANK]
        if not any(key == word or key not in KINDS for key in said):
            yield "", f'has no tank {word}; give the {word} of the tank the value "{TANK}"'
    if "output" not in rows:
        yield "", 'does not say where the output is taken; add output = { at = "NODE" }'
    values = [
        (name, value)
        for name, content in rows.items()
        for key, value in content.items()
        if key not in KINDS and isinstance(value, str)
    ]
    for name, content in rows.items():
        for end, value in content.items():
            alone = sum(1 for _, other in values if other == value) == 1 and value not in RAILS
            if end in ALL_ENDS and isinstance(value, str) and alone:
                yield name, f"the node {value!r} has this one end alone; join another part to it, or correct its name"


def _reached(parts: list[Row], begin: set[str], devices: bool) -> set[str]:
    """The nodes that direct current gets to from `begin` without passing through ground or the supply."""
    found = set(begin)
    while True:
        more = set()
        for row in parts:
            kind = kind_of(row)
            if kind.word not in _DIRECT and not (devices and kind.device):
                continue
            nodes = {node for end, node in ends_of_row(row).items() if end not in kind.insulated}
            if nodes & found and not (nodes & found <= set(RAILS) - begin):
                more |= nodes - found
        more -= set(RAILS) - begin
        if not more:
            return found
        found |= more
