"""Hand-field curves on disk, so that a geometry is solved once: user's cache folder, one JSON file per scene.

The name is a hash of the scene, the distances and the source text of the solver, so that a changed solver never
reads an old result. A damaged or unwritable cache costs time, never the command.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.hand_field import DEFAULT_DISTANCES
from models.hand.scene import POSTURES, Scene
from models.volume.scene import VolumeScene
from synth.errors import InstrumentError
from synth.files.atomic_file import write_text

Curves = dict[str, CapacitanceCurve]
LARGEST_FILE = 1_000_000  # bytes; a field takes some ten thousand

SOLVER_FILES = ("hand/*.py", "electrostatics/*.py", "volume/__init__.py", "volume/scene.py", "volume/field.py")


def cache_folder() -> Path:
    """The folder of cached curves, inside the user's cache folder (XDG_CACHE_HOME is honoured on Linux).

    Where the user has no home and that would be a folder at random, one that cannot be made: nothing is cached.
    """
    from platformdirs import user_cache_path

    home = user_cache_path("beatfield", appauthor=False)
    return (home if home.is_absolute() else Path(os.devnull) / "no home") / "curves"


def curves_for(scene: Scene, notice: Callable[[str], None] = lambda text: None, folder: Path | None = None) -> Curves:
    """The capacitance curve of each posture of `scene`: from the cache, or solved and cached.

    `notice` receives a line when a solve starts, when a damaged file is replaced and when the cache cannot be
    written. `folder` is the cache folder, by default the user's.
    """

    def solve() -> Curves:
        from models.hand.hand_field import capacitance_curves

        return {str(posture): curve for posture, curve in capacitance_curves(scene).items()}

    return kept_curves(curve_key(scene), solve, notice, folder, tuple(POSTURES))


def loop_curve_for(
    scene: VolumeScene, notice: Callable[[str], None] = lambda text: None, folder: Path | None = None
) -> CapacitanceCurve:
    """The capacitance curve of the volume antenna in `scene`; everything else as for `curves_for`."""

    def solve() -> Curves:
        from models.volume.field import loop_curve

        return {"loop": loop_curve(scene)}

    return kept_curves(loop_curve_key(scene), solve, notice, folder, ("loop",))["loop"]


def kept_curves(
    key: str, solve: Callable[[], Curves], notice: Callable[[str], None], folder: Path | None, names: tuple[str, ...]
) -> Curves:
    """The curves `names` of `key` from the cache; solved and cached where they are not there or cannot be read."""
    path = (folder or cache_folder()) / f"{key}.json"
    try:
        return _read(path, key, names)
    except FileNotFoundError:
        notice("solving the hand field of this geometry (kept for next time)")
    except OSError as error:
        notice(f"the hand-field cache cannot be read ({error.strerror}): solving without it")
    except (ValueError, KeyError, TypeError, AttributeError, ArithmeticError, RecursionError):
        notice(f"the cached hand field {path} is damaged: solving it again")
    curves = solve()
    try:
        write_curves(path, key, curves)
    except (OSError, InstrumentError) as error:
        notice(f"the hand field could not be cached ({error}): it will be solved again next time")
    return curves


def curve_key(scene: Scene) -> str:
    """Hash of everything the curves depend on: geometry, distances and the text of the solver."""
    return _key([asdict(scene), list(map(float, DEFAULT_DISTANCES)), solver_digest()])


def loop_curve_key(scene: VolumeScene) -> str:
    """The same of the volume antenna's curve."""
    from models.volume.scene import VOLUME_DISTANCES

    return _key(["loop", asdict(scene), list(map(float, VOLUME_DISTANCES)), solver_digest()])


def _key(content: list[Any]) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:32]


def models_folder() -> Path:
    """Where the package `models` lies."""
    import models

    return Path(next(iter(models.__path__)))


def solver_files() -> list[Path]:
    """The source files whose text decides the curves."""
    root = models_folder()
    return sorted(file for name in SOLVER_FILES for file in root.glob(name))


def solver_digest() -> str:
    """Hash of the text of the solver."""
    digest = hashlib.sha256()
    for file in solver_files():
        digest.update(file.name.encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()


def checksum(curves: Any) -> str:
    return hashlib.sha256(json.dumps(curves, sort_keys=True).encode()).hexdigest()


def _read(path: Path, key: str, names: tuple[str, ...]) -> dict[str, CapacitanceCurve]:
    with open(path, "rb") as file:
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise ValueError("too large for a cached field")
    document = json.loads(content)
    curves = document["curves"]
    if document["key"] != key or document["checksum"] != checksum(curves) or set(curves) != set(names):
        raise ValueError("wrong key, checksum or curves")
    return {posture: CapacitanceCurve(**fields) for posture, fields in curves.items()}


def write_curves(path: Path, key: str, curves: dict[str, CapacitanceCurve]) -> None:
    plain = {
        posture: {
            "distances": curve.distances.tolist(),
            "capacitances": curve.capacitances.tolist(),
            "empty_capacitance": curve.empty_capacitance,
        }
        for posture, curve in curves.items()
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    write_text(path, json.dumps({"key": key, "checksum": checksum(plain), "curves": plain}), force=True)
