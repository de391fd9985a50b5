"""The instrument sampled at its radio frequencies, as an independent check of the voice: no average by formula.

Both oscillators are drawn at the radio rate, their phases integrated along the hand's way (with pulling by scipy's ODE
solver), sent through the detector as a circuit would do it, and brought down to the audio rate by one long
linear-phase FIR. The diode is solved step by step at the radio rate by its own equation, not by its average.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline
from scipy.special import i0e, wrightomega

from models.arrays import Floats
from models.detector.diode import DiodeLoad
from models.detector.memoryless import Detector
from models.hand.capacitance_curve import CapacitanceCurve
from models.instrument import Instrument
from models.junction import THERMAL_VOLTAGE
from models.quick_dataclass import dataclass
from models.tank import Tank
from synth.sound.filters import Smoother, ToneFilter
from synth.sound.voice import SMOOTHING_TIME

RATE = 48000
TIMES = 160  # radio samples per audio sample: 7.68 MHz
DIODE_TIMES = 640  # 30.7 MHz, for pulses a fraction of the radio cycle long
HALF = 22.5  # audio samples that the FIR reaches to either side: pass band to 20 kHz, stop band from 28 kHz
STEP_COST = 200.0
"""What a step of the diode takes beside its pieces, in instants of one piece (measured)."""
SETTLED, ENDS = round(0.08 * RATE), 100
"""Samples left out of a comparison: the DC block's start, and the FIR's reach at the end."""


@dataclass(frozen=True, slots=True, eq=False)
class Radio:
    """Phases, rad, from time 0, `times` to an audio sample: of the reference, and of the beat (it minus the other)."""

    times: int
    reference: Floats
    beat: Floats


def sound_from_radio(instrument: Instrument, hand: Floats) -> Floats:
    """Samples of a hand at these distances, m, at full volume: what `Voice.render` should give, without its start.

    Smoothing, tone filter, DC block and level are the voice's own; their circuits are checked by themselves.
    """
    [smoothed] = Smoother(SMOOTHING_TIME, RATE).smooth(hand)
    phases = radio(instrument, smoothed)
    heard = to_audio(detected(instrument, phases), phases.times)
    tone = ToneFilter(instrument.tone_low_pass, instrument.dc_block, RATE)
    detector = instrument.fixed_detector
    steady = detector.harmonics(0)[0]
    return np.asarray(instrument.level * tone.filter((heard - steady) / detector.peak))


def difference_db(got: Floats, wanted: Floats) -> float:
    """Root mean square of the difference over that of `wanted`, dB, once the DC block has settled."""
    counted = slice(SETTLED, -ENDS)
    return 10.0 * math.log10(np.mean((got - wanted)[counted] ** 2) / np.mean(wanted[counted] ** 2))


def radio(instrument: Instrument, distances: Floats) -> Radio:
    """Phases for hand distances at 48 kHz, m: the k-th at time (k + 1) / 48 kHz, the first holds before.

    The beat starts at phase 0 at time 0. Between the distances a cubic spline runs.
    """
    times = DIODE_TIMES if instrument.detector.kind == "diode" else TIMES
    instants = np.arange(distances.size + 1) / RATE
    offset = CubicSpline(instants, instrument.offset_frequency(np.append(distances[:1], distances)))
    lock = instrument.lock_range
    if lock > 0.0:
        found = solve_ivp(
            lambda time, phase: 2.0 * math.pi * (offset(time) - lock * np.sin(phase)),
            (0.0, instants[-1]),
            [0.0],
            method="DOP853",
            rtol=1e-11,
            atol=1e-11,
            max_step=1.0 / 4000.0,
            dense_output=True,
        )
        phase = CubicSpline(instants, found.sol(instants)[0])
        scale = 1.0
    else:
        phase, scale = offset.antiderivative(), 2.0 * math.pi
    time = np.arange(distances.size * times + 1) / (RATE * times)
    return Radio(times, 2.0 * math.pi * ((instrument.reference_frequency * time) % 1.0), scale * phase(time))


def detected(instrument: Instrument, phases: Radio) -> Floats:
    """The detector's output at the radio rate, in the units of `Detector.waveform`.

    With a law of the amplitudes, they follow in `detected_with`.
    """
    detector = instrument.fixed_detector
    return detected_with(detector, phases, 1.0, detector.amplitude_ratio)


def detected_with(detector: Detector, phases: Radio, reference: float, variable: float | Floats) -> Floats:
    """The same for peak amplitudes of the two (numbers or rows), over the detector's own stronger one."""
    first = reference * np.cos(phases.reference)
    second = variable * np.cos(phases.reference - phases.beat)
    if detector.kind == "product":
        return np.asarray(2.0 * first * second)
    if detector.kind == "square-law":
        return np.asarray((first + second) ** 2)
    if detector.kind == "junction":
        both = detector.drive + detector.weaker_drive
        mean = i0e(detector.drive) * i0e(detector.weaker_drive)
        return np.asarray(np.exp(detector.drive * (first + second) - both) / mean)
    if detector.kind == "envelope":  # no function of the instant: from the sum and its quadrature
        quadrature = reference * np.sin(phases.reference) + variable * np.sin(phases.reference - phases.beat)
        return np.asarray(np.hypot(first + second, quadrature))
    if detector.diode is None:
        raise ValueError(f"detector must be one of those known here; got {detector.kind!r}")
    return diode_output(detector.diode, detector.amplitude * (first + second), RATE * phases.times)


