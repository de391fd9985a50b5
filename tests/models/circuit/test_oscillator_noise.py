"""Noise of the oscillator: Leeson's limit with its convention, shares of the sources, jitter."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.constants import Boltzmann, elementary_charge
from scipy.integrate import quad
from scipy.special import sici

from models.circuit.adjoint import oscillator_adjoint
from models.circuit.oscillator import steady_state
from models.circuit.oscillator_noise import Noise, flicker_integral, note_jitter, oscillator_noise
from models.circuit.transistor import Transistor
from tests.models.circuit.test_oscillator import DEFAULT
from tests.models.circuit.willow import willow

GENTLE = replace(
    DEFAULT,
    inductor_q=1000.0,
    load=None,
    feedback_capacitor=470e-12,
    emitter_capacitor=10e-9,
    fixed_capacitor=330e-12,
    bias=replace(DEFAULT.bias, emitter_resistor=680e3),
)


def leeson(offset, frequency, quality_factor, power, noise_factor=1.0, corner=0.0, temperature=290.0):
    """Leeson's phase noise at `offset`, Hz, dBc/Hz: half the density of the phase.

    L = (F k T / 2 P) (1 + (f / (2 Q f_m))^2) (1 + f_c / f_m)
    Q loaded, P W, F noise factor as a ratio. D. B. Leeson, Proc. IEEE 54 (1966) 329 (from memory); others write
    F k T / P for the density of the phase of both sidebands. With P the power that the tank itself loses, its thermal
    noise alone is F = 4 in this convention.
    """
    away = np.asarray(offset)
    line = noise_factor * Boltzmann * temperature / (2.0 * power)
    line = line * (1.0 + (frequency / (2.0 * quality_factor * away)) ** 2) * (1.0 + corner / away)
    return 10.0 * np.log10(line)


@pytest.fixture(scope="module")
def gentle():
    return oscillator_adjoint(steady_state(GENTLE))


def test_the_coils_own_noise_is_leesons_limit(gentle):
    # With the signal's power taken as what the coil itself loses, its thermal noise is F = 4 in the convention FkT/2P:
    # L = (2 k T / P) (f / (2 Q f_m))^2 (D. B. Leeson 1966 in the form of T. H. Lee and A. Hajimiri, IEEE JSSC 35 (2000)
    # 326, from memory). The oscillation answers a current at an angle to the quadrature (its frequency depends on its
    # amplitude), which raises this by 1 / sin^2 of the angle between the projection and the swing.
    state, noise = gentle.state, oscillator_noise(gentle)
    alone = Noise(state.frequency, {"inductor": noise.diffusion["inductor"]}, 0.0)
    quality = 2 * np.pi * state.frequency * GENTLE.inductance / GENTLE.series_resistance
    limit = leeson(1.0, state.frequency, quality, state.powers["inductor"], noise_factor=4.0, temperature=300.0)
    swing = state.coefficients("collector")[1]
    angle = np.angle(gentle.phase_response("collector", 1) / swing)
    assert_allclose(alone.phase_noise(1.0), limit - 20 * np.log10(np.sin(angle)), atol=0.02)


def test_leeson_with_its_convention():
    # F 6 dB, Q 500, 100 MHz, +10 dBm, corner 50 kHz, FkT/2P (computed by an independent program)
    found = leeson([1e4, 1e6], 100e6, 500.0, 0.01, 10**0.6, 50e3)
    assert_allclose(found, [-153.2, -180.7], atol=0.06)


def test_shot_noise_at_the_tap_of_the_divider():
    # a bipolar Colpitts stage with the capacitive tap n: the collector current's shot noise is (1 - n) / 2 n of the
    # noise of all losses of the tank (A. Hajimiri and T. H. Lee, from memory; exact for short pulses of current)
    adjoint = oscillator_adjoint(willow()[0])
    noise, circuit = oscillator_noise(adjoint), adjoint.state.circuit
    losses = sum(noise.diffusion[name] for name in ("inductor", "output resistor", "load resistance"))
    tap = circuit.feedback_capacitor / (circuit.feedback_capacitor + circuit.emitter_capacitor)
    assert_allclose(noise.diffusion["collector current"] / losses, (1 - tap) / (2 * tap), rtol=0.03)


def test_thermal_noise_goes_with_the_resistance_and_the_temperature(gentle):
    resistance = GENTLE.series_resistance
    projection = gentle.projection[gentle.linear.index("inductor")]
    squared = abs(projection[0]) ** 2 + 2 * np.sum(np.abs(projection[1:]) ** 2)
    expected = 2 * Boltzmann * 300.0 * resistance * squared
    assert_allclose(oscillator_noise(gentle).diffusion["inductor"], expected, rtol=1e-9)


def test_line_shape():
    # Demir, Mehrotra and Roychowdhury 2000: a Lorentzian whose whole power is that of the carrier
    noise = Noise(250e3, {"all": 6e-20}, 0.0)
    width = np.pi * 250e3**2 * 6e-20
    total, _ = quad(lambda x: 10 ** (noise.phase_noise(width * x) / 10) * width, 1e-9, np.inf)
    assert_allclose(2 * total, 1.0, rtol=1e-6)
    # far out it falls by 20 dB a decade
    assert_allclose(noise.phase_noise(10.0) - noise.phase_noise(100.0), 20.0, atol=1e-6)


def test_jitter_of_a_note():
    noise = Noise(250e3, {"a": 4e-20, "b": 2e-20}, 0.0)
    # sqrt(2 c / tau) f = 0.2739 mHz for both together
    spread = 250e3 * np.sqrt(2 * 6e-20 / 0.1)
    assert_allclose(note_jitter(440.0, noise, noise), 1200 * np.log2(1 + spread / 440.0), rtol=1e-9)
    assert_allclose(note_jitter(440.0, noise, noise, 0.4), note_jitter(440.0, noise, noise) / 2, rtol=1e-5)


def test_white_jitter_is_that_of_a_random_walk():
    # the phase of 4000 runs as a random walk in time: the frequency read over tau scatters by f sqrt(c / tau)
    noise = Noise(250e3, {"all": 6e-20}, 0.0)
    steps = np.random.default_rng(5).normal(0.0, np.sqrt(6e-20 * 1e-3), (4000, 100))
    read = 250e3 * steps.sum(axis=1) / 0.1
    assert_allclose(read.std(), np.sqrt(noise.frequency_variance(0.1)), rtol=0.05)


@pytest.mark.parametrize("start", [0.01, 0.3, 2.0])
def test_flicker_integral(start):
    near, _ = quad(lambda x: np.sin(x) ** 2 / x**3, start, 300.0, limit=4000)
    assert_allclose(flicker_integral(start), near, atol=1e-5)


@pytest.mark.parametrize("start", [1e-6, 0.03, 1.0, 2.0, 2.1, 40.0])
def test_its_cosine_integral_is_that_of_a_library(start):
    rest = (1.0 - np.cos(2.0 * start)) / (2.0 * start) ** 2 + np.sin(2.0 * start) / (2.0 * start)
    assert_allclose(flicker_integral(start), rest - sici(2.0 * start)[1], rtol=1e-9, atol=1e-13)


def with_flicker(corner):
    """The noise of willow's oscillators with another corner of the flicker noise, Hz; it changes no oscillation."""
    found = []
    for state in willow():
        transistor = replace(state.circuit.transistor, flicker_corner=corner)
        adjoint = oscillator_adjoint(replace(state, circuit=replace(state.circuit, transistor=transistor)))
        found.append(oscillator_noise(adjoint))
    return found


