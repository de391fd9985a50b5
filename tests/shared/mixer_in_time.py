"""A drawn mixer integrated in time at the radio rate, driven by two sources: the independent check of the mixer's law.

(C + A c(v) A^T) dx/dt = s(t) - G x - A i(v),  v = A^T x: the parts' equations, each source a current C du/dt.
"""

import numpy as np
from scipy.integrate import solve_ivp

from models.circuit.mixer import SOURCES, entry


def integrated(mixer, drive, beat, start, points=512, periods=1):
    """The states (n, points) over the last of some periods of the beat, from states `start`; and the states at the end.

    The reference's frequency is a multiple of the beat, so that one period of the beat holds whole cycles of both.
    """
    drawing = mixer.drawing()
    linear, laws = drawing.network(), drawing.laws()
    omegas = [2.0 * np.pi * drive.frequency, 2.0 * np.pi * (drive.frequency - beat)]
    fed = []
    for which, omega in zip(SOURCES, omegas, strict=True):
        swing = drive.swing(which, max(drive.reference.size, drive.variable.size) - 1)
        orders = np.arange(swing.size)
        weight = 2j * omega * orders * mixer.source(which).coupling_capacitor * swing
        fed.append((linear.index(entry(which)), omega * orders, weight))

    def slope(time, states):
        voltages = linear.ports.T @ states
        current, capacitance = laws.currents_and_capacitances(voltages)
        source = linear.source.copy()
        for place, speeds, weight in fed:
            source[place] += float((weight * np.exp(1j * speeds * time)).sum().real)
        right = source - linear.conductance @ states - linear.ports @ current[:, 0]
        whole = linear.capacitance + (linear.ports * capacitance[:, 0]) @ linear.ports.T
        return np.linalg.solve(whole, right)

    period = 1.0 / abs(beat)
    times = (periods - 1) * period + np.arange(points + 1) * (period / points)
    run = solve_ivp(
        slope, (0.0, times[-1]), start, method="LSODA", t_eval=times, rtol=1e-7, atol=1e-9, max_step=period / 100
    )
    assert run.success, run.message
    return run.y[:, :-1], run.y[:, -1], linear.names


def at_start(mixed):
    """The states of a solved mixer at the time 0: both sources at their phase 0."""
    first = mixed.states[:, :, 0]
    return first[:, 0].real + 2.0 * first[:, 1:].sum(axis=1).real


def in_time(mixed, node, points=512):
    """A node's voltage over one period of the beat, from its coefficients at the beat phases."""
    coefficients = mixed.coefficients(node)
    harmonics, phases = mixed.harmonics, mixed.phases
    turns = np.arange(points) / points
    lines = np.fft.fftfreq(phases, 1.0 / phases)
    by_line = np.fft.fft(coefficients, axis=1) / phases
    along = by_line @ np.exp(2j * np.pi * np.sign(mixed.beat) * np.outer(lines, turns))  # (K + 1, points)
    radio = np.exp(2j * np.pi * np.outer(np.arange(harmonics + 1), turns * mixed.drive.frequency / abs(mixed.beat)))
    return along[0].real + 2.0 * (along[1:] * radio[1:]).sum(axis=0).real
