"""Rows of [circuit.parts]: an oscillator drawn from named parts between named nodes, one table with named ends a part.

    feedback = { capacitor = "220 pF", from = "collector", to = "emitter" }

Each kind of part and each of its keys is declared once, in KINDS; reading, messages and writing follow from there. The
kind is the key that the row begins with. Rows of another oscillator's table, such as [reference.parts], replace those
of [circuit.parts] by name. Two rows are no parts: `output` says at which node the output is taken, `antenna` where the
antenna hangs (left out: at the hot end of the tank). [detector.parts] draws a mixer in the same way; there `reference`
and `variable` say at which node each output resistor ends, `tone` where the tone is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Any, Final

from models.branch.tapped_coil import TYPICAL_COUPLING
from models.circuit.diode import Diode
from models.circuit.drawing import LOAD, SUPPLY
from models.circuit.field_effect import FieldEffect
from models.circuit.inverter import Inverter
from models.circuit.network import GROUND
from models.circuit.triode import Triode
from models.quick_dataclass import dataclass
from synth.designs.schema import REQUIRED, Key, did_you_mean, domain_text, read_value, write_value
from synth.errors import DesignError

Row = tuple[str, tuple[tuple[str, Any], ...]]
"""A row: its name, and its keys with their values, SI; the kind's own key first."""
Rows = tuple[Row, ...]

TANK = "tank"
"""Value of the coil and of the capacitor that the oscillator's own section describes."""
TANK_TRIMMER = "trimmer"
"""Name of the tank's trimmer, a part beside the rows."""
PLACES = ("output", "antenna")
"""Rows that say where something is joined and are no parts."""
MIXER_PLACES = ("reference", "variable", "tone")
"""The same, of a mixer."""
TAKEN = ("tank", "output", "coupled", "antenna", LOAD, "ideal supply")
"""Names that no node may have, for they say something else in a report."""
LONGEST_NAME = 40
MOST_ROWS = 60
_PICOFARADS = ("F", 0.0, 1e-9)


@dataclass(frozen=True, slots=True)
class RowKind:
    """One kind of part: the key that says its value, its ends (the optional ones with the node they have), its keys."""

    word: str
    help: str
    value: Key
    ends: tuple[str, ...]
    keys: Mapping[str, Key] = field(default_factory=dict)
    optional_ends: Mapping[str, str] = field(default_factory=dict)
    device: bool = False
    insulated: tuple[str, ...] = ()  # ends that let no direct current through


def _key(name: str, help: str, default: Any, unit: str = "", low: float = 0.0, high: float = 0.0, **more: Any) -> Key:
    return Key(help, default, unit, low, high, section="parts", name=name, **more)


def _named(*keys: Key) -> dict[str, Key]:
    return {key.name: key for key in keys}


_FET, _TRIODE, _INVERTER, _DIODE = FieldEffect(), Triode(), Inverter(), Diode()
_AMPLIFIES = _key(
    "amplifies", "whether it keeps the oscillation up; the first device does", None, choices=("yes", "no")
)
_ENDS = ("from", "to")

