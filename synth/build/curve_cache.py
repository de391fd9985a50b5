"""Hand fields on disk, so that a geometry is solved once: user's cache folder, one JSON file per scene.

The name is a hash of the scene, the places of the hands and the source text of the solver, so that a changed solver
never reads an old result. What is kept are Maxwell's matrices: shoes, supply and tanks are no part of them. A damaged
or unwritable cache costs time, never the command. The folder is kept below `LARGEST_FOLDER`: what was read longest ago
goes first. Only plain files are read and replaced: a link or a pipe in the place of one is not followed, but removed.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.hand.hand_field import DEFAULT_DISTANCES, OPENINGS, PLACES, RING_HEIGHTS, HandField
from models.hand.scene import POSTURES, Posture, Scene
from synth.errors import InstrumentError
from synth.files.atomic_file import reason_of, write_text
from synth.files.left_overs import remove_left_overs
from synth.progress_line import ProgressLine

LARGEST_FILE = 2_000_000  # bytes; a field of both hands takes some 400 000
LARGEST_FOLDER = 50_000_000  # bytes of all fields together

SOLVER_FILES = ("hand/*.py", "electrostatics/*.py", "constants.py", "normal_law.py", "quick_dataclass.py", "spline.py")


def cache_folder() -> Path:
    """The folder of cached fields, inside the user's cache folder (XDG_CACHE_HOME is honoured on Linux).

    Where the user has no home and that would be a folder at random, one that cannot be made: nothing is cached.
    """
    from platformdirs import user_cache_path

    home = user_cache_path("beatfield", appauthor=False)
    return (home if home.is_absolute() else Path(os.devnull) / "no home") / "curves"


def field_for(
    scene: Scene,
    notice: Callable[[str], None] = lambda text: None,
    folder: Path | None = None,
    distances: ArrayLike = DEFAULT_DISTANCES,
    postures: Sequence[Posture] = POSTURES,
    heights: ArrayLike = RING_HEIGHTS,
    places: Sequence[int] = PLACES,
    openings: Sequence[float] = OPENINGS,
) -> HandField:
    """The hand field of `scene`, as `models.hand.hand_field.hand_field` solves it: from the cache, or solved and kept.

    `notice` receives a line when a solve starts, when a damaged file is replaced and when the cache cannot be
    written. `folder` is the cache folder, by default the user's.
    """

    def solve() -> HandField:
        from models.hand import hand_field

        with ProgressLine("solving the hand field") as line:
            return hand_field.hand_field(
                scene, distances, postures, ring_heights=heights, places=places, openings=openings, progress=line
            )

    return kept_field(field_key(scene, distances, postures, heights, places, openings), solve, notice, folder)


def kept_field(
    key: str, solve: Callable[[], HandField], notice: Callable[[str], None], folder: Path | None
) -> HandField:
    """The field `key` from the cache; solved and cached where it is not there or cannot be read."""
    folder = folder or cache_folder()
    path = folder / f"{key}.json"
    try:
        return _read(path, key)
    except FileNotFoundError:
        notice("solving the hand field of this geometry (kept for next time)")
    except OSError as error:
        reason = f"{path} is a link" if path.is_symlink() else str(error.strerror)
        notice(f"the hand-field cache cannot be read ({reason}): solving without it")
    except (ValueError, KeyError, TypeError, AttributeError, ArithmeticError, RecursionError, IndexError):
        notice(f"the cached hand field {path} is damaged: solving it again")
    solved = solve()
    try:
        if not path.is_dir() and (path.is_symlink() or (path.exists() and not path.is_file())):
            path.unlink()
        write_field(path, key, solved)
        drop_oldest(folder, LARGEST_FOLDER)
    except (OSError, InstrumentError) as error:
        notice(
            f"the hand field could not be cached ({folder}: {reason_of(error)}): it will be solved again next time; "
            "make the folder writable, or set XDG_CACHE_HOME"
        )
    return solved


def field_key(
    scene: Scene,
    distances: ArrayLike = DEFAULT_DISTANCES,
    postures: Sequence[Posture] = POSTURES,
    heights: ArrayLike = RING_HEIGHTS,
    places: Sequence[int] = PLACES,
    openings: Sequence[float] = OPENINGS,
) -> str:
    """Hash of everything the field depends on: geometry, places of the hands and the text of the solver."""
    tables = [np.asarray(table, dtype=np.float64).tolist() for table in (distances, heights)]
    forms = [type(scene.antenna).__name__, type(scene.ring).__name__]
    content = [asdict(scene), forms, *tables, list(postures), list(places), list(openings), solver_digest()]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:32]


def models_folder() -> Path:
    """Where the package `models` lies."""
    import models

    return Path(next(iter(models.__path__)))


def solver_files() -> list[Path]:
    """The source files whose text decides the field."""
    root = models_folder()
    return sorted(file for name in SOLVER_FILES for file in root.glob(name))


def solver_digest() -> str:
    """Hash of the text of the solver."""
    digest = hashlib.sha256()
    for file in solver_files():
        digest.update(file.name.encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()


def checksum(content: Any) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _read(path: Path, key: str) -> HandField:
    # not by a link, and not waiting for who might write into a pipe
    descriptor = os.open(
        path, os.O_RDONLY | sum(getattr(os, name, 0) for name in ("O_BINARY", "O_NOFOLLOW", "O_NONBLOCK"))
    )
    with open(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise ValueError("no plain file")
        content = file.read(LARGEST_FILE + 1)
    if len(content) > LARGEST_FILE:
        raise ValueError("too large for a cached field")
    document = json.loads(content)
    plain = document["field"]
    if document["key"] != key or document["checksum"] != checksum(plain):
        raise ValueError("wrong key or checksum")
    names = tuple(plain["names"])
    found = HandField(
        names=names,
        distances=np.array(plain["distances"], dtype=np.float64),
        heights=np.array(plain["heights"], dtype=np.float64),
        places={posture: _unpacked(rows, len(names)) for posture, rows in plain["places"].items()},
        ring_heights=np.array(plain["ring_heights"], dtype=np.float64),
        ring_places=_unpacked(plain["ring_places"], len(names)),
        without_player=_unpacked(plain["without_player"], len(names)),
        body_share=float(plain["body_share"]),
        opening=float(plain["opening"]),
        drawn_in=float(plain["drawn_in"]),
        openings=np.array(plain["openings"], dtype=np.float64),
        finger_distances=np.array(plain["finger_distances"], dtype=np.float64),
        finger_places=_unpacked(plain["finger_places"], len(names)),
    )
    with suppress(OSError):
        os.utime(path)  # read lately: among the last to go
    return found


def write_field(path: Path, key: str, field: HandField) -> None:
    plain = {
        "names": list(field.names),
        "distances": field.distances.tolist(),
        "heights": field.heights.tolist(),
        "places": {posture: _packed(matrices) for posture, matrices in field.places.items()},
        "ring_heights": field.ring_heights.tolist(),
        "ring_places": _packed(field.ring_places),
        "without_player": _packed(field.without_player),
        "body_share": field.body_share,
        "opening": field.opening,
        "drawn_in": field.drawn_in,
        "openings": field.openings.tolist(),
        "finger_distances": field.finger_distances.tolist(),
        "finger_places": _packed(field.finger_places) if field.openings.size else [],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    write_text(path, json.dumps({"key": key, "checksum": checksum(plain), "field": plain}), force=True)


def drop_oldest(folder: Path, most: int) -> None:
    """Remove the fields of `folder` that were read or written longest ago until the rest takes at most `most` bytes."""
    files = sorted(((file.lstat(), file) for file in folder.glob("*.json")), key=lambda entry: entry[0].st_mtime)
    total = sum(entry.st_size for entry, _ in files)
    for entry, file in files:
        if total <= most:
            return
        file.unlink(missing_ok=True)
        total -= entry.st_size


def clear_cache() -> tuple[int, int]:
    """Remove every cached field, and the folders that are then empty: how many files that were, and their bytes.

    Raises OSError where a field must stay.
    """
    folder = cache_folder()
    files = list(folder.glob("*.json"))
    size = sum(file.lstat().st_size for file in files)
    for file in files:
        file.unlink(missing_ok=True)
    remove_left_overs(folder)
    for empty in (folder, folder.parent):
        with suppress(OSError):  # it is not there, or holds something else
            empty.rmdir()
    return len(files), size


def _packed(matrices: Floats) -> Any:
    """The upper triangles of symmetric matrices (..., k, k), as nested lists (..., k (k + 1) / 2)."""
    rows, columns = np.triu_indices(matrices.shape[-1])
    return matrices[..., rows, columns].tolist()


def _unpacked(rows: Any, count: int) -> Floats:
    """The inverse of `_packed` for k = `count`."""
    upper, (first, second) = np.array(rows, dtype=np.float64), np.triu_indices(count)
    if upper.size == 0:
        return np.zeros((0, count, count))
    result = np.empty((*upper.shape[:-1], count, count))
    result[..., first, second] = upper
    result[..., second, first] = upper
    return result
