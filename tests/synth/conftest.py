"""Shared by the tests of commands: designs opened on one plain capacitance curve, so that no field has to be solved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from small_instrument import ROD

from synth.build.workbench import OpenedDesign, assemble
from synth.cli import main
from synth.designs.design_file import design_text, load_design
from synth.designs.sections import Design
from synth.designs.template import template_design


@pytest.fixture(scope="session")
def opened() -> Callable[[Design], OpenedDesign]:
    """Opens a design, without its volume antenna, on an invented curve of the usual size."""

    def on_plain_curve(design: Design) -> OpenedDesign:
        design = replace(design, volume_antenna=None, volume=None, volume_response=None)
        return assemble(design, ROD)

    return on_plain_curve


@pytest.fixture(scope="session")
def plain_workpiece(opened: Callable[[Design], OpenedDesign]) -> OpenedDesign:
    """The template's design on that curve."""
    return opened(template_design())


@pytest.fixture
def design_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, workpiece: OpenedDesign, opened: Callable[[Design], OpenedDesign]
) -> Path:
    """A file with the design of the module's `workpiece`; commands open it as `opened` does."""
    path = tmp_path / "mine.toml"
    path.write_text(design_text(workpiece.design), encoding="utf-8")
    monkeypatch.setattr("synth.build.workbench.open_design", lambda where: opened(load_design(where)))
    return path


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Callable[[list[str], list[str]], None]:
    """Checks that a command is refused with one message holding all of the words, and writes nothing here."""

    def check(command: list[str], words: list[str]) -> None:
        assert main(command) == 2
        said = capsys.readouterr()
        assert said.out == ""
        assert "Traceback" not in said.err
        for word in words:
            assert word in said.err
        assert list(Path().iterdir()) == []

    return check
