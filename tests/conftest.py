"""Shared by all tests: a cache folder of the run's own, so that a field is solved once and home stays clean.

Where tests run side by side, a file is the work of one process, so that what its tests share is made once. The tests
with real sound and screen, and those that install, are the work of one process as a whole folder, and are begun first:
they wait more than they compute.
Each process begins to collect at another place, so that in a fresh clone every file is compiled by one of them only.
"""

from __future__ import annotations

import gc
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from solved_once import alone, fields_in_turn, share_solutions

# Before numpy is loaded: threads of a linear-algebra library only get in each other's way on a busy two-core machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Many tests start a Python of their own: each module is compiled once for all of them, here and there.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
gc.disable()  # until all is collected: none of it is garbage

share_solutions()

WORKER = os.environ.get("PYTEST_XDIST_WORKER")
QUICK = "not slow and not soak"  # as the project file has it
WHOLE_FOLDERS = ("tests/live/", "tests/install/")
DOCUMENTS = ("tests/guide/test_guide.py", "tests/project/test_readme.py")
# Of the slow tests these files take longest (half a minute to ten seconds), and of the quick ones these (ten to two,
# those that mostly wait among those that compute): begun first, so that no process is left with one of them at the end.
LONG_FILES = {
    "slow": (
        *DOCUMENTS,
        "tests/reliability/test_disk_and_places.py",
        "tests/soak/test_soak.py",
        "tests/synth/sound/test_radio_rate.py",
        "tests/models/circuit/test_coupled.py",
        "tests/synth/commands/test_oscillator_command.py",
        "tests/models/circuit/test_envelope.py",
        "tests/models/hand/test_antennas.py",
        "tests/synth/window/test_view.py",
        "tests/synth/build/test_drawn_circuits.py",
        "tests/fuzz/test_fuzz_assembly.py",
        "tests/synth/commands/test_fit_gives_back.py",
        "tests/models/hand/test_ring_field.py",
        "tests/synth/commands/test_fit_trouble.py",
        "tests/synth/commands/test_fit_templates.py",
        "tests/synth/commands/test_choose_command.py",
        "tests/models/test_injection.py",
        "tests/models/circuit/test_adjoint.py",
        "tests/synth/lessons/test_lessons.py",
        "tests/synth/window/test_lesson_window.py",
        "tests/synth/window/test_retune.py",
        "tests/models/circuit/test_transient.py",
        "tests/synth/window/test_steering.py",
    ),
    QUICK: (
        "tests/golden/test_golden.py",
        "tests/synth/live/test_speaker.py",
        "tests/synth/window/test_view.py",
        "tests/synth/window/test_safe_pointer.py",
        "tests/models/electrostatics/test_boundary_elements.py",
        "tests/synth/window/test_play_window_designs.py",
        "tests/synth/build/test_circuit_assembly.py",
        "tests/synth/test_cli.py",
        "tests/synth/sound/test_voice_sound.py",
        "tests/synth/window/test_play_window.py",
        "tests/synth/window/test_retune.py",
        "tests/synth/commands/test_oscillator_command.py",
        "tests/synth/designs/test_design_file.py",
        "tests/synth/analysis/test_adjoint_figures.py",
    ),
}

RANDOM = os.environ.get("BEATFIELD_FUZZ") == "random"


def pytest_configure(config: pytest.Config) -> None:
    """Tests are not timed, and draw the same examples each time unless others are asked for; the quick ones few."""
    few = config.option.markexpr == QUICK and not RANDOM
    settings.register_profile("ours", deadline=None, derandomize=not RANDOM, max_examples=30 if few else 100)
    settings.load_profile("ours")


def folder_of(nodeid: str) -> str:
    """The folder of a test that is the work of one process as a whole; else nothing."""
    return next((folder for folder in WHOLE_FOLDERS if nodeid.startswith(folder)), "")


def unit_of(nodeid: str) -> str:
    """What one process does as a whole: a folder, a file, or both documents, which run the same commands."""
    file = nodeid.split("::")[0]
    return folder_of(nodeid) or ("documents" if file in DOCUMENTS else file)


