"""Shared by the reliability tests: a design whose hand field is cached already, and a way to run a child."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from synth.build.curve_cache import field_for
from synth.designs.design_file import load_design

SHARED = Path(__file__).parents[1] / "shared"
Run = Callable[..., "subprocess.CompletedProcess[bytes]"]


@pytest.fixture(scope="session")
def heron(private_cache: Path, demos: Path) -> str:
    """The demo design heron.toml, its hand field solved once for all child processes."""
    from synth.build.assembly import scene_of

    path = demos / "heron.toml"
    field_for(scene_of(load_design(path)))
    return str(path)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder as the working folder, where children too find the parts that tests share."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(
        "PYTHONPATH", os.pathsep.join([str(SHARED), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep)
    )
    return tmp_path


@pytest.fixture
def run(here: Path) -> Run:
    """Run `python ARGUMENTS` in the empty folder; what it said comes back as bytes."""

    def start(*arguments: str | bytes, **options: object) -> subprocess.CompletedProcess[bytes]:
        options = {"capture_output": True, "timeout": 120, **options}
        environment = {**os.environ, **options.pop("extra", {})}  # type: ignore[dict-item]
        return subprocess.run([sys.executable, *arguments], env=environment, **options)  # type: ignore[call-overload,no-any-return]

    return start
