"""The search for a straight field against a plain one: differential evolution over the same cost, then a simplex.

The plain way was that of `beatfield linearise` before, which made 62 searches where it now makes 46. R. Storn,
K. Price, J. Global Optimization 11 (1997) 341; J. A. Nelder, R. Mead, Computer J. 7 (1965) 308; both from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from models.arrays import Floats
from models.straight.plan import make_plan
from models.straight.search import Place, Search
from synth.analysis.linearise import Wishes, task_of
from synth.beside import Beside
from synth.build.workbench import OpenedDesign, open_loaded
from synth.comparisons.benchmark_report import BenchmarkGoal, Column, Comparison, timed
from synth.designs.template import template_design

PLACES = (Place(2, "high"), Place(1, "low"), Place(4, "high", 0.25), Place(0, "low"))
SEED = 1
POPULATION, GENERATIONS, SIMPLEX_STEPS = 18, 150, 600
FASTER, MOST_CENTS_WORSE, MOST_SECONDS = 2.5, 0.05, 5.0
COLUMNS = (
    Column("place", "place of the chokes"),
    Column("ours_cents", "ours, cents", "cents", shown=".2f"),
    Column("plain_cents", "plain, cents", "cents", shown=".2f"),
    Column("ours", "ours, ms", "s", 1e3, ".0f"),
    Column("plain", "plain, ms", "s", 1e3, ".0f"),
    Column("ratio", "times faster", shown=".1f"),
)


def straight_section(
    quick: bool, workpiece: OpenedDesign | None = None, each: Callable[[str], None] = lambda text: None
) -> Comparison:
    """The comparison for one design, by default the one that `beatfield new` writes; cost in cents RMS, with what the
    carrier counts for its drift.
    """
    piece = open_loaded(template_design()) if workpiece is None else workpiece
    task = task_of(piece, Wishes(65.0, 1047.0, 0.05, 0.5))
    rows, goals = [], []
    our_best(task.search(PLACES[1]))  # the first search loads the library that polishes it
    for place in PLACES[1:2] if quick else PLACES:
        each(f"straight: {place.name}")
        search = task.search(place)
        ours_cents, seconds = timed(partial(our_best, search))
        plain_cents, plain_seconds = timed(partial(plain_best, search))
        rows.append((place.name, ours_cents, plain_cents, seconds, plain_seconds, plain_seconds / seconds))
        goals.append(BenchmarkGoal(place.name, "times faster", plain_seconds / seconds, FASTER))
        if plain_cents is not None:
            worse = None if ours_cents is None else ours_cents - plain_cents
            goals.append(BenchmarkGoal(place.name, "worse by, cents", worse, MOST_CENTS_WORSE, at_least=False))
    if not quick:
        each("straight: a whole search, every place, over builds, and the front")
        with Beside() as beside:  # as the command
            _, seconds = timed(partial(make_plan, task, mapped=beside.shared_out))
        goals.append(BenchmarkGoal(piece.design.name, "s for a whole search", seconds, MOST_SECONDS, at_least=False))
    notes = ("cents are blank where no circuit keeps to what is asked",)
    return Comparison("straight", "One search for a straight field", COLUMNS, tuple(rows), tuple(goals), notes)


def our_best(search: Search) -> float | None:
    """Least cost, cents, by the search itself; None where no circuit keeps to the bounds."""
    found = search.best(SEED)
    return None if found is None else search.rms_cents(found) + float(search.wander(search.evenness(found))[0])


def plain_best(search: Search) -> float | None:
    """Least cost, cents, by the plain way; None where what it finds breaks a bound."""
    from scipy import optimize

    solver: Any = optimize  # its published types do not know vectorised costs
    bounds = search.bounds()
    evolved = solver.differential_evolution(
        search.cost,
        bounds,
        rng=np.random.default_rng(SEED),
        popsize=POPULATION,
        maxiter=GENERATIONS,
        tol=1e-3,
        polish=False,
        updating="deferred",
        vectorized=True,
    )
    steps = {"maxiter": SIMPLEX_STEPS, "xatol": 1e-7}
    polished = solver.minimize(search.cost, evolved.x, method="Nelder-Mead", options=steps)
    inside: Floats = np.clip(polished.x, *np.array(bounds).T)
    point = inside if float(search.cost(inside)) < float(evolved.fun) else evolved.x
    cost, _, penalty = search.cost_of(*search.values(np.asarray(point)[:, None]))
    return None if float(penalty[0]) > 0.5 else float(cost[0])
