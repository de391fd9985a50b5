"""Attacks of a generator of its own on everything that a person, a disk or a system can do to the program.

Each attack draws its variations from a seed and runs once with the slow tests. With BEATFIELD_ATTACKS=N each runs N
times, from N seeds: by hand, before a version is made. An attack that fails names its seed.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import signal
import socket
import stat
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import wild
from small_instrument import RING_CURVE, same_field, small_field

from models.hand.hand_field import hand_field
from models.hand.scene import Scene
from synth.build import curve_cache
from synth.cli import COMMANDS, main
from synth.designs.schema import Key
from synth.designs.sections import KEYS
from synth.designs.shipped import shipped_text
from synth.files.unfinished import recovered
from synth.lessons.setup import open_setup
from synth.lessons.table import LESSONS, live_lesson
from synth.live.recorder import Recorder

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="signals and modes of POSIX")]

TIMES = int(os.environ.get("BEATFIELD_ATTACKS", "1"))
FIRST_SEED = 40_000
POOR = (  # what no message may hold
    "Traceback",
    "fault of the program",
    "could not convert",
    "Error opening",
    "EOFError",
    "NaN",
    "wants henry (H); got henry",
    "what rounding leaves",
    "<",
)
SHIPPED = ("lantern", "heron", "meadow", "puddle")
RATE = 48_000
SHARED = Path(__file__).parents[1] / "shared"

Attack = Callable[[random.Random, Path], None]


def said_by(*command: str, poor: tuple[str, ...] = POOR) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command that is run here; what it says is fit to be read."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), wild.at_most(60.0):
        try:
            code = main(list(command))
        except SystemExit as ended:
            code = int(ended.code or 0)
    assert not [words for words in poor if words in err.getvalue()], (command, err.getvalue())
    return code, out.getvalue(), err.getvalue()


def refused(place: str, *command: str) -> None:
    """The command refuses with a message that names `place`, and writes nothing."""
    before = set(os.listdir())
    code, out, err = said_by(*command)
    assert code == 2, (command, code, err)
    assert out == ""
    assert place in err, (place, err)
    assert set(os.listdir()) == before


def drawn(rng: random.Random, key: Key) -> Any:
    """A value that the key takes, its ends more often than others."""
    if key.choices:
        return rng.choice(key.choices)
    if key.longest:
        return "".join(rng.choice("aZ9 _-é♪歌=@") for _ in range(rng.randint(1, 12))).strip() or "a"
    ends = [key.low, key.high, *(word for word in key.words.values() if isinstance(word, float))]
    low = max(key.low, 1e-4 * key.high)

    def one() -> float:
        if rng.random() < 0.3 or low <= 0.0:
            return float(rng.choice(ends))
        return float(low * (key.high / low) ** rng.random())

    return tuple(one() for _ in range(rng.randint(1, key.most))) if key.most else one()


def design(rng: random.Random, sections: tuple[str, ...], most: int, name: str = "given.toml") -> str:
    """A design file: a shipped one with up to `most` keys of `sections` set to what they take."""
    keys = [key for key in KEYS if key.section in sections]
    chosen = rng.sample(keys, min(rng.randint(1, most), len(keys)))
    text = wild.with_changes(shipped_text(rng.choice(SHIPPED)) or "", [(key, drawn(rng, key)) for key in chosen])
    Path(name).write_text(text, "utf-8")
    return name


@contextlib.contextmanager
def fields(made: Callable[[Scene], Any]) -> Any:
    """Hand fields made by `made` in place of solved ones."""
    with pytest.MonkeyPatch.context() as patch:
        for place in ("build.workbench", "analysis.moves"):
            patch.setattr(f"synth.{place}.field_for", lambda scene, notice, *_: made(scene))
        yield


SMALL = {True: small_field(ring=RING_CURVE), False: small_field()}


def invented(scene: Scene) -> Any:
    """A field that need not be solved."""
    return SMALL[scene.ring is not None]


def coarse(scene: Scene) -> Any:
    """The true field of a scene at few places."""
    return hand_field(
        scene, np.geomspace(0.01, 0.6, 3), ("open", "fist"), 0.8, ring_heights=[0.05, 0.4], places=(0, 1), openings=()
    )


def geometry(rng: random.Random, folder: Path) -> None:
    """Antennas, cabinets, players and rooms of any size that the keys take."""
    name = design(rng, ("antenna", "cabinet", "player", "room", "volume_antenna", "common"), 4)
    with fields(coarse):
        code, _, err = said_by("field", name)
    assert code in (0, 2), err
    assert code == 0 or name in err


def strays(rng: random.Random, folder: Path) -> None:
    """Tanks, strays and branches from nothing to nanofarads, in the commands that search and judge."""
    name = design(rng, ("variable", "reference", "branch", "tuning", "coupling", "tolerances"), 5)
    commands = (
        ("linearise", name, "--json", "--range", "C3:C5", "--carrier", "30kHz:500kHz"),
        ("tolerance", name, "--builds", "100"),
        ("sheet", name, "--text"),
        ("choose", name, "--target-frequency", f"{rng.uniform(20, 900):.3g} kHz"),
        ("drift", name),
        ("sensitivity", name),
        ("compare", name, "meadow"),
    )
    with fields(invented), pytest.MonkeyPatch.context() as patch:
        if TIMES == 1:  # a search takes seconds
            patch.setattr("synth.analysis.linearise.improve", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
        for command in commands if TIMES > 1 else rng.sample(commands, 3):
            code, _, err = said_by(*command)
            assert code in (0, 2, 3, 130), err
            assert code != 2 or name in err or "meadow" in err, err


def outward(rng: random.Random, folder: Path) -> None:
    """A design that plays outward says so and has its notes all the same."""
    text = (shipped_text("heron") or "").replace('zero_beat = "45 cm"', "")
    for _ in range(4):
        changed = text.replace("[reference]", f"[reference]\ntrimmer = {rng.uniform(0.3, 0.7):.4f}")
        Path("out.toml").write_text(changed, "utf-8")
        with fields(invented):
            code, out, err = said_by("field", "out.toml")
            assert code == 0, err
            table = said_by("field", "out.toml", "--csv", "-")[1].splitlines()
        place = table[0].split(",").index("beat_hz")
        beats = [float(line.split(",")[place] or 0.0) for line in table[1:]]
        is_outward = beats[0] > 0.0 > beats[-1] and abs(beats[-1]) > abs(beats[0])
        assert ("plays outward" in out) == is_outward, (beats[0], beats[-1])
        assert "\nA4 " in out or not min(map(abs, beats)) < 430.0 < 450.0 < max(map(abs, beats))


NUMBERS = (
    "1",
    "1.5",
    "1,5",
    "0x10",
    "1_000",
    "1e3",
    "1e999",
    "nan",
    "inf",
    "-1",
    "--1",
    "",
    " ",
    "½",
    "\uff11",
    "٣",
    "1.5.2",
)
NUMBERS += (
    "4k7",
    "2n2",
    "4k7n",
    "1e-400",
    "0",
    "+-3",
    "9" * 400,
    "1'000",
    "1 000",
    ".",
    "e5",
    "1e",
    "five",
    "1/3",
    "7%",
)
UNITS = (
    "",
    "Hz",
    "kHz",
    "H",
    "mH",
    "henry",
    "pF",
    "V",
    "cm",
    "m",
    "%",
    "GHz",
    "khz",
    "Ohm",
    "µH",
    "s",
    "mH mH",
    "\x1b[2J",
)
OPTIONS = (
    ("choose", "heron", "--target-frequency"),
    ("choose", "heron", "--target-frequency", "250kHz", "--inductors"),
    ("choose", "heron", "--target-frequency", "250kHz", "--stray-spread"),
    ("choose", "heron", "--target-frequency", "250kHz", "--coil-tolerance"),
    ("tolerance", "heron", "--builds"),
    ("tolerance", "heron", "--seed"),
    ("drift", "heron", "--from"),
    ("drift", "heron", "--hold"),
    ("drift", "heron", "--hold-cents"),
    ("drift", "heron", "--notes"),
    ("linearise", "heron", "--range"),
    ("linearise", "heron", "--reach"),
    ("linearise", "heron", "--own"),
    ("linearise", "heron", "--carrier"),
    ("plan", "p.toml", "--supply"),
    ("plan", "p.toml", "--current-gain"),
    ("oscillator", "willow", "--pot"),
    ("oscillator", "willow", "--load"),
    ("oscillator", "willow", "--fitted"),
    ("oscillator", "willow", "--hand"),
    ("coil", "--former", "38mm", "--inductance"),
    ("play", "heron", "--latency"),
    ("play", "heron", "--size"),
    ("doctor", "--seconds"),
    ("render", "heron", "--gesture", "still", "-o", "s.wav", "--rate"),
    ("render", "heron", "--gesture", "still", "-o", "s.wav", "--seconds"),
    ("listen", "none.wav", "--calibration-tone"),
    ("listen", "--yes", "--every"),
    ("hand", "--keep"),
)
WELL = "1e9 s", "1.5 mH", "250 kHz"


def quantities(rng: random.Random, folder: Path) -> None:
    """Numbers as people write them in every option that takes one: taken, or refused by the option's name."""

    def never(*_: object, **__: object) -> Any:
        raise KeyboardInterrupt  # the option was taken: no need to compute

    stops = ("build.workbench.open_loaded", "analysis.oscillator.prepared_oscillator", "doctor.examine")
    stops += ("analysis.plan.make_design", "build.workbench.open_design", "commands.play.run", "analysis.coil.wound")
    with pytest.MonkeyPatch.context() as patch:
        for place in stops:
            patch.setattr(f"synth.{place}", never, raising=False)
        for _ in range(30):
            command = rng.choice(OPTIONS)
            value = f"{rng.choice(NUMBERS)}{rng.choice(('', ' '))}{rng.choice(UNITS)}"
            code, _, err = said_by(*command, value)
            assert code in (0, 1, 2, 3, 130), (command, value, err)
            steering = [letter for letter in err if not letter.isprintable() and letter != "\n"]
            assert not steering, (command, value)


