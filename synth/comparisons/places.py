"""The field of both hands by elimination of blocks against one dense solution of all conductors for each place."""

from __future__ import annotations

from collections.abc import Callable
from time import process_time

import numpy as np

from models.arrays import Floats
from models.electrostatics.boundary_elements import capacitance_matrix
from models.hand.antenna_meshes import volume_antenna_mesh
from models.hand.hand_field import DEFAULT_DISTANCES, PLACES, RING_HEIGHTS, hand_field
from models.hand.meshes import antenna_mesh, cabinet_mesh, player_meshes
from models.hand.scene import Cabinet, LoopAntenna, Posture, Scene
from synth.comparisons.benchmark_report import BenchmarkGoal, Column, Comparison

SCENE = Scene(cabinet=Cabinet(), ring=LoopAntenna())
POSTURE: Posture = "open"
FASTER = 20.0
"""How many times cheaper a place must be than a dense solution."""
MOST_SECONDS = 6.0
MOST_ERROR = 3e-3
COLUMNS = (
    Column("scene", "scene"),
    Column("places", "places"),
    Column("elimination", "all by elimination, s", "s", shown=".2f"),
    Column("dense", "each dense, ms", "s", 1e3, ".0f"),
    Column("ratio", "times cheaper", shown=".0f"),
    Column("error", "added capacitance differs by", shown=".1e"),
)


def from_scratch(scene: Scene, distance: float, height: float, posture: Posture = POSTURE) -> Floats:
    """Maxwell's matrix, F, of antenna, common, ring and player, whichever the scene has, with nothing reused."""
    parts = [antenna_mesh(scene)]
    if scene.cabinet is not None:
        parts.append(cabinet_mesh(scene.antenna, scene.cabinet))
    if scene.ring is not None:
        parts.append(volume_antenna_mesh(scene.ring))
    player = np.concatenate(player_meshes(scene, posture, distance, height))
    return capacitance_matrix([*parts, player], scene.room.earth_plane)


def places_section(quick: bool, each: Callable[[str], None] = lambda text: None) -> Comparison:
    """Solve the whole table by elimination, and some places of it one by one."""
    each("places of both hands")
    distances = DEFAULT_DISTANCES[::8] if quick else DEFAULT_DISTANCES
    chosen = ((1, 3),) if quick else ((0, 0), (20, 4), (30, 7))
    start = process_time()
    solved = hand_field(SCENE, distances, [POSTURE], openings=())
    eliminated = process_time() - start
    start, errors = process_time(), []
    for row, column in chosen:
        dense = from_scratch(SCENE, float(distances[row]), float(RING_HEIGHTS[PLACES[column]]))
        found, empty = solved.places[POSTURE][row, column], solved.without_player[0, 0]
        errors.append(abs(float((found[0, 0] - empty) / (dense[0, 0] - empty)) - 1.0))
    one = (process_time() - start) / len(chosen)
    count = distances.size * len(PLACES)
    row_ = ("rod, cabinet, ring, player", count, eliminated, one, one * count / eliminated, max(errors))
    goals = [BenchmarkGoal("both hands", "added capacitance differs by", max(errors), MOST_ERROR, at_least=False)]
    if not quick:
        goals.append(BenchmarkGoal("both hands", "times cheaper", one * count / eliminated, FASTER))
        goals.append(BenchmarkGoal("both hands", "s in all", eliminated, MOST_SECONDS, at_least=False))
    notes = (f"with the curve of the ring itself at {RING_HEIGHTS.size} heights; some places are solved densely",)
    return Comparison("places", "Places of both hands against dense solutions", COLUMNS, (row_,), tuple(goals), notes)
