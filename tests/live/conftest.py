"""A private screen and a private sound card for one real run: Xvfb, and PulseAudio with a null sink that keeps time.

Where a tool is missing the run is skipped with the name of the tool; on a build machine (CI=true) that is a failure.
"""

from __future__ import annotations

import contextlib
import ctypes.util
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

TOOLS = {
    "pulseaudio": "pulseaudio",
    "pactl": "pulseaudio-utils",
    "parec": "pulseaudio-utils",
    "Xvfb": "xvfb",
    "xdotool": "xdotool",
    "import": "imagemagick",
}
START_TIMEOUT = 15.0  # s


def missing(text: str) -> None:
    """Skip, or fail on a build machine."""
    if os.environ.get("CI") == "true":
        pytest.fail(text)
    pytest.skip(text)


@dataclass(frozen=True)
class Stage:
    """Environment of the private screen and sound card, and a folder for their files."""

    environment: dict[str, str]
    folder: Path
    running: list[subprocess.Popen[bytes]]

    def kill_sound(self) -> None:
        """Pull the sound card out: its server dies at once."""
        server = self.running.pop()
        server.kill()
        server.wait()
        (self.folder / "native").unlink(missing_ok=True)

    def start_sound(self) -> None:
        """Plug it in again."""
        _start_sound(self.folder, self.environment, self.running)

    def run(self, *command: str, text: str = "", timeout: float = START_TIMEOUT) -> str:
        """Run a tool on this stage, with `text` as its input, and return what it prints."""
        result = subprocess.run(
            command,
            env=self.environment,
            input=text,
            capture_output=True,
            text=True,
            timeout=timeout,
            check=True,
        )
        return result.stdout.strip()

    def picture(self, window: str, path: Path) -> Path:
        """A picture of a window as a BMP: to compress it would cost more than all else."""
        self.run("import", "-window", window, "-depth", "8", f"BMP3:{path}")
        return path

    def wait_for(self, condition: Callable[[], bool], what: str, timeout: float = START_TIMEOUT) -> None:
        """Wait until `condition` holds."""
        wait_for(condition, what, timeout)

    def missing(self, text: str) -> None:
        """Skip, or fail on a build machine."""
        missing(text)


def wait_for(condition: Callable[[], bool], what: str, timeout: float = START_TIMEOUT) -> None:
    deadline = time.monotonic() + timeout
    while not condition():
        assert time.monotonic() < deadline, f"waited {timeout:.0f} s for {what}"
        time.sleep(0.05)


@pytest.fixture(scope="module")
def stage() -> Iterator[Stage]:
    for tool, package in TOOLS.items():
        if shutil.which(tool) is None:
            missing(f"the live run needs {tool} (Debian package {package})")
    if ctypes.util.find_library("portaudio") is None:
        missing("the live run needs PortAudio (Debian package libportaudio2)")
    folder = Path(tempfile.mkdtemp(prefix="beatfield-"))  # sockets need a short path
    running: list[subprocess.Popen[bytes]] = []
    try:
        yield open_stage(folder, running)
    finally:
        for process in reversed(running):
            process.terminate()
            try:
                process.wait(5.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        shutil.rmtree(folder, ignore_errors=True)


def open_stage(folder: Path, running: list[subprocess.Popen[bytes]]) -> Stage:
    hidden = ("WAYLAND_DISPLAY", "SDL_VIDEODRIVER", "DBUS_SESSION_BUS_ADDRESS")
    environment = {name: value for name, value in os.environ.items() if name not in hidden}
    environment.setdefault("XDG_CACHE_HOME", str(Path.home() / ".cache"))  # the solved hand field may be reused
    for name in ("run", "home", "state", "config"):
        (folder / name).mkdir(mode=0o700)
    environment |= {
        "HOME": str(folder / "home"),
        "XDG_RUNTIME_DIR": str(folder / "run"),
        "PULSE_RUNTIME_PATH": str(folder / "run"),
        "XDG_CONFIG_HOME": str(folder / "config"),
        "XDG_STATE_HOME": str(folder / "state"),
    }
    environment["DISPLAY"] = _start_screen(folder, environment, running)
    _start_sound(folder, environment, running)
    return Stage(environment, folder, running)


def _start_screen(folder: Path, environment: dict[str, str], running: list[subprocess.Popen[bytes]]) -> str:
    reading, writing = os.pipe()
    with (folder / "xvfb.log").open("wb") as log:
        command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", "2600x1500x24", "-nolisten", "tcp", "-noreset"]
        running.append(subprocess.Popen(command, env=environment, pass_fds=(writing,), stdout=log, stderr=log))
    os.close(writing)
    with os.fdopen(reading) as answer:
        number = answer.readline().strip()
    assert number, (folder / "xvfb.log").read_text()
    return f":{number}"


def run_like_a_sound_card() -> None:
    """A card's clock waits for no program: real-time scheduling where the system allows it."""
    with contextlib.suppress(AttributeError, OSError):
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(6))


def _start_sound(folder: Path, environment: dict[str, str], running: list[subprocess.Popen[bytes]]) -> None:
    socket = folder / "native"
    command = [
        "pulseaudio",
        "-n",
        "--daemonize=no",
        "--use-pid-file=no",
        "--exit-idle-time=-1",
        "--disallow-exit",
        "--realtime=yes",
        "--high-priority=yes",
        "--load=module-null-sink sink_name=stage rate=48000 channels=2 format=s16le norewinds=1",
        f"--load=module-native-protocol-unix socket={socket} auth-anonymous=1",
    ]
    with (folder / "pulse.log").open("wb") as log:
        running.append(
            subprocess.Popen(command, env=environment, stdout=log, stderr=log, preexec_fn=run_like_a_sound_card)
        )
    (folder / "asound.conf").write_text(
        f'pcm.!default {{ type pulse server "unix:{socket}" device "stage" }}\n'
        f'ctl.!default {{ type pulse server "unix:{socket}" }}\n'
    )
    environment["PULSE_SERVER"] = f"unix:{socket}"
    environment["ALSA_CONFIG_PATH"] = f"/usr/share/alsa/alsa.conf:{folder / 'asound.conf'}"

    def answers() -> bool:
        return subprocess.run(["pactl", "info"], env=environment, capture_output=True).returncode == 0

    wait_for(answers, "PulseAudio")