RAW = ("nan", "-inf", "1e308", "9" * 25, "true", "[]", "[1, 2]", "{}", "{ a = 1 }", "1979-05-27", "07:32:00", '""')
RAW += (
    '"nan"',
    '"1e400 pF"',
    '"5 PF"',
    '"5,0 pF"',
    '"1.000,5 pF"',
    '"٣ pF"',
    '"½ pF"',
    '"5\\u202EpF"',
    '"bonded"',
    "'4R7k'",
    "",
)
READERS = (
    ("field",),
    ("oscillator",),
    ("tolerance", "--builds", "100"),
    ("drift",),
    ("sensitivity",),
    ("sheet", "--text"),
    ("choose", "--target-frequency", "250kHz"),
)


def wrong_kinds(rng: random.Random, folder: Path) -> None:
    """Values of every kind that TOML knows at any key, keys left out and given twice: file, key and what stands there
    are named, as TOML writes it.
    """
    for _ in range(12):
        key, raw = rng.choice(KEYS), rng.choice(RAW)
        text = wild.with_line(shipped_text(rng.choice(SHIPPED)) or "", key, f"{key.name} = {raw}")
        if rng.random() < 0.2:
            text += rng.choice((f"\n[{key.section}]\n", f"\n{key.section} = 3\n", "\n[x]\ny = 1\n", "\n[[design]]\n"))
        Path("given.toml").write_text(text, "utf-8")
        command, *options = rng.choice(READERS)
        with fields(invented):
            code, _, err = said_by(
                command, "given.toml", *options, poor=tuple(words for words in POOR if words != "NaN")
            )
        assert code in (0, 2, 3), (key.path, raw, err)
        assert code != 2 or "given.toml: " in err, (key.path, raw, err)
        assert not [words for words in ("datetime", "{'", "True", "Ellipsis") if words in err], (key.path, raw, err)