def diode_output(load: DiodeLoad, drive: Floats, rate: float, run_up: float = 15.0) -> Floats:
    """v, V, for the voltage before source resistance and diode, at the radio rate, Hz, by the trapezoid rule.

    Pieces of the time are worked out side by side, each after a run-up of `run_up` R C over what comes before it (the
    first over what follows, mirrored), which forgets where it began; as many as take least time, run-ups included. Each
    step is closed by the Wright function.
    """
    unit = load.emission_factor * THERMAL_VOLTAGE
    before = math.ceil(run_up * load.resistance * load.capacitance * rate)
    # (run-up + size / pieces) steps, each taking as long as STEP_COST instants and one for every piece
    pieces = math.ceil(math.sqrt(STEP_COST * drive.size / before))
    length = -(-drive.size // pieces)
    padded = np.concatenate([drive[before:0:-1], drive, np.zeros(length * pieces - drive.size)])
    rows = np.lib.stride_tricks.sliding_window_view(padded, before + length)[::length][:pieces].T
    half = 0.5 / rate / load.capacitance
    # v' (1 + half / R) = v (1 - half / R) + half (i + i'), and i' also meets the source: one exponential in i'
    shrink = 1.0 + half / load.resistance
    growth = (1.0 - half / load.resistance) / shrink
    half /= shrink
    whole = load.source_resistance + half
    shift = load.saturation_current * whole / unit
    scale = math.log(shift) + shift
    kept = np.empty((length, pieces))
    v, current = np.zeros(pieces), np.zeros(pieces)
    for index in range(before + length):
        known = growth * v + half * current
        current = wrightomega(scale + (rows[index] - known) / unit) * (unit / whole) - load.saturation_current
        v = known + half * current
        if index >= before:
            kept[index - before] = v
    return kept.T.ravel()[: drive.size]


def to_audio(values: Floats, times: int) -> Floats:
    """Samples at 48 kHz, the k-th at time (k + 1) / 48 kHz, of values at the radio rate from time 0; ends repeated."""
    from scipy import signal

    reach = round(HALF * times)
    taps = signal.firwin(2 * reach + 1, 24000.0, window=("kaiser", 11.0), fs=RATE * times)
    padded = np.concatenate([np.full(reach, values[0]), values, np.full(reach, values[-1])])
    filtered = signal.upfirdn(taps, padded, up=1, down=times)
    # filtered[j] is centred on value j times - 2 reach, and 2 reach is a whole number of audio samples
    first = 2 * reach // times
    return np.asarray(filtered[first + 1 : first + 1 + values.size // times])


ZERO_BEAT = 0.6  # m
LOCK_RANGE = 40.0  # Hz, of the pulled cases


def example_curve() -> CapacitanceCurve:
    """A curve of a rod's size."""
    distances = np.geomspace(0.01, 0.8, 40)
    return CapacitanceCurve(distances, 8e-12 + 0.09e-12 / (distances + 0.02) ** 1.1, 8e-12)


def example_instrument(detector: Detector | None = None, lock_range: float = 0.0) -> Instrument:
    """A plain instrument about 300 kHz, zero beat at 60 cm, with this detector (default: product)."""
    plain = Instrument(example_curve(), Tank(820e-6, 300e-12), 3e5)
    tuned = replace(plain, reference_frequency=float(plain.variable_frequency(ZERO_BEAT)), lock_range=lock_range)
    return tuned if detector is None else replace(tuned, detector=detector)


def detectors() -> dict[str, Detector]:
    """One detector of each kind."""
    return {
        "product": Detector("product", 0.8),
        "square-law": Detector("square-law", 0.8),
        "envelope": Detector("envelope", 0.95),
        "junction": Detector("junction", 0.8, 4.0),
        "diode": Detector("diode", 0.9, amplitude=1.0, diode=DiodeLoad(radio_frequency=2.85e5)),
    }


def moving_hand(seconds: float, start: float = 0.30, end: float = 0.10) -> Floats:
    """Distances, m, of a minimum-jerk reach with vibrato: beats from some 60 Hz to 700 Hz."""
    time = np.arange(round(seconds * RATE)) / RATE
    share = time / seconds
    reach = 10.0 * share**3 - 15.0 * share**4 + 6.0 * share**5
    return np.asarray(start + (end - start) * reach + 0.003 * np.sin(2.0 * math.pi * 6.5 * time))
