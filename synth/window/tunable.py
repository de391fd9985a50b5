"""What a design offers to the controls: its instrument, what both hands do to it, its drift, its fine-tune pot.

Register builds the design anew with other parts: L times sqrt(k), and of the fixed capacitor so much less that the
oscillator swings where it did,

    C' = C - (1 - 1/sqrt(k)) / (omega^2 L)            (derived here)

omega the oscillator's frequency at zero beat: whatever else hangs on the tank, antenna and series inductor too, then
carries the same current as before, and L and C change by opposite amounts of susceptance. The tank's impedance grows
with sqrt(k), and with it the shift that a capacitance makes: twice the L/C ratio, some 1.4 times the shift straight on
the tank, less behind a series inductor. Exact for oscillators by their resonance; a solved circuit is solved anew and
lands beside its frequency by what its losses change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from models.arrays import Floats
from models.circuit.oscillator import pot_sweep
from models.circuit.variable_law import VariableLaw
from models.detector.memoryless import DETECTORS
from models.hand.both_hands import HandCurve
from models.hand.capacitance_curve import monotone_cubic
from models.hand.earthing import COMMON, USUAL_SHOES
from models.hand.scene import Bystander, Posture, Scene
from models.instrument import Instrument
from models.quick_dataclass import dataclass
from models.tank import Tank
from models.volume.both_hands import BothHands
from models.volume.volume_antenna import VolumeAntenna
from synth.build.notices import COMMON_NO_CONDUCTOR, explained
from synth.build.workbench import OpenedDesign, open_loaded
from synth.designs.quantity import format_quantity
from synth.designs.sections import Design
from synth.errors import DesignError
from synth.window.controls import BYSTANDERS, COMMONS, CONTROLS, Control, Settings, Stance
from synth.window.first_order import FirstOrder, first_order_of

if TYPE_CHECKING:
    from models.builds.drift import DriftLaw

POT_POINTS = 21
DESIGNED = "as designed"
HEIGHT_WAY = 0.2  # m, up and down, that the control lets the pitch hand go
BEING_SOLVED = "its circuits are being solved for this; a moment"
NO_TRIMMER = "the reference has no trimmer"


@dataclass(frozen=True, slots=True)
class Parts:
    """Parts against the design's: the L/C ratio of both tanks, the series inductor, the antenna's length."""

    register: float = 1.0
    inductor: float = 1.0
    antenna: float = 1.0

    def apart(self, other: Parts) -> tuple[bool, float]:
        """How far other parts are from these, to be compared: those with another antenna are farthest."""
        ways = (self.register / other.register, self.inductor / other.inductor)
        return self.antenna != other.antenna, sum(abs(math.log(ratio)) for ratio in ways)


AS_WRITTEN = Parts()


def parts_of(settings: Settings) -> Parts:
    """The parts that the controls ask for."""
    return Parts(*(settings.number(name) for name in ("register", "inductor", "antenna")))


@dataclass(frozen=True, slots=True, eq=False)
class PotCurve:
    """The reference of a solved circuit, Hz (n,), against its bias pot (n,), 0 to 1, at the trimmer's setting."""

    positions: Floats
    frequencies: Floats

    def frequency(self, position: float) -> float:
        """Frequency, Hz, at a position between the solved ones."""
        return float(monotone_cubic(self.positions, self.frequencies)(position))


@dataclass(frozen=True, slots=True, eq=False)
class Earthed:
    """What follows from other shoes or another tie of the common: see `Tunable`."""

    hand: HandCurve
    volume: VolumeAntenna | None
    both: BothHands | None


class Ties:
    """What other ties to earth give a design with this volume antenna, whose oscillator stays tuned as it is.

    Those asked for last are kept: undo and the tuning ask again.
    """

    def __init__(self, volume: VolumeAntenna | None) -> None:
        self._volume = volume
        self._kept = lru_cache(maxsize=8)(self._found)

    def __reduce__(self) -> tuple[type[Ties], tuple[VolumeAntenna | None]]:
        return Ties, (self._volume,)

    def __call__(self, shoes: float, common: float, workpiece: OpenedDesign) -> Earthed:
        """The curves with other ties, F, in the scene of `workpiece`."""
        return self._kept(shoes, common, workpiece)

    def _found(self, shoes: float, common: float, workpiece: OpenedDesign) -> Earthed:
        other = workpiece.with_earthing(shoes, common)
        ring, hand = other.ring_hands, other.hands[workpiece.design.player.posture]
        if self._volume is None or ring is None:
            return Earthed(hand, self._volume, None)
        volume = replace(self._volume, curve=ring.curve)
        return Earthed(hand, volume, BothHands(hand, ring, volume))


