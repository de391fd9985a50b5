"""A circuit integrated in time by an implicit rule of constant step: quick whatever rings or settles far faster.

A drawn circuit often has parts that settle within picoseconds (the contact of a wiper) and others that ring at tens of
MHz for many cycles of the carrier (a feedback coil with the capacitances of its device). A rule whose steps must follow
these takes a thousand steps a cycle. The implicit rule of Radau, three stages, damps what is faster than its steps; it
is of fifth order: at 64 steps a cycle the frequency of the carrier is kept to parts in 10^11, that of its eighth
harmonic to parts in 10^6. What is advanced is the charges P = C x + A q(A^T x), so that none is lost.

    P_i = P + h sum over j of a_ij (s - G X_j - A i(A^T X_j)),   the new state is X_3

Only the voltages of the ports are unknown in Newton's method: with K = (1 (x) C + h a (x) G)^-1, made once, the rest is
linear in them. E. Hairer, G. Wanner, Solving Ordinary Differential Equations II (1996), section IV.5.
"""

from __future__ import annotations

import math

import numpy as np

from models.arrays import Floats
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable, drawn
from models.circuit.network import Network
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord
from models.circuit.work import spend

_ROOT = math.sqrt(6.0)
RULE = np.array(
    [
        [(88.0 - 7.0 * _ROOT) / 360.0, (296.0 - 169.0 * _ROOT) / 1800.0, (-2.0 + 3.0 * _ROOT) / 225.0],
        [(296.0 + 169.0 * _ROOT) / 1800.0, (88.0 + 7.0 * _ROOT) / 360.0, (-2.0 - 3.0 * _ROOT) / 225.0],
        [(16.0 - _ROOT) / 36.0, (16.0 + _ROOT) / 36.0, 1.0 / 9.0],
    ]
)
STAGES = 3
SOLVED, ROUGHLY_SOLVED = 1e-7, 1e-5
"""V: Newton's last change of a port voltage, in coarse steps the larger; what is left goes with its square."""
NEWTON_STEPS = 15
SHORTER = 8
"""Shorter steps into which one that Newton's method does not solve is divided."""
DEEPEST = 3
"""How often a step may be divided again in this way."""
STRIDE = 0.5
"""V: the most that Newton's method changes a port with a knee at once."""
WORK = 3000.0
"""Work of one Newton step, in elements of a Jacobian of harmonic balance made and eliminated (measured)."""


class _Step:
    """One step of a given length: everything of it that does not change from step to step."""

    def __init__(self, linear: Network, length: float) -> None:
        count = len(linear.names)
        whole = np.kron(np.eye(STAGES), linear.capacitance) + length * np.kron(RULE, linear.conductance)
        inverse = np.linalg.inv(whole)
        sense = np.kron(np.eye(STAGES), linear.ports.T)
        stages = np.kron(np.ones((STAGES, 1)), np.eye(count))
        feed = np.kron(length * RULE.sum(axis=1), linear.source)
        by_charge = inverse @ np.kron(np.eye(STAGES), linear.ports)
        by_current = length * (inverse @ np.kron(RULE, linear.ports))
        self.voltages, self.voltages_rest = sense @ inverse @ stages, sense @ inverse @ feed
        self.states, self.states_rest = inverse @ stages, inverse @ feed
        self.states_by_both = np.concatenate([by_charge, by_current], axis=1)
        self.both = sense @ self.states_by_both  # of the charges at all stages, then of the currents
        ports = linear.ports.shape[1]
        blocks = self.both.reshape(-1, 2, STAGES, ports).transpose(2, 0, 1, 3)
        self.blocks = np.ascontiguousarray(blocks.reshape(STAGES, -1, 2 * ports))
        self.length = length


def _weights(wanted: Floats) -> Floats:
    """Weights (m, 4) that carry the values at 0 and at the stages of one step to the places `wanted`, in steps."""
    at = np.concatenate([[0.0], RULE.sum(axis=1)])
    rows = np.ones((wanted.size, at.size))
    for place, node in enumerate(at):
        others = np.delete(at, place)
        rows[:, place] = np.prod((wanted[:, None] - others) / (node - others), axis=1)
    return rows


ONWARD, MIDDLE = _weights(1.0 + RULE.sum(axis=1)), _weights(np.array([0.5]))[0]


