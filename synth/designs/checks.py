"""Checks of a design's values against each other: one small function each, with the keys or sections it compares."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from models.circuit.drawing import BOARD_STRAY
from models.hand.antennas import THINNEST_EDGE
from models.tank import resonant_frequency
from synth.designs.drawing_checks import drawing_faults, mixer_faults
from synth.designs.part_rows import TANK_TRIMMER, merged
from synth.designs.quantity import format_quantity

Values = Mapping[str, Mapping[str, Any] | None]
Fault = tuple[str, str]  # (section.key, what is wrong and the remedy)
Check = Callable[..., Iterator[Fault]]

LOWEST_CARRIER, HIGHEST_CARRIER = 10e3, 30e6  # Hz: below, the carrier is audible; above, a rod is no mere capacitor
ARM_REACH = 0.5  # m that the hand's height may differ from the nearest point of the rod
LEAKS = ("supply_resistance", "coil_coupling", "tank_to_tank_capacitance")
TANKS = ("variable", "reference", "volume")
_CHECKS: list[tuple[tuple[str, ...], Check]] = []


def cross_faults(values: Values) -> list[Fault]:
    """Every fault between the values (section -> key -> SI value; None or missing where unknown)."""
    faults: list[Fault] = []
    for paths, check in _CHECKS:
        known = [value for path in paths for value in _known(values, path)]
        if len(known) == len(paths):
            faults += check(*known)
    return list(dict.fromkeys(faults))


def _known(values: Values, path: str) -> Iterator[Any]:
    """The value of a key (section.key) or of a section (None: the part is not there); nothing where it is unknown."""
    section, _, key = path.partition(".")
    place: Mapping[str, Any] = (values.get(section) or {}) if key else values
    name = key or section
    if name in place:
        yield place[name]


def _compares(*paths: str) -> Callable[[Check], Check]:
    """The decorated check takes the values of these keys and sections, where all of them are known."""

    def added(check: Check) -> Check:
        _CHECKS.append((paths, check))
        return check

    return added


@_compares("antenna.form", "antenna.length", "antenna.diameter", "antenna.ring_diameter")
def _antenna_is_slender(form: str, length: float, diameter: float, ring: float) -> Iterator[Fault]:
    if form == "rod" and diameter > 0.5 * length:
        yield "antenna.diameter", "is more than half the rod's length; make the rod longer or thinner"
    if form == "ring" and diameter >= 0.5 * ring:
        yield "antenna.diameter", "is half the ring's diameter or more; make ring_diameter larger or the tube thinner"


@_compares("antenna.form", "antenna.section_lengths", "antenna.section_diameters")
def _every_section_has_both(form: str, lengths: Sequence[float], diameters: Sequence[float]) -> Iterator[Fault]:
    if form == "telescopic" and len(lengths) != len(diameters):
        counts = f"{len(diameters)} for {len(lengths)} section_lengths"
        yield "antenna.section_diameters", f"has {counts}; write one for each section"
    if form == "telescopic" and not max(diameters) <= 0.5 * sum(lengths):
        yield "antenna.section_diameters", "are more than half the rod's length; make the sections longer or thinner"


@_compares("antenna.form", "antenna.position", "antenna.plate_width", "antenna.plate_length", "antenna.plate_thickness")
def _plate_is_flat(form: str, position: str, width: float, length: float, thickness: float) -> Iterator[Fault]:
    shorter = min(width, length)
    if form == "plate" and thickness > 0.5 * shorter:
        yield "antenna.plate_thickness", "is more than half the plate's width or length; make it thinner"
    if form == "plate" and position == "edge" and thickness < THINNEST_EDGE * shorter:
        least = format_quantity(THINNEST_EDGE * shorter, "m")
        yield "antenna.plate_thickness", f"is too thin to be solved from its edge; take {least}, or another position"


@_compares(
    "antenna.form",
    "antenna.diameter",
    "antenna.base_height",
    "antenna.end_forward",
    "antenna.end_side",
    "antenna.end_height",
)
def _wire_has_a_length(
    form: str, diameter: float, base: float, forward: float, side: float, end: float
) -> Iterator[Fault]:
    if form != "wire":
        return
    if end < base:
        yield "antenna.end_height", "is below base_height; exchange the two: the foot of a wire is its lower end"
    elif math.hypot(forward, side, end - base) <= 2.0 * diameter:
        yield "antenna.end_side", "puts the wire's end at its start; move the end farther, or take a thinner wire"


@_compares("antenna.base_height", "cabinet.height", "cabinet.gap")
def _cabinet_stands_clear(base: float, height: float, gap: float) -> Iterator[Fault]:
    if base <= height + gap:
        needed = format_quantity(height + gap, "m")
        yield "cabinet.height", f"plus gap reaches the floor; raise antenna.base_height above {needed}"


@_compares("antenna", "player.hand_height", "player.approach")
def _hand_reaches(antenna: Mapping[str, Any], hand: float | None, approach: str) -> Iterator[Fault]:
    if hand is None:
        return
    if approach == "above":
        yield "player.hand_height", 'counts only for a hand from the front; leave it out, or write approach = "front"'
        return
    needed = ("form", "base_height", "lean", "length", "section_lengths")
    if not all(key in antenna for key in needed):
        return
    form, base, lean, length, parts = (antenna[key] for key in needed)
    if form not in ("rod", "telescopic"):
        return
    rise = (length if form == "rod" else sum(parts)) * math.cos(math.radians(lean))
    if not base - ARM_REACH <= hand <= base + rise + ARM_REACH:
        low, high = max(base - ARM_REACH, 0.05), base + rise + ARM_REACH
        limits = f"{format_quantity(low, 'm')} to {format_quantity(high, 'm')}"
        yield "player.hand_height", f"is far from the rod; choose {limits}, or leave it out"


OWN_LENGTHS = ("shoulder_height", "upper_arm", "forearm", "hand_length", "hand_breadth")


def _own_length_has_size(key: str, size: str, length: float | None) -> Iterator[Fault]:
    if size == "typical" and length is not None:
        yield f"player.{key}", 'changes a measured player; write size = "man", "woman" or "child", or leave it out'


for _own in OWN_LENGTHS:
    _compares("player.size", f"player.{_own}")(partial(_own_length_has_size, _own))


@_compares("player.posture", "player.opening")
def _opening_is_of_the_open_hand(posture: str, opening: float) -> Iterator[Fault]:
    if posture == "fist" and opening != 1.0:
        yield "player.opening", 'counts only for an open hand; write posture = "open", or leave it out'


@_compares("player.size", "player.stance")
def _seated_has_size(size: str, stance: str) -> Iterator[Fault]:
    if size == "typical" and stance == "seated":
        yield "player.stance", 'needs a measured player; write size = "man", "woman" or "child", or leave it out'


@_compares("tuning.zero_beat", "player.stand_distance")
def _hand_before_body(zero_beat: float | None, stand: float) -> Iterator[Fault]:
    if zero_beat is not None and zero_beat >= stand:
        yield "tuning.zero_beat", "puts the hand behind the player's body; make player.stand_distance larger"


def _trimmer_is_upright(tank: str, minimum: float, maximum: float) -> Iterator[Fault]:
    if minimum > maximum:
        yield f"{tank}.trimmer_minimum", "is larger than trimmer_maximum; exchange the two"


def _carrier_in_band(
    tank: str, inductance: float, capacitance: float, board_stray: float, own: float
) -> Iterator[Fault]:
    frequency = float(resonant_frequency(inductance, capacitance + board_stray + own))
    if not LOWEST_CARRIER <= frequency <= HIGHEST_CARRIER:
        limits = f"{format_quantity(LOWEST_CARRIER, 'Hz')} to {format_quantity(HIGHEST_CARRIER, 'Hz')}"
        found = f"with capacitance, board stray and the coil's own resonates at {format_quantity(frequency, 'Hz')}"
        yield f"{tank}.inductance", f"{found}; keep it in {limits}"


for _tank in TANKS:
    _compares(f"{_tank}.trimmer_minimum", f"{_tank}.trimmer_maximum")(partial(_trimmer_is_upright, _tank))
for _tank in TANKS:
    _compares(f"{_tank}.inductance", f"{_tank}.capacitance", f"{_tank}.stray", f"{_tank}.self_capacitance")(
        partial(_carrier_in_band, _tank)
    )


@_compares("tuning.mode", "branch")
def _high_mode_has_branch(mode: str, branch: object) -> Iterator[Fault]:
    if mode == "high" and branch is None:
        yield "tuning.mode", '"high" needs a series inductor; add a [branch] section, or write "auto"'


@_compares("variable.tap", "branch")
def _tap_has_branch(tap: float, branch: object) -> Iterator[Fault]:
    if tap != 1.0 and branch is None:
        yield "variable.tap", "is for a series inductor; add a [branch] section, or leave tap out"


@_compares("tuning.zero_beat", "reference.trimmer_minimum", "reference.trimmer_maximum")
def _zero_beat_has_trimmer(zero_beat: float | None, minimum: float, maximum: float) -> Iterator[Fault]:
    if zero_beat is not None and minimum == maximum:
        yield "tuning.zero_beat", "needs a trimmer in the reference; set reference.trimmer_maximum, or leave it out"


@_compares("tone.low_pass", "tone.dc_block")
def _filters_in_order(low_pass: float, dc_block: float) -> Iterator[Fault]:
    if dc_block * 10.0 > low_pass:
        yield "tone.dc_block", "is too near low_pass; keep it below a tenth of it"


@_compares("volume_antenna", "volume", "volume_response")
def _volume_is_whole(antenna: object, tank: object, response: object) -> Iterator[Fault]:
    """The three sections of the volume antenna come together or not at all."""
    first_keys = {"volume_antenna": "diameter", "volume": "inductance", "volume_response": "inductance"}
    parts = dict(zip(first_keys, (antenna, tank, response), strict=True))
    missing = " and ".join(f"[{section}]" for section, part in parts.items() if part is None)
    for section, part in parts.items():
        if part is not None and missing:
            yield (
                f"{section}.{first_keys[section]}",
                f"belongs to a volume antenna; add {missing}, or leave [{section}] out",
            )


@_compares("volume_antenna.form", "volume_antenna.diameter", "volume_antenna.tube_diameter", "volume_antenna.height")
def _ring_is_slender(form: str, diameter: float, tube: float, height: float) -> Iterator[Fault]:
    if form == "ring" and tube >= 0.5 * diameter:
        yield "volume_antenna.tube_diameter", "is half the ring's diameter or more; make the ring larger or thinner"
    if height <= 0.5 * tube:
        yield "volume_antenna.height", "puts the ring's tube on the floor; raise it"


@_compares(
    "volume_antenna.form",
    "volume_antenna.plate_width",
    "volume_antenna.plate_length",
    "volume_antenna.plate_thickness",
)
def _volume_plate_is_flat(form: str, width: float, length: float, thickness: float) -> Iterator[Fault]:
    if form == "plate" and thickness > 0.5 * min(width, length):
        yield "volume_antenna.plate_thickness", "is more than half the plate's width or length; make it thinner"


@_compares("volume_response.threshold", "volume_response.full")
def _full_above_threshold(threshold: float, full: float) -> Iterator[Fault]:
    if full <= threshold:
        yield "volume_response.full", "is not above threshold; raise it, or lower the threshold"


@_compares("volume_response.full_height", "volume.trimmer_minimum", "volume.trimmer_maximum")
def _full_height_has_trimmer(full_height: float | None, minimum: float, maximum: float) -> Iterator[Fault]:
    if full_height is not None and minimum == maximum:
        yield "volume_response.full_height", "needs a trimmer; set volume.trimmer_maximum, or leave it out"


@_compares("circuit", "transistor")
def _transistor_has_circuit(circuit: object, transistor: object) -> Iterator[Fault]:
    if circuit is None and transistor is not None:
        yield "transistor.forward_gain", "describes a transistor, but there is no circuit; add a [circuit] section"


@_compares("circuit", "tuning.law")
def _law_has_circuit(circuit: object, law: str | None) -> Iterator[Fault]:
    if circuit is None and law == "circuit":
        yield "tuning.law", '"circuit" needs the parts; add a [circuit] section, or leave it out'


@_compares("circuit", "detector.amplitudes")
def _amplitudes_have_circuit(circuit: object, amplitudes: str | None) -> Iterator[Fault]:
    if circuit is None and amplitudes == "circuit":
        yield "detector.amplitudes", '"circuit" needs the parts; add a [circuit] section, or leave it out'


@_compares("tuning.law", "detector.amplitudes")
def _amplitudes_have_law(law: str | None, amplitudes: str | None) -> Iterator[Fault]:
    if (law, amplitudes) == ("lossless", "circuit"):
        yield "detector.amplitudes", '"circuit" needs tuning.law "circuit"; write "given"'


@_compares("circuit", "coupling.node_capacitance")
def _node_has_capacitance(circuit: object, node_capacitance: float) -> Iterator[Fault]:
    if circuit is not None and node_capacitance == 0.0:
        yield "coupling.node_capacitance", "is never 0 where circuits are solved; some 20 pF is usual"


def _leak_is_counted(key: str, circuit: object, lock_range: float | None, leak: float | None) -> Iterator[Fault]:
    if not leak:
        return
    if lock_range is not None:
        yield f"coupling.{key}", 'counts only in a computed lock range; write lock_range = "computed", or leave it out'
    elif circuit is None:
        yield f"coupling.{key}", "needs the parts of both circuits; add a [circuit] section, or leave it out"


for _leak in LEAKS:
    _compares("circuit", "coupling.lock_range", f"coupling.{_leak}")(partial(_leak_is_counted, _leak))


@_compares("coupling.coil_coupling", "coils")
def _coils_are_told_once(factor: float, coils: object) -> Iterator[Fault]:
    if factor != 0.0 and coils is not None:
        yield (
            "coupling.coil_coupling",
            "the coils' coupling follows from coils.distance and what stands beside it too; leave out "
            "coupling.coil_coupling, or the section [coils]",
        )


@_compares("circuit", "coils")
def _coils_have_circuit(circuit: object, coils: object) -> Iterator[Fault]:
    if circuit is None and coils is not None:
        yield (
            "coils.distance",
            "counts only where both circuits are solved; add a [circuit] section, or leave [coils] out",
        )


@_compares("circuit", "tuning.law", "supply.ripple")
def _ripple_has_circuit(circuit: object, law: str | None, ripple: float) -> Iterator[Fault]:
    if ripple > 0.0 and (circuit is None or law == "lossless"):
        yield "supply.ripple", 'needs solved circuits; add a [circuit] section without law "lossless", or leave it out'


def _drawing_is_whole(
    tank: str, section: Mapping[str, Any] | None, circuit: Mapping[str, Any] | None
) -> Iterator[Fault]:
    """Each oscillator's drawing: [circuit.parts] with the rows of its own section in their places."""
    own = None if section is None else section.get("parts")
    if section is None or (tank != "variable" and own is None):
        return  # the variable oscillator shows the faults that all share
    if circuit is None or circuit.get("parts") is None:
        if own is not None:
            yield (
                f"{tank}.parts",
                "replaces parts of a drawing that is missing; add [circuit.parts] with the whole oscillator",
            )
        return
    if circuit["parts"] == () or own == ():
        return  # not readable, which is told already
    replaced = dict(own or ())
    rows = merged(circuit["parts"], own)
    beside = {BOARD_STRAY} | ({TANK_TRIMMER} if section.get("trimmer_maximum") else set())
    named = ((name, "is a name that the tank has for a part of its own; rename this one") for name, _ in rows)
    for name, fault in (*(one for one in named if one[0] in beside), *drawing_faults(rows)):
        table = tank if name in replaced else "circuit"
        yield f"{table}.parts.{name}" if name else f"{table}.parts", fault


