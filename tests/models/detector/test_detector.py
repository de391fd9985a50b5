"""Detectors: waveforms from the radio-frequency signals themselves, harmonics by quadrature and closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import brentq
from slow_ones import slow_ones

from models.detector.memoryless import DETECTORS, Detector, band_limited_tables, harmonics_of
from models.detector.rectified_sum import half_wave_rectified, sum_of_tones
from models.junction import THERMAL_VOLTAGE

PHASES = np.linspace(-7.0, 7.0, 101)
EVERY = [
    Detector("product", 0.4),
    Detector("envelope", 0.5),
    Detector("envelope", 0.98),
    Detector("envelope", 1.0),
    Detector("square-law", 0.7),
    Detector("junction", 0.6, 3.0),
    Detector("junction", 1.0, 40.0),
    Detector("diode", 0.7, amplitude=0.5),
    Detector("diode", 1.0, amplitude=2.0),
]


def over_the_radio_cycle(detector: Detector, phase: float) -> float:
    """The detector's average over one radio cycle, from the two signals as they are."""
    angle = np.arange(4096) / 4096 * 2.0 * np.pi
    first, second = np.cos(angle), detector.amplitude_ratio * np.cos(angle + phase)
    if detector.kind == "product":
        return float(np.mean(2.0 * first * second))
    if detector.kind == "square-law":
        return float(np.mean((first + second) ** 2))
    if detector.kind == "envelope":
        return float(np.abs(np.mean(2.0 * (first + second) * np.exp(-1j * angle))))
    if detector.kind == "diode":
        return balanced(detector, detector.amplitude * (first + second))
    pulse = np.mean(np.exp(detector.drive * (first + second - 1.0 - detector.amplitude_ratio)))
    # over the mean of the two independent signals' product
    mean = np.mean(np.exp(detector.drive * (first - 1.0)))
    return float(pulse / mean / np.mean(np.exp(detector.drive * detector.amplitude_ratio * (first - 1.0))))


def balanced(detector: Detector, drive: NDArray[np.float64]) -> float:
    """The output at which the diode's current along the radio cycle feeds the load."""
    parts = detector.diode

    def excess(output: float) -> float:
        current = parts.saturation_current * np.expm1((drive - output) / (parts.emission_factor * THERMAL_VOLTAGE))
        return float(np.mean(current) - output / parts.resistance)

    return float(brentq(excess, -0.1, 5.0, xtol=1e-14))


