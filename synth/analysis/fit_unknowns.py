"""What a fit does not know, and what is assumed of it or said beforehand.

Without a design the assumptions are round numbers of our own; with one they are its values within its tolerances. The
limits are of 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from models.quick_dataclass import dataclass
from models.readings.unknowns import NORMAL_95, Unknown
from synth.analysis.fit_devices import DEVICE_UNITS, device_of, device_values
from synth.analysis.fit_field import BODY, COMMON_TIE
from synth.analysis.readings import CONTROL, VOLTS
from synth.designs.build_sections import TolerancesSection
from synth.designs.quantity import parse
from synth.designs.schema import did_you_mean
from synth.errors import DesignError

if TYPE_CHECKING:
    from synth.analysis.fit_bench import Bench


RESONATOR: Final = ("resonance_frequency", "resonance_q", "rectified_amplitude")
"""Of the volume side: frequency and Q of its fixed resonance, and the peak voltage in tune."""
KNOWABLE: Final = (
    "inductance",
    "self_capacitance",
    "stray",
    "trimmer_minimum",
    "trimmer_maximum",
    "fine_trimmer_minimum",
    "fine_trimmer_maximum",
    *DEVICE_UNITS,
    "antenna_stray",
    "branch_inductance",
    "branch_self_capacitance",
    "reference_frequency",
    "lock_range",
    BODY,
    COMMON_TIE,
    *RESONATOR,
)
"""What --known takes."""
UNITS: Final = {
    **DEVICE_UNITS,
    "inductance": "H",
    "branch_inductance": "H",
    "reference_frequency": "Hz",
    "lock_range": "Hz",
    "resonance_frequency": "Hz",
    "resonance_q": "ratio",
    "rectified_amplitude": "V",
}
"""Units of the unknowns; those not named are capacitances."""
# what is assumed of a bench without a design, and of what its design cannot know: round numbers of our own, wide enough
USUAL_INDUCTANCE, INDUCTANCE_FACTOR = 1e-3, 30.0
STRAY_LIMIT = 800e-12  # F: 95 % limit of board stray with transistor and divider in it
CIRCUIT_STRAY_LIMIT = 200e-12  # F: of board and wiring alone
USUAL_TRIMMER = {"trimmer_minimum": (8e-12, 20e-12), "trimmer_maximum": (60e-12, 120e-12)}  # F: middle, 95 % limit
USUAL_FINE_TRIMMER = {"fine_trimmer_minimum": (3e-12, 8e-12), "fine_trimmer_maximum": (15e-12, 40e-12)}
TRIMMER_ENDS_LIMIT = 0.5  # of a trimmer's ends as the design has them
USUAL_JUNCTION = 8e-12, 20e-12  # F: middle, 95 % limit
STRAY_SHARE, LEAST_STRAY_LIMIT = 0.8, 5e-12  # of antenna stray, and of a series inductor's own capacitance
LEAST_SELF_LIMIT = 1e-12
COIL_SELF_SHARE, BARE_SELF_LIMIT = 0.5, 50e-12  # of a tank coil's own capacitance; of one of which nothing is said, F
RESONANCE_LIMIT, RESONANCE_Q_LIMIT, AMPLITUDE_LIMIT = 0.1, 1.0, 0.5  # of the volume side's resonator and rectifier
TUNED_LIMIT = 0.1  # of the reference's frequency
LOCK_LIMIT = 1.0  # of the lock range
LEAST_LOCK_LIMIT = 2.0  # Hz
PULL_LIMIT, PULL_SLOPE_LIMIT = 2e-3, 4e-3
"""95 % limits of what loss and transistor do to a frequency that is fitted by the resonance alone: of all alike, and
for each factor e of frequency (`neglected` in synth/analysis/fit_figures.py says where they come from)."""
PITCH_LIMIT_CENTS = 5.0
HAND_LIMIT = 1e-3
"""95 % limit of a hand's distance, m, held against a mark or a stop: a round number of our own."""


