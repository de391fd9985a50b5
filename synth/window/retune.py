"""From the controls' settings to the instrument that plays: by the models alone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from models.circuit.variable_law import VariableLaw
from models.hand.both_hands import HandCurve
from models.hand.scene import Scene
from models.instrument import AnyDetector, Instrument
from models.pitch import nearest_note
from models.pitch_field import PitchField, pitch_field
from models.quick_dataclass import dataclass
from models.volume.both_hands import BothHands
from models.volume.volume_antenna import VolumeAntenna
from synth.build.assembly import detector_of
from synth.errors import DesignError
from synth.window.controls import COMMONS, Settings, Stance, Tuning
from synth.window.pull import Pull, pull_of
from synth.window.tunable import Earthed, Tunable, common_name

if TYPE_CHECKING:
    from models.builds.drift import DriftLaw

BEYOND_TRIMMER = "zero beat there lies beyond the reference's trimmer: as if its fixed capacitor were changed too"

SLACK = 1e-9  # of the trimmer's way, for rounding


@dataclass(frozen=True, slots=True, eq=False)
class Tuned:
    """What plays: instrument and pitch field, what both hands and the fingers do, the scene, the volume antenna,
    controls that are not there with the reason, and what to know.
    """

    instrument: Instrument
    field: PitchField
    hand: HandCurve
    scene: Scene
    volume: VolumeAntenna | None
    disabled: Mapping[str, str]
    notices: tuple[str, ...] = ()
    both: BothHands | None = None
    pull: Pull | None = None

    def heard(self, distance: float, volume: float, height: float | None, opening: float) -> tuple[float, float]:
        """Distance, m, and gain that sound with the pitch hand at `distance`, m, its fingers `opening` open.

        height: m, of the volume hand; None: it is no hand over a ring, and the gain is `volume`.
        """
        other = None if self.both is None else height
        fingers = None if opening == self.hand.opening else opening
        place = distance
        if other is not None or fingers is not None:
            place = float(self.hand.equal_distance(distance, other, fingers))
        gain = volume if self.both is None or height is None else float(self.both.gain(distance, height))
        return (place if self.pull is None else self.pull.at(place)), gain


def retuned(offer: Tunable, settings: Settings) -> Tuned:
    """The instrument of `offer` (made with the parts of `settings`) with every other control as set.

    Raises ValueError where the settings cannot be built: a trimmer at its end, a part beyond what the models take.
    """
    base = offer.instrument
    now = settings.as_now
    earthed = _earthed(offer, now)
    instrument = _conditioned(offer, now)
    reference, notices = _reference_frequency(offer, settings, now)
    coupling = settings.number("coupling")  # as the design has it: its own, to the last digit
    instrument = replace(
        instrument,
        reference_frequency=reference,
        lock_range=base.lock_range if coupling == settings.control("coupling").default else coupling,
        tone_low_pass=settings.number("tone"),
        detector=_detector(offer, settings.text("detector"), reference),
    )
    for end in (instrument.curve.nearest, instrument.curve.farthest):
        instrument.detector_at(end)
    field = pitch_field(instrument, reference_a=settings.number("reference_a"))
    return Tuned(
        instrument=instrument,
        field=field,
        hand=earthed.hand,
        volume=earthed.volume,
        disabled=offer.faults,
        notices=notices,
        both=earthed.both,
        pull=pull_of(field, settings.guide_notes, settings.number("pull")),
        scene=offer.scene if offer.scenes is None else offer.scenes.at(stance_of(offer, now.stance)).scene,
    )


def effect_text(tuned: Tuned, distance: float, without: Tuned | None = None) -> str:
    """What a hand at a distance, m, plays and what a millimetre does there: "Here A4 +3, 15 cents a mm."; beside what
    it would be without a control, if that is given; nothing where nothing sounds.
    """
    here = _played(tuned, distance)
    if not here:
        return ""
    before = "" if without is None else _played(without, distance)
    return f" Here {here}." if without is None else f" Here {here}; as designed {before or 'silence'}."


def _played(tuned: Tuned, distance: float) -> str:
    try:
        slope, beat = float(tuned.field.cents_per_mm(distance)), float(tuned.field.frequency_at(distance))
        note, off = nearest_note(beat, tuned.field.reference_a)
    except ValueError:
        return ""
    if not math.isfinite(slope):
        return ""
    shown = f"{slope:.0f}" if slope >= 10.0 else f"{slope:.1f}"
    return f"{note.replace('#', chr(0x266F))} {round(off):+d}, {shown} cents a mm".replace("-", chr(0x2212))


def _conditioned(offer: Tunable, state: Tuning) -> Instrument:
    """The instrument with the hand's curve and its variable oscillator at the rise of temperature."""
    base = offer.instrument
    curve, law = _earthed(offer, state).hand.curve, offer.law
    if law is not None:  # its circuits are solved for the field of the design
        ends = (float(curve.capacitance(end)) + base.antenna_stray for end in (curve.farthest, curve.nearest))
        law = law.reaching(*ends)
    at_rest = replace(base, curve=curve, variable_law=law)
    if state.rise == 0.0:
        return at_rest
    part = _parts(offer, state.rise)
    stray = part["antenna_stray"]
    if law is not None:
        return replace(at_rest, antenna_stray=stray, variable_law=_warm_law(offer, law, state.rise, stray))
    tank = base.variable_tank
    warm = replace(
        tank,
        inductance=part["variable_inductance"],
        capacitance=part["variable_capacitance"] + part["variable_divider"],
        board_stray=part["variable_stray"] + part["variable_junction"] + part["variable_trimmer"],
        trimmer_minimum=0.0,
        trimmer_maximum=0.0,
    )
    coil = {"inductance": part["branch_inductance"], "self_capacitance": part["branch_self_capacitance"]}
    branch = replace(base.branch, **coil)
    return replace(at_rest, variable_tank=warm, branch=branch, antenna_stray=stray)


