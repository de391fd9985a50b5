"""The hand-field cache: solved once, read back exactly, mended when damaged, done without when it cannot be written."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace

import numpy as np
import pytest
from small_instrument import RING_CURVE, ROD, STEEP, same_field, small_field

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.earthing import Earthing
from models.hand.scene import LoopAntenna, RodAntenna, Scene
from synth.build import curve_cache


def scaled(curve: CapacitanceCurve, factor: float) -> CapacitanceCurve:
    """The curve with all its capacitances `factor` times as large."""
    return CapacitanceCurve(curve.distances, factor * curve.capacitances, factor * curve.empty_capacitance)


@pytest.fixture
def solves(monkeypatch):
    """Replace the solver by one that only counts: these tests are of the cache."""
    counted = []

    def solver(scene, distances, postures, ring_heights, places, openings, progress):
        counted.append(scene)
        longer = scene.antenna.length
        return small_field(scaled(ROD, longer), scaled(STEEP, longer), None if scene.ring is None else RING_CURVE)

    monkeypatch.setattr("models.hand.hand_field.hand_field", solver)
    return counted


@pytest.mark.parametrize("scene", [Scene(), Scene(ring=LoopAntenna())], ids=["rod", "ring"])
def test_second_time_is_read_from_disk_exactly(tmp_path, solves, scene):
    first = curve_cache.field_for(scene, folder=tmp_path)
    second = curve_cache.field_for(scene, folder=tmp_path)
    assert len(solves) == 1
    assert same_field(first, second)
    assert np.array_equal(first.heights, second.heights)
    assert second.pitch("open", second.ties(Earthing())).curve == first.pitch("open", first.ties(Earthing())).curve
    assert len(list(tmp_path.iterdir())) == 1


def test_another_geometry_is_another_file(tmp_path, solves):
    longer = replace(Scene(), antenna=RodAntenna(length=0.6))
    ring = Scene(ring=LoopAntenna())
    assert len({curve_cache.field_key(scene) for scene in (Scene(), longer, ring)}) == 3
    assert curve_cache.field_key(Scene(), distances=[0.1, 0.2]) != curve_cache.field_key(Scene())
    first, second = (curve_cache.field_for(scene, folder=tmp_path) for scene in (longer, Scene()))
    assert not same_field(first, second)
    assert len(solves) == 2


def test_another_solver_is_another_file(monkeypatch, tmp_path):
    before = curve_cache.field_key(Scene())
    shutil.copytree(curve_cache.models_folder(), tmp_path / "models")
    monkeypatch.setattr(curve_cache, "models_folder", lambda: tmp_path / "models")
    assert curve_cache.field_key(Scene()) == before
    mesh = tmp_path / "models" / "electrostatics" / "mesh.py"
    mesh.write_text(mesh.read_text("utf-8") + "# changed\n", "utf-8")
    assert curve_cache.field_key(Scene()) != before


def test_the_folder_keeps_to_its_size_and_what_was_read_longest_ago_goes_first(tmp_path, solves, monkeypatch):
    scenes = [replace(Scene(), antenna=RodAntenna(length=0.4 + 0.1 * k)) for k in range(4)]
    paths = [tmp_path / f"{curve_cache.field_key(scene)}.json" for scene in scenes]
    for age, (scene, path) in enumerate(zip(scenes[:3], paths[:3], strict=True)):
        curve_cache.field_for(scene, folder=tmp_path)
        os.utime(path, (1e9 + age, 1e9 + age))
    curve_cache.field_for(scenes[0], folder=tmp_path)  # the oldest by its making, read again now
    monkeypatch.setattr(curve_cache, "LARGEST_FOLDER", int(3.5 * paths[0].stat().st_size))
    curve_cache.field_for(scenes[3], folder=tmp_path)
    assert [path.exists() for path in paths] == [True, False, True, True]
    curve_cache.drop_oldest(tmp_path, 0)
    assert not list(tmp_path.iterdir())


def test_every_module_the_solver_is_made_of_counts():
    """A change of any file the curves are computed with must miss the cache: compare with what is really imported."""
    import subprocess
    import sys

    code = (
        "import sys, models.hand.field_solution, models.hand.hand_field; "
        "print(*(m for m in sys.modules if 'models.' in m))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert {"models.hand.field_solution", "models.electrostatics.mesh"} <= set(loaded)
    assert set(loaded) - {"models.checks", "models.arrays"} <= {
        "models."
        + str(file.relative_to(curve_cache.models_folder()).with_suffix(""))
        .replace(os.sep, ".")
        .removesuffix(".__init__")
        for file in curve_cache.solver_files()
    }


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: "",
        lambda text: text[: len(text) // 2],
        lambda text: "[]",
        lambda text: "null",
        lambda text: "\x00" * 50,
        lambda text: "[" * 100_000,
        lambda text: text.replace("checksum", "chucksum"),
        lambda text: json.dumps({**json.loads(text), "field": {}}),
        lambda text: text.replace("1", "2", 40),
    ],
)
def test_a_damaged_file_is_solved_again_with_a_notice(tmp_path, solves, damage):
    good = curve_cache.field_for(Scene(), folder=tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_text(damage(file.read_text()))
    notices = []
    assert same_field(curve_cache.field_for(Scene(), notices.append, tmp_path), good)
    assert len(solves) == 2
    assert any("damaged" in notice and str(file) in notice for notice in notices)
    assert same_field(curve_cache.field_for(Scene(), folder=tmp_path), good)
    assert len(solves) == 2, "the file was mended"


@pytest.mark.skipif(os.name != "posix", reason="links and pipes as of POSIX")
@pytest.mark.parametrize("kind", ["link", "link to a field", "pipe", "link to nothing"])
def test_what_is_no_plain_file_is_neither_read_nor_written_through(tmp_path, solves, kind):
    folder, other, notices = tmp_path / "cache", tmp_path / "other", []
    good = curve_cache.field_for(Scene(), folder=folder)
    (file,) = folder.iterdir()
    if kind == "link to a field":
        file.rename(other)
    elif kind == "link":
        other.write_text("mine")
    file.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(file)
    else:
        file.symlink_to(other)
    before = other.read_bytes() if other.exists() else None
    assert same_field(curve_cache.field_for(Scene(), notices.append, folder), good)
    assert notices
    assert len(solves) == 2
    assert (other.read_bytes() if other.exists() else None) == before
    assert file.is_file()
    assert not file.is_symlink()
    assert same_field(curve_cache.field_for(Scene(), folder=folder), good)
    assert len(solves) == 2


def test_an_unusable_folder_costs_only_time(tmp_path, solves):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    notices = []
    assert curve_cache.field_for(Scene(), notices.append, blocked / "curves")
    assert any("could not be cached" in notice or "cannot be read" in notice for notice in notices)


def test_folder_follows_the_cache_setting(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "my cache"))
    if os.name == "posix" and os.uname().sysname == "Linux":
        assert curve_cache.cache_folder() == tmp_path / "my cache" / "beatfield" / "curves"
