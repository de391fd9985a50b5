"""`beatfield fit` on benches made by formulas that are not the program's: an oscillator integrated in time.

A coil with its loss, a capacitor, and a current that goes with the voltage as -g v + k v^3 (B. van der Pol,
Philosophical Magazine 3 (1927) 65; from memory), solved by a general-purpose integrator, its frequency counted by zero
crossings as a counter does.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from synth.analysis.fit_unknowns import Errors
from synth.analysis.fitting import solved_bench
from synth.analysis.readings import read_readings

P = 1e-12
COIL, STRAY, QUALITY = 1.37e-3, 64 * P, 70.0
CYCLES, SETTLING = 40, 20


def counted(capacitance: float) -> float:
    """Frequency, Hz, of the oscillator with `capacitance`, F, across its coil, by its zero crossings."""
    natural = 1.0 / math.sqrt(COIL * capacitance)
    loss = natural * COIL / QUALITY
    held = 1.6 * capacitance * loss / COIL  # 60 % more than the loss takes, S
    bend = held / 3.0  # so that it swings by about a volt

    def slopes(_: float, state: np.ndarray) -> list[float]:
        voltage, current = state
        return [(held * voltage - bend * voltage**3 - current) / capacitance, (voltage - loss * current) / COIL]

    def crossing(_: float, state: np.ndarray) -> float:
        return float(state[0])

    crossing.direction = 1.0  # type: ignore[attr-defined]
    span = (SETTLING + CYCLES) * 2.0 * math.pi / natural
    found = solve_ivp(slopes, (0.0, span), [0.8, 0.0], "DOP853", events=crossing, rtol=1e-9, atol=[1e-10, 1e-14])
    times = found.t_events[0][SETTLING:]
    return float((times.size - 1) / (times[-1] - times[0]))


@pytest.mark.slow
def test_an_oscillator_integrated_in_time_gives_its_coil_and_stray():
    lines = ["fitted_capacitor,frequency"]
    for marking, off in ((100, 0.004), (220, -0.006), (470, 0.003), (680, -0.002)):
        frequency = counted(marking * P * (1.0 + off) + STRAY)
        lossless = 1.0 / (2.0 * math.pi * math.sqrt(COIL * (marking * P * (1.0 + off) + STRAY)))
        assert 1e-5 < abs(frequency / lossless - 1.0) < 1e-3, "loss and bend do move it"
        lines.append(f"{marking} pF,{frequency!r} Hz")
    fit = solved_bench(read_readings("\n".join(lines) + "\n"), Errors()).fit
    for name, truth in (("inductance", COIL), ("stray", STRAY)):
        value, low, high = fit.interval(fit.place(name))
        assert low <= truth <= high
        assert value == pytest.approx(truth, rel=0.03)