def _earthed(offer: Tunable, state: Tuning) -> Earthed:
    """The curves with the player and the common joined to earth, and standing, as in `state`."""
    as_designed = Earthed(offer.hand, offer.volume, offer.both)
    shoes = offer.shoes if "shoes" in offer.faults else state.shoes
    if offer.earthed is None or offer.scenes is None:
        return as_designed
    common, stance = common_name(offer.common), stance_of(offer, state.stance)
    if (shoes, state.common, stance) == (offer.shoes, common, offer.scenes.designed):
        return as_designed
    tie = offer.common if state.common == common else COMMONS[state.common]
    return offer.earthed(shoes, tie, offer.scenes.at(stance))


def stance_of(offer: Tunable, stance: Stance) -> Stance:
    """The stance, with the design's own height of the hand where the controls ask for no other."""
    if offer.scenes is None:
        return stance
    as_designed = stance.hand_height is None or "hand_height" in offer.faults
    return replace(stance, hand_height=offer.scenes.designed.hand_height) if as_designed else stance


def _parts(offer: Tunable, rise: float) -> dict[str, float]:
    """Value of every part at a rise of temperature, K; by the drift report's own law."""
    drift = _drift(offer)
    return dict(zip(drift.law.quantities, drift.values(rise)[0].tolist(), strict=True))


def _drift(offer: Tunable) -> DriftLaw:
    """The law of the design's drift; DesignError where it has none."""
    if offer.drift is None:
        raise DesignError(offer.faults["temperature"])
    return offer.drift


def _warm_law(offer: Tunable, law: VariableLaw, rise: float, stray: float) -> VariableLaw:
    """A solved oscillator warmer by `rise`, K: its frequency times the ratio by which the law of the drift report moves
    it, the transistor's own drift in it.
    """
    drift, cold = _drift(offer), offer.instrument.antenna_stray
    hand = law.capacitances - cold
    before, after = (drift.law.variable_frequency(drift.values(kelvin), hand)[0] for kelvin in (0.0, rise))
    return VariableLaw(hand + stray, law.frequencies * after / before, law.amplitudes)


def _reference_frequency(offer: Tunable, settings: Settings, now: Tuning) -> tuple[float, tuple[str, ...]]:
    """The reference, Hz, tuned as it was and then left to fine tuning and temperature; and what to say about it."""
    tuning = settings.tuning
    notices: tuple[str, ...] = ()
    if tuning is None:
        start = replace(
            now,
            rise=0.0,
            pot=float(settings.control("pot").default),
            shoes=offer.shoes,
            common=common_name(offer.common),
            stance=now.stance if offer.scenes is None else offer.scenes.designed,
        )
        tuned = offer.instrument.reference_frequency
    else:
        start = tuning
        tuned = float(_conditioned(offer, tuning).variable_frequency(settings.number("zero_beat")))
        notices = _trimmer_notices(offer, tuned)
    shifted = tuned * _pot_ratio(offer, tuned, start.pot, now.pot)
    return shifted * _warm_ratio(offer, shifted, start.rise, now.rise), notices


def _trimmer_notices(offer: Tunable, frequency: float) -> tuple[str, ...]:
    """Whether the reference's trimmer reaches `frequency`, Hz."""
    tank = offer.reference
    if tank is None:
        return ()
    correction = offer.instrument.reference_frequency / tank.frequency
    low, high = tank.trimmer_range()
    return () if low * correction <= frequency <= high * correction else (BEYOND_TRIMMER,)


def _pot_ratio(offer: Tunable, tuned: float, before: float, after: float) -> float:
    """Reference frequency over what it was, the fine tuning turned from `before` to `after`.

    Of a solved circuit by the solved pot; else by the trimmer: f'/f = sqrt(C / (C + change)).
    """
    if before == after:
        return 1.0
    if offer.pot is not None:
        return offer.pot.frequency(after) / offer.pot.frequency(before)
    tank = offer.reference
    if tank is None or "pot" in offer.faults:
        raise DesignError(offer.faults.get("pot", "there is no fine tuning"))
    total = tank.total_capacitance * (offer.instrument.reference_frequency / tuned) ** 2
    span = tank.trimmer_maximum - tank.trimmer_minimum
    at = (total - tank.capacitance - tank.board_stray - tank.trimmer_minimum) / span
    within = [-SLACK <= turn <= 1.0 + SLACK for turn in (at, at + (after - before))]
    if within == [True, False]:
        raise DesignError("the reference's trimmer is at its end")
    return math.sqrt(total / (total + (after - before) * span))


def _warm_ratio(offer: Tunable, frequency: float, before: float, after: float) -> float:
    """Reference frequency over what it was, parts warmer by `after` instead of `before`, K."""
    if before == after:
        return 1.0
    drift = _drift(offer)
    start = drift.values(before)
    setting = drift.law.needed_setting(start, np.array([[frequency]]))
    return float(drift.law.reference_frequency(drift.values(after), setting)[0, 0]) / frequency


def _detector(offer: Tunable, kind: str, reference: float) -> AnyDetector:
    """The detector of another kind, with the parts of the design."""
    base = offer.instrument.detector
    if kind == base.kind:
        return base
    design = offer.design
    return detector_of(replace(design, detector=replace(design.detector, kind=kind)), reference)
