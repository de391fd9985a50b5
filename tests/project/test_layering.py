"""The direction of imports, read from the syntax trees, and what the path of --help may load."""

from __future__ import annotations

import ast
import subprocess
import sys
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MODEL_FILES = sorted((ROOT / "models").rglob("*.py"))
SYNTH_FILES = sorted((ROOT / "synth").rglob("*.py"))
HEAVY = {"sounddevice", "soundfile", "pygame", "matplotlib"}
SOLVERS = (
    "models/electrostatics/",
    "models/hand/field_solution.py",
    "synth/comparisons/",
    "synth/listening/tracker.py",
)
"""Where scipy is loaded with the module: these are imported where they are used."""
NOT_PHYSICS = {"os", "io", "pathlib", "threading", "multiprocessing", "subprocess", "time", "logging", "sys"}


@cache
def imports_in(tree: ast.AST) -> tuple[ast.Import | ast.ImportFrom, ...]:
    """The imports anywhere in `tree`: statements, so that no expression is looked into."""
    if isinstance(tree, ast.Import | ast.ImportFrom):
        return (tree,)
    inner = (node for node in ast.iter_child_nodes(tree) if not isinstance(node, ast.expr))
    return tuple(found for node in inner for found in imports_in(node))


def imported(tree: ast.AST) -> set[str]:
    """Top-level names of everything imported anywhere in `tree`."""
    names: set[str] = set()
    for node in imports_in(tree):
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


@cache
def tree_of(file: Path) -> ast.Module:
    return ast.parse(file.read_text("utf-8"))


def test_models_are_physics_only():
    known = (sys.stdlib_module_names - NOT_PHYSICS) | {"numpy", "scipy", "models"}
    foreign = {relative(file): imported(tree_of(file)) - known for file in MODEL_FILES}
    assert {file: names for file, names in foreign.items() if names} == {}


def test_models_neither_print_nor_open_files():
    for file in MODEL_FILES:
        calls = {
            node.func.id
            for node in ast.walk(tree_of(file))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        assert not calls & {"print", "open", "input"}, relative(file)


def test_device_and_plot_libraries_are_imported_where_they_are_used():
    for file in SYNTH_FILES:
        allowed = {"pygame"} if file.parent.name == "window" else set()
        at_load = imported_on_load(tree_of(file)) & HEAVY
        assert not at_load - allowed, f"{relative(file)} imports {sorted(at_load - allowed)} at its top"


def test_scipy_is_imported_where_it_is_used():
    loading = [relative(file) for file in (*MODEL_FILES, *SYNTH_FILES) if "scipy" in imported_on_load(tree_of(file))]
    assert [file for file in loading if not file.startswith(SOLVERS)] == []


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
        assert len(tree_of(file).body) == 1, relative(file)


def may_import() -> dict[str, set[str]]:
    """What each folder of models may import beside itself and the flat modules: the table in DEVELOPERS.md."""
    lines = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("| folder of `models/` |")[1].splitlines()[2:]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[: lines.index("")]]
    return {folder.strip("`"): set(imports.split(", ")) - {"-"} for folder, _, imports in rows}


def rooms_of(package: str) -> dict[str, set[str]]:
    """Each folder and each flat module of the package, and which others its imports name."""
    rooms: dict[str, set[str]] = {}
    for file in (ROOT / package).rglob("*.py"):
        room = file.relative_to(ROOT / package).with_suffix("").parts[0]
        for node in imports_in(tree_of(file)):
            modules = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                whole = node.module == package
                modules = [f"{package}.{alias.name}" for alias in node.names] if whole else [node.module or ""]
            named = {module.split(".")[1] for module in modules if module.startswith(f"{package}.")}
            rooms.setdefault(room, set()).update(named - {room})
    return rooms


def circle_in(rooms: dict[str, set[str]]) -> set[str]:
    """The rooms that are left when those that import nothing left are taken away, again and again."""
    left = dict(rooms)
    while free := [room for room, imports in left.items() if not imports & left.keys()]:
        for room in free:
            del left[room]
    return set(left)


@pytest.mark.parametrize("package", ["models", "synth"])
def test_no_folders_import_each_other_in_a_circle(package):
    assert circle_in(rooms_of(package)) == set()


