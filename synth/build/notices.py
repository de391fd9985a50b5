"""What to know of an instrument, in words: why an oscillator does not start, how far its trimmer reaches, what ails its
volume side; each with figures and the remedy.
"""

from __future__ import annotations

import math

from models.branch.antenna_branch import HOP_RATIO, ModeHop
from models.circuit.coupled import Pulling, SupplyDrop
from models.circuit.mixer_table import MixerTable
from models.circuit.ripple_law import SUPPLY, RippleLaw
from models.circuit.small_signal import DoesNotStartError, Obstacle, SmallSignal
from models.hand.earthing import HOLDING_RATIO
from models.instrument import Instrument
from models.pitch_field import PitchField
from models.volume.volume_antenna import VolumeAntenna, VolumeFault
from synth.designs.quantity import format_quantity

WEAKER = {
    "common_node": "larger output resistors or buffers make",
    "mixer": "larger output resistors, buffers or a mixer with two separate inputs make",
    "supply_resistance": "larger supply resistors and capacitors make",
    "coil_coupling": "more room between the coils, or their axes at right angles, make",
    "tank_to_tank_capacitance": "an earthed screen between the tanks makes",
}
"""What weakens each path of models.circuit.coupled."""
COMMON_BONDED = (
    "the circuit's common counts as bonded to earth, as the design does not say how it is fed: with a battery or an "
    "isolated supply the hand does less; say so with to_earth in [common]"
)
COMMON_NO_CONDUCTOR = (
    "the common is no conductor of this scene: give the design a [cabinet], or state to_earth in [common], which puts "
    "its board into the field"
)
CHILD_SCALED = (
    "the child is a grown woman of mean sizes, scaled by stature: a real child has shorter limbs and a larger head; "
    "give its own lengths in [player] where they are known"
)
TOUCHABLE = 60.0
"""V of direct current above which nothing may be touched, in dry places (IEC 60364-4-41, from memory)."""
ROUGH_RIPPLE = 0.2
"""Change of an amplitude above which a law of first order is told to be rough."""
COILS_NOT_COUNTED = (
    'the [coils] do not count: coupling.lock_range is given; write "computed" to have it follow from them'
)
RESONANCES_OVER_CIRCUITS = (0.6, 6.0)
"""Lock range by two resonances over that of whole circuits, least and most of those compared (the tests)."""
LITTLE_SWING = 600.0  # Hz by the whole way of the hand: a field that ends below D5 says why
TRIMMER_MARGIN = 0.05  # of the trimmer's turn that should be left at either end


OF_A_METHOD = ("steady state", "start-up:", "harmonic balance:", "envelope:", "transient:", "the mixer:", "the mixer's")
"""How messages begin that tell where a solution ended, which says nothing of what to change."""
NOT_FOLLOWED = (
    "; these values lie too far from usual ones to be solved: change one back at a time, or begin again from a design "
    "of `beatfield new --circuit`"
)


def explained(error: BaseException) -> str:
    """The message of `error`, with the whole reason where it says that an oscillator does not start, and with a remedy
    where it tells of a method only.
    """
    text, source = str(error), error
    while not isinstance(source, DoesNotStartError):
        if source.__cause__ is None:
            return text + NOT_FOLLOWED if text.startswith(OF_A_METHOD) and ";" not in text else text
        source = source.__cause__
    reason = f"the oscillator does not start: {_reason(source.signal)}"
    if source.growth_times:
        reason += " (while the supply rises it begins to swing, but dies away again)"
    return text.replace(str(source), reason)