class Scenes:
    """The scene of a design as the controls change it: solved, or read from the cache, when it is asked for."""

    def __init__(self, workpiece: OpenedDesign) -> None:
        self._workpiece = workpiece
        self.designed = Stance(
            workpiece.scene.player.lean,
            0.0 if workpiece.scene.from_above else workpiece.scene.hand_height,
            "nobody" if workpiece.scene.room.bystander is None else DESIGNED,
        )
        self._solved = {self.designed: workpiece}
        self._last = workpiece

    def has(self, stance: Stance) -> bool:
        """Whether this one is solved."""
        return stance in self._solved

    def solved(self, stance: Stance) -> OpenedDesign:
        """The design in the scene of a stance, its field solved (seconds), to be kept here by `keep`.

        Raises DesignError for a stance that the scene does not take.
        """
        first, designed = self._workpiece.scene, self.designed
        height = stance.hand_height if stance.hand_height != designed.hand_height else None
        beside = BYSTANDERS.get(stance.bystander)
        person = None if beside is None else Bystander(0.0, beside)
        try:
            scene = first.moved(lean=stance.lean, hand_height=height, bystander=person)
        except ValueError as error:
            raise DesignError(str(error)) from error
        if stance.bystander == "nobody" and first.room.bystander is not None:
            scene = replace(scene, room=replace(scene.room, bystander=None))
        return self._workpiece.in_scene(scene)

    def keep(self, stance: Stance, found: OpenedDesign) -> None:
        """Have the design in the scene of a stance, as it was solved."""
        self._solved[stance] = found

    def at(self, stance: Stance) -> OpenedDesign:
        """The design in that scene; until it is solved in the one that was asked for last."""
        self._last = self._solved.get(stance, self._last)
        return self._last


@dataclass(frozen=True, slots=True, eq=False)
class Tunable:
    """A design, its instrument, and what it can be changed by. `faults`: name of a control to why it is not there.

    posture: whose nearest skin the distances are of. hand: what the pitch antenna has with both hands and the fingers;
    both: None without a volume antenna; law: of a solved circuit; reference: the tank with its trimmer set. scene: of
    the conductors, to be drawn. shoes, common: F, what joins player and common to earth beside the field; earthed: what
    other such ties give, by the matrices of the field. has_pot: whether `pot` is there, or will be once it is solved.
    first_order: of a solved circuit, once that is worked out. All of it can be sent to another process.
    """

    design: Design
    instrument: Instrument
    reference_a: float
    posture: Posture
    hand: HandCurve
    zero_beat: float | None
    volume: VolumeAntenna | None = None
    both: BothHands | None = None
    law: VariableLaw | None = None
    reference: Tank | None = None
    drift: DriftLaw | None = None
    pot: PotCurve | None = None
    has_pot: bool = False
    faults: Mapping[str, str] = field(default_factory=dict)
    first_order: FirstOrder | None = None
    shoes: float = USUAL_SHOES
    common: float = math.inf
    earthed: Ties | None = None
    scene: Scene = field(default_factory=Scene)
    scenes: Scenes | None = None


def tunable(workpiece: OpenedDesign, at_once: bool = False) -> Tunable:
    """What an opened design offers. Solves a design with [circuit] along its pot, and for its drift.

    at_once: leave what solves circuits to `prepared`; the controls that need it say so.
    """
    design, instrument, first_order = workpiece.design, workpiece.instrument, None
    faults: dict[str, str] = {}
    posture = cast(Posture, design.player.posture)
    drift, pot = None, None
    if at_once and instrument.variable_law is not None:
        faults["temperature"] = faults["pot"] = BEING_SOLVED
    else:
        from synth.analysis.drift import drift_law  # with the laws of many builds, which a first sound does without

        try:
            drift = drift_law(workpiece, 1.0, np.empty(0))
        except (DesignError, ValueError) as error:
            faults["temperature"] = str(error)
        pot = _pot_curve(workpiece, faults)
        first_order = None if instrument.variable_law is None else first_order_of(workpiece)
    shoes, earthed, scenes = USUAL_SHOES, None, None
    if workpiece.given is None:
        shoes = workpiece.earthing.shoes(workpiece.hand_field.body_share)
        earthed = Ties(workpiece.volume)
        scenes = Scenes(workpiece)
    else:
        faults |= dict.fromkeys(("lean", "hand_height", "bystander"), "the curves are given, not those of a scene")
    if workpiece.given is None and workpiece.scene.from_above:
        faults["hand_height"] = "the hand comes down from above"
    if earthed is None or shoes == math.inf:
        faults["shoes"] = "the player is bonded to earth, or the curves are not from a scene"
    if earthed is None or COMMON not in workpiece.hand_field.names:
        faults["common"] = COMMON_NO_CONDUCTOR
    reference = workpiece.reference_tank
    if pot is None and reference.trimmer_maximum <= reference.trimmer_minimum:
        faults.setdefault("pot", NO_TRIMMER)
    if design.branch is None:
        faults["inductor"] = "there is no series inductor in this design"
    if design.antenna.form != "rod":
        faults["antenna"] = f"the antenna is a {design.antenna.form}, no rod whose length could be changed"
    return Tunable(
        design=design,
        instrument=instrument,
        reference_a=workpiece.field.reference_a,
        posture=posture,
        hand=workpiece.hands[posture],
        zero_beat=workpiece.field.zero_beat_distance,
        volume=workpiece.volume,
        both=workpiece.both_hands.get(posture),
        law=instrument.variable_law,
        reference=reference,
        drift=drift,
        pot=pot,
        has_pot=_has_pot(workpiece),
        faults=faults,
        first_order=first_order,
        shoes=shoes,
        common=workpiece.earthing.common_to_earth,
        earthed=earthed,
        scene=workpiece.scene,
        scenes=scenes,
    )


