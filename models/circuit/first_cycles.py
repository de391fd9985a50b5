"""The first cycles after switching on: integrated in time, and resolved into the harmonics from which the march begins.

See models.circuit.envelope.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.arrays import Complexes, Floats
from models.circuit.common_base import OscillatorCircuit
from models.circuit.devices import DeviceLaw
from models.circuit.drawing import Drawable, Drawing
from models.circuit.envelope import FEWEST_HARMONICS, Point, TooFastError
from models.circuit.harmonic_balance import instants, resized, waveform
from models.circuit.implicit_run import stepped
from models.circuit.network import Network
from models.circuit.oscillator_start import PHASE_PORT
from models.circuit.small_signal import linearised
from models.circuit.start_threshold import characteristic_roots, leading_pair, mode_shape
from models.circuit.transient import POINTS_PER_CYCLE, TransientRecord, crossings, cycle_swings
from models.circuit.work import TooMuchWorkError
from models.spline import spline

FIRST_CYCLES = 14
"""Cycles integrated in time after switching on."""
MOST_PIECES = 5
"""Most times that the integration goes on for another FIRST_CYCLES."""
SLOW_RISE = 1.0
"""Thermal voltages a cycle: an emitter junction that rises more slowly than this does not ring the tank as it turns on.
"""
CONDUCTING = 0.45
"""V across the emitter junction from which the transistor conducts."""
WINDOW = 10
"""The last cycles of the first ones, from which the harmonics are read."""
FITTED = 6
"""Harmonics read from the first cycles."""
DEGREE = 3
"""Degree of the polynomial by which each of them changes in the window."""
READABLE = 20e-3
"""V peak to peak of the tank from which the swing of a drawing is told from what its nodes drift by; below, it is small
beside the devices' voltages, and read as that of the mode that rings."""
LEAPING = 0.8
"""The first cycles go on while a cycle's swing, once READABLE, is less than this of the next one's."""
MISSED = 0.01
"""Share of the tank's swing that the fit may miss."""
RUNG_DOWN = 8.0
"""Natural logarithm of the fall in the window beyond which no fundamental can be read there."""


def first_cycles(circuit: Drawable, linear: Network, ports: DeviceLaw, near: float) -> TransientRecord:
    """Integrate the first cycles in time: on until the emitter junction conducts, where it comes up so quickly that its
    turning on, within a fraction of a cycle, rings the tank. Of a drawing, whose nodes come up in any way, on until the
    swing is READABLE, or falls.
    """
    run = _integrated(circuit, near, None)
    for _ in range(MOST_PIECES):
        junction = linear.ports[:, ports.control] @ run.states
        cycle = junction[-POINTS_PER_CYCLE:].mean(), junction[-2 * POINTS_PER_CYCLE : -POINTS_PER_CYCLE].mean()
        conducting = float(junction[-WINDOW * POINTS_PER_CYCLE :].min()) > CONDUCTING
        if isinstance(circuit, OscillatorCircuit):
            if conducting or (cycle[0] < CONDUCTING and cycle[0] - cycle[1] < SLOW_RISE * ports.thermal):
                break
        else:
            swings = cycle_swings(run, "tank")
            last, before = float(swings[-1]), float(swings[-2])
            if (last > READABLE and LEAPING * last < before) or last < min(before, float(swings[-FIRST_CYCLES])):
                break
        more = _integrated(circuit, near, run.states[:, -1])
        run = run.followed_by(replace(more, times=run.times[-1] + more.times))
    return run


def _integrated(circuit: Drawable, near: float, start: Floats | None) -> TransientRecord:
    """FIRST_CYCLES from `start` (None: switching on), by the implicit rule: anything may ring.

    Of the one-transistor form in coarse steps where these are solved (the start-up's time is then the same to 1e-6).
    """
    if isinstance(circuit, OscillatorCircuit):
        try:
            return stepped(circuit, FIRST_CYCLES, near, start, coarse=True)
        except TooMuchWorkError:
            raise
        except ValueError:
            pass
    return stepped(circuit, FIRST_CYCLES, near, start)


