"""Tests reach models and synth by public names only, read from the tests' own syntax trees."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
FILES = sorted(set(TESTS.rglob("*.py")) - {Path(__file__)})  # this one holds examples
DOCUMENTED = {"_fields", "_replace", "_asdict", "_getframe"}  # described in Python's own library reference
# In a dotted path, or in a program handed to a child process.
IN_TEXT = re.compile(r"\b(?!self\b|cls\b)[A-Za-z]\w*\.(_[A-Za-z]\w*)")
MAYBE = re.compile(r"\b_[A-Za-z]")  # a text without need not be parsed


def private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__") and name not in DOCUMENTED


def reached(node: ast.AST) -> Iterator[str]:
    """Every private name that this node asks for of something other than itself."""
    if isinstance(node, ast.Attribute):
        if not (isinstance(node.value, ast.Name) and node.value.id in ("self", "cls")):
            yield node.attr
    elif isinstance(node, ast.ImportFrom):
        yield from (node.module or "").split(".")
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.Import):
        yield from (part for alias in node.names for part in alias.name.split("."))
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield from IN_TEXT.findall(node.value)
    elif isinstance(node, ast.Call):
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if called in ("getattr", "setattr", "hasattr", "delattr"):
            texts = (argument.value for argument in node.args if isinstance(argument, ast.Constant))
            yield from (text for text in texts if isinstance(text, str))


def private_names(source: str) -> set[str]:
    if not MAYBE.search(source):
        return set()
    return {name for node in ast.walk(ast.parse(source)) for name in reached(node) if private(name)}


def place(file: Path) -> str:
    return file.relative_to(TESTS).as_posix()


def test_no_private_name_is_reached() -> None:
    found = {place(file): private_names(file.read_text("utf-8")) for file in FILES}
    assert {file: names for file, names in found.items() if names} == {}


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("from models.tank import _law", "_law"),
        ("import synth._parts.tank", "_parts"),
        ("speaker._process.kill()", "_process"),
        ("monkeypatch.setattr('synth.files.left_overs._seen', set())", "_seen"),
        ("monkeypatch.setattr(module, '_newton', other)", "_newton"),
        ("getattr(module, '_newton')", "_newton"),
        ("CHILD = '''import synth.cli\nsynth.cli._main()'''", "_main"),
    ],
)
def test_every_way_to_a_private_name_is_found(source: str, name: str) -> None:
    assert private_names(source) == {name}


def test_own_and_documented_names_are_free() -> None:
    assert private_names("self._seen = row._fields\nclass A:\n    __slots__ = ('_kept',)\n") == set()
