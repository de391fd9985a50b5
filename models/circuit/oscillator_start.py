"""Where harmonic balance starts: the describing function, or the path of the oscillation up from rest.

Describing function of an exponential device: x = V_1 / V_T drive (peak fundamental over the thermal voltage), I_n
modified Bessel functions of the first kind, g_m transconductance at the mean current, G_m its value for the fundamental
at that drive. Source: K. K. Clarke and D. T. Hess, Communication Circuits: Analysis and Design (1971), chapter 4 (from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from models.arrays import Complexes, Floats
from models.checks import finite, finite_array, non_negative_array
from models.circuit.devices import DeviceLaw
from models.circuit.harmonic_balance import Balance, NotConvergedError, PartProbe, balance
from models.circuit.network import Network
from models.circuit.operating_point import OperatingPoint
from models.circuit.small_signal import DoesNotStartError, SmallSignal, gain_path, linearised
from models.circuit.start_threshold import characteristic_roots, leading_pair, mode_shape, rank_one_threshold
from models.circuit.transistor import COLLECTOR_PORT
from models.roots import root

PHASE_PORT = COLLECTOR_PORT
"""The second port of the amplifying device (of an inverter its input) fixes the phase: its fundamental is real and
negative (with an NPN in common base the collector voltage has its peak at t = 0).
"""

SMALLEST_GROWTH = 1.0005
"""The path is given up when the amplitude cannot be raised by this factor."""

PULSE_DEPTH, PULSE_POINTS = 40.0, 48

HEADROOM = 0.4
"""Forward voltage, V, at which the collector junction is taken to limit the first guess."""


def relative_transconductance(drive: ArrayLike) -> Floats:
    """Return G_m / g_m = 2 I_1(x) / (x I_0(x)) for a drive x >= 0, the mean current held; 1 at x = 0; broadcasts."""
    x = non_negative_array("drive", drive)
    safe = np.where(x > 1e-4, x, 1.0)
    mean, fundamental = _pulse(safe)
    # the series about 0: 1 - x^2 / 8
    result: Floats = np.where(x > 1e-4, 2.0 * fundamental / (safe * mean), 1.0 - x * x / 8.0)
    return result


def drive_at(ratio: float) -> float:
    """Return the drive x at which G_m / g_m has fallen to `ratio` (0 < ratio < 1). Raises ValueError outside."""
    if not 0.0 < finite("ratio", ratio) < 1.0:
        raise ValueError(f"ratio must be between 0 and 1 (both excluded); got {ratio:g}")
    # for large x, 2 I_1 / (x I_0) is just below 2 / x
    return root(lambda x: float(relative_transconductance(x)) - ratio, 0.0, 2.0 / ratio, xtol=1e-13)


def bias_shift(drive: ArrayLike) -> Floats:
    """Return how far the mean junction voltage falls at a drive x for the same mean current, in thermal voltages.

    ln I_0(x): the mean of exp(x cos) is I_0(x).
    """
    x = np.abs(finite_array("drive", drive))
    return np.asarray(np.log(_pulse(x)[0]) + x)


def _pulse(x: Floats) -> tuple[Floats, Floats]:
    """Return I_0(x) exp(-x) and I_1(x) exp(-x): the mean over a cycle of exp(x cos - x), and of that times cos.

    By the trapezoidal rule over that part of half a cycle in which it is above exp(-PULSE_DEPTH): to rounding, since
    the pulse is even about its peak and over, or even again, at the other end.
    """
    end = np.arccos(np.maximum(1.0 - PULSE_DEPTH / np.maximum(x, 1e-9), -1.0))
    angle = end[..., None] * np.linspace(0.0, 1.0, PULSE_POINTS + 1)
    height = np.exp(-2.0 * x[..., None] * np.sin(0.5 * angle) ** 2)
    height[..., [0, -1]] *= 0.5
    scale = end / (math.pi * PULSE_POINTS)
    return scale * height.sum(axis=-1), scale * (height * np.cos(angle)).sum(axis=-1)


def threshold(
    linear: Network, ports: DeviceLaw, signal: SmallSignal, near: float | None
) -> tuple[float, float, Complexes]:
    """Return the critical transconductance, S, of the mode nearest to `near`, Hz (None: the leading one), its angular
    frequency, rad/s, and its shape (n,) with a base-collector voltage of -1. `signal` has been found to start."""
    capacitance, conductance = linearised(linear, ports, signal.point.port_voltages)
    out, sense = gain_path(linear, ports, signal.point)
    without = conductance - signal.transconductance * np.outer(out, sense)
    strength, frequency = signal.critical_transconductance, signal.critical_frequency
    if strength is None or frequency is None:
        raise DoesNotStartError(signal)
    omega = 2.0 * math.pi * frequency
    if near is not None:  # a hint chooses the mode; the search begins at that mode, not at the hint
        roots = characteristic_roots(capacitance, without + strength * np.outer(out, sense))
        pair = leading_pair(roots, near)
        begin = 2.0 * math.pi * near if pair is None else abs(pair)
        strength, omega = rank_one_threshold(capacitance, without, out, sense, begin, strength)
        if strength <= 0.0:
            raise ValueError(f"no transconductance makes the mode near {near:g} Hz oscillate")
    shape = mode_shape(capacitance, without + strength * np.outer(out, sense), 1j * omega)
    return strength, omega, shape / -(linear.ports[:, PHASE_PORT] @ shape)


def first_guess(
    linear: Network,
    ports: DeviceLaw,
    point: OperatingPoint,
    mode: tuple[float, float, Complexes],
    harmonics: int,
) -> tuple[Complexes, float]:
    """Return port coefficients (2, harmonics + 1), V, and the angular frequency of the describing-function amplitude.

    The mean current follows the emitter as the mean junction voltage falls by V_T ln I_0(x); the collector's swing is
    held within the supply.
    """
    strength, omega, shape = mode
    thermal, current = ports.thermal, point.emitter_current
    resting = max(point.emitter_drop, thermal)
    drive, before = 1.0, 0.0
    for _ in range(20):
        ratio = strength * thermal / current
        drive, before = drive_at(min(max(ratio, 1e-6), 0.999)), drive
        current = point.emitter_current * (1.0 + thermal * float(bias_shift(drive)) / resting)
        if abs(drive - before) < 1e-6 * drive:
            break
    junction = linear.ports.T @ shape
    swing = drive * thermal / abs(junction[0])
    limit = max(HEADROOM - float(point.port_voltages[1]), 10.0 * thermal)
    swing = min(swing, limit)
    drive = swing * float(abs(junction[0])) / thermal
    coefficients = np.zeros((len(junction), harmonics + 1), dtype=np.complex128)
    coefficients[:, 0] = point.port_voltages
    lowered = math.log(current / point.emitter_current) - float(bias_shift(drive))
    coefficients[0, 0] += thermal * lowered
    coefficients[:, 1] = 0.5 * swing * junction
    return coefficients, omega


def followed_up(
    linear: Network,
    ports: DeviceLaw,
    point: OperatingPoint,
    mode: tuple[float, float, Complexes],
    tank: tuple[str, str],
    harmonics: int,
) -> Balance:
    """Return the free oscillation reached from rest by raising the amplitude against a vanishing extra conductance.

    Raises NotConvergedError when the path breaks off or the supply is passed ten times without an end.
    """
    capacitance, conductance = linearised(linear, ports, point.port_voltages)
    nodes = linear.unit(*tank)
    pair = leading_pair(characteristic_roots(capacitance, conductance), mode[1] / (2.0 * math.pi))
    omega = mode[1] if pair is None else pair.imag
    start = max((0.0 if pair is None else pair.real) * float(nodes @ capacitance @ nodes), 1e-9)
    probe, omega = rank_one_threshold(capacitance, conductance, nodes, nodes, omega, start)
    shape = mode_shape(capacitance, conductance + probe * np.outer(nodes, nodes), 1j * omega)
    junction = linear.ports.T @ (shape / -(linear.ports[:, PHASE_PORT] @ shape))
    fundamental = -0.05 * ports.thermal / float(abs(junction[ports.control]))
    coefficients = np.zeros((len(junction), harmonics + 1), dtype=np.complex128)
    coefficients[:, 0] = point.port_voltages
    coefficients[:, 1] = abs(fundamental) * junction
    limit = 10.0 * float(np.max(np.abs(point.states)))
    below = Balance(coefficients, omega, probe, 0.0, 0)

    def held(near: Balance, level: float) -> Balance | None:
        """Return the oscillation whose collector junction swings by twice `level`, or None."""
        try:
            return balance(
                linear,
                ports,
                near.coefficients,  # as they are: Newton's first step then goes along the path
                near.angular_frequency,
                phase_port=PHASE_PORT,
                probe=PartProbe(nodes, level),
                probe_start=near.probe,
                iterations=25,
            )
        except NotConvergedError:
            return None

    # outwards until the conductance is no longer positive
    growth, above = 2.0, None
    level = fundamental
    while above is None:
        found = held(below, level)
        if found is None:
            growth = 1.0 + 0.5 * (growth - 1.0)
            if growth < SMALLEST_GROWTH:
                raise NotConvergedError(f"the oscillation cannot be followed beyond {-2.0 * level:.3g} V")
        elif found.probe <= 0.0:
            above = found
        else:
            below, growth = found, min(2.0, 1.0 + 1.5 * (growth - 1.0))
        level = float(below.coefficients[PHASE_PORT, 1].real) * growth
        if abs(level) > limit:
            raise NotConvergedError("the oscillation grows beyond ten times the supply without an end")
    return _closed_in(linear, ports, held, below, above)


def _closed_in(
    linear: Network,
    ports: DeviceLaw,
    held: Callable[[Balance, float], Balance | None],
    below: Balance,
    above: Balance,
) -> Balance:
    """Return the free oscillation between two held ones whose conductances differ in sign (bisection, then Newton)."""
    for _ in range(40):
        nearer = below if below.probe < -above.probe else above
        low, high = (float(state.coefficients[PHASE_PORT, 1].real) for state in (below, above))
        close = abs(high / low - 1.0) < 0.02
        if close:
            try:
                return balance(
                    linear, ports, nearer.coefficients, nearer.angular_frequency, phase_port=PHASE_PORT, iterations=25
                )
            except NotConvergedError:
                pass
        share = min(max(below.probe / (below.probe - above.probe), 0.1), 0.9)
        between = held(nearer, low + share * (high - low)) or held(below, low + 0.25 * (high - low))
        if between is None:
            raise NotConvergedError(f"no oscillation is found between {-2.0 * low:.4g} and {-2.0 * high:.4g} V")
        if between.probe > 0.0:
            below = between
        else:
            above = between
    raise NotConvergedError(f"the oscillation cannot be closed in on near {-2.0 * low:.4g} V")
