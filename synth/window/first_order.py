"""A solved circuit while its parts are being changed: by the first-order law of its adjoint, until it is solved anew.

The frequency of a steady oscillation moves by what the changed parts drive out of balance, weighed by the projection of
`models.circuit.adjoint`: exact to first order in the change. Amplitudes stay as they were solved. The law is laid at
the solved parts nearest to the wanted ones, so that it lies between exact solutions.
"""

from __future__ import annotations

import numpy as np

from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.variable_law import VariableLaw
from models.circuit.variable_oscillator import with_antenna
from synth.build.assembly import branch_of, wired
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import OpenedDesign
from synth.designs.sections import Design


class FirstOrder:
    """The adjoints of a workpiece's solved variable oscillator along the hand, found when they are first needed."""

    def __init__(self, workpiece: OpenedDesign) -> None:
        self._workpiece = workpiece
        self._adjoints: tuple[Adjoint, ...] = ()

    @property
    def tuning_distance(self) -> float:
        """The hand distance, m, that the reference is tuned at."""
        return self._workpiece.tuning_distance

    def law(self, solved: VariableLaw, design: Design) -> VariableLaw:
        """The `solved` law with the variable oscillator's parts as `design` has them.

        ValueError where the change is so large that the frequencies no longer fall along the hand.
        """
        if not self._adjoints:
            posture = self._workpiece.design.player.posture
            states = self._workpiece.solved_variables[posture].oscillator.states
            self._adjoints = tuple(map(oscillator_adjoint, states))
        parts, tap = wired(design), self._workpiece.tap
        circuit, branch = circuit_of(parts, "variable"), branch_of(parts)
        loaded = (with_antenna(circuit, float(each), branch, tap.ratio) for each in solved.capacitances)
        shifts = [
            adjoint.frequency_shift(adjoint.disturbance_to(changed))
            for adjoint, changed in zip(self._adjoints, loaded, strict=True)
        ]
        return VariableLaw(solved.capacitances, solved.frequencies + np.array(shifts), solved.amplitudes)
