"""A design opened for work: the design and all that is made from it, each thing once."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TypeVar, cast

import numpy as np

from models.branch.antenna_branch import SeriesInductor, preferred_mode
from models.branch.tapped_coil import Tap, seen_from_tap
from models.circuit.adjoint import Adjoint, oscillator_adjoint
from models.circuit.coupled import Pulling, Through, pulling, supply_drop
from models.circuit.mixer_table import DrawnDetector, MixerTable
from models.circuit.mixing import Mixed, MixerSolver
from models.circuit.oscillator import steady_state
from models.circuit.ripple_law import RippleLaw, ripple_laws
from models.circuit.steady_state import SteadyState
from models.circuit.variable_oscillator import with_antenna
from models.circuit.work import TooMuchWorkError, bounded_work
from models.hand.both_hands import HandCurve
from models.hand.capacitance_curve import CapacitanceCurve
from models.hand.earthing import ANTENNA, COMMON, HOLDING_RATIO, RING, USUAL_SHOES, Earthing, Ties, tank_tie
from models.hand.hand_field import HandField, distances_of, heights_of
from models.hand.scene import POSTURES, Posture, Scene
from models.instrument import AnyDetector, Instrument
from models.pitch_field import PitchField, pitch_field
from models.quick_dataclass import dataclass
from models.tank import Tank
from models.volume.both_hands import BothHands
from models.volume.volume_antenna import VolumeAntenna
from synth.build.assembly import (
    assemble_volume,
    branch_of,
    branch_tie,
    detector_of,
    earthing_of,
    lossless_pair,
    scene_fault,
    scene_of,
    tank_in,
    variable_frequency,
    wired,
)
from synth.build.circuit_assembly import (
    MOST_WORK,
    Circuit,
    SolvedVariable,
    TunedPair,
    blaming,
    circuit_of,
    circuit_pair,
    mixer_at_every_beat,
    sent_by,
    solved_variable,
    standing_mixer,
    tap_of,
    tuned_reference_circuit,
)
from synth.build.curve_cache import field_for
from synth.build.notices import (
    CHILD_SCALED,
    COILS_NOT_COUNTED,
    COMMON_BONDED,
    COMMON_NO_CONDUCTOR,
    NODE_NOT_COUNTED,
    RIPPLE_IN_MIXER,
    floating_notice,
    instrument_notices,
    mixer_notice,
    outward_notices,
    pulling_notices,
    ripple_notices,
    supply_drop_notice,
    voltage_notices,
)
from synth.build.pulling_assembly import coil_notices, coupling_of, lossless_lock_range
from synth.designs.design_file import Design, load_design
from synth.designs.oscillator_sections import CouplingSection
from synth.designs.quantity import format_quantity
from synth.errors import DesignError, at_place
from synth.files.plain_text import printable
from synth.progress_line import ProgressLine, erase_progress
from synth.terminal import shown

RIPPLE_POINTS = 5
"""Of the variable oscillator's solved points, at which its answer to ripple is asked."""
Name = TypeVar("Name")
Value = TypeVar("Value")
#: An antenna whose parts and field nearly cancel, by this share of the field, counts as held to the common.
NEAR_RESONANCE = 0.2
NEAR = 0.1
"""Relative difference of two solved oscillators beside a lossless law, up to which their lock range is told."""
DROP_TOLD = 1e-5
"""Relative shift of a frequency by a shared supply resistance, above which it is told."""


class MadeOnce(dict[Name, Value]):
    """Values by name or number, each made when it is first asked for."""

    def __init__(self, make: Callable[[Name], Value]) -> None:
        super().__init__()
        self.make = make

    def __missing__(self, name: Name) -> Value:
        self[name] = self.make(name)
        return self[name]