def place_in_line(item: pytest.Item) -> tuple[bool, int, Path]:
    """Whole folders first, then the longest files, then file by file."""
    file, first = item.nodeid.split("::")[0], LONG_FILES.get(item.config.option.markexpr, ())
    long = first.index(file) if file in first else len(first)
    return folder_of(item.nodeid) == "", long, item.path


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """A run of the slow tests alone need not import a file that does not know the word, nor a run of the quick ones a
    file that is marked slow as a whole.
    """
    wanted = config.option.markexpr
    if collection_path.suffix != ".py" or wanted not in ("slow", "soak", QUICK):
        return None
    return True if left_out(collection_path.read_text("utf-8"), wanted) else None


def left_out(text: str, wanted: str) -> bool:
    """Whether a file of this text holds nothing of the tests that are wanted."""
    if wanted == QUICK:
        return re.search(r"^pytestmark = \[?pytest\.mark\.slow\b", text, re.MULTILINE) is not None
    return wanted not in text


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[None]:
    """Turn what a folder holds by the worker's share, so that no two workers import the same file at the same time."""
    report = yield
    if WORKER is not None and isinstance(collector, pytest.Directory):
        first = len(report.result) * int(WORKER.removeprefix("gw")) // int(os.environ["PYTEST_XDIST_WORKER_COUNT"])
        report.result = [*report.result[first:], *report.result[:first]]
    return report


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(items: list[pytest.Item], config: pytest.Config) -> Iterator[None]:
    """The same order in all workers. Hypothesis then looks through the source of all modules, and keeps what it found:
    one worker looks, the others read.
    """
    if WORKER is None:
        yield
        return
    items.sort(key=place_in_line)
    with alone(config.cache.mkdir("beatfield") / "constants.lock"):
        yield


def pytest_collection_finish() -> None:
    """What was collected stays: the collector of garbage need not look through thousands of tests again and again, and
    seldom at what the tests make.
    """
    gc.enable()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item, nextitem: pytest.Item | None) -> bool | None:
    """A worker sends one report of a test that passed, not six messages: each costs both processes time."""
    if WORKER is None:
        return None
    runner: Any = item.config.pluginmanager.getplugin("runner")
    for report in runner.runtestprotocol(item, log=False, nextitem=nextitem):
        if report.when == "call" or not report.passed:
            item.ihook.pytest_runtest_logreport(report=report)
    return True


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:  # the way pytest-xdist's documentation names for this
            return unit_of(nodeid)

    config.option.loadscopereorder = False
    return ByFile(config, log)


# Arrays of some megabytes are made and dropped all the time: what the processes of a run have had of the system they
# keep, which saves a twentieth of the processor's time. What they start is started as a user starts it.
KEEP_MEMORY = {"MALLOC_MMAP_THRESHOLD_": "33554432", "MALLOC_TRIM_THRESHOLD_": "536870912"}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes(config: pytest.Config, specs: Any) -> None:
    for name, size in KEEP_MEMORY.items():
        os.environ.setdefault(name, size)


@pytest.fixture(scope="session", autouse=True)
def private_cache(tmp_path_factory: pytest.TempPathFactory):
    """Point the user's cache, configuration and data folders at a temporary one, for child processes too.

    Tests that run side by side share the cache, so that each field is solved once in all; so do runs one after the
    other that are given the same folder as BEATFIELD_TEST_CACHE.
    """
    folder = tmp_path_factory.mktemp("home")
    shared = folder if WORKER is None else tmp_path_factory.getbasetemp().parent
    names = ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "APPDATA")
    with pytest.MonkeyPatch.context() as patch:
        for name in names:
            patch.setenv(name, str(folder / name.lower()))
        given = os.environ.get("BEATFIELD_TEST_CACHE")
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
            patch.setenv(name, given or str(shared / name.lower()))
        patch.setenv("PYGAME_HIDE_SUPPORT_PROMPT", "1")
        for name in KEEP_MEMORY:
            patch.delenv(name, raising=False)
        from synth.build import curve_cache

        patch.setattr(curve_cache, "kept_field", fields_in_turn(curve_cache.kept_field, shared))
        yield Path(os.environ["XDG_CACHE_HOME"])


@pytest.fixture(scope="session")
def demos() -> Path:
    """The folder of the demo designs."""
    return Path(__file__).parents[1] / "demos"
