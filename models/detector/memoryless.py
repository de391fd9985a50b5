"""The detector: what the ear gets from two radio-frequency signals a beat apart.

Signals: cos(omega t) and m cos(omega t + phi), m <= 1 the weaker over the stronger amplitude, phi the beat
phase, which turns slowly. Each kind gives, averaged over the radio cycle, a waveform that is an even function
of phi:

    y(phi) = A_0 + sum over n >= 1 of A_n cos(n phi)

| kind | what the circuit does | y(phi) |
|---|---|---|
| product | 2 times the product of the two (a balanced mixer) | m cos phi |
| envelope | ideal envelope of their sum | sqrt(1 + m^2 + 2 m cos phi) |
| square-law | square of their sum | (1 + m^2) / 2 + m cos phi |
| junction | exponential, over its mean | I0(sqrt(x1^2 + x2^2 + 2 x1 x2 cos phi)) / (I0(x1) I0(x2)) |
| diode | diode into resistor and capacitor | v at rest, V: models.detector.diode.static_output |

with x1 the stronger peak voltage over kT/q, x2 = m x1 the weaker, and I0 the modified Bessel function.

All fall as phi goes from 0 to pi, so the highest value is y(0) and the lowest y(pi). The diode remembers: y(phi) is
what it gives while phi moves slowly; how it follows faster beats is in models.detector.diode_response. Neglected: the
radio-frequency filter behind the others (ideal here: only the average over the radio cycle is kept), and that a
junction's own current loads the oscillators.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, fraction, non_negative, one_of, positive, whole
from models.detector.diode import DiodeLoad, static_output, sum_envelope
from models.junction import THERMAL_VOLTAGE
from models.quick_dataclass import dataclass

MOST_HARMONICS = 2**20  # that may be asked for
LARGEST_TABLE = 2**26  # points of all levels together: half a gigabyte
HARDEST_DRIVE = 300.0  # of a junction, in kT/q, where amplitudes are compared: some 7.8 V


def envelope_waveform(phase: ArrayLike, amplitude_ratio: float) -> Floats:
    """Envelope of the sum over the stronger amplitude: |1 + m exp(j phi)|; phase in rad."""
    return sum_envelope(1.0, fraction("amplitude_ratio", amplitude_ratio), phase)


def envelope_harmonics(count: int, amplitude_ratio: ArrayLike) -> Floats:
    """A_0..A_count of the envelope, shape (count + 1,), to a relative error below 1e-12 for any m and n; (r, count + 1)
    for ratios (r,).

    The Fourier integral of |1 + m z| over the unit circle, drawn together onto the branch cut of the root:

        A_n = -(-m)^n (4 / pi) * integral over u = 0..1 of (1 - u^2)^(n - 3/2) u^2 sqrt(1 - m^2 + m^2 u^2) du

    for n >= 1 (derived here; the integrand has one sign, so no digits cancel); A_0 is `_mean_envelope`.
    At m = 1 they are A_0 = 4 / pi, A_n = -(-1)^n 8 / (pi (4 n^2 - 1)).
    """
    ratio, highest = np.asarray(amplitude_ratio, dtype=np.float64), _count("count", count, 0)
    means = [_mean_envelope(fraction("amplitude_ratio", each)) for each in ratio.ravel().tolist()]
    node, weight, fall = (_kept_quadrature if highest <= MOST_KEPT else _quadrature)(highest)
    if ratio.ndim:
        node, weight = node[:, None], weight[:, None]
    root = np.hypot(np.sqrt((1.0 - ratio) * (1.0 + ratio)), ratio * node)
    order = np.arange(1.0, highest + 1.0).reshape(-1, *(1,) * ratio.ndim)
    falling = -((-ratio) ** order) * (4.0 / math.pi) * (fall @ (weight * node**2 * root))
    return np.concatenate([np.reshape(means, (1, *ratio.shape)), falling]).T


MOST_KEPT = 1024  # harmonics, up to which the quadrature is kept: 2 MB


def _quadrature(highest: int) -> tuple[Floats, Floats, Floats]:
    """Nodes u and their weights, (n,), and (1 - u^2)^(k - 3/2) of the harmonics k = 1..highest, (highest, n)."""
    position = np.linspace(-4.0, 4.0, 241)  # double-exponential nodes: exact to rounding up to both ends
    bent = math.pi * np.sinh(position)
    node, rest = 1.0 / (1.0 + np.exp(-bent)), 1.0 / (1.0 + np.exp(bent))  # u and 1 - u
    weight = (position[1] - position[0]) * math.pi * np.cosh(position) * node * rest
    order = np.arange(1.0, highest + 1.0)
    return node, weight, np.exp(np.outer(order - 1.5, np.log(rest) + np.log1p(node)))


_kept_quadrature = lru_cache(maxsize=4)(_quadrature)


def _mean_envelope(ratio: float) -> float:
    """The mean of |1 + m z| over the unit circle: an ellipse's perimeter over 2 pi, its half axes 1 + m and 1 - m.

    Symbols: a, b half axes, M(a, b) their arithmetic-geometric mean, reached by a_n, b_n from them, c_n half of their
    difference before. (M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 17.6, from memory.)
        perimeter / 2 pi = (a^2 - sum over n >= 0 of 2^(n - 1) c_n^2) / M(a, b),   c_0^2 = a^2 - b^2
    """
    a, b = 1.0 + ratio, 1.0 - ratio
    if b == 0.0:
        return 4.0 / math.pi
    total, weight = 0.5 * (a * a + b * b), 1.0
    while a - b > 1e-15 * a:
        half = 0.5 * (a - b)
        a, b = 0.5 * (a + b), math.sqrt(a * b)
        total -= weight * half * half
        weight *= 2.0
    return total / a


def junction_waveform(phase: ArrayLike, drive: float, weaker_drive: float) -> Floats:
    """Junction current over its mean along the beat; drives: both peak voltages over kT/q; phase in rad."""
    drive, weaker_drive = non_negative("drive", drive), non_negative("weaker_drive", weaker_drive)
    from scipy.special import i0e  # here and below: heavy, and not for every detector

    reach = sum_envelope(drive, weaker_drive, phase)
    scale = i0e(drive) * i0e(weaker_drive)
    return np.asarray(i0e(reach) * np.exp(reach - (drive + weaker_drive)) / scale)


def junction_harmonics(count: int, drive: float, weaker_drive: float) -> Floats:
    """A_0..A_count of the junction current over its mean: 1, then 2 I_n(x1) I_n(x2) / (I_0(x1) I_0(x2)).

    The addition theorem of I_0 (Neumann's, for imaginary argument; from memory), checked against quadrature.
    """
    drive, weaker_drive = non_negative("drive", drive), non_negative("weaker_drive", weaker_drive)
    from scipy.special import i0e, ive

    order = np.arange(_count("count", count, 0) + 1, dtype=np.float64)
    ratio = ive(order, drive) * ive(order, weaker_drive) / (i0e(drive) * i0e(weaker_drive))
    return np.asarray(np.where(order == 0, 1.0, 2.0) * ratio)


@dataclass(frozen=True, slots=True, eq=False)
class _Law:
    """How one kind makes its waveform and harmonics, from (detector, phase) and (detector, count)."""

    waveform: Callable[[Detector, ArrayLike], Floats]
    harmonics: Callable[[Detector, int], Floats]


def _cosine(detector: Detector, phase: ArrayLike) -> Floats:
    return np.asarray(detector.amplitude_ratio * np.cos(finite_array("phase", phase)))


def _cosine_harmonics(detector: Detector, count: int) -> Floats:
    harmonics = np.zeros(count + 1)
    harmonics[1:2] = detector.amplitude_ratio
    return harmonics


def _square_law(detector: Detector, phase: ArrayLike) -> Floats:
    return np.asarray(0.5 * (1.0 + detector.amplitude_ratio**2) + _cosine(detector, phase))


def _square_law_harmonics(detector: Detector, count: int) -> Floats:
    harmonics = _cosine_harmonics(detector, count)
    harmonics[0] = 0.5 * (1.0 + detector.amplitude_ratio**2)
    return harmonics


def _diode(detector: Detector, phase: ArrayLike) -> Floats:
    weaker = detector.amplitude * detector.amplitude_ratio
    return static_output(detector.diode, sum_envelope(detector.amplitude, weaker, finite_array("phase", phase)))


def _diode_harmonics(detector: Detector, count: int) -> Floats:
    points = max(8192, 4 << count.bit_length())
    cycle = _diode(detector, np.arange(points // 2 + 1) * (2.0 * math.pi / points))
    spectrum = np.fft.rfft(np.concatenate([cycle, cycle[-2:0:-1]])).real[: count + 1] / points
    return np.asarray(np.where(np.arange(count + 1) == 0, 1.0, 2.0) * spectrum)


_LAWS: dict[str, _Law] = {
    "product": _Law(_cosine, _cosine_harmonics),
    "envelope": _Law(
        lambda detector, phase: envelope_waveform(phase, detector.amplitude_ratio),
        lambda detector, count: envelope_harmonics(count, detector.amplitude_ratio),
    ),
    "square-law": _Law(_square_law, _square_law_harmonics),
    "junction": _Law(
        lambda detector, phase: junction_waveform(phase, detector.drive, detector.weaker_drive),
        lambda detector, count: junction_harmonics(count, detector.drive, detector.weaker_drive),
    ),
    "diode": _Law(_diode, _diode_harmonics),
}
DETECTORS = tuple(_LAWS)


@dataclass(frozen=True, slots=True)
class Detector:
    """A detector: `kind` (one of DETECTORS), `amplitude_ratio` m in (0, 1] and what some kinds need besides.

    `amplitude_ratio` is the weaker signal over the stronger; which of them is the variable oscillator makes
    no difference. `drive` is the stronger signal's peak voltage at the junction over kT/q (25.85 mV at 300
    K). `amplitude` is the stronger signal's peak voltage at the diode, V, and `diode` holds its parts. Other
    kinds than the one named ignore them.
    """

    kind: str = "product"
    amplitude_ratio: float = 1.0
    drive: float = 1.0
    amplitude: float = 1.0
    diode: DiodeLoad = field(default_factory=DiodeLoad)

    def __post_init__(self) -> None:
        one_of("kind", self.kind, DETECTORS)
        if positive("amplitude_ratio", self.amplitude_ratio) > 1.0:
            raise ValueError(f"amplitude_ratio is weaker over stronger and must be <= 1; got {self.amplitude_ratio:g}")
        positive("drive", self.drive)
        positive("amplitude", self.amplitude)
        if self.kind == "diode":
            self.diode.drive(self.amplitude * (1.0 + self.amplitude_ratio))

    def with_amplitudes(self, first: float, second: float) -> Detector:
        """The same detector with these peak voltages, V, of the two signals at it, whichever is the stronger."""
        low, high = sorted((positive("first", first), positive("second", second)))
        if self.kind == "junction" and high > HARDEST_DRIVE * THERMAL_VOLTAGE:
            most = HARDEST_DRIVE * THERMAL_VOLTAGE
            raise ValueError(f"the signals at a junction must be <= {most:g} V; got {high:g}")
        return replace(self, amplitude_ratio=low / high, drive=high / THERMAL_VOLTAGE, amplitude=high)

    @property
    def amplitudes(self) -> tuple[float, float]:
        """Peak voltages of the stronger and of the weaker signal, V; where no voltage counts the stronger has 1 V."""
        strongest = {"junction": self.drive * THERMAL_VOLTAGE, "diode": self.amplitude}.get(self.kind, 1.0)
        return strongest, strongest * self.amplitude_ratio

    @property
    def strength(self) -> float:
        """What the waveform is measured in, as the amplitudes change: V^2, V, the junction's mean over I_s, or 1."""
        if self.kind in ("product", "square-law"):
            return self.amplitude**2
        if self.kind == "junction":
            from scipy.special import i0

            return float(i0(self.drive) * i0(self.weaker_drive))
        return self.amplitude if self.kind == "envelope" else 1.0

    def waveform(self, phase: ArrayLike) -> Floats:
        """y(phi) of the table above at beat phases in rad; shape kept; steady part included; the diode at rest."""
        return _LAWS[self.kind].waveform(self, phase)

    def harmonics(self, count: int) -> Floats:
        """A_0..A_count, shape (count + 1,); A_0 is the steady part. `count` must be a whole number >= 0."""
        return _LAWS[self.kind].harmonics(self, _count("count", count, 0))

    @property
    def weaker_drive(self) -> float:
        """The weaker signal's peak voltage at the junction over kT/q."""
        return self.drive * self.amplitude_ratio

    @property
    def swing(self) -> tuple[float, float]:
        """Lowest and highest value of the waveform without its steady part: (y(pi) - A_0, y(0) - A_0)."""
        ends = self.waveform(np.array([math.pi, 0.0])) - self.harmonics(0)[0]
        return float(ends[0]), float(ends[1])

    @property
    def peak(self) -> float:
        """Greatest absolute value of the waveform without its steady part; divide by it for a peak of 1."""
        lowest, highest = self.swing
        return max(-lowest, highest)