def _reason(signal: SmallSignal) -> str:
    point, shares = signal.point, [*signal.loss_shares.items()]
    present = f"the transconductance is {signal.transconductance * 1e6:.4g} uS and "
    control, output, common = point.ends[0], point.ends[1], point.ends[-1]
    drawn = control != "base" or point.device != "transistor"
    largest = f"the {shares[0][0]}, {shares[0][1]:.0%} of the power" if shares else ""
    match signal.obstacle:
        case Obstacle.SATURATED:
            return (
                f"the bias saturates the {point.device} (base {point.base_voltage:.2f} V, collector "
                f"{point.collector_voltage:.2f} V): lower the base voltage or raise the supply"
            )
        case Obstacle.CUT_OFF:
            return (
                f"the bias leaves the {point.device} without current ({control} {point.base_voltage:.2f} V): "
                f"raise the {control} voltage or the supply"
            )
        case Obstacle.OHMIC:
            across = abs(point.collector_voltage - point.emitter_voltage)
            return (
                f"the {point.device} works as a resistor, with {across:.2f} V from {output} to {common}: raise the "
                f"supply, or lower its current or what lies between it and the supply"
            )
        case Obstacle.STUCK:
            return (
                f"the {control} of the {point.device} rests at {point.base_voltage:.2f} V, outside the range in which "
                f"it switches: join {control} and {output} by a resistor, and nothing else that carries direct current "
                f"to the {control}"
            )
        case Obstacle.SHORTED_FEEDBACK | Obstacle.TOO_LITTLE_TRANSCONDUCTANCE | Obstacle.LOSSES if drawn:
            needed, most = signal.critical_transconductance, signal.highest_transconductance
            if needed is None:
                return f"no transconductance of the {point.device} overcomes the losses; most is lost in {largest}"
            if most is not None and signal.transconductance > most:
                return f"{present}more than {most * 1e6:.4g} uS is too much: lower the current of the {point.device}"
            return (
                f"{present}{needed * 1e6:.4g} uS is needed; most is lost in {largest}: lower that loss, raise the "
                f"current of the {point.device}, or feed more back to its {common}"
            )
        case Obstacle.SHORTED_FEEDBACK if signal.highest_transconductance is not None:
            return (
                f"{present}more than {signal.highest_transconductance * 1e6:.4g} uS "
                "shorts the feedback at the emitter: lower the emitter current (larger emitter resistor) or "
                "raise the emitter capacitor and the feedback capacitor"
            )
        case Obstacle.TOO_LITTLE_TRANSCONDUCTANCE if signal.critical_transconductance is not None:
            return (
                f"{present}{signal.critical_transconductance * 1e6:.4g} uS is needed; "
                f"the largest loss is {largest.replace(', ', ' (')}): lower that loss, "
                "raise the emitter current or the feedback capacitor"
            )
        case _:
            worst = f" (largest: {largest})" if largest else ""
            return (
                f"no transconductance overcomes the losses{worst}: lower that loss, or raise the feedback capacitor "
                "and the emitter capacitor"
            )


def voltage_notices(volts: float) -> tuple[str, ...]:
    """The caution that belongs to a supply of `volts`: nothing where it may be touched."""
    if volts <= TOUCHABLE:
        return ()
    return (
        f"CAUTION: {format_quantity(volts, 'V')} of direct current can kill, and capacitors hold it after switching "
        "off: leave building and measuring to people trained for it, with an isolated, fused and tested supply; local "
        "codes come first",
    )


def start_notice(which: str) -> str:
    """That an oscillation needs the switching on."""
    return (
        f"the {which} oscillator starts when it is switched on quickly; once stopped it would not start again by "
        "itself (see `beatfield oscillator`): lower its emitter current"
    )


def margin_notice(setting: float, distance: float) -> tuple[str, ...]:
    """What to say of a trimmer at `setting` (0 to 1) for zero beat at `distance`, m: nothing unless near an end."""
    if TRIMMER_MARGIN <= setting <= 1.0 - TRIMMER_MARGIN:
        return ()
    room = 100.0 * min(setting, 1.0 - setting)
    return (
        f"the reference's trimmer gives {_place(distance)} only {room:.1f} % of its turn from its end: "
        "little is left for drift and tolerances",
    )


def out_of_reach_notice(reached: float, target: float, distance: float, fixed: float, now: float) -> str:
    """What to say of a trimmer at its end, where the reference is at `reached` and not at `target`, Hz.

    `fixed`, F, is the capacitor that brings it there with the trimmer in the middle, `now` the one it has.
    """
    miss = reached - target
    side = "above" if miss > 0.0 else "below"
    notice = (
        f"the reference's trimmer cannot reach {_place(distance)}: at its end it leaves the reference "
        f"{format_quantity(abs(miss), 'Hz')} {side} the {format_quantity(target, 'Hz', 6)} of the variable oscillator"
    )
    has = format_quantity(now, "F")
    if fixed <= 0.0:
        return f"{notice}; no reference.capacitance does it (now {has}): choose a smaller reference.inductance"
    needed = format_quantity(fixed, "F")
    return f"{notice}; reference.capacitance of {needed} (now {has}) brings it there with the trimmer in the middle"