def encodings(rng: random.Random, folder: Path) -> None:
    """Names and notes of any script on streams that cannot show them; plots that heed no settings of the user."""
    title = "".join(rng.choice("aé♪歌ßя") for _ in range(6))
    Path("odd.toml").write_text((shipped_text("heron") or "").replace('"Heron"', f'"A{title}"'), "utf-8")
    rc = rng.choice(
        ["backend: nothing at all", "figure.facecolor: red", "\x00\xff", "text.usetex: True", "font.size: 40"]
    )
    Path("matplotlibrc").write_text(rc, "latin-1")
    settings = {
        "LC_ALL": rng.choice(["C", "POSIX"]),
        "PYTHONUTF8": "0",
        "PYTHONCOERCECLOCALE": "0",
        "PYTHONIOENCODING": rng.choice(["ascii", "latin-1", "cp1252", "koi8-r"]),
        "MPLBACKEND": rng.choice(["", "nothing", "TkAgg", "module://none"]),
        "MATPLOTLIBRC": str(folder / "matplotlibrc"),
    }
    command = [sys.executable, "-m", "synth", "choose", "odd.toml", "--target-frequency", "290kHz", "--plot", "set.svg"]
    result = subprocess.run(command, env={**os.environ, **settings}, capture_output=True, timeout=120)
    assert result.returncode == 0, result.stderr
    assert b"Traceback" not in result.stderr
    assert b"<svg" in Path("set.svg").read_bytes()
    assert b"red" not in Path("set.svg").read_bytes()
    for encoding in rng.sample(("ascii", "latin-1", "cp437", "utf-16"), 2):
        stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        with pytest.MonkeyPatch.context() as patch, fields(invented):
            patch.setattr(sys, "stdout", stream)
            assert main(
                rng.choice([["field", "odd.toml"], ["tolerance", "odd.toml", "--builds", "100"], ["guide", "play"]])
            ) in (0, 3)


