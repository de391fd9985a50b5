"""Shared by the tests of the windows: SDL's driver without a screen."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def dummy_screen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("PYGAME_HIDE_SUPPORT_PROMPT", "1")
