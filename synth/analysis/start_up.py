"""The start-up transient of an oscillator: run in pieces with progress, until it is steady."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.circuit.drawing import LOAD
from models.circuit.startup_time import REACHED, startup_estimate
from models.circuit.steady_state import SteadyState
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord, cycle_swings, simulate
from synth.errors import DesignError

PIECE_CYCLES = 250
LONGEST_CYCLES = 12_000
SETTLED = 0.01
"""The run ends when the swing has come this close to the steady one, relative."""
TOLERANCE = 1e-6
SMALLEST = 1e-3  # V peak-to-peak


def start_up(state: SteadyState, progress: Callable[[str], None]) -> tuple[TransientRecord, str | None]:
    """The transient from switch-on of the circuit of `state`, with a remark where it was cut before it was steady.

    `progress` receives a line every PIECE_CYCLES cycles. Raises DesignError when the integrator gives up.
    """
    circuit, frequency, hot = state.circuit, state.frequency, state.hot
    piece = PIECE_CYCLES / frequency
    final, expected = state.peak_to_peak(hot), startup_estimate(state)
    times, states, newest = [np.zeros(1)], [], None
    while True:
        done = float(times[-1][-1])
        try:
            part = simulate(circuit, piece, start=newest, frequency=frequency, relative_tolerance=TOLERANCE)
        except ValueError as error:
            raise DesignError(f"start-up: {error}") from error
        first = 0 if newest is None else 1
        times.append(done + part.times[first:])
        states.append(part.states[:, first:])
        newest = part.states[:, -1]
        done = float(times[-1][-1])
        progress(f"start-up: {1e3 * done:.2f} ms computed; steady after some {1e3 * 2.0 * expected:.1f} ms")
        steady = bool(np.all(np.abs(cycle_swings(part, hot) / final - 1.0) < SETTLED))
        if steady or done * frequency >= LONGEST_CYCLES:
            remark = None if steady else f"the start-up was cut at {1e3 * done:.1f} ms, before it was steady"
            whole = np.concatenate(states, axis=1)
            return TransientRecord(np.concatenate(times[1:]), whole, part.names, part.tank), remark


def startup_time(record: TransientRecord, state: SteadyState, node: str) -> float | None:
    """When the swing of a node first reaches REACHED of its final peak-to-peak, s; None where it does not, or where it
    is too small to be told from the error of the integration (SMALLEST).
    """
    if state.peak_to_peak(node) < SMALLEST:
        return None
    name = LOAD if node == "output" else node
    swings = cycle_swings(record, name)
    # the first cycles after switching on are the supply coming up, not the oscillation: count from the lowest swing
    reached = np.flatnonzero(swings >= REACHED * state.peak_to_peak(node))
    quiet = int(np.argmin(swings))
    after = reached[reached >= quiet]
    return None if after.size == 0 else float(record.times[after[0] * POINTS_PER_CYCLE])
