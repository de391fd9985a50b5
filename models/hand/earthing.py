"""What the circuit sees of the field: one capacitance between an antenna and the common, all other conductors afloat.

The field gives Maxwell's matrix of the conductors against earth. Beside it there are ties: shoes join the player to
earth, a supply joins the common to earth, a tank joins an antenna to the common. A tie is a capacitance, 0 for none
and infinite for a wire. A tank counts with C - 1 / (omega^2 L), which is negative below its resonance.

Symbols: M Maxwell's matrix with all ties added; e_a, e_c unit vectors of antenna and common; q charge that a source
between the two moves, F and C.
    no net charge on the others:  M v = q (e_a - e_c),   C = q / (v_a - v_c) = 1 / ((e_a - e_c) M^-1 (e_a - e_c))
A conductor bonded to earth leaves M with its row and column; one bonded to the common adds its row and column to those
of the common. Elementary circuit algebra; the losses of the ties are neglected.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field

import numpy as np

from models.arrays import Floats
from models.checks import finite, non_negative
from models.quick_dataclass import dataclass

ANTENNA, COMMON, RING, PLAYER, BYSTANDER, TABLE = "antenna", "common", "ring", "player", "bystander", "table"
#: F of shoes and soles, where nothing is said: beside what the field finds between the body and the floor.
USUAL_SHOES = 100e-12
#: How many times the ring's own capacitance its tank should have at the pitch frequency, to hold it to the common.
HOLDING_RATIO = 10.0


@dataclass(frozen=True, slots=True)
class Earthing:
    """What joins the conductors beside the field, F: 0 for nothing, infinite for a wire.

    body_capacitance: person to earth by bridge, in all: a standing person measures 100-150 pF by AC bridge (N.
        Jonassen); the human-body model of ANSI/ESDA/JEDEC JS-001 uses 100 pF. The field finds a part of it, between
        the body and the floor; what is left is the shoes. None: that part and `USUAL_SHOES`. Infinite: bonded.
    common_to_earth: the circuit's common to earth beside the field: a supply's Y capacitor, some pF of an adapter, 0
        for a battery, infinite for a wire (bonded).
    """

    body_capacitance: float | None = None
    common_to_earth: float = math.inf

    def __post_init__(self) -> None:
        if self.body_capacitance is not None:
            object.__setattr__(self, "body_capacitance", _tie("body_capacitance", self.body_capacitance))
        object.__setattr__(self, "common_to_earth", _tie("common_to_earth", self.common_to_earth))

    def shoes(self, field_share: float) -> float:
        """Capacitance of the player to earth beside the field, F, where the field finds `field_share`, F.

        Raises ValueError for a total below that share.
        """
        if self.body_capacitance is None:
            return USUAL_SHOES
        if self.body_capacitance < field_share:
            raise ValueError(
                f"body_capacitance is the player to earth in all, {1e12 * self.body_capacitance:.4g} pF; the field "
                f"alone finds {1e12 * field_share:.4g} pF between the body and the floor: give at least that"
            )
        return self.body_capacitance - field_share


def _tie(name: str, value: float) -> float:
    return math.inf if value == math.inf else non_negative(name, value)


@dataclass(frozen=True, slots=True)
class Ties:
    """Ties between conductors, F (may be negative; infinite: a wire): to earth, by name, and to the common, by name."""

    to_earth: Mapping[str, float] = field(default_factory=dict)
    to_common: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, value in (*self.to_earth.items(), *self.to_common.items()):
            if value != math.inf:
                finite(f"the tie of the {name}", value)


def seen_capacitance(matrix: Floats, names: Sequence[str], ties: Ties, sensing: str = ANTENNA) -> Floats:
    """Capacitance (...), F, between the conductor `sensing` and the common, by the module's formula.

    matrix: (..., k, k) F, Maxwell's, of the conductors `names`. A conductor whose row is nothing (one that is not
    there) is left out. Where the common is no conductor, or is bonded, it is earth. Raises ValueError where the ties
    cancel the field's own capacitances, so that a resonance leaves no answer.
    """
    plain = np.array(matrix, dtype=np.float64)
    shape, plain = plain.shape[:-2], plain.reshape(-1, len(names), len(names))
    position = {name: k for k, name in enumerate(names) if (plain[:, k, k] != 0.0).any()}
    earthed = COMMON not in position or ties.to_earth.get(COMMON, 0.0) == math.inf
    merged: list[list[int]] = []  # the nodes of the circuit, each some conductors; earth is none of them
    common: list[int] = [] if earthed else [position[COMMON]]
    for name, k in position.items():
        to_earth, to_common = ties.to_earth.get(name, 0.0), ties.to_common.get(name, 0.0)
        if name == sensing:
            merged.insert(0, [k])
        elif name == COMMON or to_earth == math.inf:
            continue
        elif to_common == math.inf:
            common.append(k)  # bonded to an earthed common it goes to earth with it
        else:
            merged.append([k])
    if not earthed:
        merged.append(common)
    incidence = np.zeros((len(names), len(merged)))
    for node, members in enumerate(merged):
        incidence[members, node] = 1.0
    node_of = {k: node for node, members in enumerate(merged) for k in members}
    nodes = incidence.T @ plain @ incidence
    for name, k in position.items():
        if k not in node_of:
            continue
        node, to_common = node_of[k], ties.to_common.get(name, 0.0)
        nodes[:, node, node] += ties.to_earth.get(name, 0.0)
        if (node == len(merged) - 1 and not earthed) or name == sensing:
            continue
        nodes[:, node, node] += to_common
        if not earthed:
            nodes[:, -1, -1] += to_common
            nodes[:, node, -1] -= to_common
            nodes[:, -1, node] -= to_common
    source = np.zeros(len(merged))
    source[0] = 1.0
    if not earthed:
        source[-1] = -1.0
    try:
        potentials = np.linalg.solve(nodes, np.broadcast_to(source[:, None], (*nodes.shape[:-1], 1)))[..., 0]
    except np.linalg.LinAlgError:
        raise ValueError(f"the ties of the conductors beside the {sensing} resonate with the field") from None
    return np.asarray(1.0 / (potentials @ source)).reshape(shape)


def tank_tie(angular_frequency: float, inductance: float, capacitance: float) -> float:
    """C - 1 / (omega^2 L), F: the capacitance that a tank counts as at omega, rad/s; negative below its resonance."""
    return capacitance - 1.0 / (angular_frequency**2 * inductance)
