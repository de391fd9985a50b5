"""Every way to install, each from nothing: the README's commands, wheel, sdist, a newer Python, parts missing."""

from __future__ import annotations

import re
import shutil
import sys
import tarfile
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
DEMO_FILES = {"demo.toml", "demo.txt", "demo.png", "demo.wav"}
HIDE_PORTAUDIO = """\
import ctypes.util
_found = ctypes.util.find_library
ctypes.util.find_library = lambda name: None if name == "portaudio" else _found(name)
"""


def packages_of(folder: Path) -> set[str]:
    """Every module and data file of the packages under `folder`, as relative names in an install."""
    places = {"models": "models", "synth": "synth", "demos": "synth/demos"}
    return {
        f"{place}/{file.relative_to(folder / name).as_posix()}"
        for name, place in places.items()
        for file in (folder / name).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }


@pytest.fixture(scope="module")
def archives(source: Path, new_place: Any) -> Path:
    """The sdist, and the wheel built from it, by the standard front end, with what pyproject.toml asks for."""
    place = new_place("build")
    programs = place.make_environment_with([], "tools")
    needed = tomllib.loads((source / "pyproject.toml").read_text("utf-8"))["build-system"]["requires"]
    place.run(programs / "python", "-m", "pip", "install", "--quiet", "build", *needed)
    place.run(programs / "python", "-m", "build", "--no-isolation", "--outdir", place.folder / "dist", source)
    return place.folder / "dist"


@pytest.fixture(scope="module")
def new_install(libraries: list[str], cloned: Any, new_place: Any, fields: str) -> Callable[..., tuple[Any, Path]]:
    """Make an environment with an archive installed in it, far from the sources.

    With --no-index pip may fetch nothing: what the archive asks for must be among what the project file names.
    """

    def make(name: str, archive: Path, *options: str) -> tuple[Any, Path]:
        place = new_place(name)
        place.environment["XDG_CACHE_HOME"] = fields
        programs = place.make_environment_with(libraries, "environment")
        place.run(programs / "python", "-m", "pip", "install", "--quiet", *options, archive)
        return place, programs

    return make


@pytest.fixture(scope="module")
def installed(archives: Path, new_install: Any) -> tuple[Any, Path]:
    """An environment with the wheel in it, and the demo's files in `here`; nothing is taken away from it."""
    (wheel,) = archives.glob("*.whl")
    place, programs = new_install("wheel", wheel, "--no-index")
    place.run(programs / "beatfield", "demo", "here")
    assert {file.name for file in (place.folder / "here").iterdir()} == DEMO_FILES
    return place, programs


@pytest.mark.slow
def test_the_first_command_of_the_readme_sets_up_and_renders_the_demo(source, cloned):
    assert {file.name for file in (source / "beatfield-demo").iterdir()} == DEMO_FILES


@pytest.mark.soak  # .ci/run installs from nothing by the second command
def test_the_first_command_of_the_readme_sets_up_from_nothing(source, new_place, readme_blocks):
    place = new_place("nothing")
    shutil.copytree(
        source, place.folder / "clone", ignore=shutil.ignore_patterns(".venv", "beatfield-demo", "*.egg-info")
    )
    place.run(sys.executable, *readme_blocks[0].split()[1:], cwd=place.folder / "clone")
    assert {file.name for file in (place.folder / "clone" / "beatfield-demo").iterdir()} == DEMO_FILES


@pytest.mark.soak  # .ci/run runs it in full, from nothing; here with a single file of tests
def test_the_second_command_of_the_readme_runs_the_tests(source, cloned, readme_blocks):
    command = readme_blocks[1].strip()
    assert command == "python3 demos/set_up.py --tests"
    told = cloned.run(sys.executable, *command.split()[1:], "-q", "tests/models/test_pitch.py", cwd=source)
    assert " passed" in told


@pytest.mark.slow
def test_wheel_and_sdist_hold_everything(archives, source):
    (wheel,), (sdist,) = archives.glob("*.whl"), archives.glob("*.tar.gz")
    wanted = packages_of(source)
    assert wanted
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    assert {name for name in names if ".dist-info/" not in name} == wanted
    assert any(name.endswith("LICENSE") for name in names)
    with tarfile.open(sdist) as archive:
        inside = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    sources = {name.replace("synth/demos/", "demos/") for name in wanted}
    assert sources | {"README.md", "LICENSE", "pyproject.toml"} <= inside
    # a build takes along what lies there by such a name: some tests, without what they need
    assert not [name for name in inside if name.startswith("tests/")]
    assert not list((ROOT / "tests").glob("test*.py"))


@pytest.mark.slow
def test_the_wheel_works_from_another_folder(installed):
    place, programs = installed
    assert "usage: beatfield" in place.run(programs / "python", "-m", "synth", "--help")
    assert "zero beat" in place.run(programs / "beatfield", "field", "heron")
    origin = place.run(programs / "python", "-c", "import synth; print(synth.__file__)").strip()
    assert Path(origin).is_relative_to(place.folder)
    assert place.run(programs / "python", "-m", "pip", "check").strip() == "No broken requirements found."


@pytest.mark.slow
def test_without_portaudio_everything_else_works_and_the_message_says_what_to_install(installed):
    place, programs = installed
    hidden = place.folder / "hidden"
    hidden.mkdir()
    (hidden / "sitecustomize.py").write_text(HIDE_PORTAUDIO)
    told = place.run(programs / "beatfield", "devices", code=1, PYTHONPATH=str(hidden))
    assert "apt install libportaudio2" in told
    told = place.run(programs / "beatfield", "doctor", "--seconds", "0.2", code=1, PYTHONPATH=str(hidden))
    assert re.search(r"MEND +sounddevice .*\n +.*libportaudio2", told), told
    place.run(programs / "beatfield", "field", "here/demo.toml", PYTHONPATH=str(hidden))


@pytest.mark.slow
def test_the_sdist_works_and_without_matplotlib_a_plot_says_what_to_install(archives, new_install):
    (sdist,) = archives.glob("*.tar.gz")
    place, programs = new_install("sdist", sdist, "--no-deps")
    place.run(programs / "python", "-m", "pip", "uninstall", "--quiet", "--yes", "matplotlib")
    assert "zero beat" in place.run(programs / "beatfield", "field", "heron")
    told = place.run(programs / "beatfield", "field", "heron", "--plot", "field.png", code=1)
    assert "pip install matplotlib" in told
    assert not (place.folder / "field.png").exists()


@pytest.mark.soak  # by hand: it fetches a Python and every library for it
def test_the_newest_python_here(archives, new_place, newest_python):
    place = new_place("newest")
    programs = place.make_environment("environment", newest_python)
    (wheel,) = archives.glob("*.whl")
    place.run(programs / "python", "-m", "pip", "install", "--quiet", wheel)
    place.run(programs / "beatfield", "demo", "here")
    assert {file.name for file in (place.folder / "here").iterdir()} == DEMO_FILES
