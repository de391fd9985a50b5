"""A design opened for work: the design and all that is made from it, each thing once."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from models.branch.antenna_branch import SeriesInductor
from models.branch.tapped_coil import Tap
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.common_base import OscillatorCircuit
from models.circuit.coupled import Coupling, Pulling, pulling
from models.circuit.oscillator import steady_state
from models.circuit.variable_oscillator import with_antenna
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.scene import Scene
from models.instrument import Instrument
from models.pitch_field import PitchField, pitch_field
from models.tank import Tank
from models.volume.volume_antenna import VolumeAntenna
from synth.build.assembly import (
    assemble_volume,
    branch_of,
    detector_of,
    lossless_lock_range,
    lossless_pair,
    scene_of,
    tank_in,
    volume_scene_of,
)
from synth.build.circuit_assembly import (
    SolvedVariable,
    TunedPair,
    blaming,
    circuit_of,
    circuit_pair,
    same_keys,
    solved_variable,
    tap_of,
)
from synth.build.curve_cache import Curves, curves_for, loop_curve_for
from synth.build.notices import instrument_notices, pulling_notices
from synth.designs.design_file import Design, load_design
from synth.designs.quantity import format_quantity
from synth.errors import DesignError
from synth.files.plain_text import marked, printable

Value = TypeVar("Value")


class MadeOnce(dict[str, Value]):
    """Values by name, each made when it is first asked for."""

    def __init__(self, make: Callable[[str], Value]) -> None:
        super().__init__()
        self.make = make

    def __missing__(self, name: str) -> Value:
        self[name] = self.make(name)
        return self[name]


@dataclass(frozen=True, eq=False)
class OpenedDesign:
    """One design with what is made from it: each thing is made when it is first asked for, and kept.

    `given`: curves of the hand and of the volume ring to be used in place of those that are computed from the scene;
    without a curve of the ring the volume antenna is left out. What cannot be made raises DesignError.
    """

    design: Design
    given: tuple[CapacitanceCurve, CapacitanceCurve | None] | None = None

    @cached_property
    def scene(self) -> Scene:
        """What the antenna's capacitance depends on."""
        return scene_of(self.design)

    @cached_property
    def curves(self) -> Curves:
        """The hand field by posture."""
        if self.given is not None:
            return {self.design.player.posture: self.given[0]}
        try:
            return curves_for(self.scene, notice=say)
        except ValueError as error:
            raise DesignError(f"{self.design.name}: {error}") from error

    @property
    def curve(self) -> CapacitanceCurve:
        """The hand field of the posture that the design names."""
        return self.curves[self.design.player.posture]

    @cached_property
    def loop_curve(self) -> CapacitanceCurve | None:
        """The field of the volume ring; None for a design without one."""
        if self.given is not None:
            return self.given[1]
        ring = volume_scene_of(self.design, self.scene)
        try:
            return None if ring is None else loop_curve_for(ring, notice=say)
        except ValueError as error:
            raise DesignError(f"{self.design.name}: {error}") from error

    @cached_property
    def tap(self) -> Tap:
        """Where the antenna branch is joined to the variable oscillator's coil."""
        return tap_of(self.design)

    @cached_property
    def branch(self) -> SeriesInductor:
        """The series inductor, or none, with a tapped coil's leakage in it."""
        return branch_of(self.design)

    @cached_property
    def tanks(self) -> Mapping[str, Tank]:
        """The resonance of the "reference", "variable" or "volume" oscillator, its trimmer as written."""
        return MadeOnce(lambda which: tank_in(self.design, which))

    @cached_property
    def circuits(self) -> Mapping[str, OscillatorCircuit]:
        """The circuit of an oscillator without its antenna, its trimmer as written."""
        return MadeOnce(lambda which: circuit_of(self.design, which))

    @cached_property
    def solved_variables(self) -> Mapping[str, SolvedVariable]:
        """By posture: the variable oscillator's circuit solved along the hand."""
        return MadeOnce(lambda posture: solved_variable(self.design, self.curves[posture], self.branch))

    @property
    def tuned_reference(self) -> OscillatorCircuit:
        """The reference's circuit with its trimmer set for zero beat."""
        return self.circuits["reference"].with_trimmer(self.reference_tank.trimmer_setting)

    def loaded_variable(self, capacitance: float) -> OscillatorCircuit:
        """The variable oscillator's circuit with `capacitance`, F, of antenna and stray behind its branch."""
        return with_antenna(self.circuits["variable"], capacitance, self.branch, self.tap.ratio)

    @cached_property
    def tuning_distance(self) -> float:
        """Hand distance, m, that the reference is tuned at: that of zero beat, else the end of the field."""
        curve, distance = self.curve, self.design.tuning.zero_beat
        if distance is None:
            return curve.farthest
        if not curve.nearest <= distance <= curve.farthest:
            limits = f"{format_quantity(curve.nearest, 'm')} to {format_quantity(curve.farthest, 'm')}"
            text = f"tuning.zero_beat = {format_quantity(distance, 'm')}: the hand field reaches from {limits}"
            raise DesignError(text)
        return distance

    @cached_property
    def tuning_capacitance(self) -> float:
        """Capacitance, F, of the antenna with its stray and the hand there."""
        return float(self.curve.capacitance(self.tuning_distance)) + self.design.antenna.stray

    @cached_property
    def pair(self) -> TunedPair:
        """Both oscillators, the reference tuned by its trimmer where tuning.zero_beat asks for it.

        With tuning.law "circuit" both are solved as circuits, else by their resonance. Where the trimmer cannot get
        there it stays at the nearer end and a notice says what is missing. With tuning.mode "auto" the oscillator
        takes the mode that starts first.
        """
        if self.design.law == "circuit":
            posture = self.design.player.posture
            return circuit_pair(
                self.design, lambda: self.solved_variables[posture], self.tuning_capacitance, self.tuning_distance
            )
        return lossless_pair(
            self.design,
            (self.tanks["variable"], self.tanks["reference"]),
            self.branch,
            self.tuning_capacitance,
            self.tuning_distance,
        )

    @property
    def reference_tank(self) -> Tank:
        """The reference's resonance, its trimmer set."""
        return self.pair.reference

    @cached_property
    def adjoints(self) -> tuple[Adjoint, Adjoint] | None:
        """What every small cause does to the reference and to the variable oscillator, tuned; None without circuits."""
        if self.pair.states is None:
            return None
        reference, near = self.pair.states
        with blaming(self.design, "variable"):
            variable = steady_state(self.loaded_variable(self.tuning_capacitance), warm_start=near)
            return oscillator_adjoint(reference), oscillator_adjoint(variable)

    @cached_property
    def pulling(self) -> Pulling | None:
        """How the two solved oscillators pull each other; None without circuits, and where the lock range is given."""
        if self.design.coupling.lock_range is not None or self.adjoints is None:
            return None
        with blaming(self.design, "variable"):
            return pulling(*self.adjoints, Coupling(common_node=True, **same_keys(Coupling, self.design.coupling)))

    @cached_property
    def lock_range(self) -> tuple[float, tuple[str, ...]]:
        """How far apart the oscillators lock, Hz, as given or computed, and what to say of it."""
        given = self.design.coupling.lock_range
        if given is not None:
            return given, ()
        if self.pulling is None:
            return lossless_lock_range(self.design, self.pair, self.branch, self.tuning_capacitance)
        return self.pulling.lock_range, pulling_notices(self.pulling)

    @cached_property
    def instrument(self) -> Instrument:
        """The instrument, ready to play."""
        design, pair, tone = self.design, self.pair, self.design.tone
        try:
            instrument = Instrument(
                curve=self.curve,
                variable_tank=pair.variable,
                reference_frequency=pair.reference_frequency,
                branch=self.branch,
                antenna_stray=design.antenna.stray,
                mode=pair.mode,
                lock_range=self.lock_range[0],
                detector=detector_of(design, pair.reference_frequency),
                tone_low_pass=tone.low_pass,
                dc_block=tone.dc_block,
                level=tone.level,
                variable_law=pair.law,
                reference_amplitude=pair.node_amplitude if design.circuit_amplitudes else None,
                tap_ratio=self.tap.ratio,
            )
            for end in (self.curve.nearest, self.curve.farthest):
                instrument.detector_at(end)
        except ValueError as error:
            raise DesignError(f"{design.name}: the detector cannot take what it is given: {error}") from error
        return instrument

    @cached_property
    def field(self) -> PitchField:
        """Which pitch sounds at which hand distance."""
        return pitch_field(self.instrument, reference_a=self.design.tuning.reference_a)

    @cached_property
    def volume_with_notices(self) -> tuple[VolumeAntenna | None, tuple[str, ...]]:
        """The volume antenna, None where the volume hand is a plain gain, and what to know of it."""
        if self.loop_curve is None or self.design.volume is None:
            return None, ()
        return assemble_volume(self.design, self.tanks["volume"], self.loop_curve)

    @property
    def volume(self) -> VolumeAntenna | None:
        """The volume antenna; None where the volume hand is a plain gain."""
        return self.volume_with_notices[0]

    @cached_property
    def notices(self) -> tuple[str, ...]:
        """What to know of the instrument."""
        found = self.pair.notices + self.lock_range[1] + instrument_notices(self.instrument)
        return found + self.volume_with_notices[1]


def say(text: str) -> None:
    """Print one line of progress or notice to stderr, with what would steer a terminal spelled out."""
    print(marked(printable(text), sys.stderr), file=sys.stderr, flush=True)


def assembled(opened: OpenedDesign) -> OpenedDesign:
    """`opened` with its instrument, volume antenna and pitch field made, so that every fault shows now."""
    volume_scene_of(opened.design, opened.scene)
    _ = opened.curve, opened.loop_curve, opened.notices, opened.field
    return opened


def open_design(path: str | Path) -> OpenedDesign:
    """Load and assemble the design in `path`; raise DesignError with every fault where it cannot be used."""
    return open_loaded(load_design(Path(path)))


def open_loaded(design: Design) -> OpenedDesign:
    """Assemble an already loaded design."""
    return assembled(OpenedDesign(design))


def assemble(design: Design, curve: CapacitanceCurve, loop_curve: CapacitanceCurve | None = None) -> OpenedDesign:
    """Assemble `design` in the hand field `curve`, with its volume antenna, if it has one, in the field `loop_curve`.

    Without `loop_curve` the volume antenna is left out.
    """
    return assembled(OpenedDesign(design, (curve, loop_curve)))
