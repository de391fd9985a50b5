"""The start-up of an oscillator integrated in time, for the file of its record."""

from __future__ import annotations

from collections.abc import Callable

from models.circuit.start_up import StartUp
from models.circuit.transient import TransientRecord, simulate
from synth.errors import DesignError

LONGEST_CYCLES = 12_000
TOLERANCE = 1e-6


def integrated(run: StartUp, progress: Callable[[str], None]) -> tuple[TransientRecord, str | None]:
    """The record from switch-on until `run`, found by the envelope, has ended, with a remark where it was cut before.

    `progress` receives a line before it begins. Raises DesignError when the integrator gives up.
    """
    frequency, until = float(run.frequency[-1]), float(run.times[-1])
    duration = min(until, LONGEST_CYCLES / frequency)
    progress(f"start-up: integrating {1e3 * duration:.2f} ms in time")
    try:
        record = simulate(run.circuit, duration, frequency=frequency, relative_tolerance=TOLERANCE)
    except ValueError as error:
        raise DesignError(f"start-up: {error}") from error
    cut = f"the start-up was cut at {1e3 * duration:.1f} ms, before it was steady"
    return record, cut if duration < until else None
