"""Start-up: Colpitts check values, margins and the causes of not starting."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.circuit.bias import Bias
from models.circuit.common_base import OscillatorCircuit, network
from models.circuit.network import GROUND, NetworkBuilder
from models.circuit.operating_point import operating_point
from models.circuit.small_signal import DoesNotStartError, linearised, small_signal
from models.circuit.start_threshold import characteristic_roots, transconductance_window
from models.circuit.transistor import TransistorPorts
from synth.build.notices import explained

DEFAULT = OscillatorCircuit()


def colpitts_threshold(
    inductance: float,
    series_resistance: float,
    input_capacitor: float,
    output_capacitor: float,
    input_conductance: float,
    output_conductance: float,
) -> tuple[float, float]:
    """Return the critical transconductance, S, and frequency, Hz, of a common-emitter Colpitts oscillator.

    Inductor with its series resistance from collector to base; input capacitor and conductance from base to ground;
    output capacitor and conductance from collector to ground. SI units; the conductances may be zero.
    """
    builder = NetworkBuilder()
    builder.capacitor("base", GROUND, input_capacitor)
    builder.capacitor("collector", GROUND, output_capacitor)
    for name, node, value in (
        ("input conductance", "base", input_conductance),
        ("output conductance", "collector", output_conductance),
    ):
        if value > 0.0:
            builder.resistor(name, node, GROUND, 1.0 / value)
    builder.inductor("inductor", "collector", "base", inductance, series_resistance)
    linear = builder.build()
    guess = series_resistance * (input_capacitor + output_capacitor) / inductance
    guess += input_conductance + output_conductance
    found, _ = transconductance_window(
        linear.capacitance, linear.conductance, linear.unit("collector"), linear.unit("base"), guess
    )
    assert found is not None
    return found[0], found[1] / (2.0 * np.pi)


def test_colpitts_threshold():
    # computed from the characteristic equation: 225 124.090 Hz and 70.036 uS
    strength, frequency = colpitts_threshold(1e-3, 20.0, 1e-9, 1e-9, 20e-6, 10e-6)
    assert_allclose(frequency, 225124.090, atol=5e-4, rtol=0)
    assert_allclose(strength, 70.036e-6, rtol=1e-6)


@pytest.mark.parametrize("parts", [(1e-3, 20.0, 1e-9, 1e-9, 20e-6, 10e-6), (2e-4, 3.0, 2.2e-9, 470e-12, 1e-4, 2e-5)])
def test_colpitts_against_its_cubic(parts):
    # with Y_b = g_i + s C_1, Y_c = G_o + s C_2, Z = r + s L: Y_b + Y_c + Z Y_b Y_c + g_m = 0, a cubic in s
    inductance, resistance, c1, c2, g1, g2 = parts
    strength, frequency = colpitts_threshold(*parts)
    base, collector, branch = (np.poly1d(p) for p in ([c1, g1], [c2, g2], [inductance, resistance]))
    roots = (base + collector + branch * base * collector + strength).roots
    oscillating = roots[np.argmax(roots.imag)]
    assert abs(oscillating.real) < 1e-8 * oscillating.imag
    assert_allclose(oscillating.imag / (2 * np.pi), frequency, rtol=1e-9)


def test_lossless_colpitts_needs_no_transconductance_to_speak_of():
    strength, frequency = colpitts_threshold(1e-3, 1e-4, 1e-9, 1e-9, 0.0, 0.0)
    assert_allclose(frequency, 1 / (2 * np.pi * np.sqrt(1e-3 * 0.5e-9)), rtol=1e-9)
    # r (C_1 + C_2) / L for small r
    assert_allclose(strength, 1e-4 * 2e-9 / 1e-3, rtol=1e-6)


def test_default_starts_near_236_khz_with_margin():
    signal = small_signal(DEFAULT)
    assert signal.starts
    assert signal.obstacle is None
    assert signal.growth_rate > 0
    assert 6.0 < signal.margin_db < 30.0
    assert 234e3 < signal.critical_frequency < 238e3
    assert_allclose(sum(signal.loss_shares.values()), 1.0, rtol=1e-12)
    point = operating_point(DEFAULT)
    assert_allclose(signal.transconductance, point.collector_current / 0.025852, rtol=1e-4)


def test_at_the_critical_transconductance_a_root_lies_on_the_axis():
    signal = small_signal(DEFAULT)
    linear, ports = network(DEFAULT), TransistorPorts(DEFAULT.transistor)
    capacitance, conductance = linearised(linear, ports, signal.point.port_voltages)
    out, sense = linear.unit("collector", "emitter"), linear.unit("base", "emitter")
    for strength in (signal.critical_transconductance, signal.highest_transconductance):
        if strength is None:
            continue
        changed = conductance + (strength - signal.transconductance) * np.outer(out, sense)
        pair = max((r for r in characteristic_roots(capacitance, changed) if r.imag > 0), key=lambda r: r.real)
        assert abs(pair.real) < 1e-7 * pair.imag


def test_margin_grows_with_quality_factor():
    margins = [small_signal(replace(DEFAULT, inductor_q=q)).margin_db for q in (10.0, 30.0, 100.0)]
    assert margins[0] < margins[1] < margins[2]


@pytest.mark.parametrize(
    ("circuit", "cause"),
    [
        (replace(DEFAULT, inductor_q=9.0, bias=Bias(emitter_resistor=470e3)), "largest loss is the inductor"),
        (replace(DEFAULT, inductor_q=2.0), "largest: the inductor"),
        (replace(DEFAULT, bias=Bias(emitter_resistor=4.7e6)), "is needed"),
        (
            replace(DEFAULT, output_resistor=1000.0, load=replace(DEFAULT.load, resistance=500.0)),
            "largest: the output resistor",
        ),
        (
            replace(DEFAULT, feedback_capacitor=150e-12, emitter_capacitor=1e-9, bias=Bias(emitter_resistor=3.3e3)),
            "shorts the feedback",
        ),
        (replace(DEFAULT, bias=Bias(lower_resistor=1.0, position=0.0)), "without current"),
        (
            replace(
                DEFAULT,
                inductor_q=1.0,
                bias=Bias(upper_resistor=1.0, position=1.0, feed_resistor=1.0, emitter_resistor=100.0),
            ),
            "saturates",
        ),
    ],
)
def test_does_not_start_and_says_why(circuit, cause):
    signal = small_signal(circuit)
    assert not signal.starts
    assert signal.growth_rate < 0
    assert cause in explained(DoesNotStartError(signal))


@pytest.mark.parametrize("size", [10e-6, 100e-6])
def test_a_very_large_coupling_capacitor_starts_as_a_large_one(size):
    # its rounding is some 1e-12 of the frequency, and the threshold settles all the same
    large, usual = (small_signal(replace(DEFAULT, coupling_capacitor=c)) for c in (size, 100e-9))
    assert large.starts
    assert_allclose(large.critical_frequency, usual.critical_frequency, rtol=1e-6)
    assert_allclose(large.critical_transconductance, usual.critical_transconductance, rtol=1e-4)
