"""Design files: TOML to `Design` and back. All faults of a file come at once, with place and remedy."""

from __future__ import annotations

import hashlib
import json
import os
import re
import tomllib
from datetime import date, time
from pathlib import Path
from typing import Any

from synth.designs.checks import cross_faults
from synth.designs.drawing_checks import unreadable_faults
from synth.designs.part_rows import MIXER_PLACES, PLACES, read_rows, written_rows
from synth.designs.schema import REQUIRED, Key, did_you_mean, read_value, write_value
from synth.designs.sections import KEYS, SECTIONS, Design, DesignSection, sections_of
from synth.errors import DesignError, at_place
from synth.files.input_file import read_text
from synth.files.plain_text import counted

__all__ = ["Design", "design_hash", "design_source", "design_text", "load_design", "read_design"]

LATER = frozenset({"room"})
LARGEST_FILE = 128 * 1024  # bytes
FIXED_FORM = (
    "feedback_capacitor",
    "emitter_capacitor",
    "upper_resistor",
    "potentiometer",
    "lower_resistor",
    "feed_resistor",
    "emitter_resistor",
    "wiper_capacitor",
    "base_capacitor",
)  # keys of [circuit] that are parts of its fixed form
NOT_WITH_PARTS = {"circuit": FIXED_FORM, "detector": tuple(SECTIONS["detector"].keys)}
"""By section: keys that do not count where [section.parts] draws it."""
_LONGEST_LINE = 4100  # characters: a key of thousands of dotted parts takes the TOML reader minutes
_MOST_FAULTS = 40
_SHOWN = 60  # characters of a value in a message


def load_design(path: str | os.PathLike[str]) -> Design:
    """The design in the TOML file `path`, or the shipped one of that name where there is no such file.

    Raises DesignError with a line for every fault.
    """
    return read_design(design_source(path), str(path))


def design_source(path: str | os.PathLike[str]) -> str:
    """The text of the design file `path`, or of the shipped design of that name; DesignError where there is none."""
    from synth.designs.shipped import shipped_names, shipped_text

    if not os.path.exists(path) and (shipped := shipped_text(str(path))) is not None:
        return shipped
    return read_text(
        Path(path),
        LARGEST_FILE,
        "name a design file (write one with: beatfield new FILE)",
        f"write one with: beatfield new {path}; or name a design that is here: {', '.join(shipped_names())}",
        "a design file is never that large",
    )


def read_design(text: str, source: str = "") -> Design:
    """The design in TOML `text`; `source` names it in messages. DesignError has a line for every fault."""
    begin = source or "design"
    document = _parse_toml(text, begin)
    faults: list[str] = []
    values = _read_sections(document, faults)
    faults += [f"{_shown_value(document, place)}: {fault}" for place, fault in cross_faults(values)]
    if faults:
        more = [f"and {counted(len(faults) - _MOST_FAULTS, 'more fault')}"] if len(faults) > _MOST_FAULTS else []
        raise DesignError("\n".join(f"{begin}: {fault}" for fault in faults[:_MOST_FAULTS] + more))
    parts: dict[str, Any] = {}
    try:
        for name, part in values.items():
            parts[SECTIONS[name].part] = None if part is None else SECTIONS[name].kind(**part)
    except DesignError as error:  # what a section asks of its keys beyond their domains
        raise at_place(begin, error) from None
    return Design(**parts, source=source)


def design_text(design: Design) -> str:
    """The design as TOML that reads back to exactly the same design (without comments)."""
    lines: list[str] = []
    for section, part in sections_of(design).items():
        if part is None:
            continue
        lines += [f"[{section}]"]
        drawn = SECTIONS[section].kind.drawn and part.get("parts") is not None
        for name, key in SECTIONS[section].keys.items():
            written = write_value(key, part[name])
            if written is not None and not (drawn and name in NOT_WITH_PARTS.get(section, ())):
                lines.append(f"{name} = {written}")
        lines.append("")
        if drawn:
            lines += [f"[{section}.parts]", *written_rows(part["parts"]), ""]
    return "\n".join(lines)


def design_hash(design: Design) -> str:
    """Twelve hexadecimal digits that change with any value of the design, not with formatting or comments.

    Sections that came later count only where they are there, so that older designs keep their hash.
    """
    sections = {name: part for name, part in sections_of(design).items() if part is not None or name not in LATER}
    content = json.dumps(sections, sort_keys=True, ensure_ascii=True)  # a wire's capacitance is Infinity
    return hashlib.sha256(content.encode("ascii")).hexdigest()[:12]


def _parse_toml(text: str, source: str) -> dict[str, Any]:
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > _LONGEST_LINE:
            raise DesignError(f"{source}: line {number} has more than {_LONGEST_LINE} characters; break it up")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        last = text.rstrip().count("\n") + 1
        reason = str(error).replace("at end of document", f"at line {last}, the last")
        reason = reason if len(reason) <= 4 * _SHOWN else f"{reason[: 2 * _SHOWN]} ... {reason[-_SHOWN:]}"
        raise DesignError(f"{source}: not valid TOML: {reason}{_syntax_hint(text, reason)}") from None
    except (ValueError, RecursionError):
        raise DesignError(f"{source}: not valid TOML: a number too long or lists too deep to read") from None