def test_a_circle_is_found():
    assert circle_in({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": set()}) == {"a", "b", "c"}


def test_each_folder_of_models_imports_only_what_its_row_lists():
    rooms = rooms_of("models")
    folders = {file.parent.name for file in MODEL_FILES if file.parent.name != "models"}
    allowed = may_import()
    assert folders == allowed.keys()
    for folder in folders:
        assert rooms[folder] & folders <= allowed[folder], folder


# What synth/report may take from models: notes and what was measured of hearing, and the plain data of solved things
# that a plot draws. It computes no figure; those come from synth/analysis.
REPORT_MAY_TAKE = {
    "models.arrays": {"Floats"},
    "models.quick_dataclass": {"dataclass"},
    "models.pitch": {"MEASURED_FROM", "MEASURED_TO", "note_name", "note_number"},
    "models.pitch_field": {"LOWEST_AUDIBLE"},
    "models.builds.tuned_builds": {"OUTCOMES"},
    "models.straight.search": {"MARGIN"},
    "models.circuit.common_base": {"BASE", "COLD", "COLLECTOR", "EMITTER", "LOAD"},
    "models.circuit.oscillator_noise": {"LOWEST_FREQUENCY"},
    "models.circuit.ripple_law": {"BOTH_BASES", "REFERENCE_BASE", "SUPPLY", "VARIABLE_BASE"},
    "models.circuit.transient": {"TransientRecord"},
}


def taken(tree: ast.AST, package: str) -> set[tuple[str, str]]:
    """Module and name of everything that `tree` imports from a package."""
    return {
        (node.module or "", alias.name)
        for node in imports_in(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == package
        for alias in node.names
    }


def test_reports_solve_nothing():
    allowed = {(module, name) for module, names in REPORT_MAY_TAKE.items() for name in names}
    for file in (ROOT / "synth" / "report").glob("*.py"):
        assert taken(tree_of(file), "models") <= allowed, relative(file)
        assert "scipy" not in imported(tree_of(file)), relative(file)


def test_figures_know_nothing_of_reports():
    for file in (ROOT / "synth" / "analysis").glob("*.py"):
        modules = {module for module, _ in taken(tree_of(file), "synth")}
        assert not {module for module in modules if module.startswith("synth.report")}, relative(file)


def test_every_package_is_listed_for_the_build():
    import tomllib

    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"])
    found = {
        ".".join(file.parent.relative_to(ROOT).parts)
        for package in ("models", "synth")
        for file in (ROOT / package).rglob("*.py")
    }
    assert listed == found | {"synth.demos"}


def test_every_folder_of_tests_is_looked_into(pytestconfig):
    """Pytest leaves out folders by name, without a word: a whole folder of tests would never run."""
    left_out = pytestconfig.getini("norecursedirs")
    folders = {file.relative_to(ROOT).parent for file in (ROOT / "tests").rglob("test_*.py")}
    assert Path("tests/synth/build") in folders
    assert not [
        str(folder) for folder in folders for part in folder.parts if any(fnmatch(part, name) for name in left_out)
    ]


def marked_slow(node: ast.AST) -> bool:
    """Whether `pytest.mark.slow` stands anywhere in the node."""
    return any(isinstance(part, ast.Attribute) and ast.unparse(part) == "pytest.mark.slow" for part in ast.walk(node))


def test_a_file_that_the_quick_run_does_not_import_holds_slow_tests_alone(pytestconfig):
    """Its own text says so, in one statement of the module."""
    conftest = pytestconfig.pluginmanager.get_plugin(str(ROOT / "tests" / "conftest.py"))
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    ignored = [file for file in files if conftest.left_out(file.read_text("utf-8"), conftest.QUICK)]
    assert 5 < len(ignored) < 20
    for file in ignored:
        marks = [node for node in tree_of(file).body if isinstance(node, ast.Assign) and marked_slow(node.value)]
        assert [ast.unparse(name) for node in marks for name in node.targets] == ["pytestmark"], relative(file)


def test_what_marks_tests_slow_for_others_says_so_in_its_name():
    """A run of the slow tests imports the files that hold the word."""
    for file in (ROOT / "tests" / "shared").glob("*.py"):
        for node in tree_of(file).body:
            if isinstance(node, ast.FunctionDef) and marked_slow(node):
                assert "slow" in node.name, relative(file)


def test_the_files_that_are_begun_first_are_there(pytestconfig):
    conftest = pytestconfig.pluginmanager.get_plugin(str(ROOT / "tests" / "conftest.py"))
    files = [file for first in conftest.LONG_FILES.values() for file in first]
    assert [file for file in files if not (ROOT / file).is_file()] == []