for _tank in TANKS:
    _compares(_tank, "circuit")(partial(_drawing_is_whole, _tank))


@_compares("detector", "circuit", "tuning.law")
def _mixer_is_whole(detector: Mapping[str, Any], circuit: object, law: str | None) -> Iterator[Fault]:
    """A drawn mixer, which solved oscillators drive."""
    parts = detector.get("parts")
    if parts is None:
        return
    if circuit is None:
        yield "detector.parts", "needs the parts of both oscillators; add a [circuit] section"
    elif law == "lossless":
        yield "detector.parts", 'needs solved oscillators; write tuning.law = "circuit", or leave that key out'
    if parts == ():
        return  # not readable, which is told already
    for name, fault in mixer_faults(parts):
        yield f"detector.parts.{name}" if name else "detector.parts", fault


def _goals_in_order(lower: str, upper: str, low: float | None, high: float | None) -> Iterator[Fault]:
    if low is not None and high is not None and low >= high:
        yield f"goals.{lower}", f"is not below {upper}; lower it, or raise {upper}"


for _lower, _upper in (("nearest", "farthest"), ("even_from", "even_to"), ("lowest", "highest")):
    _compares(f"goals.{_lower}", f"goals.{_upper}")(partial(_goals_in_order, _lower, _upper))
