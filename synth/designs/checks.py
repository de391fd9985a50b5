"""Checks of a design's values against each other. Each check is one small function in the list at the end."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from synth.designs.quantity import format_quantity

Values = Mapping[str, Mapping[str, Any] | None]
Fault = tuple[str, str]  # (section.key, what is wrong and the remedy)

LOWEST_CARRIER, HIGHEST_CARRIER = (
    10e3,
    30e6,
)  # Hz: below, the carrier is audible; above, a rod is no mere capacitor
ARM_REACH = 0.5  # m that the hand's height may differ from the nearest point of the rod


def cross_faults(values: Values) -> list[Fault]:
    """Every fault between the values (section -> key -> SI value; None or missing where unknown)."""
    return [fault for check in CHECKS for fault in check(values)]


def _known(values: Values, section: str, *keys: str) -> tuple[Any, ...] | None:
    """The values of these keys, or None where the section or one of them is missing."""
    part = values.get(section)
    if part is None or any(key not in part for key in keys):
        return None
    return tuple(part[key] for key in keys)


def _antenna_is_slender(values: Values) -> Iterator[Fault]:
    known = _known(values, "antenna", "length", "diameter")
    if known and known[1] > 0.5 * known[0]:
        yield "antenna.diameter", "is more than half the rod's length; make the rod longer or thinner"


def _cabinet_stands_clear(values: Values) -> Iterator[Fault]:
    antenna, cabinet = _known(values, "antenna", "base_height"), _known(values, "cabinet", "height", "gap")
    if antenna and cabinet and antenna[0] <= cabinet[0] + cabinet[1]:
        needed = format_quantity(cabinet[0] + cabinet[1], "m")
        yield "cabinet.height", f"plus gap reaches the floor; raise antenna.base_height above {needed}"


def _hand_reaches(values: Values) -> Iterator[Fault]:
    antenna, player = (
        _known(values, "antenna", "length", "base_height"),
        _known(values, "player", "hand_height"),
    )
    if not antenna or not player or player[0] is None:
        return
    length, base = antenna
    if not base - ARM_REACH <= player[0] <= base + length + ARM_REACH:
        low, high = max(base - ARM_REACH, 0.05), base + length + ARM_REACH
        limits = f"{format_quantity(low, 'm')} to {format_quantity(high, 'm')}"
        yield "player.hand_height", f"is far from the rod; choose {limits}, or leave it out"


def _hand_before_body(values: Values) -> Iterator[Fault]:
    tuning, player = _known(values, "tuning", "zero_beat"), _known(values, "player", "stand_distance")
    if tuning and player and tuning[0] is not None and tuning[0] >= player[0]:
        yield "tuning.zero_beat", "puts the hand behind the player's body; make player.stand_distance larger"


def _trimmers_upright(values: Values) -> Iterator[Fault]:
    for section in ("variable", "reference", "volume"):
        known = _known(values, section, "trimmer_minimum", "trimmer_maximum")
        if known and known[0] > known[1]:
            yield f"{section}.trimmer_minimum", "is larger than trimmer_maximum; exchange the two"


def _carriers_in_band(values: Values) -> Iterator[Fault]:
    for section in ("variable", "reference", "volume"):
        known = _known(values, section, "inductance", "capacitance", "stray")
        if not known:
            continue
        frequency = 1.0 / (2.0 * math.pi * math.sqrt(known[0] * (known[1] + known[2])))
        if not LOWEST_CARRIER <= frequency <= HIGHEST_CARRIER:
            limits = f"{format_quantity(LOWEST_CARRIER, 'Hz')} to {format_quantity(HIGHEST_CARRIER, 'Hz')}"
            found = f"with capacitance and stray resonates at {format_quantity(frequency, 'Hz')}"
            yield f"{section}.inductance", f"{found}; keep it in {limits}"


def _high_mode_has_branch(values: Values) -> Iterator[Fault]:
    known = _known(values, "tuning", "mode")
    if known and known[0] == "high" and "branch" in values and values["branch"] is None:
        yield "tuning.mode", '"high" needs a series inductor; add a [branch] section, or write "auto"'


def _tap_has_branch(values: Values) -> Iterator[Fault]:
    known = _known(values, "variable", "tap")
    if known and known[0] != 1.0 and "branch" in values and values["branch"] is None:
        yield "variable.tap", "is for a series inductor; add a [branch] section, or leave tap out"


def _zero_beat_has_trimmer(values: Values) -> Iterator[Fault]:
    tuning, reference = (
        _known(values, "tuning", "zero_beat"),
        _known(values, "reference", "trimmer_minimum", "trimmer_maximum"),
    )
    if tuning and tuning[0] is not None and reference and reference[0] == reference[1]:
        yield (
            "tuning.zero_beat",
            "needs a trimmer in the reference; set reference.trimmer_maximum, or leave it out",
        )


def _filters_in_order(values: Values) -> Iterator[Fault]:
    known = _known(values, "tone", "low_pass", "dc_block")
    if known and known[1] * 10.0 > known[0]:
        yield "tone.dc_block", "is too near low_pass; keep it below a tenth of it"


def _volume_is_whole(values: Values) -> Iterator[Fault]:
    """The three sections of the volume antenna come together or not at all."""
    parts = {"volume_antenna": "diameter", "volume": "inductance", "volume_response": "inductance"}
    missing = [f"[{section}]" for section in parts if values.get(section) is None]
    if len(missing) == len(parts):
        return
    for section, key in parts.items():
        if values.get(section) is not None and missing:
            yield f"{section}.{key}", f"is of a volume antenna; add {' and '.join(missing)}, or leave [{section}] out"


def _ring_is_slender(values: Values) -> Iterator[Fault]:
    known = _known(values, "volume_antenna", "diameter", "tube_diameter", "height")
    if known and known[1] >= 0.5 * known[0]:
        yield "volume_antenna.tube_diameter", "is half the ring's diameter or more; make the ring larger or thinner"
    if known and known[2] <= 0.5 * known[1]:
        yield "volume_antenna.height", "puts the ring's tube on the floor; raise it"


def _full_above_threshold(values: Values) -> Iterator[Fault]:
    known = _known(values, "volume_response", "threshold", "full")
    if known and known[1] <= known[0]:
        yield "volume_response.full", "is not above threshold; raise it, or lower the threshold"


def _full_height_has_trimmer(values: Values) -> Iterator[Fault]:
    response, tank = _known(values, "volume_response", "full_height"), values.get("volume")
    if response and response[0] is not None and tank and tank.get("trimmer_minimum") == tank.get("trimmer_maximum"):
        yield "volume_response.full_height", "needs a trimmer; set volume.trimmer_maximum, or leave it out"


def _circuit_is_there(values: Values) -> Iterator[Fault]:
    """What only a circuit can give is asked for only where there is one."""
    if values.get("circuit") is not None:
        return
    if values.get("transistor") is not None:
        yield "transistor.forward_gain", "is of a transistor in no circuit; add a [circuit] section"
    tuning, detector = _known(values, "tuning", "law"), _known(values, "detector", "amplitudes")
    if tuning and tuning[0] == "circuit":
        yield "tuning.law", '"circuit" needs the parts; add a [circuit] section, or leave it out'
    if detector and detector[0] == "circuit":
        yield "detector.amplitudes", '"circuit" needs the parts; add a [circuit] section, or leave it out'


def _amplitudes_have_law(values: Values) -> Iterator[Fault]:
    tuning, detector = _known(values, "tuning", "law"), _known(values, "detector", "amplitudes")
    if tuning and detector and (tuning[0], detector[0]) == ("lossless", "circuit"):
        yield "detector.amplitudes", '"circuit" needs tuning.law "circuit"; write "given"'


def _node_has_capacitance(values: Values) -> Iterator[Fault]:
    coupling = _known(values, "coupling", "node_capacitance")
    if values.get("circuit") is not None and coupling and coupling[0] == 0.0:
        yield "coupling.node_capacitance", "is never 0 where circuits are solved; some 20 pF is usual"


def _goals_in_order(values: Values) -> Iterator[Fault]:
    """The nearer distance below the farther one, the lower note below the higher one."""
    for lower, upper in (("nearest", "farthest"), ("even_from", "even_to"), ("lowest", "highest")):
        known = _known(values, "goals", lower, upper)
        if known and None not in known and known[0] >= known[1]:
            yield f"goals.{lower}", f"is not below {upper}; lower it, or raise {upper}"


CHECKS: tuple[Callable[[Values], Iterator[Fault]], ...] = (
    _antenna_is_slender,
    _cabinet_stands_clear,
    _hand_reaches,
    _hand_before_body,
    _trimmers_upright,
    _carriers_in_band,
    _high_mode_has_branch,
    _tap_has_branch,
    _zero_beat_has_trimmer,
    _filters_in_order,
    _volume_is_whole,
    _ring_is_slender,
    _full_above_threshold,
    _full_height_has_trimmer,
    _circuit_is_there,
    _amplitudes_have_law,
    _node_has_capacitance,
    _goals_in_order,
)