def prepared(at_once: Tunable, whole: Tunable) -> Tunable:
    """What was offered `at_once`, with all that the `whole` offer of the same design has."""
    return replace(at_once, drift=whole.drift, pot=whole.pot, faults=whole.faults, first_order=whole.first_order)


def unprepared(at_once: Tunable, reason: str) -> Tunable:
    """What was offered `at_once` where the rest cannot be had: the controls that waited for it say why."""
    faults = {name: reason if fault == BEING_SOLVED else fault for name, fault in at_once.faults.items()}
    return replace(at_once, faults=faults)


def with_parts(origin: Tunable, parts: Parts) -> Tunable:
    """`origin`, a design as written, with other parts (module text).

    With another series inductor or antenna the reference is tuned to the zero beat of before, as if its fixed capacitor
    were changed too. Raises DesignError where no capacitor is left to take away, where the other mode would start
    first, or where the changed circuit does not work.
    """
    if parts == AS_WRITTEN:
        return origin
    workpiece = open_loaded(changed_design(origin, parts))
    found = tunable(workpiece)
    if found.instrument.mode != origin.instrument.mode:
        raise DesignError("with these parts the oscillator starts in its other mode")
    if origin.zero_beat is None or (parts.inductor, parts.antenna) == (1.0, 1.0):
        return found
    place = min(max(origin.zero_beat, found.instrument.curve.nearest), found.instrument.curve.farthest)
    tuned = replace(found.instrument, reference_frequency=float(found.instrument.variable_frequency(place)))
    return replace(found, instrument=tuned, zero_beat=place)


def changed_design(origin: Tunable, parts: Parts) -> Design:
    """The design of `origin` with other parts: the tanks' L/C ratio as in the module's text; errors as above."""
    design, instrument = origin.design, origin.instrument
    factor = math.sqrt(parts.register)
    zero_beat = instrument.curve.farthest if origin.zero_beat is None else origin.zero_beat
    swings = {"variable": float(instrument.variable_frequency(zero_beat)), "reference": instrument.reference_frequency}
    changes: dict[str, Any] = {}
    for which, frequency in swings.items():
        section = getattr(design, which)
        less = (1.0 - 1.0 / factor) / ((2.0 * math.pi * frequency) ** 2 * section.inductance)
        if section.capacitance < less:
            raise DesignError(f"the {which} oscillator has too little fixed capacitance for this register")
        changes[which] = replace(
            section, inductance=section.inductance * factor, capacitance=section.capacitance - less
        )
    if parts.inductor != 1.0 and design.branch is not None:
        changes["branch"] = replace(design.branch, inductance=design.branch.inductance * parts.inductor)
    if parts.antenna != 1.0:
        changes["antenna"] = replace(design.antenna, length=design.antenna.length * parts.antenna)
    return replace(design, **changes)


def towards_parts(origin: Tunable, near: Tunable, before: Parts, parts: Parts) -> Tunable:
    """`near`, solved circuits with the parts `before`, moved to another register and series inductor of `origin` to
    first order, and tuned as they were.

    Raises ValueError where there is no such design, the change is too large for that, or the antenna is another one.
    """
    if near.first_order is None or near.law is None:
        raise DesignError("without solved circuits there is nothing to move")
    if before.antenna != parts.antenna:
        raise DesignError("the field of another antenna is solved anew")
    law = near.first_order.law(near.law, changed_design(origin, parts))
    place, unmoved = near.first_order.tuning_distance, near.instrument
    moved = replace(unmoved, variable_law=law)
    off_tune = unmoved.reference_frequency - float(unmoved.variable_frequency(place))
    tuned = replace(moved, reference_frequency=float(moved.variable_frequency(place)) + off_tune)
    return replace(near, instrument=tuned, law=law)


