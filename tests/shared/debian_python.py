"""A newer Python out of Debian's own archive: without root, and without a change to the system.

apt-get keeps its state in a folder of ours. Its sources are the system's own, of which only those of the release itself
are taken, with the release replaced by `stable` and `testing`; keyrings and proxies stay the system's. The packages are
downloaded and unpacked, never installed. The interpreter is then told where its own C library and loader are: those of
an older system would not do. Everything else (PortAudio, certificates) it finds where the system has it.

What cannot be had, because of the machine or the network, is a LookupError with the reason; a Python that was had and
does not work is a RuntimeError, unless an older one does. By hand:

    python debian_python.py FOLDER
"""

from __future__ import annotations

import os
import platform
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

SUITES = ("stable", "testing")
PROJECT = Path(__file__).parents[2] / "pyproject.toml"
CONFIGURATION = """\
Dir::State "{folder}/state";
Dir::State::status "{folder}/status";
Dir::Cache "{folder}/cache";
Dir::Etc::sourcelist "/dev/null";
Dir::Etc::sourceparts "{folder}/sources";
Dir::Etc::preferences "/dev/null";
Dir::Etc::preferencesparts "/dev/null";
Acquire::Languages "none";
Acquire::Retries "1";
Acquire::http::Timeout "20";
Acquire::https::Timeout "20";
APT::Default-Release "";
APT::Install-Recommends "false";
APT::Sandbox::User "";
#clear APT::Update::Pre-Invoke;
#clear APT::Update::Post-Invoke;
#clear APT::Update::Post-Invoke-Success;
"""