KINDS: Final[Mapping[str, RowKind]] = {
    kind.word: kind
    for kind in (
        RowKind("resistor", "a resistor", _key("resistor", "resistance", REQUIRED, "ohm", 1e-2, 1e10), _ENDS),
        RowKind(
            "capacitor",
            "a capacitor; its losses are neglected",
            _key("capacitor", "capacitance", REQUIRED, "F", 1e-15, 1e-1, words={TANK: TANK}),
            _ENDS,
        ),
        RowKind(
            "coil",
            "a coil",
            _key("coil", "inductance", REQUIRED, "H", 1e-9, 100.0, words={TANK: TANK}),
            _ENDS,
            _named(
                _key("quality_factor", "its Q where the tank rings", 60.0, "ratio", 1.1, 1e4),
                _key("self_capacitance", "capacitance across it", 0.0, "F", 0.0, 1e-9),
                _key(
                    "turns", 'share of the turns from the end "from" up to the node "tap"', 0.0, "fraction", 0.0, 0.99
                ),
                _key("turns_coupling", "of the turns on both sides of it", TYPICAL_COUPLING, "ratio", 0.01, 0.999),
                _key("coupled_to", "name of another coil in the same field", "", longest=LONGEST_NAME),
                _key("coupling", "with it; positive: currents from-to in both add", 0.0, "ratio", -0.999, 0.999),
            ),
        ),
        RowKind(
            "pot",
            "a potentiometer; the first one is the fine-tune pot",
            _key("pot", "resistance", REQUIRED, "ohm", 1.0, 1e8),
            ("from", "wiper", "to"),
            _named(_key("position", "0 at from, 1 at to; left out: the fine-tune pot's", None, "fraction", 0.0, 1.0)),
        ),
        RowKind(
            "trimmer",
            "a trimmer beside that of the tank",
            _key("trimmer", "capacitance all the way in", REQUIRED, "F", 1e-13, 1e-8),
            _ENDS,
            _named(
                _key("minimum", "capacitance all the way out", 0.0, "F", 0.0, 1e-8),
                _key("setting", "0 = out, 1 = in", 0.5, "fraction", 0.0, 1.0),
            ),
        ),
        RowKind(
            "diode",
            "a junction diode",
            _key("diode", "its saturation current; small silicon ones some nA", REQUIRED, "A", 1e-18, 1e-3),
            ("anode", "cathode"),
            _named(
                _key("emission_factor", "typical, from memory", _DIODE.emission_factor, "ratio", 1.0, 3.0),
                _key("capacitance", "without voltage", _DIODE.junction.zero_bias_capacitance, *_PICOFARADS),
            ),
            device=True,
        ),
        RowKind(
            "transistor",
            "a bipolar transistor, by the values of [transistor]",
            _key("transistor", "its kind", REQUIRED, choices=("npn", "pnp")),
            ("base", "collector", "emitter"),
            _named(_AMPLIFIES),
            device=True,
        ),
        RowKind(
            "field_effect",
            "a junction field-effect transistor",
            _key("field_effect", "its kind", REQUIRED, choices=("n-channel", "p-channel")),
            ("gate", "drain", "source"),
            _named(
                _AMPLIFIES,
                _key("pinch_off", "gate voltage that stops it (size of it)", -_FET.pinch_off, "V", 0.1, 20.0),
                _key("current", "without gate voltage", _FET.factor * _FET.pinch_off**2, "A", 1e-5, 1.0),
                _key("channel_slope", "rise of the current per volt", _FET.channel_slope, "ratio", 0.0, 0.2),
                _key("capacitance", "of each gate junction", _FET.source_junction.zero_bias_capacitance, *_PICOFARADS),
            ),
            device=True,
            insulated=("gate",),
        ),
        RowKind(
            "triode",
            "a triode; its voltages can kill: leave them to trained people",
            _key("triode", "amplification factor", REQUIRED, "ratio", 1.0, 200.0),
            ("grid", "anode", "cathode"),
            _named(
                _AMPLIFIES,
                _key("perveance", "A per V^1.5, of the anode", _TRIODE.perveance, "ratio", 1e-6, 0.1),
                _key("grid_perveance", "A per V^1.5, of the grid", _TRIODE.grid_perveance, "ratio", 1e-7, 0.1),
                _key("grid_anode_capacitance", "between these", _TRIODE.grid_anode_capacitance, *_PICOFARADS),
                _key("grid_cathode_capacitance", "between these", _TRIODE.grid_cathode_capacitance, *_PICOFARADS),
                _key("anode_cathode_capacitance", "between these", _TRIODE.anode_cathode_capacitance, *_PICOFARADS),
            ),
            device=True,
            insulated=("grid",),
        ),
        RowKind(
            "inverter",
            "an unbuffered CMOS inverter",
            _key("inverter", "gain where it switches", REQUIRED, "ratio", 1.5, 200.0),
            ("input", "output"),
            _named(
                _AMPLIFIES,
                _key("output_resistance", "typical, from memory", _INVERTER.output_resistance, "ohm", 1.0, 1e5),
                _key("rated_supply", "supply at which that holds", _INVERTER.rated_supply, "V", 0.5, 30.0),
                _key("threshold", "where it switches, of the supply", _INVERTER.threshold, "fraction", 0.1, 0.9),
                _key("input_capacitance", "typical, from memory", _INVERTER.input_capacitance, *_PICOFARADS),
                _key("output_capacitance", "typical, from memory", _INVERTER.output_capacitance, *_PICOFARADS),
            ),
            optional_ends={"supply": SUPPLY, "ground": GROUND},
            device=True,
            insulated=("input",),
        ),
    )
}


ALL_ENDS: Final = {"tap", *(end for kind in KINDS.values() for end in (*kind.ends, *kind.optional_ends))} - {*KINDS}
"""Names of the ends of every kind."""


def read_rows(path: str, raw: Any, faults: list[str], places: tuple[str, ...] = PLACES) -> Rows:
    """The rows of the table `path` as TOML gives it, `places` those that are no parts; adds a line to `faults` for each
    that cannot be read.
    """
    if not isinstance(raw, dict):
        faults.append(f"{path}: is a table of parts; write [{path}] on a line of its own, a row for each part below")
        return ()
    if len(raw) > MOST_ROWS:
        faults.append(f"{path}: has {len(raw)} rows; at most {MOST_ROWS} are taken")
        return ()
    if not raw:
        faults.append(f"{path}: is empty; draw the parts, or leave the section out")
    rows, seen = [], set[str]()
    for name, content in raw.items():
        place = f"{path}.{_plain(name)}"
        short = "".join(name.lower().split())
        if not _is_name(name):
            faults.append(f"{place}: a part's name has letters, digits, blanks and -, {LONGEST_NAME} at most")
        elif short in seen:
            faults.append(f"{place}: two parts have this name; rename one of them")
        elif not isinstance(content, dict):
            faults.append(f'{place}: is a table with named ends, such as {{ resistor = "4k7", from = "a", to = "b" }}')
        else:
            seen.add(short)
            values = _read_place(place, name, content, faults) if name in places else _read_row(place, content, faults)
            rows += [(name, values)] if values else []
    return tuple(rows)


