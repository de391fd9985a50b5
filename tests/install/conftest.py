"""A clean home, a copy of the source tree, and fresh virtual environments made with pip's usual cache.

Environments of this run's Python are given the libraries that Beatfield asks for as hard links to this run's own, so
that what one takes away the others keep and pip unpacks none. `.ci/run` installs them from nothing, as the README says.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.metadata import distribution
from pathlib import Path

import debian_python
import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
LEFT_OUT = (".git", ".venv", ".hypothesis", ".*_cache", "__pycache__", "*.egg-info", "*.wav")
LEFT_OUT_AT_THE_TOP = ("build", "dist")
KEPT = ("PATH", "LANG", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR")
SET_UP = re.compile(r"PIP_|SSL_|.*_proxy$", re.IGNORECASE)  # how pip, certificates and the network are set up
AS_STARTED = dict(os.environ)  # before the tests put a cache folder of their own in the place of the user's
NEWER = ("3.15", "3.14", "3.13", "3.12")


@dataclass(frozen=True)
class Place:
    """A folder with a clean home in it, and how commands are run there."""

    folder: Path
    environment: dict[str, str]

    def run(self, *command: str | Path, code: int = 0, cwd: Path | None = None, **more: str) -> str:
        """Run a command, here unless `cwd` says otherwise; return all it prints. Any other exit code fails."""
        result = subprocess.run(
            [str(part) for part in command],
            cwd=cwd or self.folder,
            env=self.environment | more,
            timeout=1800.0,  # a busy machine
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert result.returncode == code, f"{command} ended with {result.returncode}:\n{result.stdout}"
        assert "Traceback" not in result.stdout, result.stdout
        return result.stdout

    def make_environment(self, name: str, python: str | Path = sys.executable) -> Path:
        """A fresh virtual environment in a folder of this name; returns its folder of programs."""
        self.run(python, "-m", "venv", self.folder / name)
        return programs_of(self.folder / name)

    def make_environment_with(self, needed: Iterable[str], name: str) -> Path:
        """The same with pip and the distributions that are needed, and all that they need, as this run has them."""
        self.run(sys.executable, "-m", "venv", "--without-pip", self.folder / name)
        give(needed, packages_in(self.folder / name, self))
        return programs_of(self.folder / name)


def give(needed: Iterable[str], packages: Path) -> None:
    """Put pip and the needed distributions of this run, and all that they need, into a folder of packages."""
    for name in with_what_they_need(["pip", *needed]):
        there = distribution(name)
        for part in {file.parts[0] for file in there.files or ()} - {os.pardir, "__pycache__"}:
            place, copy = Path(str(there.locate_file(part))), packages / part
            if place.is_dir():
                shutil.copytree(place, copy, copy_function=linked, dirs_exist_ok=True)
            else:
                linked(place, copy)


def linked(place: str | Path, copy: str | Path) -> None:
    """A hard link, or a copy where both are not on one disk."""
    try:
        os.link(place, copy)
    except FileExistsError:
        pass
    except OSError:
        shutil.copy2(place, copy)


def with_what_they_need(requirements: Iterable[str]) -> set[str]:
    """The names of distributions that requirements ask for, here, and of those that these ask for in turn."""
    found: set[str] = set()
    asked = [Requirement(text) for text in requirements]
    while asked:
        one = asked.pop()
        if (one.marker is None or one.marker.evaluate({"extra": ""})) and one.name not in found:
            found.add(one.name)
            asked += [Requirement(text) for text in distribution(one.name).requires or ()]
    return found


def programs_of(environment: Path) -> Path:
    """The folder of programs of a virtual environment."""
    return environment / ("Scripts" if os.name == "nt" else "bin")


def packages_in(environment: Path, place: Place) -> Path:
    """The folder of packages of a virtual environment, as its own Python tells it."""
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    return Path(place.run(programs_of(environment) / "python", "-c", ask).strip())


@pytest.fixture(scope="session")
def pip_cache() -> str:
    """The cache of packages this machine's pip keeps, so that nothing is fetched twice."""
    command = [sys.executable, "-m", "pip", "cache", "dir"]
    result = subprocess.run(command, env=AS_STARTED, capture_output=True, text=True)
    if result.returncode != 0:
        text = "the tests of the installation need a Python with pip (Debian packages python3-venv and python3-pip)"
        pytest.fail(text) if os.environ.get("CI") == "true" else pytest.skip(text)
    return result.stdout.strip()


