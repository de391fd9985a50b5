"""`beatfield doctor --clear-cache`, and where the program says the user's own files lie."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from synth.build.curve_cache import cache_folder
from synth.cli import main
from synth.doctor import own_files


def test_the_cache_is_emptied_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.setattr("platformdirs.user_cache_path", lambda name, appauthor: tmp_path / name)
    assert main(["doctor", "--clear-cache"]) == 0
    assert f"removed 0 hand fields, 0.0 MB, from {tmp_path}" in capsys.readouterr().out
    cache_folder().mkdir(parents=True)
    (cache_folder() / "a.json").write_bytes(b"0" * 1000)
    (cache_folder() / "mine.txt").write_text("kept", encoding="utf-8")
    assert main(["doctor", "--clear-cache", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["removed"], found["bytes"], found["folder"]) == (1, 1000, str(cache_folder()))
    assert [path.name for path in cache_folder().iterdir()] == ["mine.txt"]
    (cache_folder() / "mine.txt").unlink()
    (cache_folder() / "b.json").touch()
    assert main(["doctor", "--clear-cache"]) == 0
    assert list(tmp_path.iterdir()) == [], "no empty folder stays"


def test_own_files_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for place in ("user_data_path", "user_state_path"):
        monkeypatch.setattr(f"platformdirs.{place}", lambda name, appauthor, place=place: tmp_path / place)
    (tmp_path / "user_data_path").mkdir()
    (tmp_path / "user_data_path" / "practice.csv").touch()
    own = own_files()
    assert own.ready
    assert own.detail == str(tmp_path / "user_data_path" / "practice.csv")
