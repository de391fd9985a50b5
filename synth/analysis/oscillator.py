"""One oscillator of a design on the bench: which circuit, with what antenna, trimmer, pot and load."""

from __future__ import annotations

from dataclasses import dataclass, replace

from models.circuit.common_base import Load, OscillatorCircuit
from models.circuit.variable_oscillator import with_antenna
from synth.build.circuit_assembly import blaming, with_trimmer
from synth.build.workbench import OpenedDesign
from synth.designs.quantity import format_quantity, parse
from synth.designs.sections import CircuitSection, Design
from synth.errors import DesignError

NO_LOAD = "none"


@dataclass(frozen=True, slots=True)
class PreparedOscillator:
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


def prepared_oscillator(
    design: Design, which: str, pot: float | None = None, load: str | None = None
) -> PreparedOscillator:
    """The oscillator as the instrument has it: the reference tuned for zero beat, the variable one with the hand at
    that distance, the volume one with nobody there. `pot` and `load` replace those of the design.
    """
    notices: tuple[str, ...] = ()
    if design.circuit is None:
        notices = (_default_parts_notice(which),)
        design = replace(design, circuit=CircuitSection(), tuning=replace(design.tuning, law="lossless"))
    opened = OpenedDesign(design)
    circuit = opened.circuits[which]
    trimmer: float = getattr(design, which).trimmer
    distance: float | None = None
    if which == "reference":
        trimmer, remarks = _tuned_trimmer(opened)
        circuit, notices = with_trimmer(circuit, trimmer), notices + remarks
    elif which == "variable":
        distance = design.tuning.zero_beat
        own = opened.curve.empty_capacitance if distance is None else float(opened.curve.capacitance(distance))
        circuit = opened.loaded_variable(own + design.antenna.stray)
    elif opened.loop_curve is None or design.volume_antenna is None:
        raise DesignError(f"{design.name}: has no volume antenna; add [volume_antenna]")
    else:
        circuit = with_antenna(circuit, opened.loop_curve.empty_capacitance + design.volume_antenna.stray, None)
    designed = circuit.load
    with blaming(design, which):
        if pot is not None:
            circuit = replace(circuit, bias=replace(circuit.bias, position=pot))
        if load is not None:
            circuit = replace(circuit, load=load_of(load, circuit))
    return PreparedOscillator(design, which, circuit, trimmer, designed, distance, notices)


def _default_parts_notice(which: str) -> str:
    part = CircuitSection()
    feedback, emitter = (format_quantity(value, "F") for value in (part.feedback_capacitor, part.emitter_capacitor))
    return (
        f"the design has no [circuit]: read with default parts around the tank of [{which}]. Their feedback and "
        f"emitter capacitors ({feedback}, {emitter}) and the transistor come on top of that section's stray, so the "
        "frequency is lower than in `beatfield field`; add a [circuit] section to state your parts"
    )


def _tuned_trimmer(opened: OpenedDesign) -> tuple[float, tuple[str, ...]]:
    """The reference's trimmer after tuning, where the design is tuned as a circuit; else as written."""
    if opened.design.law != "circuit" or opened.design.tuning.zero_beat is None:
        return opened.design.reference.trimmer, ()
    try:
        return opened.pair.reference.trimmer_setting, opened.pair.notices
    except ValueError as error:
        written = opened.design.reference.trimmer
        return written, (f"the trimmer stays as written, there is nothing to tune to: {error}",)