def cache(rng: random.Random, folder: Path) -> None:
    """Anything but a plain file in the place of a cached field: the field is had, nobody waits, no link is followed."""
    place, key = folder / "curves", f"{rng.getrandbits(128):032x}"
    place.mkdir(exist_ok=True)
    path, other = place / f"{key}.json", folder / "precious"
    other.write_text("precious")
    kind = rng.choice(["fifo", "link", "dangling", "folder", "socket", "device", "empty", "noise", "huge", "loop"])
    if kind == "fifo":
        os.mkfifo(path)
    elif kind in ("link", "dangling", "device", "loop"):
        path.symlink_to({"link": other, "dangling": folder / "none", "device": "/dev/zero", "loop": path}[kind])
    elif kind == "folder":
        path.mkdir()
    elif kind == "socket":
        with contextlib.suppress(OSError):  # a path may be too long for one
            socket.socket(socket.AF_UNIX).bind(str(path))
    else:
        path.write_bytes({"empty": b"", "noise": rng.randbytes(5000), "huge": b"[" * 3_000_000}[kind])
    told: list[str] = []
    with wild.at_most(10.0):
        found = curve_cache.kept_field(key, small_field, told.append, place)
        assert same_field(found, small_field()), kind
        assert told, kind
        assert same_field(curve_cache.kept_field(key, small_field, told.append, place), small_field())
    assert other.read_text() == "precious"


def spreadsheets(rng: random.Random, folder: Path) -> None:
    """Texts that a spreadsheet would run as a formula stand as texts in every CSV."""
    begin = rng.choice("=+-@")
    Path("evil.toml").write_text((shipped_text("heron") or "").replace('"Heron"', f"'{begin}1+cmd|x!A1'"), "utf-8")
    with fields(invented):
        for command in (
            ["compare", "evil.toml", "meadow"],
            ["sensitivity", "evil.toml", "heron"],
            ["sheet", "evil.toml"],
        ):
            code, out, err = said_by(*command, "--csv", "-")
            assert code == 0, err
            for cell in (cell.strip('"') for line in out.splitlines() for cell in line.split(",")):
                if cell.startswith(("=", "+", "-", "@")):
                    float(cell)  # a number may begin so


def overwriting(rng: random.Random, folder: Path) -> None:
    """--force on what is read, on files of any mode, and on protected ones."""
    for name in ("read.toml", "also.toml"):
        Path(name).write_text(shipped_text("heron") or "", "utf-8")
    Path("trace.csv").write_text("time_s,distance_m\n0,0.3\n0.2,0.2\n")
    how = rng.choice(["same", "link", "hard", "dots", "absolute"])
    kept = {path: path.read_bytes() for path in folder.iterdir() if path.is_file()}

    def disguised(name: str, ending: str) -> str:
        other = f"{how}{rng.getrandbits(30)}{ending}"
        if how == "link":
            Path(other).symlink_to(name)
        elif how == "hard":
            os.link(name, other)
        elif how == "dots" and name.endswith(ending):
            return f"./x/../{name}"
        elif how == "absolute" and name.endswith(ending):
            return str(folder / name)
        else:
            return name if name.endswith(ending) else ""
        return other

    Path("x").mkdir(exist_ok=True)
    for command, name, option, ending in (
        (["field", "read.toml"], "read.toml", "--csv", ".toml"),
        (["compare", "also.toml", "read.toml"], "read.toml", "--csv", ".toml"),
        (["linearise", "read.toml"], "read.toml", "-o", ".toml"),
        (["render", "read.toml", "--hand", "trace.csv"], "trace.csv", "-o", ".wav"),
        (["sheet", "read.toml", "--readings", "trace.csv"], "trace.csv", "--csv", ".csv"),
    ):
        target = disguised(name, ending)
        if target:
            code, _, err = said_by(*command, option, target, "--force")
            assert code == 2, (command, target, err)
            assert "choose another name" in err, err
    mode = rng.choice([0o600, 0o640, 0o666, 0o604, 0o755])
    Path("old.csv").write_text("old")
    Path("old.csv").chmod(mode)
    with fields(invented):
        assert said_by("field", "read.toml", "--csv", "old.csv")[0] == 2
        assert said_by("field", "read.toml", "--csv", "old.csv", "--force")[0] == 0
        assert stat.S_IMODE(Path("old.csv").stat().st_mode) == mode
        Path("old.csv").chmod(mode & ~0o222)
        written = Path("old.csv").read_bytes()
        code, _, err = said_by("field", "read.toml", "--csv", "old.csv", "--force")
    assert (code, "write-protected" in err) == (2, True)
    assert Path("old.csv").read_bytes() == written
    assert all(path.read_bytes() == content for path, content in kept.items())