def floating_notice(tie: float, own: float, frequency: float) -> str:
    """What to say of a ring of `own` F that its tank at `frequency`, Hz, holds to the common by little, `tie` F."""
    return (
        f"at the pitch frequency, {format_quantity(frequency, 'Hz')}, the volume oscillator holds its ring to the "
        f"common only as {format_quantity(abs(tie), 'F')} would, which is less than {HOLDING_RATIO:g} times the ring's "
        f"own {format_quantity(own, 'F')}: the volume hand then does more to the pitch; keep the two frequencies "
        "farther apart, or give the volume tank more capacitance"
    )


def pulling_notices(pulling: Pulling) -> tuple[str, ...]:
    """What to say of a computed lock range: nothing where the oscillators act weakly on each other."""
    first, solved = pulling.first_order, pulling.solved
    if first.trusted:
        return ()
    remedy = f"{WEAKER[max(first.alone, key=lambda path: first.alone[path])]} the coupling weaker"
    if math.isinf(first.second_order):
        return (
            f"behind the shared supply resistance one of the oscillators is not found to oscillate: take the lock "
            f"range of {format_quantity(pulling.lock_range, 'Hz')} as rough; {remedy}",
        )
    if solved is None:
        return (
            f"the oscillators act strongly on each other, which the lock range of "
            f"{format_quantity(pulling.lock_range, 'Hz')} leaves out: take it as rough, it may be up to "
            f"{1.0 + first.second_order:.2g} times as wide; {remedy}",
        )
    low, high = solved.edges
    return (
        f"the oscillators act strongly on each other: solved as one circuit they stay locked from "
        f"{format_quantity(low, 'Hz')} to {format_quantity(high, 'Hz')} of offset, and the beat beyond is pulled as by "
        f"a lock range of {format_quantity(pulling.lock_range, 'Hz')}, a fast beat by less; a weak coupling would give "
        f"{format_quantity(first.total, 'Hz')}; {remedy}",
    )


NODE_NOT_COUNTED = (
    "coupling.node_resistance and coupling.node_capacitance do not count for the two pitch oscillators: what their "
    "outputs meet is drawn in [detector.parts]; draw them there"
)
NO_TONE = 1e-3
"""Share of the tone of a slow beat below which that of a standing one is none: it leaves through a capacitor."""
RIPPLE_IN_MIXER = (
    "the ripple of [supply] sounds through both oscillators; what it does within the drawn mixer itself is not "
    "computed: its supply needs a filter of its own"
)


def mixer_notice(table: MixerTable, highest: float | None) -> tuple[str, ...]:
    """Which law of a drawn mixer holds where: nothing where it follows the beat up to the `highest` note, Hz."""
    followed, corner = table.quasi_static_up_to, table.corner
    if highest is None or highest <= followed:
        return ()
    change = ""
    standing, later = table.level(0.0), table.level(corner)
    if corner < highest and standing > NO_TONE * later:
        louder = later > standing
        change = f", {'twice' if louder else 'half'} as strong in power from {format_quantity(corner, 'Hz', 3)} on"
    return (
        f"the drawn mixer follows the beat at once up to {format_quantity(followed, 'Hz', 3)}; up to the highest note, "
        f"{format_quantity(highest, 'Hz', 3)}, its capacitors answer late, and the tone is solved at each beat with "
        f"them{change}",
    )


def ripple_notices(law: RippleLaw | None, volts: float, where: str, with_volume: bool) -> tuple[str, ...]:
    """What to say of a ripple of `volts` (peak) that enters `where`: that it sounds, and what weakens it."""
    if law is None:
        return ()
    largest = max(abs(law.reference_amplitude), *(abs(share) for share in law.variable_amplitudes))
    rough = f", roughly, as it changes the amplitudes by {largest:.0%}" if largest > ROUGH_RIPPLE else ""
    beside = "; what it does to the volume oscillator is left out" if with_volume and where == SUPPLY else ""
    remedy = "a regulated supply, or larger supply resistors and capacitors, weaken it"
    if where != SUPPLY:
        remedy = "short and screened wiring of the base, and a larger base capacitor, weaken it"
    return (
        f"{format_quantity(volts, 'V')} (peak) of ripple at {format_quantity(law.frequency, 'Hz')} ({where}) sounds in "
        f"the pitch oscillators{rough}{beside}; {remedy}. Caution: use an isolated, tested supply, never open one that "
        "is fed from the mains, and keep every protective earth",
    )