class _Run:
    """One circuit on its way: its state, the charges, and the port voltages of the step before."""

    def __init__(self, linear: Network, ports: DeviceLaw, states: Floats, length: float, solved: float) -> None:
        self.solved = solved
        self.linear, self.ports, self.states = linear, ports, states
        self.before, self.stages = states, np.tile(states, (STAGES, 1))
        self.steps = [_Step(linear, length)]
        self.seen = linear.ports.T @ states  # (p,)
        self.charges = linear.capacitance @ states + linear.ports @ ports.evaluate(self.seen[:, None]).charges[:, 0]
        self.guess = np.tile(self.seen, (STAGES, 1))  # (stage, p)
        self.strides = np.where(np.isfinite(ports.knees), STRIDE, math.inf)

    def advance(self, depth: int = 0) -> None:
        """Advance by one step, or by SHORTER shorter ones; ValueError where none of these is solved."""
        while len(self.steps) <= depth:
            self.steps.append(_Step(self.linear, self.steps[-1].length / SHORTER))
        step = self.steps[depth]
        rest = step.voltages @ self.charges + step.voltages_rest
        voltages, size = self.guess.copy(), self.guess.size
        for _ in range(NEWTON_STEPS):
            spend(WORK)
            device = self.ports.evaluate(voltages.T)
            taken = np.concatenate([device.charges, device.currents])  # (2 p, stages)
            slopes = np.concatenate([device.capacitances, device.conductances]).transpose(2, 0, 1)
            error = voltages.ravel() - rest + step.both @ _ordered(taken)
            jacobian = np.matmul(step.blocks, slopes).transpose(1, 0, 2).reshape(size, size)
            jacobian.reshape(-1)[:: size + 1] += 1.0
            change = np.linalg.solve(jacobian, error).reshape(voltages.shape)
            largest = max(-change.item(change.argmin()), change.item(change.argmax()))  # NaN where one of them is
            if not math.isfinite(largest):
                break
            if largest > STRIDE:
                change = np.minimum(np.maximum(change, -self.strides), self.strides)
            voltages = voltages - change
            if largest < self.solved:
                taken = taken - np.matmul(slopes, change[:, :, None])[:, :, 0].T  # so small a change is linear
                states = step.states @ self.charges + step.states_rest - step.states_by_both @ _ordered(taken)
                self.before, self.stages = self.states, states.reshape(STAGES, -1)
                self.states = self.stages[-1]
                self.charges = self.linear.capacitance @ self.states + self.linear.ports @ taken[: self.seen.size, -1]
                self.guess = ONWARD @ np.concatenate([self.seen[None], voltages])
                self.seen = voltages[-1]
                return
        if depth == DEEPEST:
            raise ValueError("transient: a step of the implicit rule is not solved")
        self.guess = np.tile(self.seen, (STAGES, 1))
        passed = [self.states]
        for _ in range(SHORTER):
            self.advance(depth + 1)
            passed.append(self.states)
        self.guess = np.tile(self.seen, (STAGES, 1))
        self.before, self.stages = passed[0], np.array([passed[SHORTER // 8], passed[5 * SHORTER // 8], passed[-1]])


def _ordered(taken: Floats) -> Floats:
    """Charges, then currents, of the ports (2 p, stages) as one row: the ports of the first stage first."""
    return taken.reshape(2, -1, STAGES).transpose(0, 2, 1).ravel()


def stepped(
    circuit: Drawable, cycles: int, frequency: float, start: Floats | None = None, *, coarse: bool = False
) -> TransientRecord:
    """Integrate `circuit` for whole `cycles` of `frequency`, Hz, from the states `start` (None: all at 0, the supply
    stepping up at t = 0); POINTS_PER_CYCLE instants of each.

    coarse: in steps of two points, the one between by the stages, to some parts in 10^5, in less time. Raises
    ValueError where a step is not solved, TooMuchWorkError within a bound on the work.
    """
    drawing, linear, ports = drawn(circuit)
    count, spacing = cycles * POINTS_PER_CYCLE, 1.0 / (POINTS_PER_CYCLE * frequency)
    states = np.zeros((len(linear.names), count + 1))
    states[:, 0] = 0.0 if start is None else start
    stride = 2 if coarse else 1
    run = _Run(linear, ports, states[:, 0].copy(), stride * spacing, ROUGHLY_SOLVED if coarse else SOLVED)
    for place in range(stride, count + 1, stride):
        run.advance()
        states[:, place] = run.states
        if coarse:
            states[:, place - 1] = MIDDLE[0] * run.before + MIDDLE[1:] @ run.stages
    return TransientRecord(spacing * np.arange(count + 1.0), states, linear.names, drawing.tank)