def run(*command: str | Path, environment: Mapping[str, str], error: type[Exception] = RuntimeError) -> str:
    """What a command prints; one that fails is this error, with the last line of what it said."""
    result = subprocess.run(
        [str(part) for part in command], env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    if result.returncode != 0:
        last = (result.stdout.strip().splitlines() or [f"exit code {result.returncode}"])[-1]
        raise error(f"{Path(command[0]).name}: {last}")
    return result.stdout


def moved_lines(text: str, releases: set[str]) -> Iterator[str]:
    """The lines of a `.list` file that hold binaries of one of these releases, moved to `SUITES`."""
    for line in text.splitlines():
        match = re.fullmatch(r"deb\s+(\[[^]]*\]\s+)?(\S+)\s+(\S+)\s+(.+)", line.partition("#")[0].strip())
        if match and match[3] in releases:
            yield from (f"deb {match[1] or ''}{match[2]} {suite} {match[4]}\n" for suite in SUITES)


def moved_stanzas(text: str, releases: set[str]) -> Iterator[str]:
    """The stanzas of a `.sources` file (deb822) that hold binaries of one of these releases, moved to `SUITES`."""
    for stanza in re.split(r"\n\s*\n", re.sub(r"^#.*\n?", "", text, flags=re.MULTILINE).strip()):
        fields = {name: re.search(rf"^{name}:(.*(?:\n[ \t].*)*)", stanza, re.MULTILINE) for name in ("Types", "Suites")}
        types, suites = (match[1].split() if match else [] for match in fields.values())
        if "deb" in types and releases & set(suites):
            kept = re.sub(r"^(Types|Suites):.*(\n[ \t].*)*\n?", "", stanza, flags=re.MULTILINE).strip()
            yield f"Types: deb\nSuites: {' '.join(SUITES)}\n{kept}\n\n"


def write_sources(system: Path, folder: Path, releases: set[str]) -> None:
    """Write the system's sources, moved, to `folder`."""
    folder.mkdir()
    for file in [system / "sources.list", *sorted((system / "sources.list.d").glob("*"))]:
        moved = {".list": moved_lines, ".sources": moved_stanzas}.get(file.suffix)
        text = "".join(moved(file.read_text("utf-8"), releases)) if moved and file.is_file() else ""
        if text:
            (folder / file.name).write_text(text, "utf-8")
    if not any(folder.iterdir()):
        raise LookupError(f"no source of {' or '.join(sorted(releases))} in {system}")


class Archive:
    """Debian's archive in `SUITES`, seen by an apt with a state of its own below `folder`."""

    def __init__(self, folder: Path, environment: Mapping[str, str]) -> None:
        if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
            raise LookupError("no apt-get here")
        self.folder, self.environment = folder, {**environment, "LC_ALL": "C.UTF-8"}
        for name in ("state/lists/partial", "cache/archives/partial"):
            (folder / name).mkdir(parents=True)
        (folder / "status").touch()
        (folder / "apt.conf").write_text(CONFIGURATION.format(folder=folder), "utf-8")
        release = platform.freedesktop_os_release().get("VERSION_CODENAME", "sid")
        write_sources(Path("/etc/apt"), folder / "sources", {release, *SUITES})
        self.trouble = ""  # one suite may be missing where the other is there
        try:
            self.apt("apt-get", "update", "--error-on=any")
        except LookupError as reason:
            self.trouble = str(reason)

    def apt(self, program: str, *arguments: str) -> str:
        """What a program of apt prints."""
        return run(program, "-c", self.folder / "apt.conf", *arguments, environment=self.environment, error=LookupError)

    def versions(self) -> list[tuple[int, int]]:
        """The Pythons in the archive that are newer than this one, the newest first."""
        named = self.apt("apt-cache", "search", "--names-only", r"^python3\.[0-9]+-minimal$")
        found = {(3, int(minor)) for minor in re.findall(r"^python3\.(\d+)-minimal", named, re.MULTILINE)}
        return sorted((version for version in found if version > sys.version_info[:2]), reverse=True)

    def unpack(self, package: str, root: Path) -> None:
        """Download a package and all that it needs on an empty system; unpack them to `root`."""
        debs = root.with_name(f"{root.name}-packages")
        (debs / "partial").mkdir(parents=True)
        self.apt("apt-get", "install", "--yes", "--download-only", "-o", f"Dir::Cache::archives={debs}/", package)
        for deb in debs.glob("*.deb"):
            run("dpkg-deb", "--extract", deb, root, environment=self.environment)
        shutil.rmtree(debs)


def settle(root: Path, name: str, patchelf: Path, environment: Mapping[str, str]) -> Path:
    """Make the unpacked interpreter of this name work where it lies; returns it."""
    python = root / "usr" / "bin" / name
    wanted = Path(run(patchelf, "--print-interpreter", python, environment=environment).strip())
    loader = next(root.rglob(wanted.name)).resolve()
    options = ("--set-interpreter", loader, "--force-rpath", "--set-rpath", loader.parent)
    run(patchelf, *options, python, environment=environment)
    # where ensurepip, and with it venv, looks for the wheel of pip
    for file in (root / "usr" / "lib" / name).glob("_sysconfig*"):
        if not file.is_symlink():
            text = file.read_text("utf-8")
            file.write_text(text.replace("/usr/share/python-wheels", f"{root}/usr/share/python-wheels"), "utf-8")
    return python


def newest(folder: Path, environment: Mapping[str, str] = os.environ) -> Path:
    """The newest Python in Debian, beyond this one, for which all that the project requires is there as wheels."""
    archive = Archive(folder / "apt", environment)
    pip = ("-m", "pip", "install", "--quiet")
    run(sys.executable, *pip, "--target", folder / "tools", "patchelf", environment=environment, error=LookupError)
    required = tomllib.loads(PROJECT.read_text("utf-8"))["project"]["dependencies"]
    reasons: list[Exception] = []
    for major, minor in archive.versions():
        name = f"python{major}.{minor}"
        root = folder / name
        try:
            archive.unpack(f"{name}-venv", root)
            python = settle(root, name, folder / "tools" / "bin" / "patchelf", environment)
            trial = folder / f"{name}-trial"
            run(python, "-m", "venv", trial, environment=environment)
            asked = (*pip, "--dry-run", "--only-binary", ":all:", *required)
            run(trial / "bin" / "python", *asked, environment=environment, error=LookupError)
        except (LookupError, RuntimeError) as reason:
            reasons.append(type(reason)(f"{name}: {reason}"))
        else:
            return python
    kind = RuntimeError if any(isinstance(reason, RuntimeError) for reason in reasons) else LookupError
    raise kind("; ".join(map(str, reasons)) or archive.trouble or "Debian has no newer Python")


if __name__ == "__main__":
    print(newest(Path(sys.argv[1]).resolve()))