@dataclass(frozen=True, eq=False)
class OpenedDesign:
    """One design with what is made from it: each thing is made when it is first asked for, and kept.

    `given`: curves of the hand and of the volume ring to be used in place of those that are computed from the scene;
    without a curve of the ring the volume antenna is left out. `near`: a design much like this one, solved, from which
    its circuits are found in fewer steps. What cannot be made raises DesignError.
    """

    design: Design
    given: tuple[CapacitanceCurve, CapacitanceCurve | None] | None = None
    near: OpenedDesign | None = None

    def __getstate__(self) -> dict[str, object]:
        """What goes to another process: the design, its scene and the field of that; the rest is made there anew."""
        taken = ("design", "given", "scene", "hand_field", "earthing")
        return {**{name: self.__dict__[name] for name in taken if name in self.__dict__}, "near": None}

    @cached_property
    def wired(self) -> Design:
        """The design with a chain of chokes as the one coil and the strays that equal it."""
        return wired(self.design)

    @cached_property
    def scene(self) -> Scene:
        """What the antenna's capacitance depends on."""
        return scene_of(self.design)

    @cached_property
    def _told(self) -> set[str]:
        return set()

    def tell(self, text: str) -> None:
        """Say a line of progress or notice, each only once for this design."""
        if text not in self._told:
            self._told.add(text)
            say(text)

    @cached_property
    def earthing(self) -> Earthing:
        """What joins player and common to earth beside the field."""
        return earthing_of(self.design)

    def with_earthing(self, shoes: float, common_to_earth: float, design: Design | None = None) -> OpenedDesign:
        """The same scene, not solved again, with other ties to earth beside the field, F (infinite: a wire).

        design: with other parts in the same scene, on which a second antenna hangs; None: the same.
        Raises DesignError for a common that floats in a scene of which it is no conductor.
        """
        if common_to_earth != math.inf and COMMON not in self.hand_field.names:
            raise DesignError(COMMON_NO_CONDUCTOR)
        return self._with(self.scene, self.hand_field, shoes, common_to_earth, design)

    def _with(
        self, scene: Scene, field: HandField, shoes: float, common_to_earth: float, design: Design | None = None
    ) -> OpenedDesign:
        other = OpenedDesign(design or self.design)
        earthing = Earthing(field.body_share + shoes, common_to_earth)
        # where cached_property keeps them
        other.__dict__.update({"scene": scene, "hand_field": field, "earthing": earthing})
        return other

    def in_scene(self, scene: Scene) -> OpenedDesign:
        """The same design in another scene, such as `self.scene.moved(lean=0.05)`: its parts, shoes and supply as they
        are, its curves those of that scene; zero beat, where the design asks for it, is tuned there.

        The field of that scene is solved, or read from the cache, in this call (seconds; it may run on another thread),
        and kept. Raises DesignError for a player who does not fit into it.
        """
        return self._scenes[scene]

    @cached_property
    def _scenes(self) -> Mapping[Scene, OpenedDesign]:
        def made(scene: Scene) -> OpenedDesign:
            shoes = self.earthing.shoes(self.hand_field.body_share)
            return self._with(scene, self._field_of(scene), shoes, self.earthing.common_to_earth)

        return MadeOnce(made)

    @cached_property
    def hand_field(self) -> HandField:
        """Maxwell's matrices of the scene for the places of the hands."""
        return self._field_of(self.scene)

    def _field_of(self, scene: Scene) -> HandField:
        try:
            return field_for(scene, self.tell, None, distances_of(scene), POSTURES, heights_of(scene))
        except ValueError as error:
            raise scene_fault(self.design, error) from error

    @cached_property
    def ties_with_notices(self) -> tuple[Ties, tuple[str, ...]]:
        """What joins the conductors beside the field, and what to know of it.

        Ring and pitch antenna each hang on the common by their own oscillator's parts at the other oscillator's
        frequency (that with the other antenna held to the common). One that they hold by little is left hanging on
        that, with a notice; where the field and the parts come near a resonance the antenna counts as held.
        """
        field, tank = self.hand_field, self.tanks["variable"]
        try:
            held = field.ties(self.earthing)
        except ValueError as error:
            raise scene_fault(self.design, error) from error
        part = self.design.volume_antenna
        if part is None or RING not in field.names:
            return held, ()
        seen = seen_from_tap(tank, self.tap)
        curve = self._pitch_hand(held, self.design.player.posture).curve
        capacitance = float(curve.capacitances[-1]) + self.wired.antenna.stray
        mode = self.design.tuning.mode
        mode = preferred_mode(seen, self.branch, capacitance) if mode == "auto" else mode
        pitch = 2.0 * math.pi * variable_frequency(seen, self.branch, capacitance, mode)
        volume = self.tanks["volume"]
        own = [float(field.without_player[k, k]) for k in map(field.names.index, (RING, ANTENNA))]
        ring = part.stray + tank_tie(pitch, volume.inductance, volume.total_capacitance)
        loop = own[0] + part.stray
        tuned = 2.0 * math.pi * float(volume.with_antenna(loop))
        antenna = branch_tie(tuned, seen, self.branch, self.wired.antenna.stray)
        notices: tuple[str, ...] = ()
        if abs(ring) < HOLDING_RATIO * own[0]:
            notices = (floating_notice(ring, own[0], pitch / (2.0 * math.pi)),)
        ring, antenna = (
            tie if abs(tie + alone) > NEAR_RESONANCE * alone else math.inf
            for tie, alone in zip((ring, antenna), own, strict=True)
        )
        return field.ties(self.earthing, ring, antenna), notices

    @property
    def body_to_earth(self) -> float | None:
        """Capacitance of the player to earth in all, F; None: bonded, or not known where the curves are given."""
        total = self.design.player.body_capacitance
        if total is None and self.given is None:
            return self.hand_field.body_share + USUAL_SHOES
        return None if total == math.inf else total

    @property
    def resting_height(self) -> float | None:
        """Where the volume hand is when nothing is said of it: at full volume, m; None: at the top of its field."""
        response = self.design.volume_response
        return None if response is None else response.full_height

    def _pitch_hand(self, ties: Ties, posture: str) -> HandCurve:
        try:
            return self.hand_field.pitch(cast(Posture, posture), ties, self.resting_height)
        except ValueError as error:
            raise at_place(self.design.place, error) from error

    @cached_property
    def hands(self) -> Mapping[str, HandCurve]:
        """By posture: what both hands do to the pitch antenna."""
        if self.given is not None:
            return {self.design.player.posture: HandCurve(self.given[0])}
        ties = self.ties_with_notices[0]
        return {posture: self._pitch_hand(ties, posture) for posture in self.hand_field.places}

    @cached_property
    def ring_hands(self) -> HandCurve | None:
        """What both hands do to the volume ring; None for a design without one."""
        if self.given is not None:
            return None if self.given[1] is None else HandCurve(self.given[1])
        if self.design.volume_antenna is None or RING not in self.hand_field.names:
            return None
        try:
            return self.hand_field.ring(cast(Posture, self.design.player.posture), self.ties_with_notices[0])
        except ValueError as error:
            raise at_place(self.design.place, error) from error

    @cached_property
    def curves(self) -> Mapping[str, CapacitanceCurve]:
        """The hand field by posture, the volume hand at rest."""
        return {posture: hand.curve for posture, hand in self.hands.items()}

    @property
    def curve(self) -> CapacitanceCurve:
        """The hand field of the posture that the design names, the volume hand at rest."""
        return self.curves[self.design.player.posture]

    @property
    def loop_curve(self) -> CapacitanceCurve | None:
        """The field of the volume ring, the pitch hand at rest far away; None for a design without one."""
        return None if self.ring_hands is None else self.ring_hands.curve

    @cached_property
    def tap(self) -> Tap:
        """Where the antenna branch is joined to the variable oscillator's coil."""
        return tap_of(self.design)

    @cached_property
    def branch(self) -> SeriesInductor:
        """The series inductor, or none, with a tapped coil's leakage in it."""
        return branch_of(self.wired)

    @cached_property
    def tanks(self) -> Mapping[str, Tank]:
        """The resonance of the "reference", "variable" or "volume" oscillator, its trimmer as written."""
        return MadeOnce(lambda which: tank_in(self.wired, which))

    @property
    def lifted(self) -> OpenedDesign:
        """The design with its series inductor off the tank: what a chain of chokes adds there goes with it."""
        part = self.design.branch
        if part is None or part.chokes <= 1.0:
            return self
        return OpenedDesign(replace(self.design, branch=replace(part, chokes=1.0)), self.given)

    @cached_property
    def circuits(self) -> Mapping[str, Circuit]:
        """The circuit of an oscillator without its antenna, its trimmer as written."""
        return MadeOnce(lambda which: circuit_of(self.wired, which))

    @cached_property
    def solved_variables(self) -> Mapping[str, SolvedVariable]:
        """By posture: the variable oscillator's circuit solved along the hand."""

        def solved(posture: str) -> SolvedVariable:
            alike = None if self.near is None else self.near.solved_variables[posture].oscillator.states[0]
            return solved_variable(self.wired, self.curves[posture], self.branch, alike)

        return MadeOnce(solved)

    @property
    def tuned_reference(self) -> Circuit:
        """The reference's circuit with its trimmer set for zero beat."""
        return self.circuits["reference"].with_trimmer(self.reference_tank.trimmer_setting)

    def loaded_variable(self, capacitance: float) -> Circuit:
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
            wanted = f"{self.design.place}: tuning.zero_beat = {format_quantity(distance, 'm')}"
            raise DesignError(f"{wanted}: the hand field reaches from {limits}; choose a distance within it")
        return distance

    @cached_property
    def tuning_capacitance(self) -> float:
        """Capacitance, F, of the antenna with its stray and the hand there."""
        return float(self.curve.capacitance(self.tuning_distance)) + self.wired.antenna.stray

    @cached_property
    def pair(self) -> TunedPair:
        """Both oscillators, the reference tuned by its trimmer where tuning.zero_beat asks for it.

        With tuning.law "circuit" both are solved as circuits, else by their resonance. Where the trimmer cannot get
        there it stays at the nearer end and a notice says what is missing. With tuning.mode "auto" the oscillator
        takes the mode that starts first.
        """
        if self.design.law == "circuit":
            posture = self.design.player.posture
            alike = None if self.near is None or self.near.pair.states is None else self.near.pair.states[0]
            place = self.tuning_capacitance, self.tuning_distance
            return circuit_pair(self.wired, lambda: self.solved_variables[posture], *place, alike)
        return lossless_pair(
            self.wired,
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
    def ripple_laws(self) -> Mapping[float, dict[str, RippleLaw]]:
        """By the ripple's frequency, Hz: what 1 V (peak) of it does to the beat, by where it enters.

        The variable oscillator's adjoints along the hand are those of the solved circuits that make its law. Without
        circuits there is nothing to ask: KeyError.
        """

        def laws(frequency: float) -> dict[str, RippleLaw]:
            if self.adjoints is None:
                raise KeyError(frequency)
            with blaming(self.design, "variable"):
                return ripple_laws(self.adjoints[0], *self._along_the_hand, frequency)

        return MadeOnce(laws)

    @cached_property
    def _along_the_hand(self) -> tuple[list[float], list[Adjoint]]:
        """Antenna capacitances, F, from end to end, and the variable oscillator's adjoint with each."""
        solved = self.solved_variables[self.design.player.posture].oscillator
        chosen = sorted(set(np.linspace(0, len(solved.states) - 1, RIPPLE_POINTS).round().astype(int).tolist()))
        return [float(solved.capacitances[one]) for one in chosen], [
            oscillator_adjoint(solved.states[one]) for one in chosen
        ]

    @cached_property
    def ripple(self) -> RippleLaw | None:
        """What the ripple of [supply] does to the beat; None where there is none."""
        part = self.design.supply
        if part is None or part.ripple == 0.0:
            return None
        return self.ripple_laws[part.ripple_frequency][part.ripple_at].times(part.ripple)

    @cached_property
    def leaking(self) -> tuple[Adjoint, Adjoint] | None:
        """The two circuits that leak into each other: `adjoints`; where tuning.law is "lossless" both solved beside it.

        None without a [circuit], and where the law does without circuits and they do not oscillate near each other.
        """
        if self.design.circuit is None or self.design.law == "circuit":
            return self.adjoints
        try:
            both = self.at_zero_beat(self.pair.reference_frequency)
        except DesignError:
            return None
        reference, variable = (adjoint.state.frequency for adjoint in both)
        return both if abs(variable / reference - 1.0) <= NEAR else None

    def at_zero_beat(
        self, near: float, alike: tuple[SteadyState | None, SteadyState | None] = (None, None)
    ) -> tuple[Adjoint, Adjoint]:
        """Reference and variable oscillator solved at zero beat alone, where nothing is asked of other notes: the
        variable one in its mode nearest to `near`, Hz, the reference tuned to it. alike: those of a design much like
        this one. Raises DesignError.
        """
        with blaming(self.design, "variable"):
            loaded = self.loaded_variable(self.tuning_capacitance)
            variable = steady_state(loaded, warm_start=alike[1], near_frequency=near)
            target, distance = variable.frequency, self.tuning_distance
            reference, _, _ = tuned_reference_circuit(self.wired, target, distance, alike[0])
            return oscillator_adjoint(reference), oscillator_adjoint(variable)

    @cached_property
    def pulling(self) -> Pulling | None:
        """How the two solved oscillators pull each other; None without circuits, and where the lock range is given."""
        if self.design.coupling.lock_range is not None or self.leaking is None:
            return None
        with blaming(self.design, "variable"):
            return pulling(*self.leaking, coupling_of(self.design), self.through)

    @cached_property
    def lock_range(self) -> tuple[float, tuple[str, ...]]:
        """How far apart the oscillators lock, Hz, as given or computed, and what to say of it."""
        given = self.design.coupling.lock_range
        if given is not None:
            return given, () if self.design.coils is None else (COILS_NOT_COUNTED,)
        if self.pulling is None or self.leaking is None:
            return lossless_lock_range(self.design, self.pair, self.branch, self.tuning_capacitance)
        drop = supply_drop(*self.leaking, coupling_of(self.design))
        told = max(abs(drop.first_shift), abs(drop.second_shift)) > DROP_TOLD * self.pair.reference_frequency
        first = self.leaking[0].state.circuit
        dropped = (supply_drop_notice(drop, first.supply_voltage),) if told else ()
        return self.pulling.lock_range, pulling_notices(self.pulling) + dropped + coil_notices(self.design)

    @cached_property
    def standing_mixer(self) -> tuple[MixerSolver, Mixed] | None:
        """What solves the drawn mixer, and its law where the beat phase stands still; None where none is drawn."""
        return None if self.design.detector.parts is None else standing_mixer(self.wired, self.pair.states)

    @cached_property
    def through(self) -> Through | None:
        """What the drawn mixer sends into both oscillators; None where none is drawn."""
        return None if self.standing_mixer is None else sent_by(self.standing_mixer[1])

    def through_between(self, both: tuple[Adjoint, Adjoint]) -> Through | None:
        """The same between two oscillators solved `at_zero_beat`."""
        if self.design.detector.parts is None:
            return None
        return sent_by(standing_mixer(self.wired, (both[0].state, both[1].state))[1])

    @cached_property
    def mixer(self) -> MixerTable | None:
        """The drawn mixer's tone at every beat; None for a design that draws none."""
        if self.standing_mixer is None:
            return None
        return mixer_at_every_beat(self.wired, self.pair, *self.standing_mixer)

    @cached_property
    def detector(self) -> AnyDetector:
        """What makes the beat audible: the drawn mixer, or one of the fixed kinds."""
        if self.mixer is None:
            return detector_of(self.design, self.pair.reference_frequency)
        return DrawnDetector(self.mixer, *self.mixer.amplitudes)

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
                antenna_stray=self.wired.antenna.stray,
                mode=pair.mode,
                lock_range=self.lock_range[0],
                detector=self.detector,
                tone_low_pass=tone.low_pass,
                dc_block=tone.dc_block,
                level=tone.level,
                variable_law=pair.law,
                reference_amplitude=pair.node_amplitude if design.circuit_amplitudes else None,
                tap_ratio=self.tap.ratio,
                ripple=self.ripple,
            )
            for end in (self.curve.nearest, self.curve.farthest):
                instrument.detector_at(end)
        except ValueError as error:
            raise at_place(design.place, error, "the detector cannot take what it is given: ") from error
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
    def both_hands(self) -> Mapping[str, BothHands]:
        """By posture: what either hand does to the other's antenna; empty for a design without a volume antenna."""
        ring, volume = self.ring_hands, self.volume
        if ring is None or volume is None:
            return {}
        return {posture: BothHands(hand, ring, volume) for posture, hand in self.hands.items()}

    @property
    def _mixer_notices(self) -> tuple[str, ...]:
        if self.mixer is None:
            return ()
        plain, part, supply = CouplingSection(), self.design.coupling, self.design.supply
        drawn = (part.node_resistance, part.node_capacitance) != (plain.node_resistance, plain.node_capacitance)
        found = mixer_notice(self.mixer, self.field.highest_frequency) + ((NODE_NOT_COUNTED,) if drawn else ())
        return found + ((RIPPLE_IN_MIXER,) if supply is not None and supply.ripple > 0.0 else ())

    @cached_property
    def notices(self) -> tuple[str, ...]:
        """What to know of the instrument."""
        found = self.pair.notices + self.lock_range[1] + instrument_notices(self.instrument)
        found += outward_notices(self.field)
        if self.design.circuit is not None:
            found += voltage_notices(self.design.circuit.supply_voltage)
        supply, with_volume = self.design.supply, self.design.volume is not None
        if supply is not None:
            found += ripple_notices(self.ripple, supply.ripple, supply.ripple_at, with_volume)
        found += self._mixer_notices + self.volume_with_notices[1]
        if self.given is not None:
            return found
        found += self.ties_with_notices[1]
        found += (CHILD_SCALED,) if self.design.player.size == "child" else ()
        return found if self.design.common.to_earth is not None else (*found, COMMON_BONDED)


