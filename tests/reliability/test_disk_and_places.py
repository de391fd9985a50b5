"""Disks that are full, folders that may not be written, homes that are missing, names of every kind."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile
from small_instrument import same_field, small_field

from synth.cli import main

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits and names of POSIX systems")

RENDER = ["--gesture", "sweep", "--seconds", "2"]
FRAMES = 2 * 48_000 + 1 + 2_400  # two seconds with both ends, and the closing fade
LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
sys.dont_write_bytecode = True  # a module's would be cut short, and stay
from synth.cli import main
import synth.analysis.start_up
synth.analysis.start_up.LONGEST_CYCLES = 300
sys.exit(main(sys.argv[1:]))
"""


def one_message(result: subprocess.CompletedProcess[bytes], *words: str) -> None:
    """The child ended with a message for a person, holding `words`."""
    said = result.stderr.decode("utf-8")
    assert "Traceback" not in said
    assert "fault of the program" not in said
    for word in words:
        assert word in said, said


@pytest.mark.parametrize(
    "command",
    [
        ["render", "DESIGN", *RENDER, "-o", "a.wav"],
        pytest.param(["render", "DESIGN", *RENDER, "-o", "a.flac"], marks=pytest.mark.slow),
        pytest.param(["field", "DESIGN", "--plot", "a.png"], marks=pytest.mark.slow),
        pytest.param(["sheet", "DESIGN", "-o", "a.html"], marks=pytest.mark.slow),
        pytest.param(["oscillator", "DESIGN", "--transient", "a.csv"], marks=pytest.mark.slow),
    ],
)
def test_no_space_is_one_message_and_leaves_nothing(heron, demos, here, run, command):
    design = str(demos / "willow.toml") if command[0] == "oscillator" else heron
    result = run("-c", LIMITED, *(design if word == "DESIGN" else word for word in command))
    assert result.returncode == 1, result.stderr
    one_message(result, command[-1], "disk")
    assert os.listdir(here) == []


@pytest.mark.slow
def test_a_full_disk_is_one_message_and_leaves_nothing(heron, here, run):
    full = here / "full"
    full.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "beatfield-test", str(full)]
    try:
        mounted = subprocess.run(mount, capture_output=True).returncode == 0
    except OSError:
        mounted = False
    if not mounted:
        pytest.skip("no right to mount a small disk")
    try:
        result = run("-m", "synth", "render", heron, *RENDER, "-o", str(full / "a.wav"))
        assert result.returncode == 1
        one_message(result, "a.wav", "disk")
        result = run("-m", "synth", "field", heron, "--plot", str(full / "a.png"), "--csv", str(full / "a.csv"))
        assert result.returncode in (0, 1)
        assert all(name in ("a.png", "a.csv") for name in os.listdir(full))
        assert not (full / "a.wav").exists()
    finally:
        subprocess.run(["umount", str(full)], check=True)


@pytest.mark.parametrize(
    "command",
    [
        ["render", "DESIGN", *RENDER, "-o", "locked/a.wav"],
        pytest.param(["sheet", "DESIGN", "-o", "locked/a.html"], marks=pytest.mark.slow),
        pytest.param(["field", "DESIGN", "--plot", "locked/a.png", "--csv", "locked/a.csv"], marks=pytest.mark.slow),
        pytest.param(["demo", "locked/demo"], marks=pytest.mark.slow),
    ],
)
def test_a_folder_that_may_not_be_written(heron, here, command):
    """As any user; the superuser gives up the rights that pass over a folder's."""
    (here / "locked").mkdir(mode=0o500)
    powerless = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"] if os.geteuid() == 0 else []
    if powerless and shutil.which("setpriv") is None:
        pytest.skip("the superuser may write anywhere, and there is no setpriv to give that up")
    words = [heron if word == "DESIGN" else word for word in command]
    result = subprocess.run([*powerless, sys.executable, "-m", "synth", *words], capture_output=True, timeout=120)
    assert result.returncode in (1, 2), result.stderr
    one_message(result, command[-1])
    assert os.listdir(here / "locked") == []


@pytest.mark.slow
def test_where_no_cache_can_be_the_field_is_solved_each_time(heron, here, run):
    nowhere = {"HOME": "/proc/none", "XDG_CACHE_HOME": "/proc/none/cache"}
    result = run("-m", "synth", "render", heron, *RENDER, "-o", "a.wav", "--json", extra=nowhere)
    assert result.returncode == 0, result.stderr
    assert json.loads(result.stdout)["schema"].startswith("beatfield.render/")
    assert b"solving" in result.stderr
    one_message(result, "cache")


def test_a_user_without_a_home_gets_no_folder_of_a_strange_name(here, monkeypatch):
    from synth.build import curve_cache

    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: Path("~/.cache/beatfield"))
    notices: list[str] = []
    assert same_field(curve_cache.kept_field("0" * 32, small_field, notices.append, None), small_field())
    assert any("could not be cached" in notice for notice in notices)
    assert os.listdir(here) == []


@pytest.mark.slow
def test_without_a_home_but_with_a_cache(heron, here, run):
    environment = {name: value for name, value in os.environ.items() if name != "HOME"}
    result = subprocess.run([sys.executable, "-m", "synth", "field", heron], env=environment, capture_output=True)
    assert result.returncode == 0, result.stderr
    assert b"solving" not in result.stderr


