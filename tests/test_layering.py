"""The direction of imports, read from the syntax trees, and what the path of --help may load."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODEL_FILES = sorted((ROOT / "models").rglob("*.py"))
SYNTH_FILES = sorted((ROOT / "synth").rglob("*.py"))
HEAVY = {"sounddevice", "soundfile", "pygame", "matplotlib"}
NOT_PHYSICS = {"os", "io", "pathlib", "threading", "multiprocessing", "subprocess", "time", "logging", "sys"}


def imported(tree: ast.AST) -> set[str]:
    """Top-level names of everything imported anywhere in `tree`."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written absolutely here"
            names.add((node.module or "").split(".")[0])
    return names


def imported_on_load(tree: ast.Module) -> set[str]:
    """Names imported when the module itself is imported: outside functions and TYPE_CHECKING blocks."""
    names: set[str] = set()
    for node in tree.body:
        typing_only = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        if isinstance(node, ast.Import | ast.ImportFrom | ast.If | ast.Try | ast.With) and not typing_only:
            names |= imported(node)
    return names


def relative(file: Path) -> str:
    return str(file.relative_to(ROOT))


@pytest.mark.parametrize("file", MODEL_FILES, ids=relative)
def test_models_are_physics_only(file):
    names = imported(ast.parse(file.read_text("utf-8")))
    foreign = names - sys.stdlib_module_names - {"numpy", "scipy", "models"}
    assert not foreign, f"{relative(file)} imports {sorted(foreign)}"
    assert not names & NOT_PHYSICS, f"{relative(file)} imports {sorted(names & NOT_PHYSICS)}"


@pytest.mark.parametrize("file", MODEL_FILES, ids=relative)
def test_models_neither_print_nor_open_files(file):
    calls = {
        node.func.id
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    assert not calls & {"print", "open", "input"}


@pytest.mark.parametrize("file", SYNTH_FILES, ids=relative)
def test_device_and_plot_libraries_are_imported_where_they_are_used(file):
    allowed = {"pygame"} if file.parent.name == "window" else set()
    at_load = imported_on_load(ast.parse(file.read_text("utf-8"))) & HEAVY
    assert not at_load - allowed, f"{relative(file)} imports {sorted(at_load - allowed)} at its top"


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from synth.cli import build_parser; build_parser().format_help();"
        "print(sorted({'numpy', 'scipy', 'sounddevice', 'soundfile', 'pygame', 'matplotlib'} & set(sys.modules)))"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert result.stdout.strip() == "[]"


def test_package_files_hold_a_docstring_only():
    for file in ROOT.glob("[ms]*/**/__init__.py"):
        if "egg" in str(file):
            continue
        assert len(ast.parse(file.read_text("utf-8")).body) == 1, relative(file)


def test_every_package_is_listed_for_the_build():
    import tomllib

    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"])
    found = {
        ".".join(file.parent.relative_to(ROOT).parts)
        for package in ("models", "synth")
        for file in (ROOT / package).rglob("*.py")
    }
    assert listed == found
