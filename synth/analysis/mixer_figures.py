"""A drawn mixer in figures: its tone in volts at the notes, how far it follows the beat, what it loads both with."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from models.circuit.adjoint import Adjoint
from models.circuit.drawing import Load
from models.circuit.harmonic_balance import waveform
from models.circuit.mixer import SOURCES, entry
from models.circuit.mixing import Mixed
from models.circuit.network import GROUND
from models.quick_dataclass import dataclass
from synth.analysis.figures import OfDesign, collected, of
from synth.build.circuit_assembly import MIXER, blaming
from synth.build.workbench import OpenedDesign
from synth.errors import DesignError

HARMONICS = 5
"""Of the tone, that are told."""
USUAL_BEAT = 440.0
"""Hz at which the stage is read, where the field does not play it."""


@dataclass(frozen=True, slots=True)
class MixerNote:
    """The tone at one note: peak of its fundamental, V, its harmonics 2 to HARMONICS over it, dB, and its mean, V."""

    note: str
    frequency_hz: float
    level_v: float
    harmonics_db: tuple[float, ...]
    dc_v: float


@dataclass(frozen=True, slots=True)
class MixerLoad:
    """What an oscillator is solved with as the mixer's load (synth.build.circuit_assembly.mixer_loads_of), and how that
    shifts its frequency."""

    oscillator: str
    resistance_ohm: float
    capacitance_f: float
    shift_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MixerFigures:
    """A drawn mixer. quasi_static_up_to_hz: up to this beat all of it follows the beat within 1 %; corner_hz: where its
    fundamental has half or twice the power of that at a beat that stands still."""

    quasi_static_up_to_hz: float
    corner_hz: float
    radio_hz: float
    loads: tuple[MixerLoad, ...]
    notes: tuple[MixerNote, ...]


@dataclass(frozen=True, slots=True)
class MixerPoint:
    """One node: its mean, V, how far it swings with the beat, and with the radio frequency at most, peak to peak."""

    name: str
    dc_v: float
    tone_v: float
    radio_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StageFigures(OfDesign):
    """The mixer as it is read at the bench, at a note of `beat_hz`."""

    supply_v: float
    supply_current_a: float
    beat_hz: float
    mixer: MixerFigures = of("mixer")
    points: tuple[MixerPoint, ...]
    notices: tuple[str, ...] = of("opened.notices")


def mixer_figures(opened: OpenedDesign) -> MixerFigures | None:
    """Collect the figures of a design's mixer; None where it draws none."""
    table, both = opened.mixer, opened.adjoints
    if table is None or both is None:
        return None
    return MixerFigures(
        quasi_static_up_to_hz=table.quasi_static_up_to,
        corner_hz=table.corner,
        radio_hz=table.radio,
        loads=tuple(
            MixerLoad(which, load.resistance, load.capacitance, load_shift(adjoint, load))
            for which, adjoint in zip(SOURCES, both, strict=True)
            for load in (adjoint.state.circuit.load,)
            if load is not None
        ),
        notes=tuple(_notes(opened)),
    )


def load_shift(oscillator: Adjoint, load: Load) -> float:
    """The change of frequency, Hz, by a load behind the output resistor, against nothing behind it.

    The current i = U / (1 / (j k w C) + R + Z_load) that the branch takes from the node of the output, U the swing
    there, to first order by the oscillation's projection (models.circuit.adjoint).
    """
    drawing, order = oscillator.state.circuit.drawing(), oscillator.order[1:]
    turning = 1j * oscillator.angular_frequency * order
    behind = 1.0 / (1.0 / load.resistance + turning * load.capacitance)
    series = 1.0 / (turning * drawing.coupling_capacitor) + drawing.output_resistor + behind
    node = oscillator.linear.index(drawing.output_node)
    taken = np.zeros_like(oscillator.spectra)
    taken[node, 1:] = -oscillator.spectra[node, 1:] / series
    return oscillator.frequency_shift(taken)


def _notes(opened: OpenedDesign) -> Iterator[MixerNote]:
    """The tone at every C that the field plays, lowest first, with the amplitudes there."""
    instrument, table = opened.instrument, opened.mixer
    if table is None or instrument.reference_amplitude is None:
        return
    for line in opened.field.notes():
        if line.name[0] != "C" or not line.name[1:].isdigit():
            continue
        beat = float(instrument.beat_frequency(line.distance))
        lines = table.read(beat, instrument.reference_amplitude, instrument.variable_amplitude(line.distance))[0]
        sizes = np.maximum(np.abs(lines), 1e-12)
        levels = 20.0 * np.log10(sizes[2 : HARMONICS + 1] / sizes[1])
        yield MixerNote(line.name, line.frequency, float(sizes[1]), tuple(levels.tolist()), float(lines[0].real))


def stage_at_note(opened: OpenedDesign) -> Mixed:
    """The mixer at USUAL_BEAT. Raises DesignError for a design that draws none."""
    if opened.standing_mixer is None:
        raise DesignError(f"{opened.design.place}: draws no mixer; add [detector.parts]")
    solver, still = opened.standing_mixer
    with blaming(opened.design, MIXER):
        return solver.solve(USUAL_BEAT, near=still.ports)


def stage_figures(opened: OpenedDesign) -> StageFigures:
    """Collect what to read on the mixer of a design. Raises DesignError for a design that draws none."""
    mixed, mixer = stage_at_note(opened), mixer_figures(opened)
    circuit = mixed.mixer
    rail = float(mixed.coefficients(circuit.drawing().rail)[0].real.mean())
    return collected(
        StageFigures,
        {"design": opened.design, "opened": opened, "mixer": mixer},
        supply_v=circuit.supply_voltage,
        supply_current_a=(circuit.supply_voltage - rail) / circuit.supply_resistor,
        beat_hz=mixed.beat,
        points=tuple(point_at(mixed, node) for node in mixer_nodes(mixed)),
    )


def mixer_nodes(mixed: Mixed) -> tuple[str, ...]:
    """The nodes that are read: those of the drawing, in the order of its parts."""
    drawing = mixed.mixer.drawing()
    hidden = {GROUND, *(entry(which) for which in SOURCES)}
    nodes = dict.fromkeys((drawing.rail, *(node for part in drawing.parts for node in part.ends)))
    return tuple(node for node in nodes if node not in hidden and node in mixed.names)


def point_at(mixed: Mixed, node: str) -> MixerPoint:
    """What to read at a node."""
    coefficients = mixed.coefficients(node)
    slow, radio = coefficients[0].real, coefficients.T.copy()
    radio[:, 0] = 0.0
    swings = np.ptp(waveform(radio, 8 * (mixed.harmonics + 1)), axis=1)
    return MixerPoint(node, float(slow.mean()), float(np.ptp(slow)), float(swings.max()))