def _of_mode(first: TransientRecord, linear: Network, ports: DeviceLaw, near: float, when: float) -> float:
    """Peak, V, at which the tank swings in the mode that rings near `near`, Hz, in the cycle around `when`, s.

    Symbols: s root of the mode, v its shape and w its left one, w^T (G + s C) = 0, both linearised at `when`. The slow
    modes have no part along w, and w^T C dx/dt needs no difference of states:
    amplitude = w^T (source - G x - A i(A^T x)) / (s w^T C v) = a,   x - mean = 2 Re(a v)
    """
    place = int(np.searchsorted(first.times, when))
    capacitance, conductance = linearised(linear, ports, linear.ports.T @ first.states[:, place])
    root = leading_pair(characteristic_roots(capacitance, conductance), near)
    if root is None:
        return 0.0
    shape, left = (
        mode_shape(*matrices, root) for matrices in ((capacitance, conductance), (capacitance.T, conductance.T))
    )
    cycle = slice(place - POINTS_PER_CYCLE // 2, place + POINTS_PER_CYCLE // 2)
    states, since = first.states[:, cycle], first.times[cycle] - first.times[place]
    currents = ports.evaluate(linear.ports.T @ states).currents
    rates = linear.source[:, None] - linear.conductance @ states - linear.ports @ currents
    turned = (left @ rates) * np.exp(-root * since) / (root * (left @ capacitance @ shape))
    return 2.0 * float(abs(turned.mean() * (linear.unit(*first.tank) @ shape)))


def resolved(
    circuit: Drawable, first: TransientRecord, linear: Network, ports: DeviceLaw, near: float, floor: float
) -> list[Point]:
    """Return three points one cycle apart around the middle of the window of the first cycles.

    Each state is a polynomial of degree DEGREE, polynomials times exp((s + j k w) t) with the rate s and the frequency
    w of the mode that rings, and the circuit's other modes. Where the fundamental has rung down by RUNG_DOWN in the
    window, what looks like it is left of the rising means: it then begins at the floor, peak V of the tank, in the
    shape of its mode. A drawing's swing that is not READABLE is read by its mode, and one that has outgrown all this
    (the fit misses more than MISSED of it) cycle by cycle.
    """
    late = first.times >= first.times[-1] - WINDOW / near
    times, states = first.times[late], first.states[:, late]
    capacitance, conductance = linearised(linear, ports, linear.ports.T @ states.mean(axis=1))
    roots = characteristic_roots(capacitance, conductance)
    carrier = leading_pair(roots, near)
    if carrier is None:
        raise TooFastError("envelope: the circuit has no mode that rings while the supply rises")
    omega, middle = carrier.imag, 0.5 * (times[0] + times[-1])
    half = 0.5 * (times[-1] - times[0])
    since = times - middle
    powers = (since / half) ** np.arange(DEGREE + 1)[:, None]
    columns = [*powers]
    size = np.exp(carrier.real * since)
    for order in range(1, FITTED + 1):
        columns += [
            size * part * powers[n]
            for part in (np.cos(order * omega * since), np.sin(order * omega * since))
            for n in range(DEGREE + 1)
        ]
    for root in roots:
        if root != carrier and root.imag > abs(root.real):  # it rings; what creeps is in the polynomial
            other = np.exp((root.real + 1j * root.imag) * since - abs(root.real) * half)
            columns += [other.real, other.imag]
    solution = np.linalg.lstsq(np.stack(columns, axis=1), states.T, rcond=None)[0][: (DEGREE + 1) * (2 * FITTED + 1)]
    tank = linear.unit(*first.tank)
    missed = tank @ (states - (np.stack(columns, axis=1)[:, : len(solution)] @ solution).T)
    outgrown = float(np.std(missed)) > MISSED * float(np.std(tank @ states))
    if outgrown and isinstance(circuit, Drawing) and float(cycle_swings(first, "tank")[-1]) > READABLE:
        return _by_cycles(first, linear, ports, near)
    parts = solution.reshape(2 * FITTED + 1, DEGREE + 1, -1)  # constant, cos 1, sin 1, cos 2, ...
    series = np.concatenate([parts[:1].astype(np.complex128), 0.5 * (parts[1::2] - 1j * parts[2::2])])
    read = None
    if carrier.real * (times[-1] - times[0]) < -RUNG_DOWN:
        read = floor
    elif isinstance(circuit, Drawing) and float(cycle_swings(first, "tank")[-1]) < READABLE:
        read = max(floor, _of_mode(first, linear, ports, near, middle))
    if read is not None:
        shape = mode_shape(capacitance, conductance, carrier)
        series[1:] = 0.0
        series[1, 0] = 0.5 * read * shape / abs(linear.unit(*first.tank) @ shape)
    points = []
    for offset in (-1.0 / near, 0.0, 1.0 / near):
        place = offset / half
        value = np.einsum("kdn,d->nk", series, place ** np.arange(DEGREE + 1))
        slope = np.einsum("kdn,d->nk", series[:, 1:], np.arange(1, DEGREE + 1) * place ** np.arange(DEGREE)) / half
        lead, rising = linear.ports[:, PHASE_PORT] @ value[:, 1], linear.ports[:, PHASE_PORT] @ slope[:, 1]
        value[:, 1:] *= math.exp(carrier.real * offset)
        speed = omega + float((rising / lead).imag)
        points.append(_point(middle + offset, speed, resized(value, FEWEST_HARMONICS), linear, ports))
    return points


def _by_cycles(first: TransientRecord, linear: Network, ports: DeviceLaw, near: float) -> list[Point]:
    """Return three points one cycle apart from the harmonics of the last cycles, each on its own, its drift taken out.

    For a swing that the device already limits: it changes little from one cycle to the next.
    """
    late = first.times >= first.times[-1] - WINDOW / near
    times, states = first.times[late], first.states[:, late]
    swing, since = linear.unit(*first.tank) @ states, times - times[0]
    rises = crossings(times, swing - np.polyval(np.polyfit(since, swing, 2), since), 0.0)
    if rises.size < 5:
        raise TooFastError("envelope: the first cycles are no oscillation yet")
    along, points = spline(times, states.T), []
    for begin, end in zip(rises[-5:-2], rises[-4:-1], strict=True):
        cycle: Floats = along(begin + (end - begin) * np.arange(4 * POINTS_PER_CYCLE + 1) / (4 * POINTS_PER_CYCLE)).T
        ramp = np.linspace(-0.5, 0.5, cycle.shape[1]) * (cycle[:, -1] - cycle[:, 0])[:, None]
        series = np.fft.rfft((cycle - ramp)[:, :-1], axis=1)[:, : POINTS_PER_CYCLE // 2 + 1] / (cycle.shape[1] - 1)
        points.append(_point(0.5 * (begin + end), 2.0 * math.pi / (end - begin), series, linear, ports))
    return points


def _point(time: float, speed: float, series: Complexes, linear: Network, ports: DeviceLaw) -> Point:
    """Return the point of these states' harmonics (n, K + 1), turned to the phase at which points are kept."""
    order, count = np.arange(series.shape[1]), series.shape[1]
    turned = series * np.exp(-1j * np.angle(-(linear.ports[:, PHASE_PORT] @ series[:, 1])) * order)
    voltages: Complexes = linear.ports.T @ turned
    sample = instants(count - 1)
    charge = np.fft.rfft(ports.evaluate(waveform(voltages, sample)).charges, axis=-1)[:, :count]
    return Point(time, speed, voltages, turned, linear.capacitance @ turned + linear.ports @ charge / sample)