def _detectors(kind: str) -> tuple[str, ...]:
    """The kinds to choose from: the fixed ones, and the design's own where it is drawn."""
    return DETECTORS if kind in DETECTORS else (*DETECTORS, kind)


def controls_of(offer: Tunable) -> tuple[Control, ...]:
    """The table of controls with the ranges and defaults of this instrument."""
    instrument, curve = offer.instrument, offer.instrument.curve
    low, high = max(0.05, curve.nearest), min(curve.farthest, 1.5)
    zero_beat = high if offer.zero_beat is None else min(max(offer.zero_beat, low), high)
    own: dict[str, Any] = {
        "zero_beat": {"low": low, "high": high, "default": zero_beat},
        "detector": {"default": instrument.detector.kind, "choices": _detectors(instrument.detector.kind)},
        "coupling": {"default": instrument.lock_range, "high": max(120.0, 2.0 * instrument.lock_range)},
        "tone": {
            "default": instrument.tone_low_pass,
            "low": min(250.0, instrument.tone_low_pass),
            "high": max(16000.0, instrument.tone_low_pass),
        },
        "shoes": {
            "default": USUAL_SHOES if offer.shoes == math.inf else offer.shoes,
            "high": max(400e-12, 0.0 if offer.shoes == math.inf else offer.shoes),
        },
        "common": {"default": common_name(offer.common), "choices": (*COMMONS, *_other_common(offer.common))},
        **_stance_of(offer),
        "reference_a": {
            "default": offer.reference_a,
            "low": min(400.0, offer.reference_a),
            "high": max(480.0, offer.reference_a),
        },
    }
    if offer.has_pot and offer.design.circuit is not None:
        own["pot"] = {
            "default": offer.design.circuit.reference_pot,
            "low": 0.0,
            "high": 1.0,
            "step": 0.005,
            "unit": "",
            "hint": "The reference's bias pot: shifts its transistor's current and junction, and so its frequency.",
        }
    return tuple(replace(control, **own.get(control.name, {})) for control in CONTROLS)


def _stance_of(offer: Tunable) -> dict[str, Any]:
    """Ranges and defaults of what changes the scene."""
    if offer.scenes is None:
        return {}
    stance, (low, high) = offer.scenes.designed, offer.scene.antenna.heights
    here = 0.0 if stance.hand_height is None else stance.hand_height
    lowest, highest = (round(min(max(here + way, low), high), 2) for way in (-HEIGHT_WAY, HEIGHT_WAY))
    heights = {
        "default": here,
        "low": min(lowest, here),
        "high": max(highest, here),
    }
    others = (DESIGNED,) if stance.bystander == DESIGNED else ()
    return {
        "lean": {"default": stance.lean, "low": min(-0.10, stance.lean), "high": max(0.20, stance.lean)},
        "hand_height": {} if offer.scene.from_above else heights,
        "bystander": {"default": stance.bystander, "choices": (*others, *BYSTANDERS)},
    }


def common_name(capacitance: float) -> str:
    """What the control calls a tie of the common, F."""
    names = [name for name, value in COMMONS.items() if value == capacitance]
    return names[0] if names else format_quantity(capacitance, "F")


def _other_common(capacitance: float) -> tuple[str, ...]:
    return () if capacitance in COMMONS.values() else (common_name(capacitance),)


def first_settings(offer: Tunable) -> Settings:
    """Every control as the design has it."""
    return Settings(controls=controls_of(offer))


def _has_pot(workpiece: OpenedDesign) -> bool:
    """Whether the oscillators are solved as circuits and the reference has a pot."""
    return workpiece.design.law == "circuit" and workpiece.tuned_reference.pot_position is not None


def _pot_curve(workpiece: OpenedDesign, faults: dict[str, str]) -> PotCurve | None:
    """The reference along its pot, for a design whose oscillators are solved as circuits; None without a pot."""
    if not _has_pot(workpiece):
        return None
    try:
        positions, states = pot_sweep(workpiece.tuned_reference, np.linspace(0.0, 1.0, POT_POINTS).tolist())
    except ValueError as error:
        faults["pot"] = f"the circuit does not oscillate all along its pot: {explained(error)}"
        return None
    return PotCurve(positions, np.array([state.frequency for state in states]))
