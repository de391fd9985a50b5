"""The commented design file that `beatfield new` writes, made from the table of keys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from synth.designs.circuit_templates import CIRCUITS, MIXERS
from synth.designs.design_file import NOT_WITH_PARTS, Design, read_design
from synth.designs.part_rows import kinds_text
from synth.designs.schema import REQUIRED, Key, domain_text, toml_text, write_value
from synth.designs.sections import SECTIONS, DesignSection

_HEAD = """\
# A Beatfield design. Values are written as on a schematic, in quotes: "820 uH", "4k7", "2n2", "0.45 m".
# Points mark decimals. A key that is left out takes its default; a line that begins with # is ignored.
# Read it out with `beatfield field FILE`, hear it with `beatfield play FILE`.
"""

_DRAWN_HEAD = (
    "# Every oscillator of the design, part by part: a row names a part, what it is and the node at each of its ends.",
    '# The nodes "ground" and "supply" (behind the supply resistor, with the supply capacitor) are there; you name the',
    '# others. A coil and a capacitor of value "tank" are those of [variable] and [reference]. To give one oscillator',
    "# another part, write the row of the same name below [reference.parts] or [variable.parts].",
)

_MIXER_HEAD = (
    "# The mixer, part by part in the same way, fed by both oscillators through their coupling capacitors and output",
    "# resistors: reference and variable say where these end, tone where the tone is taken.",
)

# What the template sets beside the defaults: an instrument of our own, with a series inductor.
_VALUES: dict[tuple[str, str], str | float] = {
    ("design", "name"): "Lantern",
    ("design", "description"): "A rod behind three 12 mH chokes in series: C2 to C6 in some 29 cm.",
    ("antenna", "stray"): "2.5 pF",
    ("variable", "inductance"): "820 uH",
    ("variable", "capacitance"): "330 pF",
    ("variable", "stray"): "20 pF",
    ("variable", "trimmer_minimum"): "10 pF",
    ("variable", "trimmer_maximum"): "80 pF",
    ("branch", "inductance"): "36 mH",
    ("branch", "self_capacitance"): "1.3 pF",
    ("branch", "chokes"): 3.0,
    ("reference", "inductance"): "820 uH",
    ("reference", "capacitance"): "300 pF",
    ("reference", "stray"): "18 pF",
    ("reference", "trimmer_minimum"): "5 pF",
    ("reference", "trimmer_maximum"): "85 pF",
    ("tuning", "zero_beat"): "0.5 m",
    ("coupling", "lock_range"): "1.5 Hz",
    ("coils", "axes"): "parallel",
    ("coils", "distance"): "12 cm",
    ("coils", "reference_diameter"): "25 mm",
    ("coils", "reference_length"): "40 mm",
    ("coils", "variable_diameter"): "25 mm",
    ("coils", "variable_length"): "40 mm",
    ("detector", "kind"): "envelope",
    ("detector", "amplitude_ratio"): 0.7,
    ("tone", "low_pass"): "5 kHz",
    ("volume_antenna", "stray"): "3 pF",
    ("volume", "inductance"): "2.2 mH",
    ("volume", "capacitance"): "33 pF",
    ("volume", "stray"): "12 pF",
    ("volume", "trimmer_minimum"): "5 pF",
    ("volume", "trimmer_maximum"): "30 pF",
    ("volume_response", "inductance"): "2.2 mH",
    ("volume_response", "capacitance"): "72 pF",
    ("volume_response", "full_height"): "0.25 m",
}
# optional sections that the template uses
_VOLUME = frozenset({"volume_antenna", "volume", "volume_response"})
_SECTIONS = frozenset({"branch"}) | _VOLUME
_EXAMPLES = {
    ("common", "to_earth"): "bonded",
    ("player", "body_capacitance"): "170 pF",
    ("player", "hand_height"): "1.25 m",
    ("player", "shoulder_height"): "1.4 m",
    ("player", "upper_arm"): "33 cm",
    ("player", "forearm"): "26 cm",
    ("player", "hand_length"): "19 cm",
    ("player", "hand_breadth"): "85 mm",
    ("room", "wall"): "1 m",
    ("room", "table"): "75 cm",
    ("room", "bystander_side"): "1.5 m",
    ("circuit", "board"): "perfboard",
    ("transistor", "early_voltage"): "80 V",
    ("tuning", "law"): "lossless",
    ("detector", "amplitudes"): "given",
    ("coils", "reference_turns"): 230.0,
    ("coils", "variable_turns"): 230.0,
    ("goals", "zero_beat"): "99 %",
    ("goals", "lowest"): "65.4 Hz",
    ("goals", "highest"): "1046 Hz",
    ("goals", "unevenness"): 40.0,
}  # shown behind # for keys the template leaves out


def template_text() -> str:
    """The text of a new design file: every section and key with a comment, values of a playable instrument."""
    return "\n".join([_HEAD, *(_section_text(section, _VALUES, _SECTIONS) for section in SECTIONS.values())])


def circuit_template_text(
    name: str,
    wishes: Mapping[tuple[str, str], str | float] | None = None,
    volume: bool = False,
    mixer: str | None = None,
) -> str:
    """As `template_text`, with the oscillators of the circuit of that name (of CIRCUITS), with `wishes` in place of its
    values and a mixer (of MIXERS); with `volume` there is a volume antenna.
    """
    circuit = CIRCUITS[name]
    drawn = {}
    if circuit.rows:
        drawn["circuit"] = ["", *_DRAWN_HEAD, *kinds_text(), "[circuit.parts]", circuit.rows.rstrip()]
    if mixer is not None:
        drawn["detector"] = ["", *_MIXER_HEAD, "[detector.parts]", MIXERS[mixer].rows.rstrip()]
    values = {
        **_VALUES,
        **circuit.settings(),
        ("design", "name"): name.replace("-", " ").capitalize(),
        ("design", "description"): circuit.help,
        **(wishes or {}),
    }
    head = f"# CAUTION: {circuit.caution}\n{_HEAD}" if circuit.caution else _HEAD
    given = {section for section, _ in wishes or ()}
    used = frozenset({"branch", "circuit"}) | (_VOLUME if volume else frozenset()) | (given & SECTIONS.keys())
    lines = [head]
    for section in SECTIONS.values():
        lines.append(_section_text(section, values, used, drawn.get(section.name, [])))
    return "\n".join(lines)


def template_design() -> Design:
    """The design that the template describes; `beatfield demo` plays it."""
    return read_design(template_text(), "the built-in design")


def _section_text(
    section: DesignSection,
    values: Mapping[tuple[str, str], str | float],
    used_sections: frozenset[str],
    drawn: Sequence[str] = (),
) -> str:
    """The text of a section; `drawn`: the lines of its table of parts."""
    used = not section.optional or section.name in used_sections
    lines = [f"# {section.help}", f"[{section.name}]"]
    for key in section.keys.values():
        if not (drawn and key.name in NOT_WITH_PARTS.get(section.name, ())):
            lines += _key_lines(key, values)
    lines += drawn
    if not used:
        lines = [lines[0], *("#" + line if not line.startswith("#") else line for line in lines[1:])]
    return "\n".join([*lines, ""])


def _key_lines(key: Key, values: Mapping[tuple[str, str], str | float]) -> list[str]:
    """Comment and value of one key; the value behind # where the template leaves the key out."""
    comment = f"# {key.help} ({domain_text(key)})"
    value = values.get((key.section, key.name))
    if value is not None:
        written: str | None = toml_text(value) if isinstance(value, str) else repr(value)
    elif key.default is REQUIRED:
        raise LookupError(f"the template sets no value for {key.path}")
    else:
        written = write_value(key, key.default)
    if written is None:
        example = _EXAMPLES[key.section, key.name]
        return [comment, f"# {key.name} = {toml_text(example) if isinstance(example, str) else repr(example)}"]
    return [comment, f"{key.name} = {written}"]