def supply_drop_notice(drop: SupplyDrop, supply: float) -> str:
    """What to say of a shared supply resistance: the frequencies are those of the whole `supply`, V."""
    size = max(abs(drop.first_shift), abs(drop.second_shift))
    behind = format_quantity(supply - drop.voltage, "V", 4)
    return (
        f"the shared supply resistance drops {format_quantity(drop.voltage, 'V')}, which the frequencies here leave "
        f"out: it shifts both by about {format_quantity(size, 'Hz')} and the beat by "
        f"{format_quantity(abs(drop.second_shift - drop.first_shift), 'Hz')}; to count it, write "
        f'circuit.supply_voltage = "{behind}", the voltage behind it'
    )


def coil_turns_notice(which: str, turns: float, sheet: float, stated: float) -> str:
    """What to say of a coil whose `turns` make the inductance `sheet` in a single layer, not the `stated` one, H."""
    return (
        f"coils.{which}_turns: a single layer of {turns:.4g} turns of that size has "
        f"{format_quantity(sheet, 'H')}, and {which}.inductance is {format_quantity(stated, 'H')}: with a core or "
        "several layers the coils' coupling is rough; leave the turns out to take as many as the inductance needs"
    )


def resonances_notice(lock_range: float, bandwidth: float | None, has_parts: bool) -> str:
    """What to say of the lock range, Hz, of two resonances; `bandwidth`: half that of the tanks, Hz, where the coupling
    is strong against it. has_parts: there is a [circuit], but its two oscillators could not be solved."""
    found = format_quantity(lock_range, "Hz")
    least, most = (format_quantity(lock_range / factor, "Hz") for factor in reversed(RESONANCES_OVER_CIRCUITS))
    remedy = "the circuits could not be solved" if has_parts else "add a [circuit] section to have yours solved"
    text = (
        f"the computed lock range, {found}, is that of two resonances whose amplitudes do not give way, and tells the "
        f"order of magnitude alone: whole circuits that were compared lock within {least} to {most} where this "
        f"says {found}; {remedy}"
    )
    if bandwidth is None:
        return text
    return (
        f"{text}; it is not small against half the bandwidth of the tanks, {format_quantity(bandwidth, 'Hz')}, either: "
        "use larger output resistors or buffers"
    )


def instrument_notices(instrument: Instrument) -> tuple[str, ...]:
    """A sentence for each of: a mode that may be left, a zero beat out of reach, oscillators always locked."""
    near, far = instrument.curve.nearest, instrument.curve.farthest
    nearest, farthest = (float(value) for value in instrument.offset_frequency([near, far]))
    hop, apart = instrument.mode_hop(), max(abs(nearest), abs(farthest))
    found = [] if hop is None else [_hop_notice(hop, instrument.mode)]
    if farthest > 0.0:
        found.append(
            f"zero beat is out of reach: with the hand at {100 * far:.1f} cm the oscillators are still "
            f"{farthest:.1f} Hz apart"
        )
    elif nearest < 0.0:
        found.append(
            f"zero beat is out of reach and the pitch falls as the hand comes nearer: at "
            f"{100 * near:.1f} cm the variable oscillator is still {-nearest:.1f} Hz above the reference"
        )
    if apart <= instrument.lock_range:
        found.append(
            f"the oscillators stay locked, and silent, at every hand distance: they are at most "
            f"{apart:.1f} Hz apart and lock within {instrument.lock_range:.1f} Hz"
        )
    if abs(nearest - farthest) < LITTLE_SWING:
        added = float(instrument.curve.capacitance(near) - instrument.curve.capacitance(far))
        own, tank = (format_quantity(each, "F", 3) for each in (added, instrument.variable_tank.total_capacitance))
        found.append(
            f"the hand moves the variable oscillator by {abs(nearest - farthest):.0f} Hz only, from {100 * far:.0f} to "
            f"{100 * near:.0f} cm: it adds {own} to a tank of {tank}. A smaller tank, or a series inductor that "
            "resonates with the antenna near the tank's frequency, makes it count for more (see: beatfield linearise)"
        )
    return tuple(found)