@pytest.mark.slow
@pytest.mark.parametrize("name", ["M\u00fcnze \u266a \u6b4c", "-a'b\"c$d`e \U0001f3b6"])
def test_folders_and_files_of_any_name(demos, here, name):
    folder = here / name
    folder.mkdir()
    design, sound, plot = folder / f"{name}.toml", folder / f"{name}.wav", folder / f"{name}.svg"
    design.write_bytes((demos / "meadow.toml").read_bytes())
    assert main(["render", str(design), *RENDER, "-o", str(sound)]) == 0
    assert main(["field", str(design), "--plot", str(plot)]) == 0
    assert soundfile.info(sound).frames == FRAMES
    assert len(os.listdir(folder)) == 3


def test_names_cannot_steer_the_terminal(heron, here, capsys):
    name = "a\x1b[2J\x07\u202e\x9b.wav"
    assert main(["render", heron, *RENDER, "-o", name]) == 0
    assert main(["render", heron, *RENDER, "-o", name]) == 2
    assert main(["field", name.replace("wav", "toml")]) == 2
    with pytest.raises(SystemExit):
        main(["field", heron, name])
    said = capsys.readouterr()
    for text in (said.out, said.err):
        assert all(letter.isprintable() or letter in "\n\r" for letter in text)
    assert "a\\x1b[2J\\x07\\u202e\\x9b.wav" in said.err
    assert Path(name).exists()


@pytest.mark.slow
def test_names_that_are_not_utf8(heron, here, run):
    os.mkdir(b"caf\xe9")
    name = b"caf\xe9/\xff.wav"
    result = run("-m", "synth", "render", heron, *RENDER, "-o", name, "--json")
    assert result.returncode == 0, result.stderr
    document = json.loads(result.stdout.decode("utf-8"))
    assert os.fsencode(document["file"]) == name, "the escape stands for the very byte"
    assert os.listdir(b"caf\xe9") == [b"\xff.wav"]
    result = run("-m", "synth", "field", b"\xff.toml")
    assert result.returncode == 2
    one_message(result, "\\udcff.toml: no such file")
    readings = b"\xfe\x1b.csv"
    with open(readings, "wb") as file:
        file.write(b"fitted_capacitor,frequency\n100 pF,412.3 kHz\n220 pF,301.1 kHz\n330 pF,256.2 kHz\n")
    for extra in ([], ["--json", "--plot", b"\xfd.svg"]):
        result = run("-m", "synth", "fit", readings, *extra)
        assert result.returncode == 0, result.stderr
        assert b"\x1b" not in result.stdout
        result.stdout.decode("utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("closed", ["<&- >&-", "2>&-"])
def test_closed_channels_are_no_fault(heron, here, closed):
    command = f'"{sys.executable}" -m synth field "{heron}" --csv a.csv {closed}'
    result = subprocess.run(["sh", "-c", command], capture_output=True)
    assert result.returncode == 0, result.stderr
    assert b"Traceback" not in result.stderr
    assert Path("a.csv").read_text().startswith("distance")


@pytest.mark.slow
@pytest.mark.parametrize("pipe", ["2>&1 | true", "--json | head -c 10"])
def test_a_reader_that_leaves_is_no_fault(heron, here, pipe):
    result = subprocess.run(["sh", "-c", f'"{sys.executable}" -m synth field "{heron}" {pipe}'], capture_output=True)
    assert b"Traceback" not in result.stderr
    assert b"Exception" not in result.stderr


@pytest.mark.slow
@pytest.mark.parametrize("force", [False, True])
def test_two_instances_write_the_same_file(heron, here, force):
    command = [sys.executable, "-m", "synth", "render", heron, *RENDER, "-o", "a.wav", *["--force"] * force]
    both = [subprocess.Popen(command, stderr=subprocess.PIPE) for _ in range(2)]
    said = [process.communicate(timeout=120)[1] for process in both]
    codes = sorted(process.returncode for process in both)
    assert codes == ([0, 0] if force else [0, 2]), said
    assert soundfile.info("a.wav").frames == FRAMES
    assert os.listdir(here) == ["a.wav"]


CACHE = """
import pathlib, sys
from small_instrument import same_field, small_field
from synth.build import curve_cache
sys.stdin.readline()
for number in range(60):
    key = f"{number % 3:032d}"
    got = curve_cache.kept_field(key, small_field, lambda text: None, pathlib.Path("curves"))
    assert same_field(got, small_field())
    if number % 5 == 0:
        curve_cache.write_field(pathlib.Path("curves") / f"{key}.json", key, got)
"""


@pytest.mark.slow
def test_two_instances_share_one_cache(here):
    both = [
        subprocess.Popen([sys.executable, "-c", CACHE], stdin=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)
    ]
    said = [process.communicate(b"go\n", timeout=120)[1] for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    assert sorted(os.listdir(here / "curves")) == [f"{number:032d}.json" for number in range(3)]


@pytest.fixture(scope="module")
def plain_plot(heron, tmp_path_factory) -> bytes:
    """The picture of a user without settings."""
    place = tmp_path_factory.mktemp("plain") / "plain.png"
    subprocess.run([sys.executable, "-m", "synth", "field", heron, "--plot", str(place)], cwd=place.parent, check=True)
    return place.read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize("content", [b"figure.facecolor: red\nbackend: none at all\n", b"\xff\xfe\x00 no text"])
def test_a_plot_follows_no_settings_of_the_user(heron, here, run, plain_plot, content):
    (here / "matplotlibrc").write_bytes(content)
    settings = {"MPLBACKEND": "none at all", "MATPLOTLIBRC": str(here / "matplotlibrc")}
    result = run("-m", "synth", "field", heron, "--plot", "set.png", extra=settings)
    assert result.returncode == 0, result.stderr
    assert (here / "set.png").read_bytes() == plain_plot
