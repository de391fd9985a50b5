"""One oscillator of a design on the bench: which circuit, with what antenna, trimmer, pot and load."""

from __future__ import annotations

from dataclasses import dataclass, replace

from models.branch.antenna_branch import DIRECT
from models.circuit.common_base import Load, OscillatorCircuit
from models.circuit.variable_oscillator import with_antenna
from synth.build.assembly import branch_of, scene_of
from synth.build.circuit_assembly import (
    blaming,
    circuit_of,
    solved_variable,
    tap_of,
    tuned_reference_circuit,
)
from synth.build.curve_cache import curves_for, loop_curve_for
from synth.build.volume_assembly import volume_scene_of
from synth.build.workbench import say
from synth.designs.quantity import format_quantity, parse
from synth.designs.sections import CircuitSection, Design
from synth.errors import DesignError

NO_LOAD = "none"


@dataclass(frozen=True, slots=True)
class Bench:
    """The `which` oscillator of `design`, ready to be read.

    `design_load` is what hangs on its output as designed; the circuit's own may differ. `hand_distance`, m, is where
    the hand is held (None: nobody there, or no antenna).
    """

    design: Design
    which: str
    circuit: OscillatorCircuit
    trimmer: float
    design_load: Load | None
    hand_distance: float | None
    notices: tuple[str, ...]


def load_of(text: str, circuit: OscillatorCircuit) -> Load | None:
    """The load that `--load` names: a resistance in place of the designed one, or "none". Raises DesignError."""
    if text.strip().lower() == NO_LOAD:
        return None
    try:
        resistance = parse(text, "ohm")
    except DesignError as error:
        raise DesignError(f'--load {text}: {error}, or "{NO_LOAD}"') from None
    if not 1.0 <= resistance <= 1e9:
        raise DesignError(f'--load {text}: is out of its domain; it must be between 1 ohm and 1 Gohm, or "{NO_LOAD}"')
    capacitance = Load().capacitance if circuit.load is None else circuit.load.capacitance
    return Load(resistance, capacitance)


def bench_of(design: Design, which: str, pot: float | None = None, load: str | None = None) -> Bench:
    """The oscillator as the instrument has it: the reference tuned for zero beat, the variable one with the hand at
    that distance, the volume one with nobody there. `pot` and `load` replace those of the design.
    """
    notices: tuple[str, ...] = ()
    if design.circuit is None:
        notices = (_default_parts_notice(which),)
        design = replace(design, circuit=CircuitSection(), tuning=replace(design.tuning, law="lossless"))
    circuit = circuit_of(design, which)
    trimmer: float = getattr(design, which).trimmer
    distance: float | None = None
    if which == "reference":
        trimmer, remarks = _tuned_trimmer(design)
        circuit, notices = circuit.with_trimmer(trimmer), notices + remarks
    else:
        circuit, distance = _with_its_antenna(design, which, circuit)
    designed = circuit.load
    with blaming(design, which):
        if pot is not None:
            circuit = circuit.with_pot(pot)
        if load is not None:
            circuit = replace(circuit, load=load_of(load, circuit))
    return Bench(design, which, circuit, trimmer, designed, distance, notices)


def _default_parts_notice(which: str) -> str:
    part = CircuitSection()
    feedback, emitter = (format_quantity(value, "F") for value in (part.feedback_capacitor, part.emitter_capacitor))
    return (
        f"the design has no [circuit]: read with default parts around the tank of [{which}]. Their feedback and "
        f"emitter capacitors ({feedback}, {emitter}) and the transistor come on top of that section's stray, so the "
        "frequency is lower than in `beatfield field`; add a [circuit] section to state your parts"
    )


def _tuned_trimmer(design: Design) -> tuple[float, tuple[str, ...]]:
    """The reference's trimmer after tuning, where the design is tuned as a circuit; else as written."""
    written, zero_beat = design.reference.trimmer, design.tuning.zero_beat
    if design.law != "circuit" or zero_beat is None:
        return written, ()
    try:
        curve, branch = curves_for(scene_of(design), notice=say)[design.player.posture], branch_of(design)
        law = solved_variable(design, curve, branch).oscillator.law()
        target = float(law.frequency(float(curve.capacitance(zero_beat)) + design.antenna.stray))
    except ValueError as error:
        return written, (f"the trimmer stays as written, there is nothing to tune to: {error}",)
    _, setting, remarks = tuned_reference_circuit(design, target, zero_beat)
    return setting, remarks


def _with_its_antenna(design: Design, which: str, circuit: OscillatorCircuit) -> tuple[OscillatorCircuit, float | None]:
    """The variable or volume oscillator with its antenna, and the hand's distance, m."""
    scene = scene_of(design)
    if which == "variable":
        curve, distance = curves_for(scene, notice=say)[design.player.posture], design.tuning.zero_beat
        own = curve.empty_capacitance if distance is None else float(curve.capacitance(distance))
        branch = branch_of(design)
        return with_antenna(circuit, own + design.antenna.stray, branch, tap_of(design).ratio), distance
    ring = volume_scene_of(design, scene)
    if ring is None or design.volume_antenna is None:
        raise DesignError(f"{design.name}: has no volume antenna; add [volume_antenna]")
    with blaming(design, which):
        own = loop_curve_for(ring, notice=say).empty_capacitance
    return with_antenna(circuit, own + design.volume_antenna.stray, DIRECT), None
