"""The set-ups in which a builder reads an oscillator: reference, variable without and with its antenna, volume."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.variable_oscillator import with_antenna
from models.tank import Tank
from synth.analysis.sheet_probe import FREQUENCY, AntennaLoad, OscillatorProbe, circuit_probe, resonance_probe
from synth.build.circuit_assembly import TankSection
from synth.build.workbench import OpenedDesign


@dataclass(frozen=True, slots=True)
class Station:
    """One oscillator in one condition. `by_trimmer` and `by_pot`: its frequency, Hz, against their position (None: it
    does not oscillate there); `dc` reads volts and current (None: the design has no circuit).
    """

    oscillator: str
    condition: str
    setting: float | None
    probe: OscillatorProbe
    dc: OscillatorProbe | None
    by_trimmer: Callable[[float], float | None]
    by_pot: Callable[[float], float | None] | None


def reference_station(workpiece: OpenedDesign) -> Station:
    """The reference, its trimmer set for zero beat where the design asks for that."""
    condition = "as designed" if workpiece.design.tuning.zero_beat is None else "tuned for zero beat"
    return _station(workpiece, "reference", condition, workpiece.reference_tank, None)


def bare_station(workpiece: OpenedDesign) -> Station:
    """The variable oscillator with nothing on it."""
    lifted = "series inductor lifted off the tank" if workpiece.design.branch else "antenna lead off"
    return _station(workpiece, "variable", lifted, workpiece.tanks["variable"], None)


def antenna_station(workpiece: OpenedDesign, distance: float | None = None) -> Station:
    """The variable oscillator with its antenna, the hand at `distance`, m (None: no player near)."""
    instrument = workpiece.instrument
    curve, lead = instrument.curve, instrument.antenna_stray
    own = curve.empty_capacitance if distance is None else float(curve.capacitance(distance))
    condition = "antenna on, no player near" if distance is None else f"hand at {100.0 * distance:.1f} cm"
    antenna = AntennaLoad(own + lead, lead, instrument.branch, instrument.tap_ratio)
    tank = workpiece.tanks["variable"]
    return _station(
        workpiece,
        "variable",
        condition,
        tank,
        antenna,
        instrument.mode,
        near=float(instrument.frequency_with(own + lead)),
    )


def volume_station(workpiece: OpenedDesign) -> Station | None:
    """The volume oscillator with its ring and nobody near."""
    volume = workpiece.volume
    if volume is None:
        return None
    ring = AntennaLoad(volume.curve.empty_capacitance + volume.ring_stray, volume.ring_stray)
    return _station(workpiece, "volume", "ring on, no player near", volume.tank, ring)


def _station(
    workpiece: OpenedDesign,
    which: str,
    condition: str,
    tank: Tank,
    antenna: AntennaLoad | None,
    mode: str = "low",
    near: float | None = None,
) -> Station:
    design = workpiece.design
    section: TankSection = getattr(design, which)
    resonance = resonance_probe(tank, section.stray + section.self_capacitance, antenna, mode)
    setting = tank.trimmer_setting if section.trimmer_maximum > 0.0 else None

    def resonance_at(place: float) -> float:
        turned = resonance_probe(tank.with_trimmer(place), 0.0, antenna, mode)
        return turned.read("", 1.0)[FREQUENCY]

    if setting is not None:
        condition = f"{condition}, trimmer {100.0 * setting:.0f} % inward"
    if design.circuit is None:
        return Station(which, condition, setting, resonance, None, resonance_at, None)
    circuit = workpiece.circuits[which]
    if setting is not None:
        circuit = circuit.with_trimmer(setting)
    if antenna is not None:
        circuit = with_antenna(circuit, antenna.capacitance, antenna.branch, antenna.tap_ratio)
    hung = AntennaLoad(0.0, 0.0) if antenna is None else antenna
    solved = circuit_probe(design, which, circuit, hung.lead, near, hung.tap_ratio)
    by_pot = _frequency(circuit.with_pot, circuit, near)
    if design.law != "circuit" or which == "volume":  # as in the instrument, whose volume side is a resonance
        return Station(which, condition, setting, resonance, solved, resonance_at, by_pot)
    by_trimmer = _frequency(circuit.with_trimmer, circuit, near)
    return Station(which, condition, setting, solved, solved, by_trimmer, by_pot)


def _frequency(
    turned: Callable[[float], OscillatorCircuit], circuit: OscillatorCircuit, near: float | None
) -> Callable[[float], float | None]:
    """Frequency of the `turned` circuit against its position, from the steady state of `circuit`."""
    base = steady_state(circuit, near_frequency=near)

    def at(place: float) -> float | None:
        try:
            return steady_state(turned(place), warm_start=base).frequency
        except ValueError:
            return None

    return at