RECORDING = textwrap.dedent("""
    import importlib.util, sys, time
    sys.path.insert(0, sys.argv[2])
    from small_instrument import make_instrument
    from synth.live.speaker import Speaker
    if __name__ == "__main__":
        speaker = Speaker(make_instrument(), device="no output of this name")
        speaker.start()
        speaker.record(sys.argv[1])
        while speaker.meters().recorded_frames < 2400:
            time.sleep(0.01)
        print(speaker.process_id, flush=True)
        time.sleep(60.0)
""")


def recordings(rng: random.Random, folder: Path) -> None:
    """The terminal closes, or the audio process dies, while it records: a readable file, now or at the next run."""
    Path("parent.py").write_text(RECORDING)
    ending = rng.choice([".wav", ".flac"])
    take = folder / f"take{rng.getrandbits(30)}{ending}"
    parent = subprocess.Popen(
        [sys.executable, "parent.py", str(take), str(SHARED)], stdout=subprocess.PIPE, start_new_session=True
    )
    assert parent.stdout is not None
    audio = int(parent.stdout.readline())
    time.sleep(rng.uniform(0.0, 0.2))
    way = rng.choice(["hangup", "terminate", "kill audio", "kill all"])
    if way in ("hangup", "terminate"):
        os.killpg(parent.pid, signal.SIGHUP if way == "hangup" else signal.SIGTERM)
    else:
        os.kill(audio, signal.SIGKILL)
        parent.kill() if way == "kill all" else parent.terminate()
    parent.wait(20.0)
    parent.stdout.close()
    deadline = time.monotonic() + 20.0
    while Path(f"/proc/{audio}").exists() and time.monotonic() < deadline:
        time.sleep(0.02)
    found = [take] if take.exists() else recovered(folder)
    assert found, (way, os.listdir(folder))
    samples, rate = soundfile.read(found[0])
    assert rate == RATE
    assert samples.size > 0, way
    assert np.isfinite(samples).all()


FULL = textwrap.dedent("""
    import resource, sys
    from pathlib import Path
    import numpy as np
    sys.dont_write_bytecode = True  # a module's would be cut short, and stay
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))
    from synth.live.recorder import Recorder
    recorder = Recorder(Path(sys.argv[1]), 48000)
    for _ in range(60):
        recorder.put(0.5 * np.sin(np.arange(4800) / 17.0))
    print(recorder.finish().error)
""")


def full_disks(rng: random.Random, folder: Path) -> None:
    """A disk that is full after some bytes, and a WAV that is full: what was played is in readable files."""
    limit, name = rng.randint(20_000, 600_000), rng.choice(["a.wav", "a.flac"])
    told = subprocess.run([sys.executable, "-c", FULL, name, str(limit)], capture_output=True, text=True, timeout=60)
    assert told.returncode == 0, told.stderr
    assert f"what was recorded until then is in {name}" in told.stdout or name.endswith("flac")
    sound = np.asarray(soundfile.read(name)[0])
    whole = 0.5 * np.sin(np.arange(4800) / 17.0)
    count = min(sound.size, 4800)
    assert count > 0
    np.testing.assert_allclose(sound[:count], whole[:count], atol=2.0**-22)
    Path(name).unlink()
    largest, blocks = rng.randint(3_000, 40_000), [rng.randint(1, 900) for _ in range(60)]
    recorder = Recorder(folder / "long.wav", RATE, largest=largest)
    line = np.linspace(-0.9, 0.9, sum(blocks))
    for part in np.split(line, np.cumsum(blocks)[:-1]):
        recorder.put(part)
    recording = recorder.finish()
    assert recording.error is None
    files = sorted(folder.glob("long*.wav"), key=lambda file: int(file.stem.partition("-")[2] or 1))
    assert len(files) > 1
    assert max(3 * soundfile.info(file).frames for file in files) <= largest
    np.testing.assert_allclose(np.concatenate([soundfile.read(file)[0] for file in files]), line, atol=2.0**-22)
    for file in files:
        file.unlink()