@pytest.mark.parametrize("detector", EVERY)
def test_waveform_is_the_average_over_the_radio_cycle(detector: Detector) -> None:
    expected = [over_the_radio_cycle(detector, phase) for phase in PHASES]
    assert_allclose(detector.waveform(PHASES), expected, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("detector", EVERY)
def test_harmonics_by_quadrature(detector: Detector) -> None:
    harmonics = detector.harmonics(30)
    for order in (0, 1, 2, 3, 7, 30):
        value, _ = quad(
            lambda phase: float(detector.waveform(phase)), 0.0, np.pi, weight="cos", wvar=order, epsabs=1e-12, limit=200
        )
        assert_allclose(harmonics[order], value / np.pi * (1.0 if order == 0 else 2.0), rtol=1e-9, atol=1e-11)


def test_envelope_check_values() -> None:
    # computed beside this project; the closed form at m = 1 is that of a full-wave rectified sine (textbook)
    expected = [1.063544410, 0.4838438, -0.05842599, 0.01434517]
    assert_allclose(Detector("envelope", 0.5).harmonics(3), expected, rtol=0, atol=5e-8)
    order = np.arange(1, 2001)
    closed = -((-1.0) ** order) * 8.0 / (np.pi * (4.0 * order**2 - 1.0))
    harmonics = Detector("envelope").harmonics(2000)
    assert_allclose(harmonics[0], 4.0 / np.pi, rtol=1e-15)
    assert_allclose(harmonics[1:], closed, rtol=1e-11, atol=0)


@pytest.mark.parametrize("ratio", [0.1, *slow_ones(0.9), 0.999, 1.0 - 1e-9])
def test_envelope_against_arbitrary_precision(ratio: float) -> None:
    mpmath = pytest.importorskip("mpmath")
    harmonics = Detector("envelope", ratio).harmonics(1500)
    with mpmath.workdps(40):
        m, half = mpmath.mpf(ratio), mpmath.mpf(1) / 2
        for order in (0, 1, 2, 3, 100, 1500):
            value = mpmath.binomial(half, order) * m**order * mpmath.hyp2f1(-half, order - half, order + 1, m * m)
            assert_allclose(harmonics[order], float(value) * (1.0 if order == 0 else 2.0), rtol=1e-12, atol=1e-300)


@pytest.mark.parametrize("kind", ["envelope", "junction"])
def test_harmonics_of_several_are_those_of_each(kind: str) -> None:
    made = [Detector(kind, ratio, 3.0) for ratio in (0.3, 0.8, 0.999, 1.0)]
    one_by_one = [detector.harmonics(40) for detector in made]
    np.testing.assert_allclose(harmonics_of(made, 40), one_by_one, rtol=1e-12, atol=1e-300)


def test_junction_check_values() -> None:
    # beat harmonic n over the steady part 2 I_n(x1) I_n(x2) / (I0 I0) at (1, 1), computed beside this project
    harmonics = Detector("junction", 1.0, 1.0).harmonics(2)
    assert_allclose(harmonics[1:] / harmonics[0], [0.3985280, 0.0229923], rtol=0, atol=5e-8)


def test_small_signal_limits() -> None:
    # a weak signal gives these three the same beat, m cos(phi)
    for kind in ("product", "square-law", "envelope"):
        assert_allclose(Detector(kind, 1e-4).harmonics(1)[1], 1e-4, rtol=1e-7)
    assert_allclose(Detector("junction", 0.5, 1e-3).harmonics(1)[1], 2.0 * 0.5e-3 * 0.25e-3, rtol=1e-6)
    harmonics = Detector("junction", 1.0, 2e3).harmonics(400)  # a hard drive stays finite
    assert np.all(np.isfinite(harmonics))
    assert np.all(np.diff(harmonics[1:]) < 0.0)


@given(
    st.sampled_from(DETECTORS),
    st.floats(0.01, 1.0),
    st.floats(0.01, 30.0),
    st.lists(st.floats(-50.0, 50.0), min_size=1),
)
def test_waveform_is_even_periodic_and_within_its_swing(
    kind: str, ratio: float, drive: float, phases: list[float]
) -> None:
    detector, phase = Detector(kind, ratio, drive), np.array(phases)
    waveform = detector.waveform(phase)
    scale = detector.peak
    assert_allclose(detector.waveform(-phase), waveform, rtol=1e-12, atol=1e-12 * scale)
    assert_allclose(detector.waveform(phase + 2.0 * np.pi), waveform, rtol=1e-9, atol=1e-7 * scale)
    lowest, highest = detector.swing
    alternating = waveform - detector.harmonics(0)[0]
    assert np.all(alternating >= lowest - 1e-12 - 1e-12 * scale)
    assert np.all(alternating <= highest + 1e-12 + 1e-12 * scale)
    assert scale == max(-lowest, highest) > 0.0


@pytest.mark.parametrize("detector", EVERY)
def test_tables_hold_the_waveform(detector: Detector) -> None:
    harmonics = detector.harmonics(500)
    tables = band_limited_tables(harmonics, 2048, [0, 1, 7, 500])
    assert tables.shape == (4, 2049)
    assert np.array_equal(tables[:, 0], tables[:, -1])
    phase = np.arange(2049) / 2048 * 2.0 * np.pi
    assert np.array_equal(tables[0], np.zeros(2049))
    assert_allclose(tables[1], harmonics[1] * np.cos(phase), rtol=0, atol=1e-13)
    expected = sum(harmonics[order] * np.cos(order * phase) for order in range(1, 8))
    assert_allclose(tables[2], expected, rtol=0, atol=1e-12)
    # what the table leaves out: of the envelope at m = 1, the sum of 8 / (pi (4 n^2 - 1)) beyond 500 is 4 / (1001 pi)
    left_out = (
        4.0 / (1001.0 * np.pi) if detector.amplitude_ratio == 1.0 else np.abs(detector.harmonics(4000)[501:]).sum()
    )
    whole = detector.waveform(phase) - harmonics[0]
    assert_allclose(tables[3], whole, rtol=0, atol=1.0001 * left_out + 1e-11)


def test_tables_beyond_the_given_harmonics_and_odd_sizes() -> None:
    tables = band_limited_tables([3.0, 1.0], 9, [4])
    assert_allclose(tables[0], np.cos(np.arange(10) / 9 * 2.0 * np.pi), rtol=0, atol=1e-15)


def test_bad_values_are_refused() -> None:
    for kind, ratio, drive, message in (
        ("mixer", 1.0, 1.0, "kind must be one of product"),
        ("product", 0.0, 1.0, "amplitude_ratio must be > 0"),
        ("product", 1.5, 1.0, "must be <= 1; got 1.5"),
        ("junction", 1.0, -1.0, "drive must be > 0"),
        ("junction", np.nan, 1.0, "amplitude_ratio must be a finite number"),
    ):
        with pytest.raises(ValueError, match=message):
            Detector(kind, ratio, drive)
    for count in (-1, 2.5, True):
        with pytest.raises(ValueError, match="count must be a whole number >= 0"):
            Detector().harmonics(count)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="top_harmonics must be below size / 2 = 32; got 32"):
        band_limited_tables([0.0, 1.0], 64, [32])
    with pytest.raises(ValueError, match="top_harmonics must be whole"):
        band_limited_tables([0.0, 1.0], 64, [1.5])
    with pytest.raises(ValueError, match="harmonics must be a row"):
        band_limited_tables([[0.0, 1.0]], 64, [1])
    with pytest.raises(ValueError, match="phase must be finite"):
        Detector().waveform([0.0, np.inf])


def test_rectifier_series_is_the_positive_half():
    first = np.linspace(0.0, 40.0, 5001)
    envelope, angle = sum_of_tones(first, 1.1 * first, 0.7)
    half = np.maximum(np.cos(first) + 0.7 * np.cos(1.1 * first), 0.0)
    assert_allclose(half_wave_rectified(envelope, angle, 400), half, atol=2e-3)
