"""The hand-field cache: solved once, read back exactly, mended when damaged, done without when it cannot be written."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace

import pytest
from small_instrument import RING_CURVE, ROD, STEEP

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.scene import PlayerBody, RodAntenna, Scene
from models.volume.scene import LoopAntenna, VolumeScene
from synth.build import curve_cache


def scaled(curve: CapacitanceCurve, factor: float) -> CapacitanceCurve:
    """The curve with all its capacitances `factor` times as large."""
    return CapacitanceCurve(curve.distances, factor * curve.capacitances, factor * curve.empty_capacitance)


@pytest.fixture
def solves(monkeypatch):
    """Replace the solver by one that only counts: these tests are of the cache."""
    counted = []

    def solver(scene):
        counted.append(scene)
        return {name: scaled(curve, scene.antenna.length) for name, curve in (("open", ROD), ("fist", STEEP))}

    monkeypatch.setattr("models.hand.hand_field.capacitance_curves", solver)
    return counted


def test_second_time_is_read_from_disk_exactly(tmp_path, solves):
    first = curve_cache.curves_for(Scene(), folder=tmp_path)
    second = curve_cache.curves_for(Scene(), folder=tmp_path)
    assert len(solves) == 1
    assert first == second
    assert len(list(tmp_path.iterdir())) == 1


def test_another_geometry_is_another_file(tmp_path, solves):
    longer = replace(Scene(), antenna=RodAntenna(length=0.6))
    assert curve_cache.curve_key(Scene()) != curve_cache.curve_key(longer)
    assert curve_cache.curves_for(longer, folder=tmp_path) != curve_cache.curves_for(Scene(), folder=tmp_path)
    assert len(solves) == 2


def test_the_volume_antennas_curve_is_kept_beside_them(tmp_path, solves, monkeypatch):
    solved = []

    def solver(scene):
        solved.append(scene)
        return scaled(RING_CURVE, scene.loop.diameter)

    monkeypatch.setattr("models.volume.field.loop_curve", solver)
    small, large = VolumeScene(), VolumeScene(loop=LoopAntenna(diameter=0.3))
    first = curve_cache.loop_curve_for(small, folder=tmp_path)
    assert curve_cache.loop_curve_for(small, folder=tmp_path) == first
    assert solved == [small]
    assert curve_cache.loop_curve_for(large, folder=tmp_path) != first
    curve_cache.curves_for(small.scene, folder=tmp_path)
    assert len(solves) == 1
    assert len(list(tmp_path.iterdir())) == 3
    bonded = VolumeScene(replace(Scene(), player=PlayerBody(body_capacitance=None)))
    assert curve_cache.loop_curve_key(bonded) != curve_cache.loop_curve_key(small)


def test_another_solver_is_another_file(monkeypatch, tmp_path):
    before = curve_cache.curve_key(Scene()), curve_cache.loop_curve_key(VolumeScene())
    shutil.copytree(curve_cache.models_folder(), tmp_path / "models")
    monkeypatch.setattr(curve_cache, "models_folder", lambda: tmp_path / "models")
    assert (curve_cache.curve_key(Scene()), curve_cache.loop_curve_key(VolumeScene())) == before
    mesh = tmp_path / "models" / "electrostatics" / "mesh.py"
    mesh.write_text(mesh.read_text("utf-8") + "# changed\n", "utf-8")
    assert curve_cache.curve_key(Scene()) != before[0]
    assert curve_cache.loop_curve_key(VolumeScene()) != before[1]


def test_every_module_the_solver_is_made_of_counts():
    """A change of any file the curves are computed with must miss the cache: compare with what is really imported."""
    import subprocess
    import sys

    code = (
        "import sys, models.hand.field_solution, models.hand.hand_field, models.volume.field; "
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
        lambda text: json.dumps({**json.loads(text), "curves": {}}),
        lambda text: text.replace("1", "2", 40),
    ],
)
def test_a_damaged_file_is_solved_again_with_a_notice(tmp_path, solves, damage):
    good = curve_cache.curves_for(Scene(), folder=tmp_path)
    (file,) = tmp_path.iterdir()
    file.write_text(damage(file.read_text()))
    notices = []
    assert curve_cache.curves_for(Scene(), notices.append, tmp_path) == good
    assert len(solves) == 2
    assert any("damaged" in notice and str(file) in notice for notice in notices)
    assert curve_cache.curves_for(Scene(), folder=tmp_path) == good
    assert len(solves) == 2, "the file was mended"


def test_an_unusable_folder_costs_only_time(tmp_path, solves):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    notices = []
    assert curve_cache.curves_for(Scene(), notices.append, blocked / "curves")
    assert any("could not be cached" in notice or "cannot be read" in notice for notice in notices)


def test_folder_follows_the_cache_setting(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "my cache"))
    if os.name == "posix" and os.uname().sysname == "Linux":
        assert curve_cache.cache_folder() == tmp_path / "my cache" / "beatfield" / "curves"
