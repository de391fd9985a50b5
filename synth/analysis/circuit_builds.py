"""From solved oscillators to the law of many builds: what every part of a circuit does, by the adjoint.

Each value of the circuits (models.circuit.part_values) is either one that the resonance knows, and then belongs to one
of its columns, or a column of its own. What kind of part it is, and so which tolerance and which temperature
coefficient it takes, follows from the last words of its name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from models.arrays import Floats
from models.branch.modes import tank_capacitance
from models.builds.build_law import PARTS
from models.builds.circuit_share import CircuitShare, polynomials, resonance_slopes
from models.builds.tuned_builds import QUANTITIES, TunedBuilds
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.part_values import TEMPERATURE, part_values
from models.tank import required_capacitance
from synth.build.workbench import OpenedDesign
from synth.designs.build_sections import TemperatureSection

KINDS = {
    "supply_voltage": "supply",
    "temperature": "temperature",
    "capacitor": "capacitor",
    "resistor": "resistor",
    "potentiometer": "potentiometer",
    "forward_gain": "gain",
    ".factor": "gain",
    ".perveance": "gain",
    "junction.zero_bias_capacitance": "junction",
}
"""The kind of part (a key of [tolerances]) by how the name of its value ends."""
OF_RESONANCE = {
    "inductance": ("inductance",),
    "capacitance": ("fixed_capacitor",),
    "stray": ("board_stray", "inductor_self_capacitance"),
}
"""What values of a circuit go together in a column of the resonance, all by the same share."""
SHARED = ("supply_voltage", TEMPERATURE)
"""Values that both oscillators have in common."""
INVERSE = ("gain",)
TABLE_POINTS = 201
LINEARISED = 3
"""Antenna capacitances at which the variable oscillator is linearised: least, middle and most of the law's."""


def kind_of(name: str) -> str | None:
    """The kind of part that a value of a circuit belongs to; None where it has a column of the resonance, or none."""
    if any(name in names for names in OF_RESONANCE.values()):
        return None
    return next((kind for ending, kind in KINDS.items() if name.endswith(ending)), None)


def kind_of_column(column: str) -> str | None:
    """The same for the name of a column, "variable.feedback_capacitor" or, of both oscillators, "supply_voltage"."""
    return kind_of(column.split(".", 1)[-1])


def with_circuits(opened: OpenedDesign, builds: TunedBuilds, values: Mapping[str, float]) -> TunedBuilds:
    """The law of builds with what the solved circuits of a design add; `values`: nominal, of the resonance's columns,
    without what the circuits add.
    """
    found = opened.adjoints
    assert found is not None
    reference, near = found
    instrument, curve = opened.instrument, builds.law.curve
    gain = (opened.design.temperature or TemperatureSection()).gain
    columns = _columns(reference, near)
    names = tuple(columns)
    resonance = np.array([values[quantity] for quantity in QUANTITIES])
    nominal = np.concatenate([resonance, [columns[name] for name in names]])

    bare = builds.variable_parts(resonance[None, :])
    l0, c0, la, cs, stray = (column[0, 0] for column in bare.columns())
    hand = np.linspace(float(curve.capacitances[-1]), float(curve.capacitances[0]), TABLE_POINTS)
    squared = (2.0 * np.pi * instrument.frequency_with(hand + instrument.antenna_stray)) ** 2
    added = tank_capacitance(squared, l0, la, hand + stray, cs) - c0
    law = replace(builds.law, circuit_capacitances=hand, circuit_added=added)

    along = opened.solved_variables[opened.design.player.posture].oscillator
    picked = np.linspace(0, along.capacitances.size - 1, LINEARISED).round().astype(int)
    places = along.capacitances[picked] - instrument.antenna_stray
    turns = (2.0 * places - (hand[0] + hand[-1])) / (hand[-1] - hand[0])
    shares = np.empty((nominal.size, LINEARISED))
    for column, (state, place) in enumerate(zip(picked, places, strict=True)):
        adjoint = oscillator_adjoint(along.states[state])
        slopes = _relative_slopes(adjoint, "variable", names, gain)
        slopes |= _branch_slopes(adjoint, instrument.antenna_stray * instrument.tap_ratio**2)
        known, by_capacitance = resonance_slopes(law, bare, float(place))
        shares[:, column] = _shares(names, slopes, _variable_slopes(known, by_capacitance, values), by_capacitance)
    setting, inductance = builds.trimmer_setting, values["reference_inductance"]
    trimmer = values["reference_trimmer"] * (builds.trimmer_ratio + setting * (1.0 - builds.trimmer_ratio))
    of_reference = [values[f"reference_{name}"] for name in ("capacitance", "stray", "divider", "junction")]
    tank = float(required_capacitance(inductance, reference.state.frequency))
    by_capacitance = -0.5 / tank
    known_reference = {"reference_inductance": -0.5} | {
        f"reference_{name}": by_capacitance * values[f"reference_{name}"] for name in ("capacitance", "stray")
    }
    slopes = _relative_slopes(reference, "reference", names, gain)
    of_trimmer = slopes.pop("reference_trimmer")
    by_farad = of_trimmer / trimmer if trimmer > 0.0 else by_capacitance
    share = CircuitShare(
        names=names,
        nominal=nominal,
        variable=polynomials(turns, shares),
        reference=_shares(names, slopes, known_reference, by_capacitance),
        reference_added=tank - sum(of_reference) - trimmer,
        trimmer=trimmer,
        by_trimmer=by_farad / by_capacitance - 1.0,
        inverse=np.array([kind_of_column(name) in INVERSE for name in (*QUANTITIES, *names)]),
    )
    return replace(builds, law=law, circuit=share)