def test_flicker_adds_30_db_a_decade_and_more_from_a_lower_frequency_on():
    white, both = with_flicker(0.0)[0], with_flicker(1e7)[0]
    extra = 10 ** (both.phase_noise([1.0, 10.0]) / 10) - 10 ** (white.phase_noise([1.0, 10.0]) / 10)
    assert_allclose(extra[0] / extra[1], 1000.0, rtol=1e-6)
    # L = S_phi / 2 and S_phi = S_f / f_m^2, with one-sided densities (IEEE Std 1139, from memory)
    assert_allclose(extra[1], both.flicker / 10.0 / 10.0**2 / 2.0, rtol=1e-6)
    assert both.frequency_variance(0.1, 0.01) > both.frequency_variance(0.1, 0.1) > white.frequency_variance(0.1)


def test_flicker_is_what_a_slow_current_does_in_step_with_the_base_current():
    # at the corner its density is that of the shot noise, 2 q i_B at every instant: a slow n(t) sqrt(2 q i_B) from base
    # to emitter, whose harmonics move the frequency each by its own response
    adjoint, corner = oscillator_adjoint(willow()[0]), 1e3
    currents = adjoint.device.currents
    size = np.sqrt(2.0 * elementary_charge * np.abs(currents[0] + currents[1]))
    harmonics = np.fft.rfft(size) / size.size
    harmonics[1:] *= 2.0
    moved = 0.0
    for order in range(adjoint.order.size):
        response = adjoint.phase_response("base", order) - adjoint.phase_response("emitter", order)
        moved += (response.conjugate() * harmonics[order]).real
    assert_allclose(with_flicker(corner)[0].flicker, moved**2 * corner, rtol=1e-6)
    # its pulses count: as a steady current into the base alone it would do some thirty times less
    steady = harmonics[0].real * adjoint.phase_response("base", 0).real
    assert moved**2 > 10.0 * steady**2


def test_the_corner_is_the_transistors():
    assert oscillator_noise(oscillator_adjoint(willow()[0])).flicker == with_flicker(1e3)[0].flicker > 0.0
    with pytest.raises(ValueError, match="flicker_corner must be >= 0"):
        Transistor(flicker_corner=-1.0)


def test_willows_noise_is_far_below_hearing():
    # melodic pitch is heard from some 10 cents on (Hill and Summers 2007)
    assert note_jitter(65.4, *with_flicker(1e4)) < 0.1