@pytest.fixture(scope="session")
def new_place(tmp_path_factory, pip_cache) -> Callable[[str], Place]:
    """Make a folder with an empty home in it."""

    def make(name: str) -> Place:
        folder = tmp_path_factory.mktemp(name)
        (folder / "home").mkdir()
        kept = {key: text for key, text in os.environ.items() if key in KEPT or SET_UP.match(key)}
        home = str(folder / "home")
        environment = kept | {"HOME": home, "USERPROFILE": home, "PIP_CACHE_DIR": pip_cache, "PYTHONNOUSERSITE": "1"}
        environment["PIP_COMPILE"] = "0"  # each module when it is first imported: far fewer are
        for settings in (Path.home() / ".config" / "pip" / "pip.conf", Path.home() / "pip" / "pip.ini"):
            if settings.is_file():
                environment.setdefault("PIP_CONFIG_FILE", str(settings))
        return Place(folder, environment)

    return make


@pytest.fixture(scope="session")
def source(tmp_path_factory) -> Path:
    """The source tree without what a clone does not hold, under a name with a space in it."""
    folder = tmp_path_factory.mktemp("source") / "beat field"

    def left_out(place: str, names: list[str]) -> set[str]:
        patterns = LEFT_OUT + (LEFT_OUT_AT_THE_TOP if Path(place) == ROOT else ())
        return shutil.ignore_patterns(*patterns)(place, names)

    shutil.copytree(ROOT, folder, ignore=left_out)
    return folder


@pytest.fixture(scope="session")
def readme_blocks() -> list[str]:
    """The README's shell blocks, in order."""
    return re.findall(r"^```sh\n(.*?)^```", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="session")
def libraries(source) -> list[str]:
    """What Beatfield asks for, from its own project file."""
    asked: list[str] = tomllib.loads((source / "pyproject.toml").read_text("utf-8"))["project"]["dependencies"]
    return asked


@pytest.fixture(scope="session")
def fields(tmp_path_factory) -> str:
    """A folder for hand fields, each solved in the first installation that needs it."""
    return str(tmp_path_factory.mktemp("fields"))


@pytest.fixture(scope="session")
def cloned(source, new_place, readme_blocks, libraries, fields) -> Place:
    """The README's first command, done in the source tree where an install broke off after the libraries."""
    place = new_place("clone")
    place.environment["XDG_CACHE_HOME"] = fields
    place.run(sys.executable, "-m", "venv", "--without-pip", source / ".venv")
    give(libraries, packages_in(source / ".venv", place))
    command = readme_blocks[0].strip()
    assert command == "python3 demos/set_up.py"
    place.run(sys.executable, *command.split()[1:], cwd=source)
    return place


@pytest.fixture(scope="session")
def newest_python(new_place) -> Path:
    """The newest Python in Debian's archive; without it one on the path or of pyenv, newer than that of this run."""
    place = new_place("debian")
    try:
        return debian_python.newest(place.folder, place.environment)
    except LookupError as reason:
        found = newer_here()
        if found is None:
            pytest.skip(f"no newer Python here, and none from Debian: {reason}")
        return found


def newer_here() -> Path | None:
    """The newest Python on the path or of pyenv that is newer than that of this run and can make environments."""
    kept = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    for version in NEWER:
        if tuple(map(int, version.split("."))) <= sys.version_info[:2]:
            break
        found = shutil.which(f"python{version}")
        for candidate in [*sorted(kept.glob(f"{version}.*/bin/python3"), reverse=True), *([found] if found else [])]:
            works = subprocess.run([str(candidate), "-c", "import venv, ensurepip"], capture_output=True)
            if works.returncode == 0:
                return Path(candidate)
    return None