@dataclass(frozen=True, slots=True)
class Errors:
    """95 % limits: of the counter, as a ratio and in Hz (added in squares), of a pitch, and of the distance at which a
    hand was held, m; capacitor_ratio: tolerance of the fitted capacitors, either way."""

    counter_ratio: float = 1e-4
    counter_frequency: float = 0.0
    capacitor_ratio: float = 0.01
    pitch_cents: float = PITCH_LIMIT_CENTS
    hand_distance: float = HAND_LIMIT

    def __post_init__(self) -> None:
        for name in ("counter_ratio", "capacitor_ratio"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise ValueError(f"{name} must be at least 0 and below 1; got {getattr(self, name):g}")
        if not (self.counter_frequency >= 0.0 and self.counter_ratio + self.counter_frequency > 0.0):
            raise ValueError("counter error must be above 0")
        if not 0.0 <= self.hand_distance < 0.1:
            raise ValueError(f"hand error must be at least 0 and below 10 cm; got {100.0 * self.hand_distance:g} cm")

    def counter_deviation(self, frequency: float) -> float:
        """Standard deviation of the logarithm of a frequency, Hz."""
        return math.hypot(self.counter_ratio, self.counter_frequency / frequency) / NORMAL_95


@dataclass(frozen=True, slots=True)
class Known:
    """A value known beforehand, SI units, with its 95 % limit (0: exactly)."""

    value: float
    limit: float = 0.0


def errors_of(counter_error: str, capacitor_tolerance: str, hand_error: str) -> Errors:
    """As given: the counter's 95 % limit as a ratio ("0.01 %") or in Hz ("5 Hz"), the capacitors' tolerance as a ratio
    ("1 %"), the hand distances' 95 % limit as a length ("1 mm")."""
    try:
        distance = parse(hand_error, "m")
    except DesignError as error:
        raise DesignError(f"--hand-error {hand_error!r}: {error}") from None
    try:
        tolerance = parse(capacitor_tolerance, "percent")
    except DesignError as error:
        raise DesignError(f"--capacitor-tolerance {capacitor_tolerance!r}: {error}") from None
    try:
        by_ratio = "%" in counter_error or "percent" in counter_error
        limit = parse(counter_error, "percent" if by_ratio else "Hz")
        return Errors(limit if by_ratio else 0.0, 0.0 if by_ratio else limit, tolerance, hand_distance=distance)
    except DesignError as error:
        raise DesignError(f'--counter-error {counter_error!r}: {error}; or write it as a share, "0.01 %"') from None
    except ValueError as error:
        raise DesignError(f"--counter-error, --capacitor-tolerance, --hand-error: {error}") from None


def known_of(texts: Sequence[str]) -> dict[str, Known]:
    """Values known beforehand, each as NAME=VALUE or NAME=VALUE,LIMIT with the limit in percent or in the unit."""
    known: dict[str, Known] = {}
    for text in texts:
        name, equals, rest = text.partition("=")
        name = name.strip()
        if name not in KNOWABLE or not equals:
            named = f", such as {name}=..." if name in KNOWABLE else did_you_mean(name, KNOWABLE)
            hint = named or f"; NAME is one of {', '.join(KNOWABLE)}"
            raise DesignError(f"--known {text!r}: write NAME=VALUE or NAME=VALUE,LIMIT{hint}")
        unit = UNITS.get(name, "F")
        value_text, _, limit_text = rest.partition(",")
        try:
            value, limit = parse(value_text.strip(), unit), 0.0
            if limit_text.strip():
                share = "%" in limit_text
                limit = parse(limit_text.strip(), "percent" if share else unit) * (value if share else 1.0)
            if value < 0.0 or limit < 0.0 or (value == 0.0 and unit != "F"):
                raise DesignError("must not be below zero, an inductance above")
            known[name] = Known(value, limit)
        except (DesignError, ValueError) as error:
            raise DesignError(f"--known {text!r}: {error}") from None
    return known


def unknowns_of(bench: Bench) -> tuple[Unknown, ...]:
    """Unknowns of a bench, with what is assumed of each. DesignError for a value known of none, or if none is left."""
    made: list[Unknown] = []
    tolerances = (bench.design.tolerances if bench.design is not None else None) or TolerancesSection()
    for oscillator in bench.oscillators:
        made += _of_tank(bench, oscillator, tolerances)
    plugged = [one for one in bench.settings if one.antenna_plugged]
    for owner, key in (("variable", "antenna"), ("volume", "volume_antenna")):
        if any(bench.oscillator(one) == owner for one in plugged):
            stray = float(getattr(bench.design, key).stray)
            limit = max(STRAY_SHARE * stray, LEAST_STRAY_LIMIT)
            made.append(_capacitance(bench.named("antenna_stray", owner), stray, limit))
    if any(bench.oscillator(one) == "variable" for one in plugged) and not bench.branch.direct:
        own = bench.branch.self_capacitance
        inductance = bench.branch.inductance
        made.append(_ratio("branch_inductance", "H", inductance, math.log1p(tolerances.branch_inductor)))
        made.append(_capacitance("branch_self_capacitance", own, max(STRAY_SHARE * own, LEAST_SELF_LIMIT)))
    if bench.opened is not None and any(place.what == "pitch" for place in bench.places):
        lock = bench.opened.lock_range[0]
        limit = max(LOCK_LIMIT * lock, LEAST_LOCK_LIMIT)
        made.append(Unknown("lock_range", "Hz", lock, limit / NORMAL_95, least=0.0))
    if any(place.what == "pitch" for place in bench.places) or any(one.tuned for one in bench.settings):
        frequency = _designed_reference(bench)
        made.append(_ratio("reference_frequency", "Hz", frequency, TUNED_LIMIT))
    if bench.field is not None and plugged:
        made += bench.field.unknowns(any(not one.away for one in plugged), bench.known)
    if bench.opened is not None and any(place.what == CONTROL for place in bench.places):
        made += _of_resonance(bench)
    made = [_with_known(bench, one) for one in made]
    unused = set(bench.known) - {key_of(one.name) for one in made}
    if unused:
        raise DesignError(f"--known {sorted(unused)[0]}: no reading depends on it; leave it out")
    if bench.errors.capacitor_ratio:
        for marking in bench.markings:
            name = bench.capacitor_name(marking)
            made.append(Unknown(name, "ratio", 0.0, bench.capacitor_deviation, nuisance=True))
    if not bench.circuits:
        # of the resonance alone: what loss and transistor do, alike for all and with the frequency
        made.append(Unknown("pull", "ratio", 0.0, PULL_LIMIT / NORMAL_95, considered=True))
        made.append(Unknown("pull with frequency", "ratio", 0.0, PULL_SLOPE_LIMIT / NORMAL_95, considered=True))
    if not any(one.free and not one.nuisance for one in made):
        raise DesignError("the readings cannot be used: everything is known already; one unknown must be left to fit")
    return tuple(made)


def _of_resonance(bench: Bench) -> list[Unknown]:
    """The fixed resonance of the volume side, and what its rectifier gives in tune."""
    assert bench.opened is not None
    volume = bench.opened.volume
    if volume is None:
        raise DesignError("control needs --design DESIGN with a volume antenna and [volume_response]")
    found = volume.resonator
    return [
        _ratio("resonance_frequency", "Hz", found.frequency, RESONANCE_LIMIT),
        _ratio("resonance_q", "ratio", found.quality_factor, RESONANCE_Q_LIMIT),
        _ratio("rectified_amplitude", "V", volume.rectifier.amplitude, AMPLITUDE_LIMIT),
    ]


def _of_tank(bench: Bench, oscillator: str, tolerances: TolerancesSection) -> list[Unknown]:
    section = bench.section(oscillator)
    own = [one for one in bench.settings if bench.oscillator(one) == oscillator and not one.tuned]
    coil, factor = USUAL_INDUCTANCE, math.log(INDUCTANCE_FACTOR)
    if section is not None:
        coil, factor = section.inductance, math.log1p(tolerances.inductor)
    made = [_ratio(bench.named("inductance", oscillator), "H", coil, factor)]
    windings = 0.0 if section is None else float(section.self_capacitance)
    if windings or any(one.bare for one in own) or "self_capacitance" in bench.known:
        limit = max(COIL_SELF_SHARE * windings, LEAST_SELF_LIMIT) if windings else BARE_SELF_LIMIT
        made.append(_capacitance(bench.named("self_capacitance", oscillator), windings, limit))
    stray = 0.0 if section is None else float(section.stray)
    limit = CIRCUIT_STRAY_LIMIT if bench.circuits else STRAY_LIMIT
    for board in dict.fromkeys(one.board for one in own if not one.bare):
        made.append(_capacitance(bench.named("stray", oscillator, board), stray, limit))
    if any(one.trimmer is not None for one in own):
        for name, (middle, limit) in USUAL_TRIMMER.items():
            if section is not None and section.trimmer_maximum > 0.0:
                middle = float(getattr(section, name))
                limit = TRIMMER_ENDS_LIMIT * middle + 2e-12
            made.append(_capacitance(bench.named(name, oscillator), middle, limit))
    if any(one.fine_trimmer is not None for one in own):
        for name, (middle, limit) in USUAL_FINE_TRIMMER.items():
            made.append(_capacitance(bench.named(name, oscillator), middle, limit))
    moved = any(one.pot is not None or one.supply is not None for one in own)
    moved = moved or any(place.what in VOLTS for place in bench.places)
    if bench.circuits and moved:
        device = device_of(bench.opened_circuit(oscillator))
        for one in device_values(bench.opened_circuit(oscillator)):
            name, middle, share = bench.named(one.name, oscillator), one.read(device), one.limit(tolerances)
            if one.unit == "F":
                made.append(_capacitance(name, middle, share * middle))
            else:
                made.append(_ratio(name, one.unit, middle, math.log1p(share)))
    elif any(one.reverse_voltage is not None for one in own):
        made.append(_capacitance(bench.named("junction", oscillator), *USUAL_JUNCTION))
    return made


def _designed_reference(bench: Bench) -> float:
    if bench.opened is None:
        return 1e5
    return bench.opened.pair.reference_frequency


def _with_known(bench: Bench, one: Unknown) -> Unknown:
    known = bench.known.get(key_of(one.name))
    if known is None:
        return one
    limit = known.limit / known.value if one.by_ratio else known.limit
    return replace(one, middle=known.value, deviation=limit / NORMAL_95)


def key_of(name: str) -> str:
    """The key of an unknown without oscillator and board."""
    return next((key for key in KNOWABLE if key in name.split(" on ")[0].split(" ")), name)


def _capacitance(name: str, middle: float, limit: float) -> Unknown:
    return Unknown(name, "F", middle, limit / NORMAL_95, least=0.0)


def _ratio(name: str, unit: str, middle: float, limit: float) -> Unknown:
    return Unknown(name, unit, middle, limit / NORMAL_95, by_ratio=True)