def say(text: str) -> None:
    """Print one line of progress or notice to stderr, with what would steer a terminal spelled out.

    Quietly nothing where stderr is gone or full: what is computed does not hang on it.
    """
    erase_progress()
    with suppress(OSError, ValueError):
        print(shown(printable(text), sys.stderr), file=sys.stderr, flush=True)


def assembled(opened: OpenedDesign) -> OpenedDesign:
    """`opened` with its instrument, volume antenna and pitch field made, so that every fault shows now."""
    _ = opened.scene, opened.curve, opened.loop_curve
    try:
        with bounded_work(MOST_WORK):
            _ = opened.notices, opened.field
    except TooMuchWorkError as error:
        raise DesignError(f"{opened.design.place}: [circuit]: {error}") from error
    return opened


def open_design(path: str | Path) -> OpenedDesign:
    """Load and assemble the design in `path`; raise DesignError with every fault where it cannot be used."""
    return open_loaded(load_design(Path(path)))


def open_loaded(design: Design, near: OpenedDesign | None = None) -> OpenedDesign:
    """Assemble an already loaded design; `near`: one that is much like it, whose circuits are solved."""
    with ProgressLine("solving the design"):
        return assembled(OpenedDesign(design, near=near))


def assemble(design: Design, curve: CapacitanceCurve, loop_curve: CapacitanceCurve | None = None) -> OpenedDesign:
    """Assemble `design` in the hand field `curve`, with its volume antenna, if it has one, in the field `loop_curve`.

    Without `loop_curve` the volume antenna is left out.
    """
    return assembled(OpenedDesign(design, (curve, loop_curve)))
