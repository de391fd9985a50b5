"""The diode envelope detector: a diode into a resistor with a capacitor across it, averaged over the radio cycle.

Symbols: A(t) = |V1 + V2 exp(j phi)| envelope of the two signals, V; v output, V; R, C load, ohm, F; R_s source
resistance, ohm; I_s saturation current, A; n emission factor; V_T = kT/q; x = A / (n V_T); y = v / (n V_T).

    C dv/dt = I_s f(x, y) - v / R,      f = mean diode current over I_s along one radio cycle

    R_s = 0:  f = I0(x) exp(-y) - 1                                  I0 the modified Bessel function
    R_s > 0:  f = <W> / r - 1,  r = I_s R_s / (n V_T),  W = omega(ln r + r + x cos(theta) - y)

with omega the Wright function (omega + ln omega = its argument), which solves diode and resistor in series exactly,
and <> the mean over theta. (The Bessel mean is in K. K. Clarke, D. T. Hess, Communication Circuits, 1971, from memory;
the rest is derived here and checked against an integration at the radio rate.)

Ripple. Within the radio cycle v rises by D during the pulse and falls in between. D acts on the mean current in
second order only (the ripple is odd about the pulse). Without source resistance exp(ripple) obeys a linear equation,
whose expansion to second order in kappa = I_s / (2 pi f_radio C n V_T) and whose limit of narrow pulses agree with

    f + 1 = asinh(sigma F) / sigma,   F = I0(x) exp(-y),   sigma = s pi kappa,
    s^2 = (6 / pi^2) sum over n >= 1 of (I_n(x) / (n I0(x)))^2

which is used when the radio frequency is given. With a source resistance, which makes the pulses broad and weak, or
without a radio frequency the ripple is neglected: then D, about v / (f_radio R C), should stay below n V_T. Neglected
always: the diode's junction capacitance, reverse breakdown, series resistance other than R_s, temperature, and that
the diode's pulses load the oscillators (R_s stands for their output resistance alone).
"""

from __future__ import annotations

import math
from dataclasses import field
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Floats
from models.checks import finite_array, non_negative, non_negative_array, positive
from models.junction import THERMAL_VOLTAGE
from models.quick_dataclass import dataclass

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

MOST_DRIVE = 600.0
"""Largest A / (n V_T) taken: some 15 V at n = 1."""
_ROOT_STEP = 0.15  # of sqrt(x), between rows of the table of the mean
_LARGEST_EXPONENT = 600.0  # only passed over on the way to a solution; keeps exp finite


@dataclass(frozen=True, slots=True)
class DiodeLoad:
    """The parts of the detector, SI units.

    `resistance` and `capacitance`: the load (ohm, F). `saturation_current` (A) and `emission_factor` n of the diode:
    typical of a small germanium or Schottky diode, from memory. `source_resistance`: of what drives it (ohm), 0
    allowed. `radio_frequency`: of the signals (Hz), for the ripple; some per cent do not matter. None: ripple
    neglected. Raises ValueError for a value out of its domain.
    """

    resistance: float = 100e3
    capacitance: float = 1e-9
    saturation_current: float = 0.2e-6
    emission_factor: float = 1.1
    source_resistance: float = 0.0
    radio_frequency: float | None = None

    def __post_init__(self) -> None:
        positive("load resistance", self.resistance)
        positive("load capacitance", self.capacitance)
        positive("saturation current", self.saturation_current)
        positive("emission factor", self.emission_factor)
        non_negative("source resistance", self.source_resistance)
        if self.radio_frequency is not None:
            positive("radio frequency", self.radio_frequency)

    @property
    def time_constant(self) -> float:
        """R C, s."""
        return self.resistance * self.capacitance

    @property
    def unit(self) -> float:
        """n V_T, V: what x and y are measured in."""
        return self.emission_factor * THERMAL_VOLTAGE

    @property
    def load_strength(self) -> float:
        """rho = I_s R / (n V_T): the load against the diode at rest."""
        return self.saturation_current * self.resistance / self.unit

    @property
    def ripple_strength(self) -> float:
        """kappa = I_s / (2 pi f_radio C n V_T); 0 where the ripple is neglected."""
        if self.radio_frequency is None or self.source_resistance > 0.0:
            return 0.0
        return self.saturation_current / (2.0 * math.pi * self.radio_frequency * self.capacitance * self.unit)

    @property
    def source_strength(self) -> float:
        """r = I_s R_s / (n V_T)."""
        return self.saturation_current * self.source_resistance / self.unit

    def drive(self, envelope: ArrayLike) -> Floats:
        """x for an envelope in V; ValueError beyond MOST_DRIVE."""
        x = non_negative_array("envelope", envelope) / self.unit
        if x.size and x.max() > MOST_DRIVE:
            most = MOST_DRIVE * self.unit
            raise ValueError(f"envelope must be <= {most:g} V for this diode; got {x.max() * self.unit:g}")
        return x


