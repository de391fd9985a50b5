"""The variable oscillator solved as a circuit along the whole range of the antenna's capacitance.

The antenna, straight or behind its series inductor, is joined to the collector of the same circuit as the reference;
harmonic balance follows it from one capacitance to the next, each solution starting from its neighbour, so that
frequency, amplitude, mode and loss vary with the hand. The result is a `VariableLaw` for `models.instrument`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.branch.antenna_branch import SeriesInductor
from models.checks import positive, positive_array
from models.circuit.common_base import OscillatorCircuit
from models.circuit.drawing import AntennaLoad, Drawable, Drawing
from models.circuit.oscillator import steady_state
from models.circuit.resonance import natural_frequency
from models.circuit.steady_state import SteadyState
from models.circuit.variable_law import VariableLaw
from models.quick_dataclass import dataclass

Circuit = OscillatorCircuit | Drawing
LAW_POINTS = 9
LARGEST_JUMP = 0.02
"""Largest relative step of frequency between neighbours that still counts as the same mode."""


@dataclass(frozen=True, slots=True, eq=False)
class VariableOscillator:
    """The solved oscillator: `states`, one for each antenna capacitance of `capacitances` (n,), F, increasing."""

    capacitances: Floats
    states: tuple[SteadyState, ...]

    @property
    def frequencies(self) -> Floats:
        """Frequencies (n,), Hz."""
        return np.array([state.frequency for state in self.states])

    @property
    def output_amplitudes(self) -> Floats:
        """Peak fundamental of the output (n,), V."""
        return np.array([state.harmonic_amplitudes("output")[0] for state in self.states])

    def law(self) -> VariableLaw:
        """The law for `models.instrument`: frequency and output amplitude against the antenna's capacitance."""
        return VariableLaw(self.capacitances, self.frequencies, self.output_amplitudes)


def with_antenna(circuit: Circuit, capacitance: float, branch: SeriesInductor, tap_ratio: float = 1.0) -> Circuit:
    """`circuit` with an antenna of `capacitance`, F (stray included), straight or behind `branch`.

    The loss of the inductor is taken as its series resistance at the circuit's `inductor_q_frequency` (of a drawing:
    where its tank rings). At a tap of the coil of voltage `tap_ratio` p (its leakage in `branch`, see
    `models.branch.tapped_coil`) the whole coil sees the branch's inductance and resistance over p^2 and the
    capacitances times p^2: exact for an ideal transformer.
    """
    turned = positive("tap_ratio", tap_ratio) ** 2
    if isinstance(circuit, OscillatorCircuit):
        frequency = circuit.inductor_q_frequency
    else:
        frequency = natural_frequency(replace(circuit, antenna=None))
    loss = branch.series_resistance(frequency) / turned
    own = branch.self_capacitance * turned
    return replace(circuit, antenna=AntennaLoad(capacitance * turned, branch.inductance / turned, loss, own))


def law_capacitances(lowest: float, highest: float, points: int = LAW_POINTS) -> Floats:
    """`points` antenna capacitances, F, evenly from `lowest` to `highest`: enough for a law that is nearly straight."""
    if points < 2 or not positive("lowest", lowest) < positive("highest", highest):
        raise ValueError(f"capacitances must rise over 2 points or more; got {points} from {lowest:g} to {highest:g}")
    return np.linspace(lowest, highest, points)


def solve_along(
    circuit: Circuit,
    branch: SeriesInductor,
    capacitances: ArrayLike,
    near_frequency: float | None = None,
    tap_ratio: float = 1.0,
    warm_start: SteadyState | None = None,
    progress: Callable[[float], None] = lambda share: None,
) -> VariableOscillator:
    """Solve the circuit for every antenna capacitance, F (n,), increasing; `tap_ratio` as for `with_antenna`.

    near_frequency: choose the mode nearest to it, Hz, at the first capacitance; None: the one that starts most
    easily. progress: hears the share of the others that is solved, from the first one on. Raises ValueError, naming
    the capacitance, where a solution fails, the oscillator leaves its mode or its frequency does not fall.
    """
    row = positive_array("capacitances", capacitances)
    if row.ndim != 1 or row.size < 2 or not (np.diff(row) > 0.0).all():
        raise ValueError("capacitances must be a strictly increasing row of at least 2")
    states: list[SteadyState] = []
    for capacitance in row.tolist():
        loaded = with_antenna(circuit, capacitance, branch, tap_ratio)
        try:
            first = partial(steady_state, loaded, warm_start=warm_start, near_frequency=near_frequency)
            states.append(_next(loaded, states[-1]) if states else first())
        except ValueError as error:
            raise ValueError(f"with {1e12 * capacitance:.4g} pF of antenna: {error}") from error
        progress((len(states) - 1) / (row.size - 1))
    return VariableOscillator(row, tuple(states))


def _next(circuit: Drawable, before: SteadyState) -> SteadyState:
    """The steady state that follows `before`; ValueError where the mode is left or the frequency does not fall."""
    try:
        state = steady_state(circuit, warm_start=before, near_frequency=before.frequency)
    except ValueError:
        state = steady_state(circuit)  # as from switching on; its own error tells more
    if not math.isclose(state.frequency, before.frequency, rel_tol=LARGEST_JUMP):
        raise ValueError(
            f"the oscillator hops from {before.frequency / 1e3:.4g} to {state.frequency / 1e3:.4g} kHz: set the "
            "series inductor further from the tank's frequency"
        )
    if not state.frequency < before.frequency:
        raise ValueError(
            f"the frequency does not fall as the hand comes nearer: {before.frequency:.7g} Hz is followed by "
            f"{state.frequency:.7g} Hz (an antenna that hardly counts does this, or a harmonic that meets the "
            "resonance of the antenna branch): change tap, series inductor or tank, or lower the emitter current for "
            "weaker harmonics"
        )
    return state