def two_on_stdout(rng: random.Random, folder: Path) -> None:
    """No command puts two outputs on stdout."""
    helped = {name: said_by(name, "--help")[1] for name in COMMANDS}
    able = [name for name, text in helped.items() if "--json" in text and "--csv" in text]
    assert len(able) >= 9, able
    first = {"fit": ["r.csv"], "tune": ["t.txt", "heron"], "choose": ["heron", "--target-frequency", "1MHz"]}
    for name in able:
        words = first.get(name, ["heron"])
        order = [["--json"], ["--csv", "-"]]
        rng.shuffle(order)
        refused("both want stdout", name, *words, *order[0], *order[1])


def latencies(rng: random.Random, folder: Path) -> None:
    """A latency out of reach is refused before anything opens."""
    value = rng.choice(
        ["1e9s", "-1 ms", "0", "1 us", "1 h", "nan", "1e-9", f"{10 ** rng.uniform(0.1, 30):.3g} s", "fast"]
    )
    refused("--latency", "play", "heron", "--latency", value)


def lessons(rng: random.Random, folder: Path) -> None:
    """Hundreds of random events: the window stays until it is asked to close, and each picture is drawn."""
    pygame = pytest.importorskip("pygame")
    from synth.window.lesson_window import LessonWindow

    os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
    pygame.font.init()
    with fields(invented):
        lesson = live_lesson(rng.choice(sorted(LESSONS)), open_setup())
    window = LessonWindow(lesson, Silent(), rng.random() < 0.5)
    ends = {pygame.K_q, pygame.K_ESCAPE}
    keys = [value for name, value in vars(pygame).items() if name.startswith("K_") and value not in ends]
    size = (1024, 640)
    surface = pygame.Surface(size)
    drawn_first = rng.random() < 0.5
    if drawn_first:
        window.view.resize(size)
    for number in range(300):
        place = rng.randint(-5, size[0] + 5), rng.randint(-5, size[1] + 5)
        event = rng.choice(
            [
                pygame.event.Event(
                    pygame.KEYDOWN, key=rng.choice(keys), mod=rng.choice([0, pygame.KMOD_CTRL]), unicode=""
                ),
                pygame.event.Event(pygame.KEYUP, key=rng.choice(keys), mod=0),
                pygame.event.Event(pygame.MOUSEMOTION, pos=place, rel=(0, 0), buttons=(0, 0, 0)),
                pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=place, button=rng.randint(1, 5)),
                pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=rng.choice([-1, 1])),
                pygame.event.Event(pygame.WINDOWLEAVE),
                pygame.event.Event(
                    pygame.FINGERDOWN, x=rng.random(), y=rng.random(), finger_id=0, touch_id=0, dx=0, dy=0
                ),
            ]
        )
        window.handle(event)
        assert not window.closing, (number, event)
        if number % 60 == 30:
            size = rng.randint(200, 1400), rng.randint(150, 900)
            surface = pygame.Surface(size)
            window.view.resize(size)
            window.draw(surface)
    window.handle(pygame.event.Event(pygame.QUIT))
    assert window.closing


class Silent:
    """Live sound of a lesson that nobody hears."""

    device_error = None

    def __getattr__(self, name: str) -> Callable[..., Any]:
        return lambda *_, **__: None

    def meters(self) -> Any:
        return Meters()

    def recent(self, count: int) -> Any:
        return np.sin(np.arange(int(count)) / 9.0)


class Meters:
    """What the picture asks of them."""

    sample_rate, frequency = RATE, 440.0


ATTACKS: tuple[Attack, ...] = (
    geometry,
    strays,
    outward,
    quantities,
    wrong_kinds,
    encodings,
    cache,
    spreadsheets,
    overwriting,
    recordings,
    full_disks,
    two_on_stdout,
    latencies,
    lessons,
)


@pytest.mark.parametrize("made", ATTACKS, ids=lambda made: made.__name__)
def test_attack(made: Attack, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(TIMES):
        folder = tmp_path / str(number)
        folder.mkdir()
        monkeypatch.chdir(folder)
        try:
            made(random.Random(f"{made.__name__} {FIRST_SEED + number}"), folder)
        except BaseException as fault:
            fault.add_note(f"attack {made.__name__}, seed {FIRST_SEED + number}")
            raise
