"""A solved circuit while its parts are being changed: by the first-order law of its adjoint, until it is solved anew.

The frequency of a steady oscillation moves by what the changed parts drive out of balance, weighed by the projection of
`models.circuit.adjoint`: exact to first order in the change. Amplitudes and what loads the output stay as they were
solved. The law is laid at the solved parts nearest to the wanted ones, so that it lies between exact solutions.
"""

from __future__ import annotations

import numpy as np

from models.circuit.adjoint import FrequencySlopes, oscillator_adjoint
from models.circuit.drawing import Load
from models.circuit.variable_law import VariableLaw
from models.circuit.variable_oscillator import with_antenna
from models.quick_dataclass import dataclass
from synth.build.assembly import branch_of, wired
from synth.build.circuit_assembly import loaded_circuit
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design


@dataclass(frozen=True, slots=True, eq=False)
class FirstOrder:
    """What the parts of a solved variable oscillator do to its frequency, along the hand.

    capacitances: F (n,), the antenna's at which it is solved; slopes: (n,); load: on its output. tuning_distance: the
    hand distance, m, that the reference is tuned at.
    """

    capacitances: tuple[float, ...]
    slopes: tuple[FrequencySlopes, ...]
    load: Load
    tap_ratio: float
    tuning_distance: float

    def law(self, solved: VariableLaw, design: Design) -> VariableLaw:
        """The `solved` law with the variable oscillator's parts as `design` has them.

        The matrices of a circuit are straight in its antenna's capacitance: two of them give all. ValueError where the
        change is so large that the frequencies no longer fall along the hand, or where it is no change of parts.
        """
        parts = wired(design)
        circuit, branch = loaded_circuit(parts, "variable", self.load), branch_of(parts)
        ends = self.capacitances[0], self.capacitances[-1]
        drawings = [with_antenna(circuit, end, branch, self.tap_ratio).drawing() for end in ends]
        first, last = (drawing.network() for drawing in drawings)
        if first.names != self.slopes[0].linear.names or drawings[0].devices != self.slopes[0].devices:
            raise ValueError("the other circuit has other nodes or devices")
        shifts = []
        for capacitance, slopes in zip(self.capacitances, self.slopes, strict=True):
            share = (capacitance - ends[0]) / (ends[1] - ends[0])
            between = first.capacitance + share * (last.capacitance - first.capacitance)
            shifts.append(slopes.shift(first.conductance, between, first.source))
        return VariableLaw(solved.capacitances, solved.frequencies + np.array(shifts), solved.amplitudes)


def first_order_of(workpiece: OpenedDesign) -> FirstOrder:
    """The law at a design with solved circuits."""
    oscillator = workpiece.solved_variables[workpiece.design.player.posture].oscillator
    load = oscillator.states[0].circuit.load
    assert load is not None  # every circuit of a design has one
    return FirstOrder(
        tuple(oscillator.capacitances.tolist()),
        tuple(oscillator_adjoint(state).slopes() for state in oscillator.states),
        load,
        workpiece.tap.ratio,
        workpiece.tuning_distance,
    )