def outward_notices(field: PitchField) -> tuple[str, ...]:
    """That the pitch rises as the hand moves away from zero beat, where it does."""
    if field.direction == "rising" or field.zero_beat_distance is None:
        return ()
    return (
        f"this design plays outward: from zero beat at {100.0 * field.zero_beat_distance:.1f} cm the pitch rises as "
        "the hand moves away, with more room than on the side of the antenna. For notes that rise towards the "
        "antenna raise the reference's frequency (less of its trimmer or capacitor), or give zero_beat in [tuning]",
    )


def _hop_notice(hop: ModeHop, mode: str) -> str:
    reach = f"with the hand at {100 * hop.near:.1f} to {100 * hop.far:.1f} cm"
    if hop.needed is None:
        return f"{reach} the series inductor is so lossy that only the {hop.rival} mode starts, not the {mode} one"
    own, other = hop.needed
    return (
        f"the oscillator {'starts in' if other < own else 'may hop to'} its {hop.rival} mode {reach}: at "
        f"{100 * hop.worst:.1f} cm it needs {1e6 * other:.3g} uS there against "
        f"{1e6 * own:.3g} uS in the {mode} mode (ratio {other / own:.2f}; {HOP_RATIO:g} is asked for)"
    )


def _place(distance: float) -> str:
    return f"zero beat at {format_quantity(distance, 'm')}"


def volume_notices(volume: VolumeAntenna) -> tuple[str, ...]:
    """A sentence for each fault of the volume side."""
    return tuple(_fault(volume, fault) for fault in volume.faults())


def trimmer_notice(volume: VolumeAntenna, needed: float | None, height: float) -> str:
    """Why the trimmer cannot be set for full volume with the hand at `height`, m.

    needed: F, what the trimmer would have to be; None where the rectifier never gives the full voltage.
    """
    if needed is None:
        return _fault(volume, VolumeFault.RECTIFIER_TOO_WEAK)
    tank = volume.tank
    return (
        f"the volume oscillator needs {1e12 * needed:.1f} pF of trimmer for full volume at {100.0 * height:.1f} cm; "
        f"it has {1e12 * tank.trimmer_minimum:.1f} to {1e12 * tank.trimmer_maximum:.1f} pF: change its capacitance or "
        "the resonator's"
    )


def _fault(volume: VolumeAntenna, fault: VolumeFault) -> str:
    lag, period = volume.rectifier.time_constant, 1.0 / volume.resonator.frequency
    match fault:
        case VolumeFault.NEARER_IS_LOUDER:
            return (
                "the volume oscillator lies above the resonance, so that a nearer hand is louder: raise the "
                "resonator's frequency or add capacitance to the oscillator"
            )
        case VolumeFault.CROSSES_THE_RESONANCE:
            return (
                f"the volume hand crosses the resonance {100.0 * volume.playable_far:.1f} cm above the ring and grows "
                "quieter beyond: raise the resonator's frequency or add capacitance to the oscillator"
            )
        case VolumeFault.RECTIFIER_TOO_WEAK:
            return (
                f"full volume takes {volume.stage.full:g} V of control voltage, and even in tune the rectifier gives "
                f"{volume.rectifier.highest:g} V: lower full or raise the amplitude"
            )
        case VolumeFault.NEVER_FULL:
            return (
                f"the volume hand never reaches full volume, at most {_decibels(volume.loudest)}: lower the "
                "resonator's frequency, take capacitance from the oscillator, or lower full"
            )
        case VolumeFault.NEVER_SILENT:
            return (
                f"the volume hand {100.0 * volume.curve.nearest:.0f} cm above the ring still leaves "
                f"{_decibels(volume.quietest)}: raise the threshold, the resonator's Q or the oscillator's inductance "
                "(with less capacitance)"
            )
        case VolumeFault.RECTIFIER_TOO_FAST:
            return (
                f"the volume rectifier forgets in {1e6 * lag:.3g} us, hardly longer than the radio period of "
                f"{1e6 * period:.3g} us: choose a larger detector capacitance"
            )
        case VolumeFault.RECTIFIER_TOO_SLOW:
            return (
                f"the volume rectifier lags by {1e3 * lag:.0f} ms, which the sound here does not: choose a smaller "
                "detector capacitance"
            )


def _decibels(gain: float) -> str:
    return f"{20.0 * math.log10(gain):.1f} dB" if gain > 0.0 else "silence"
