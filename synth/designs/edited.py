"""A design file changed in place: comments, order and spelling stay, only the values that differ are written anew."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from synth.designs.design_file import design_text, read_design
from synth.designs.part_rows import Rows, written_rows
from synth.designs.schema import write_value
from synth.designs.sections import SECTIONS, Design, sections_of
from synth.errors import DesignError


def edited_text(text: str, before: Design | None, after: Design) -> str:
    """`text`, which reads as the design `before`, changed so that it reads as `after`; all of it anew where `before` is
    None, and where the file is written in a way that cannot be changed key by key.
    """
    if before is None:
        return design_text(after)
    try:
        changed = _changed(text, before, after)
        if read_design(changed) == after:
            return changed
    except (TOMLKitError, DesignError, AssertionError):
        pass
    return design_text(after)


def _changed(text: str, before: Design, after: Design) -> str:
    document = tomlkit.parse(text)
    old, new = sections_of(before), sections_of(after)
    for name, section in SECTIONS.items():
        was, now = old[name], new[name]
        if now is None:
            if name in document:
                document.remove(name)
            continue
        table = document.get(name)
        for key_name, key in section.keys.items():
            if was is not None and was[key_name] == now[key_name]:
                continue
            if was is None and now[key_name] == key.default:
                continue
            if table is None:
                table = tomlkit.table()
                document.append(name, table)
            assert isinstance(table, Table)
            _put(table, key_name, write_value(key, now[key_name]))
        if section.kind.drawn and now.get("parts") and (was or {}).get("parts") != now["parts"]:
            _put_rows(document, name, (was or {}).get("parts") or (), now["parts"])
    return tomlkit.dumps(document)


def _put(table: Table, name: str, written: str | None) -> None:
    """Set a key to its TOML text; without one the key is taken out."""
    if written is None:
        if name in table:
            table.remove(name)
        return
    value: Any = tomlkit.value(written)
    if name in table:
        table[name] = value
        return
    table.add(name, value)


def _put_rows(document: tomlkit.TOMLDocument, name: str, before: Rows, after: Rows) -> None:
    """Set the rows of parts of a section that differ, in the section's table of parts or, without one, in a new one."""
    if name not in document:
        document.append(name, tomlkit.table())
    section = document[name]
    assert isinstance(section, Table)
    if "parts" not in section:
        section.append("parts", tomlkit.table())
    table, old = section["parts"], dict(before)
    assert isinstance(table, Table)
    for row, line in zip(after, written_rows(after), strict=True):
        if old.pop(row[0], None) != row[1]:
            written = tomlkit.parse(line)[row[0]]
            if row[0] in table:
                table[row[0]] = written
            else:
                table.append(tomlkit.key(row[0]), written)
    for gone in old:
        table.remove(gone)
