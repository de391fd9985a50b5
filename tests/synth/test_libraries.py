"""What happens where a library is missing: the rest works, and the message says what to install."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from synth.cli import main
from synth.errors import DeviceError
from synth.libraries import libraries_quiet, require

BLOCKED = """
import sys
from synth.cli import main
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {modules!r}:
            raise {error}
sys.meta_path.insert(0, Missing())
sys.exit(main({arguments!r}))
"""


def run_without(modules: str | tuple[str, ...], arguments: list[str], folder: Path, error: str = "ImportError('no')"):
    modules = (modules,) if isinstance(modules, str) else modules
    code = BLOCKED.format(modules=modules, arguments=arguments, error=error)
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=folder,
        env={**__import__("os").environ, "SDL_VIDEODRIVER": "dummy"},
    )


@pytest.mark.parametrize(
    ("module", "arguments", "words"),
    [
        ("matplotlib", ["field", "DESIGN", "--plot", "a.png"], ["matplotlib", "pip install matplotlib"]),
        (
            "soundfile",
            ["render", "DESIGN", "--gesture", "still", "-o", "a.wav"],
            ["soundfile", "pip install soundfile"],
        ),
        pytest.param("pygame", ["play", "DESIGN"], ["pygame", "pip install pygame-ce"], marks=pytest.mark.slow),
        ("sounddevice", ["devices"], ["sounddevice"]),
    ],
)
def test_a_missing_library_is_one_message_with_the_remedy(
    demos, tmp_path, monkeypatch, capsys, module, arguments, words
):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, module, None)  # importing it fails
    assert main([str(demos / "meadow.toml") if word == "DESIGN" else word for word in arguments]) == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    for word in words:
        assert word in said
    assert not list(tmp_path.glob("a.*"))


def test_without_portaudio_devices_names_the_package(tmp_path):
    result = run_without("sounddevice", ["devices"], tmp_path, "OSError('PortAudio library not found')")
    assert result.returncode == 1
    assert "libportaudio2" in result.stderr


@pytest.mark.slow
def test_a_report_needs_none_of_them(demos, tmp_path):
    modules = ("matplotlib", "sounddevice", "pygame", "soundfile")
    result = run_without(modules, ["field", str(demos / "heron.toml")], tmp_path)
    assert result.returncode == 0, result.stderr
    assert "zero beat" in result.stdout


@pytest.mark.slow
def test_doctor_names_what_is_missing(tmp_path):
    result = run_without("matplotlib", ["doctor", "--seconds", "0.2"], tmp_path)
    assert result.returncode == 1
    assert "MEND  matplotlib" in result.stdout
    assert "pip install matplotlib" in result.stdout


def test_require_returns_the_module_or_says_why():
    assert require("json", "a test") is sys.modules["json"]
    with pytest.raises(DeviceError, match="a test needs the library no_such_library"):
        require("no_such_library", "a test")


def test_what_c_libraries_print_is_dropped_meanwhile_only(capfd):
    os.write(2, b"before ")
    with libraries_quiet():
        os.write(2, b"chatter ")
    os.write(2, b"after")
    assert capfd.readouterr().err == "before after"