def harmonics_of(detectors: Sequence[Detector], count: int) -> Floats:
    """`Detector.harmonics` of several of one kind, (n, count + 1)."""
    if all(detector.kind == "envelope" for detector in detectors):  # together, in a tenth of the time
        return envelope_harmonics(count, [detector.amplitude_ratio for detector in detectors])
    return np.array([detector.harmonics(count) for detector in detectors])


def _count(name: str, value: int, least: int, most: int = MOST_HARMONICS) -> int:
    if whole(name, value, least) > most:
        raise ValueError(f"{name} must be at most {most}; got a larger number")
    return int(value)


def band_limited_tables(harmonics: ArrayLike, size: int, top_harmonics: ArrayLike) -> Floats:
    """One cycle of the waveform per level without its steady part, each cut off above its own top harmonic.

    `harmonics` is (A_0, A_1, ...); `size` points a cycle; `top_harmonics` shape (levels,), the highest
    harmonic each level keeps (0 keeps none). Returns shape (levels, size + 1): entry j is the waveform at
    phase 2 pi j / size and the last equals the first, for interpolation. Harmonics beyond those given count
    as 0. Raises ValueError if a top harmonic is at or above half of `size`, where a table cannot hold it, and for more
    than LARGEST_TABLE points in all.
    """
    amplitudes = finite_array("harmonics", harmonics)
    if amplitudes.ndim != 1 or amplitudes.size == 0:
        raise ValueError(f"harmonics must be a row of at least one number; got shape {amplitudes.shape}")
    points = _count("size", size, 4, LARGEST_TABLE)
    tops = np.atleast_1d(np.asarray(top_harmonics))
    if tops.ndim != 1 or not np.issubdtype(tops.dtype, np.integer) or np.any(tops < 0):
        raise ValueError(f"top_harmonics must be whole numbers >= 0; got {top_harmonics!r}")
    if tops.size * points > LARGEST_TABLE:
        raise ValueError(f"size times levels must be at most {LARGEST_TABLE}; got {points} x {tops.size}")
    if np.any(tops >= 0.5 * points):
        raise ValueError(f"top_harmonics must be below size / 2 = {points / 2:g}; got {int(tops.max())}")
    spectrum = np.zeros((tops.size, points // 2 + 1))
    kept = min(amplitudes.size, points // 2)
    orders = np.arange(kept)
    wanted = (orders >= 1) & (orders <= tops[:, None])
    spectrum[:, :kept] = np.where(wanted, 0.5 * points * amplitudes[:kept], 0.0)
    cycles = np.fft.irfft(spectrum, n=points, axis=1)
    return np.asarray(np.concatenate([cycles, cycles[:, :1]], axis=1))