def _columns(*adjoints: Adjoint) -> dict[str, float]:
    """Columns beyond those of the resonance with their nominal values: the reference's, the variable one's, of both."""
    found: dict[str, float] = {}
    for which, adjoint in zip(("reference", "variable"), adjoints, strict=True):
        for name, value in part_values(adjoint.state.circuit).items():
            if kind_of(name) is not None:
                found[name if name in SHARED else f"{which}.{name}"] = value
    return found


def _relative_slopes(adjoint: Adjoint, which: str, columns: Iterable[str], gain: float) -> dict[str, float]:
    """d(ln f) for each relative change of a column, by the adjoint; `gain`, 1/K, is that of the current gain."""
    values = part_values(adjoint.state.circuit)

    def slope(name: str) -> float:
        if name == TEMPERATURE:
            return adjoint.temperature_sensitivity(gain) * values[name] / adjoint.state.frequency
        shift = adjoint.frequency_shift(adjoint.disturbance_of(name, values[name]))
        return shift * values[name] / adjoint.state.frequency

    found = {}
    for kind, names in OF_RESONANCE.items():
        found[f"{which}_{kind}"] = sum(slope(name) for name in names)
    ends = [name for name in values if name.startswith("trimmers.") and name.endswith(("minimum", "maximum"))]
    found[f"{which}_trimmer"] = sum(slope(name) for name in ends)
    for column in columns:
        owner, _, name = column.partition(".")
        if column in SHARED:
            found[column] = slope(column)
        elif owner == which:
            found[column] = slope(name)
    return found


def _branch_slopes(adjoint: Adjoint, stray: float) -> dict[str, float]:
    """The same for the antenna's columns; `stray`, F, as the whole coil sees it."""
    values, sensitivity = part_values(adjoint.state.circuit), adjoint.state.frequency
    found = {"antenna_stray": stray}
    if "antenna.inductance" in values:
        found["branch_inductance"] = values["antenna.inductance"]
        found["branch_self_capacitance"] = values["antenna.self_capacitance"]
    names = {
        "antenna_stray": "antenna.capacitance",
        "branch_inductance": "antenna.inductance",
        "branch_self_capacitance": "antenna.self_capacitance",
    }
    return {
        column: adjoint.frequency_shift(adjoint.disturbance_of(names[column], values[names[column]]))
        * size
        / sensitivity
        for column, size in found.items()
    }


def _variable_slopes(known: Floats, by_capacitance: float, values: Mapping[str, float]) -> dict[str, float]:
    """The resonance's own d(ln f) for each relative change of a column of the variable oscillator."""
    part = dict(zip(PARTS, known.tolist(), strict=True))
    found = {
        "variable_inductance": part["tank_inductance"],
        "branch_inductance": part["branch_inductance"],
        "branch_self_capacitance": part["self_capacitance"],
        "antenna_stray": part["antenna_stray"],
    }
    names = ("variable_capacitance", "variable_stray", "variable_trimmer")
    return found | {name: by_capacitance * values[name] for name in names}


def _shares(
    names: tuple[str, ...], solved: Mapping[str, float], known: Mapping[str, float], by_capacitance: float
) -> Floats:
    """What each column adds across the tank, F for each relative change (`models.builds.circuit_share`)."""
    lacking = [
        solved.get(name, 0.0) - known.get(name, 0.0) if name in solved else 0.0 for name in (*QUANTITIES, *names)
    ]
    return np.array(lacking) / by_capacitance
