"""What small causes do to solved oscillators, as figures: parts, supply, hum, noise, and the ways they pull each other.

All from the perturbation projection of each oscillator (models.circuit.adjoint): first order in the cause.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.circuit.adjoint import Adjoint
from models.circuit.modulation import HUM_FREQUENCIES, both_ripples
from models.circuit.oscillator_noise import LOWEST_FREQUENCY, Noise, note_jitter, oscillator_noise
from models.circuit.part_values import TEMPERATURE, part_values
from models.circuit.warm_transistor import USUAL_GAIN
from models.pitch import limen_cents
from models.quick_dataclass import dataclass

OFFSETS = (1.0, 10.0, 100.0, 1000.0, 10e3)
"""Hz from the carrier, at which the phase noise is told."""
NOTE = 440.0
"""Hz: the note whose jitter one oscillator is told by."""
DURATION = 0.1
"""s, over which each reading of a note is taken, where its jitter is told."""
MILLIVOLT = 1e-3
"""V, peak: the ripple that is told of where the design gives none."""
HEARD_CENTS = 10.0
"""What a listener just notices in a melody (Hill & Summers 2007, from the abstract)."""
LEAST = 1e-6
VALUE_WORDS = {
    "inductor_q": "tank coil's Q",
    "inductance": "tank coil",
    "inductor_self_capacitance": "tank coil's own capacitance",
    "fixed_capacitor": "tank capacitor",
    "output_resistor": "output resistor",
    "bias.position": "pot",
    "bias.potentiometer": "pot's resistance",
    TEMPERATURE: "transistor's temperature",
}
OWNERS = {
    "bias": "",
    "transistor": "transistor's ",
    "trimmers": "trimmer's ",
    "antenna": "antenna's ",
    "load": "load's ",
}
JUNCTIONS = {f"{end}_junction": f"{end} junction, " for end in ("emitter", "collector", "source", "drain")}


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What one `step` more of a value does to the frequency; its name among the circuit's values, and in words."""

    value: str
    part: str
    step: str
    shift_hz: float


@dataclass(frozen=True, slots=True)
class Hum:
    """Peak deviation of the frequency for each volt (peak) of ripple before the supply resistor, and at the base; and
    the stronger of the two lines that 1 mV makes beside the carrier, dB below it; None where it makes none, as at an
    end that is earthed.
    """

    ripple_hz: float
    supply_hz_per_v: float
    base_hz_per_v: float
    supply_dbc_at_1_mv: float | None
    base_dbc_at_1_mv: float | None


@dataclass(frozen=True, slots=True)
class PhaseNoise:
    """Level of the noise at one offset from the carrier, single sideband, in a hertz."""

    offset_hz: float
    dbc_per_hz: float


@dataclass(frozen=True, slots=True)
class NoiseFigures:
    """The noise of one oscillator, and what it does to a note that two alike beat, wandering slower than a lowest
    frequency left out; the loudest source by name (without flicker), and the corner of the flicker noise."""

    offsets: tuple[PhaseNoise, ...]
    loudest: str
    note_hz: float
    jitter_cents: float
    jitter_from_hz: float
    flicker_corner_hz: float
    heard: str


def sensitivities(adjoint: Adjoint, gain_per_kelvin: float = USUAL_GAIN) -> tuple[Sensitivity, ...]:
    """What every value of the circuit does to its frequency, largest first: 1 % of the value, a kelvin (the gain going
    with it as stated, 1/K), 1 % of a turn; of a value of zero 1 pF, 1 ohm or 1 ns. Left out is what does less than
    LEAST of the largest: rounding.
    """
    values = part_values(adjoint.state.circuit)
    slopes = adjoint.frequency_sensitivities() | {TEMPERATURE: adjoint.temperature_sensitivity(gain_per_kelvin)}
    found = []
    for name, slope in slopes.items():
        size, step = _step(name, values[name])
        found.append(Sensitivity(name, value_words(name), step, slope * size))
    found.sort(key=lambda one: -abs(one.shift_hz))
    return tuple(one for one in found if abs(one.shift_hz) >= LEAST * abs(found[0].shift_hz))


