"""The start-up of an oscillator as curves to draw, and integrated in time for the file of its record."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.circuit.network import GROUND
from models.circuit.start_up import StartUp
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord, cycle_swings, simulate
from synth.analysis.start_up_picture import COMMON, CONTROL, SUPPLY, Curve, Cycle, StartUpCurves
from synth.errors import DesignError

LONGEST_CYCLES = 12_000
TOLERANCE = 1e-6


def integrated(
    run: StartUp, tell: Callable[[str], None], progress: Callable[[float], None] = lambda share: None
) -> tuple[TransientRecord, str | None]:
    """The record from switch-on until `run`, found by the envelope, has ended, with a remark where it was cut before.

    `tell` receives a line before it begins, `progress` the share that is done. Raises DesignError when the
    integrator gives up.
    """
    frequency, until = float(run.frequency[-1]), float(run.times[-1])
    duration = min(until, LONGEST_CYCLES / frequency)
    tell(f"start-up: integrating {1e3 * duration:.2f} ms in time")
    try:
        record = simulate(run.circuit, duration, frequency=frequency, relative_tolerance=TOLERANCE, progress=progress)
    except ValueError as error:
        raise DesignError(f"start-up: {error}") from error
    cut = f"the start-up was cut at {1e3 * duration:.1f} ms, before it was steady"
    return record, cut if duration < until else None


SHARES = (0.1, 0.5, 1.0)
"""Shares of the final swing at which true cycles are drawn."""
CYCLE_POINTS = 240
SHOWN_CYCLES = 60
"""Of what was integrated in time, the last so many are drawn as they are."""


def start_up_curves(run: StartUp) -> StartUpCurves:
    """The curves of a start-up, from its first cycles on."""
    late = run.late
    last = None
    if late is not None:
        part = slice(max(0, late.times.size - SHOWN_CYCLES * POINTS_PER_CYCLE), None)
        last = late.times[part], late.voltage("tank")[part]
    drawing = run.circuit.drawing()
    common = drawing.common if drawing.common != GROUND else drawing.output_node
    nodes = {"tank": "tank", SUPPLY: drawing.rail, CONTROL: drawing.control, COMMON: common}
    return StartUpCurves(
        curves={role: _curve(run, node) for role, node in nodes.items()},
        names=nodes,
        cycles=_cycles(run, common),
        last=last,
        begin=0.0 if late is None else float(late.times[0]),
        end=float(run.times[-1]),
    )


def _curve(run: StartUp, name: str) -> Curve:
    """One a cycle of the first cycles, then the points of the envelope."""
    first, times = run.first, run.times
    swings = cycle_swings(first, name)
    rows, middles = (
        values[: swings.size * POINTS_PER_CYCLE].reshape(-1, POINTS_PER_CYCLE).mean(axis=1)
        for values in (first.voltage(name), first.times)
    )
    early = middles < times[0]
    if name == "tank":
        hot, cold = (0.0 if node == GROUND else run.mean(node) for node in first.tank)
        later = np.asarray(hot - cold)
    else:
        later = run.mean(name)
    return Curve(
        np.concatenate([middles[early], times]),
        np.concatenate([rows[early], later]),
        np.concatenate([swings[early], run.swing(name)]),
    )


def _cycles(run: StartUp, common: str) -> tuple[Cycle, ...]:
    """Cycles of the envelope where its swing first reaches each of SHARES of its last, after it was lowest."""
    if not run.points:
        return ()
    swings = run.tank[: len(run.points)]
    final, quiet = float(swings.max()) if run.state is None else float(swings[-1]), int(np.argmin(swings))
    found = []
    for share in SHARES:
        reached = np.flatnonzero(swings[quiet:] >= 0.995 * share * final)
        place = quiet + int(reached[0]) if reached.size else int(np.argmax(swings))
        found.append(
            Cycle(
                run.points[place].time,
                1.0 / run.points[place].frequency,
                run.cycle(place, "tank", CYCLE_POINTS),
                run.cycle(place, common, CYCLE_POINTS),
            )
        )
    return tuple(found)