def sum_envelope(first: ArrayLike, second: ArrayLike, phase: ArrayLike) -> Floats:
    """|V1 + V2 exp(j phi)|, V, without loss of digits where the two nearly cancel; broadcasts."""
    one, other = non_negative_array("first", first), non_negative_array("second", second)
    half = np.cos(0.5 * finite_array("phase", phase))
    return np.asarray(np.hypot(one - other, 2.0 * np.sqrt(one * other) * half))


def log_bessel(x: Floats) -> Floats:
    """ln I0(x) for x >= 0, without overflow."""
    from scipy.special import i0e  # here and below: heavy, and only for this kind of detector

    return np.asarray(np.log(i0e(x)) + x)


def pulse_width_factor(x: Floats) -> Floats:
    """s(x) of the ripple: 0 at x = 0, rising toward 1 as the pulse narrows."""
    grid, values = _pulse_widths()
    return np.asarray(np.interp(np.sqrt(x), grid, values))


@lru_cache(maxsize=1)
def _pulse_widths() -> tuple[Floats, Floats]:
    """sqrt(x) and s(x), to MOST_DRIVE."""
    from scipy.special import i0e, ive

    grid = np.linspace(0.0, math.sqrt(MOST_DRIVE), 400)
    order = np.arange(1.0, 201.0)[:, None]
    shares = ive(order, grid**2) / i0e(grid**2) / order
    return grid, np.sqrt(6.0 / math.pi**2 * (shares**2).sum(axis=0))


class AveragedDiode:
    """f(x, y) and df/dy of a detector's averaged diode, for x up to `highest`.

    `prepared` is what `prepare` makes of x, once per grid. With a source resistance f comes from a table of the mean,
    within some 1e-4 of f + 1 (a test measures it).
    """

    def __init__(self, load: DiodeLoad, highest: float) -> None:
        top = min(2.0 ** math.ceil(math.log2(max(highest, 1.0))), MOST_DRIVE)
        self._table = _mean_correction(load.source_strength, top) if load.source_resistance > 0.0 else None
        self._ripple = math.pi * load.ripple_strength

    @property
    def abrupt(self) -> bool:
        """Whether nothing but the exponential limits the current."""
        return self._table is None and self._ripple == 0.0

    def prepare(self, x: Floats) -> tuple[Floats, Floats]:
        """ln I0(x), and sigma (or the place of x in the table)."""
        if self._table is not None:
            return log_bessel(x), np.sqrt(x)
        return log_bessel(x), np.maximum(self._ripple * pulse_width_factor(x), 1e-12) if self._ripple else x

    def evaluate(self, prepared: tuple[Floats, Floats], y: Floats) -> tuple[Floats, Floats]:
        """(f, df/dy) at y of the shape of x or broadcasting with it."""
        bessel, other = prepared
        exponent = np.minimum(bessel - y, _LARGEST_EXPONENT)
        if self._table is not None:
            correction, slope = self._table.at(other, exponent)
            current = np.exp(exponent + correction)
            return current - 1.0, -current * (1.0 + slope)
        current = np.exp(exponent)
        if self._ripple == 0.0:
            return current - 1.0, -current
        strength = other * current
        return np.arcsinh(strength) / other - 1.0, -current / np.hypot(1.0, strength)


