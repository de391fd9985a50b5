"""The implicit rule against a rule of adaptive steps, also where something rings far above the carrier."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from models.circuit.drawing import Capacitance, Coil, Drawing, Part, Resistance
from models.circuit.field_effect import FieldEffect
from models.circuit.first_cycles import first_cycles
from models.circuit.implicit_run import stepped
from models.circuit.small_signal import small_signal
from models.circuit.transient import POINTS_PER_CYCLE, cycle_swings, simulate
from models.circuit.work import TooMuchWorkError, bounded_work

CARRIER = 250e3


def ringing(self_capacitance: float = 0.0) -> Drawing:
    """A Colpitts oscillator whose drain is fed through a small coil, which rings with `self_capacitance`, F."""
    return Drawing(
        (
            Part("coil", Coil(1e-3, 20.0), ("ground", "hot")),
            Part("tuning", Capacitance(150e-12), ("hot", "ground")),
            Part("gate capacitor", Capacitance(220e-12), ("hot", "gate")),
            Part("leak", Resistance(1e6), ("gate", "ground")),
            Part("upper", Capacitance(470e-12), ("gate", "source")),
            Part("lower", Capacitance(1e-9), ("source", "ground")),
            Part("source resistor", Resistance(3.3e3), ("source", "ground")),
            Part("feed", Coil(20e-6, 5.0, self_capacitance), ("supply", "drain")),
            Part("fet", FieldEffect(), ("gate", "drain", "source")),
        ),
        "fet",
        "coil",
        ("hot", "ground"),
        "source",
        supply_resistor=10.0,
        supply_capacitor=1e-7,
    )


def test_it_is_what_adaptive_steps_give() -> None:
    """LSODA of scipy at 1e-9, from the same switching on: some ppm of the tank's volt after three cycles."""
    circuit = ringing()
    own = stepped(circuit, 3, CARRIER)
    other = simulate(circuit, 3.001 / CARRIER, frequency=CARRIER, relative_tolerance=1e-9, thermal=False)
    last = 3 * POINTS_PER_CYCLE
    assert_allclose(own.times[last], other.times[last], rtol=1e-12)
    assert_allclose(own.voltage("hot")[last], other.voltage("hot")[last], rtol=1e-5)
    assert_allclose(own.voltage("source")[last], other.voltage("source")[last], rtol=1e-5)


def test_what_rings_far_above_does_not_change_the_carrier() -> None:
    """The feed rings at 25 MHz, a hundred times the carrier; a step of a 64th cycle passes over it."""
    with_ring, without = (stepped(ringing(farad), 6, CARRIER) for farad in (2e-12, 0.0))
    swings = [cycle_swings(record, "tank") for record in (with_ring, without)]
    assert swings[0][-1] > 1.5 * swings[0][-4]
    assert_allclose(swings[0], swings[1], rtol=0.05)


def test_its_work_is_counted() -> None:
    with bounded_work(3e4), pytest.raises(TooMuchWorkError):
        stepped(ringing(), 4, CARRIER)


@pytest.mark.slow
def test_first_cycles_go_on_until_the_swing_can_be_read() -> None:
    circuit = ringing()
    near = small_signal(circuit).critical_frequency
    assert near is not None
    drawing = circuit.drawing()
    record = first_cycles(circuit, drawing.network(), drawing.laws(), near)
    assert cycle_swings(record, "tank")[-1] > 20e-3