def _syntax_hint(text: str, message: str) -> str:
    """A remedy where the faulty line is a value without quotes, the commonest slip, or gives a name twice.

    The hint follows what tomllib says; where it says it otherwise there is no hint.
    """
    place = re.search(r"at line (\d+)", message)
    lines = text.splitlines()
    if place is None or not 1 <= int(place.group(1)) <= len(lines):
        return ""
    line = lines[int(place.group(1)) - 1]
    if not line.replace("\t", " ").isprintable():
        return ""
    twice = re.match(r"\s*(\"[^\"]+\"|[\w-]+)\s*=", line)
    if twice is not None and "overwrite" in message:
        return f"; the name {twice.group(1)[:_SHOWN]} is given twice: keep one of the two, or rename it"
    if "Cannot declare" in message:
        return f"; {line.strip()[:_SHOWN]} stands here a second time: keep one of the two"
    match = re.fullmatch(r"\s*([\w-]+)\s*=\s*([^\"'#\[{]*?)\s*(#.*)?", line)
    if match is None:
        return ""
    if not match.group(2):
        return f"; write the value of {match.group(1)} behind the =, or leave the key out"
    return f'; write the value in quotes: {match.group(1)} = "{match.group(2)[:_SHOWN]}"'


def _read_sections(document: dict[str, Any], faults: list[str]) -> dict[str, dict[str, Any] | None]:
    """Every readable value, section -> key -> value; adds a line to `faults` for each that is not."""
    for name, content in document.items():
        if name not in SECTIONS:
            faults.append(_unknown_at_top(name, content))
    values: dict[str, dict[str, Any] | None] = {}
    for name, section in SECTIONS.items():
        content = document.get(name, None if section.optional else {})
        if content is None:
            values[name] = None
        elif isinstance(content, dict):
            values[name] = _read_keys(section, content, faults)
        else:
            remedy = f"is a section; write [{name}] on a line of its own, its keys below"
            faults.append(f"{name} = {_shown(content)}: {remedy}")
    return values


def _read_keys(section: DesignSection, content: dict[str, Any], faults: list[str]) -> dict[str, Any]:
    keys = section.keys
    for name, raw in content.items():
        if name == "parts" and section.kind.drawn:
            continue
        if name not in keys:
            hint = did_you_mean(name, keys) or _other_section(name) or f"; [{section.name}] takes {', '.join(keys)}"
            faults.append(f"{section.name}.{_plain(name)} = {_shown(raw)}: unknown key{hint}")
    values = {}
    for name, key in keys.items():
        try:
            values[name] = _read_key(key, content)
        except DesignError as error:
            faults.append(f"{key.path}{f' = {_shown(content[name])}' if name in content else ''}: {error}")
    if section.kind.drawn and "parts" in content:
        before = len(faults)
        places = MIXER_PLACES if section.name == "detector" else PLACES
        found = read_rows(f"{section.name}.parts", content["parts"], faults, places)
        values["parts"] = found if len(faults) == before else ()
        if section.name == "circuit" and len(faults) > before and found:
            faults += [
                f"circuit.parts{f'.{name}' if name else ''}: {fault}"
                for name, fault in unreadable_faults(content["parts"])
            ]
        unused = [name for name in NOT_WITH_PARTS.get(section.name, ()) if name in content]
        remedy = "draw it there" if section.name == "circuit" else "leave it out"
        faults += [
            f"{section.name}.{name}: does not count where [{section.name}.parts] draws the {section.name}; {remedy}"
            for name in unused
        ]
    return values


def _read_key(key: Key, content: dict[str, Any]) -> Any:
    if key.name in content:
        return read_value(key, content[key.name])
    if key.default is REQUIRED:
        raise DesignError(f"is missing; add {key.name} = ... ({key.help})")
    return key.default


def _unknown_at_top(name: str, content: Any) -> str:
    if isinstance(content, dict):
        hint = did_you_mean(name, SECTIONS) or f"; sections are {', '.join(SECTIONS)}"
        return f"[{_plain(name)}]: unknown section{hint}"
    hint = _other_section(name) or "; every key belongs below a section such as [design]"
    return f"{_plain(name)} = {_shown(content)}: stands outside any section{hint}"


def _other_section(name: str) -> str:
    """A hint where the key exists, but in another section."""
    homes = [key.section for key in KEYS if key.name == name]
    return f"; it belongs in [{'] or ['.join(homes)}]" if homes else ""


def _shown_value(document: dict[str, Any], place: str) -> str:
    """section.key = value, as the file has it."""
    section, _, name = place.partition(".")
    content = document.get(section)
    plain = isinstance(content, dict) and name in content and not isinstance(content[name], dict)
    return f"{place} = {_shown(content[name])}" if plain else place  # type: ignore[index]


def _shown(value: Any) -> str:
    """A value in a message, as TOML writes it: quoted, one line, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, date | time):
        return value.isoformat()
    try:
        text = repr(value)
    except (ValueError, RecursionError):
        text = "..."
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def _plain(name: str) -> str:
    """A key name in a message: as it stands where it is plain, else quoted."""
    return name if re.fullmatch(r"[\w-]{1,60}", name) else _shown(name)