@dataclass(frozen=True, slots=True)
class _MeanTable:
    """ln((f + 1) / (I0(x) exp(-y))) against sqrt(x) and a stretched d = ln I0(x) - y, as bicubic splines."""

    spline: RectBivariateSpline = field(repr=False)
    lowest: float
    highest: float

    def at(self, root: Floats, depth: Floats) -> tuple[Floats, Floats]:
        """The correction and its derivative with d; below the table, where the resistor hardly acts, its end value."""
        inside = np.clip(depth, self.lowest, self.highest)
        place = np.arcsinh(inside)
        roots = np.broadcast_to(root, place.shape)
        value = self.spline.ev(roots, place)
        slope = self.spline.ev(roots, place, dy=1) / np.hypot(1.0, inside)
        return np.asarray(value), np.asarray(np.where(inside == depth, slope, 0.0))


def mean_current(x: ArrayLike, y: ArrayLike, source: float, angles: int = 512) -> tuple[Floats, Floats]:
    """(f, df/dy) by averaging over `angles` midpoints of the radio half-cycle, r = `source` > 0; broadcasts."""
    from scipy.special import wrightomega

    cosine = np.cos((np.arange(angles) + 0.5) * (math.pi / angles))
    depth = np.asarray(x, dtype=np.float64)[..., None] * cosine - np.asarray(y, dtype=np.float64)[..., None]
    pulse = wrightomega(math.log(source) + source + depth)
    return np.asarray(pulse.mean(axis=-1) / source - 1.0), np.asarray(-(pulse / (1.0 + pulse)).mean(axis=-1) / source)


@lru_cache(maxsize=8)
def _mean_correction(source: float, top: float) -> _MeanTable:
    """The table for r = `source`: for x up to `top` and all y >= -1."""
    from scipy.interpolate import RectBivariateSpline

    roots = np.linspace(0.0, math.sqrt(top), math.ceil(math.sqrt(top) / _ROOT_STEP) + 8)
    lowest, highest = -30.0, top + 1.0
    places = np.linspace(math.asinh(lowest), math.asinh(highest), 160)
    angles = 256 if top <= 128.0 else 512
    bessel = log_bessel(roots**2)
    values = np.empty((roots.size, places.size))
    for index, (root, high) in enumerate(zip(roots, bessel, strict=True)):
        depth = np.sinh(places)
        total = mean_current(np.full(places.size, root * root), high - depth, source, angles)[0] + 1.0
        values[index] = np.log(total) - depth
    return _MeanTable(RectBivariateSpline(roots, places, values, s=0), lowest, highest)


def static_output(load: DiodeLoad, envelope: ArrayLike) -> Floats:
    """Output v, V, for an envelope (V, shape kept) that stands still: I_s f(x, y) = v / R.

    Without source resistance and ripple closed: y + rho = omega(ln rho + rho + ln I0(x)). Else by Newton from there,
    which converges from any side, as f is convex and falls with y.
    """
    from scipy.special import wrightomega

    x = load.drive(envelope)
    rho = load.load_strength
    bessel = log_bessel(x)
    y = np.asarray(wrightomega(math.log(rho) + rho + bessel) - rho)
    diode = AveragedDiode(load, float(x.max(initial=0.0)))
    if not diode.abrupt:
        prepared = diode.prepare(x)
        for _ in range(100):
            current, slope = diode.evaluate(prepared, y)
            step = (rho * current - y) / (rho * slope - 1.0)
            y = y - step
            if np.abs(step).max(initial=0.0) < 1e-11 * (1.0 + np.abs(y).max(initial=0.0)):
                break
        else:
            raise ArithmeticError("the diode detector's output at rest was not found")
    return np.asarray(np.maximum(y, 0.0) * load.unit)
