"""The estimate of the start-up time against the transient."""

from dataclasses import replace

import numpy as np
import pytest

from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.startup_time import REACHED, startup_estimate
from models.circuit.transient import POINTS_PER_CYCLE, simulate

DEFAULT = OscillatorCircuit()
# slow against the growth, as with the default's 100 nF, but over sooner
QUICK = replace(DEFAULT.bias, wiper_capacitor=10e-9, base_capacitor=10e-9)


@pytest.mark.slow
@pytest.mark.parametrize("position", [0.3, 0.7])
def test_the_estimate_is_near_the_transient(position):
    circuit = replace(DEFAULT, bias=replace(QUICK, position=position))
    state = steady_state(circuit)
    estimate = startup_estimate(state)
    trace = simulate(circuit, 2.0 * estimate, frequency=state.frequency, relative_tolerance=1e-5)
    tank = trace.voltage("tank")
    swings = np.ptp(tank[: tank.size // POINTS_PER_CYCLE * POINTS_PER_CYCLE].reshape(-1, POINTS_PER_CYCLE), axis=1)
    reached = trace.times[POINTS_PER_CYCLE * int(np.argmax(swings >= REACHED * state.peak_to_peak("tank")))]
    assert reached > 0.0
    assert estimate == pytest.approx(reached, rel=0.25)


def test_larger_bias_capacitors_take_longer_in_proportion():
    states = [
        steady_state(replace(DEFAULT, bias=replace(DEFAULT.bias, wiper_capacitor=size, base_capacitor=size)))
        for size in (0.5e-6, 1e-6)
    ]
    quick, slow = (startup_estimate(state) for state in states)
    assert slow / quick == pytest.approx(2.0, rel=0.03)


def test_the_load_s_coupling_capacitor_does_not_count():
    times = [startup_estimate(steady_state(replace(DEFAULT, coupling_capacitor=size))) for size in (1e-9, 1e-6)]
    assert times[0] == pytest.approx(times[1], rel=0.01)