def _read_place(place: str, name: str, content: Mapping[str, Any], faults: list[str]) -> tuple[tuple[str, Any], ...]:
    if set(content) == {"at"} and _is_name(content["at"]):
        return (("at", content["at"]),)
    faults.append(f'{place}: says where it is joined and nothing else; write {name} = {{ at = "NODE" }}')
    return ()


def _read_row(place: str, content: Mapping[str, Any], faults: list[str]) -> tuple[tuple[str, Any], ...]:
    words = [word for word in content if word in KINDS]
    if len(words) != 1:
        known = ", ".join(KINDS)
        near = next((hint for word in content if (hint := did_you_mean(word, KINDS))), "")
        fault = "says twice what the part is" if words else "does not say what the part is"
        faults.append(f"{place}: {fault}; give one of {known}{near}")
        return ()
    kind = KINDS[words[0]]
    values, before = [], len(faults)
    for key in (kind.value, *kind.keys.values()):
        if key.name in content:
            try:
                values.append((key.name, read_value(key, content[key.name])))
            except DesignError as error:
                faults.append(f"{place}.{key.name} = {str(content[key.name])[:60]!r}: {error}")
    for end in _ends(kind, content):
        node = content.get(end, kind.optional_ends.get(end))
        if not _is_name(node):
            what = "is missing" if node is None else "is no name of a node"
            faults.append(f"{place}.{end}: {what}; name the node that this end is joined to")
        elif node in TAKEN:
            faults.append(
                f"{place}.{end} = {node!r}: this word has a meaning of its own here; give the node another name"
            )
        else:
            values.append((end, node))
    known_keys = (kind.word, *kind.keys, *_ends(kind, content))
    for word in content:
        if word not in known_keys:
            hint = did_you_mean(word, known_keys) or f"; a {kind.word} takes {', '.join(known_keys)}"
            faults.append(f"{place}.{_plain(word)}: unknown key{hint}")
    return tuple(values) if len(faults) == before else ()


def _ends(kind: RowKind, content: Mapping[str, Any]) -> tuple[str, ...]:
    """The ends of a row of this kind: a coil with `turns` has a tap."""
    ends = (*kind.ends, *kind.optional_ends)
    return ("from", "tap", "to") if kind.word == "coil" and "turns" in content else ends


def ends_of_row(row: Row) -> dict[str, str]:
    """The nodes of a row by the names of its ends."""
    values = dict(row[1])
    return {end: values[end] for end in _ends(kind_of(row), values)}


def kind_of(row: Row) -> RowKind:
    """The kind of a row that is a part."""
    return KINDS[row[1][0][0]]


def value_of(row: Row, name: str) -> Any:
    """The value of a row's key, its default where it is left out."""
    kind = kind_of(row)
    return dict(row[1]).get(name, kind.keys[name].default if name in kind.keys else None)


def merged(rows: Rows, replacing: Rows | None) -> Rows:
    """The rows of [circuit.parts] with those of an oscillator's own table in their places, further ones behind."""
    own = dict(replacing or ())
    kept = tuple((name, own.pop(name, values)) for name, values in rows)
    return (*kept, *own.items())


def written_rows(rows: Rows) -> Iterator[str]:
    """The lines of rows, such that `read_rows` gives them back."""
    for name, values in rows:
        texts = []
        for key, value in values:
            if key in ("at", *ALL_ENDS):
                written: str | None = f'"{value}"'
            else:
                kind = KINDS[values[0][0]]
                written = write_value(kind.value if key == kind.word else kind.keys[key], value)
            texts.append(f"{key} = {written}")
        shown = name if name.replace("-", "").replace("_", "").isalnum() and name.isascii() else f'"{name}"'
        yield f"{shown} = {{ {', '.join(texts)} }}"


def kinds_text() -> Iterator[str]:
    """A comment line for each kind of part, as the template of a drawn circuit shows them."""
    for kind in KINDS.values():
        keys = ", ".join(_with_default(key) for key in kind.keys.values())
        known = " (left out: typical, from memory)" if kind.device and len(kind.keys) > 1 else ""
        yield f"# {kind.word} = {domain_text(kind.value)}: {kind.help}; ends {', '.join(kind.ends)}" + (
            f"; may have {keys}{known}" if keys else ""
        )


def _with_default(key: Key) -> str:
    """A key with the value that it has where it is left out, if it has one."""
    if key.default in (None, REQUIRED, ""):
        return key.name
    return f"{key.name} = {write_value(key, key.default)}"


def _is_name(name: Any) -> bool:
    plain = isinstance(name, str) and 0 < len(name) <= LONGEST_NAME and name == name.strip()
    return plain and name.isascii() and all(one.isalnum() or one in " -_" for one in name)


def _plain(name: str) -> str:
    return name if _is_name(name) else repr(name)[:60]