def _step(name: str, value: float) -> tuple[float, str]:
    if name == TEMPERATURE:
        return 1.0, "1 K"
    if name.endswith(("setting", "position")):
        return 0.01, "1 % of its turn"
    if value != 0.0:
        return 0.01 * value, "1 %"
    if "resistance" in name:
        return 1.0, "1 ohm"
    return (1e-9, "1 ns") if "time" in name else (1e-12, "1 pF")


def value_words(name: str) -> str:
    """A value of the circuit (models.circuit.part_values) in plain words."""
    if name in VALUE_WORDS:
        return VALUE_WORDS[name]
    *owners, last = (step for step in name.split(".") if not step.isdigit())
    if owners and owners[-1].endswith(f" {last}"):  # "emitter resistor" says by its name what it is
        last = owners.pop()
    words = {**OWNERS, **JUNCTIONS}
    return "".join(words.get(owner, f"{owner.replace('_', ' ')}: ") for owner in owners) + last.replace("_", " ")


def pushing(adjoint: Adjoint) -> float:
    """Change of the frequency, Hz, by each volt of supply."""
    return adjoint.frequency_shift(adjoint.disturbance_of("supply_voltage"))


def hum(adjoint: Adjoint, given: float | None = None) -> tuple[Hum, ...]:
    """What ripple of each usual frequency, and of a `given` one, Hz, does to one oscillator."""
    found = []
    for frequency in sorted({*HUM_FREQUENCIES, *(() if given is None else (given,))}):
        one, other = both_ripples(adjoint, frequency)
        swings = (abs(one.deviation), abs(other.deviation))
        found.append(Hum(frequency, *swings, _level(one.sideband), _level(other.sideband)))
    return tuple(found)


def _level(sideband: float) -> float | None:
    """The line that 1 mV makes beside the carrier, dB, from its share of the carrier for each volt."""
    return 20.0 * math.log10(MILLIVOLT * sideband) if sideband > 0.0 else None


def steepness(note: ArrayLike, lock_range: float) -> Floats:
    """Change of a beat that sounds as `note`, Hz, with the offset of the oscillators: sqrt(1 + (wL / beat)^2).

    Close to lock the beat follows the offset d more steeply: beat = sqrt(d^2 - wL^2), d(beat)/dd = d / beat.
    """
    return np.sqrt(1.0 + (lock_range / np.asarray(note, dtype=np.float64)) ** 2)


def noise_figures(adjoint: Adjoint) -> NoiseFigures:
    """The noise of one oscillator; the jitter is that of NOTE, beaten by two of the kind."""
    noise = oscillator_noise(adjoint)
    jitter = float(note_jitter(NOTE, noise, noise, DURATION))
    loudest = max(noise.diffusion, key=lambda name: noise.diffusion[name])
    levels = tuple(PhaseNoise(offset, float(noise.phase_noise(offset))) for offset in OFFSETS)
    corner = float(getattr(adjoint.state.circuit.drawing().devices[0].what, "flicker_corner", 0.0))
    return NoiseFigures(levels, loudest, NOTE, jitter, LOWEST_FREQUENCY, corner, heard(jitter, NOTE))


def lowest_note_jitter(reference: Adjoint, variable: Adjoint, note: float, lock_range: float) -> float:
    """The jitter, cents, of the lowest `note`, Hz, by the noise of both oscillators."""
    both: tuple[Noise, Noise] = (oscillator_noise(reference), oscillator_noise(variable))
    return float(note_jitter(note / steepness(note, lock_range), *both, DURATION))


def heard(cents: float, note: float) -> str:
    """Whether so many cents of unsteadiness of a note, Hz, can be heard: HEARD_CENTS in a melody, less where steady
    tones are told apart by less (models.pitch.limen_cents; below 200 Hz that one gives more than the ear needs)."""
    threshold = min(HEARD_CENTS, float(limen_cents(note)))
    if cents >= threshold:
        return "can be heard"
    return "far below hearing" if cents < 0.1 * threshold else "below hearing"
