"""A solved variable oscillator in the instrument: interpolation, coverage, amplitudes, the field it makes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_instrument import STEEP, make_instrument

from models.circuit.variable_law import VariableLaw
from models.detector.memoryless import Detector
from models.junction import THERMAL_VOLTAGE
from models.pitch_field import pitch_field

PLAIN = make_instrument(antenna_stray=1e-12)


def lossless_law(points: int, slope: float = 0.0) -> VariableLaw:
    """The lossless law as a table, and an amplitude of 1 V that grows by `slope` V per pF."""
    capacitances = np.linspace(9e-12, float(PLAIN.antenna_capacitance(STEEP.nearest)), points)
    amplitudes = 1.0 + slope * (capacitances - 9e-12) * 1e12
    return VariableLaw(capacitances, PLAIN.frequency_with(capacitances), amplitudes)


def test_a_table_of_the_lossless_law_is_that_law() -> None:
    """Twenty points: within 0.01 cent of beats of 20 Hz and more, slopes within 1e-4."""
    solved = replace(PLAIN, variable_law=lossless_law(20))
    distances = np.geomspace(0.01, 0.8, 3000)
    exact, found = PLAIN.offset_frequency(distances), solved.offset_frequency(distances)
    heard = np.abs(exact) > 20.0
    assert np.abs(1200.0 * np.log2(found[heard] / exact[heard])).max() < 0.01
    assert_allclose(solved.offset_slope(distances), PLAIN.offset_slope(distances), rtol=1e-4, atol=0)
    plain, field = pitch_field(PLAIN), pitch_field(solved)
    assert field.zero_beat_distance == pytest.approx(plain.zero_beat_distance, abs=1e-5)
    assert float(field.distance_at(440.0)) == pytest.approx(float(plain.distance_at(440.0)), abs=1e-6)


def test_a_law_goes_on_a_little_beyond_its_ends() -> None:
    """Against the lossless law itself: a fifth of the range beyond, to a thousandth of a hertz."""
    law = lossless_law(9, slope=0.1)
    first, last = law.capacitances[[0, -1]]
    assert law.reaching(first, last) is law
    way = last - first
    wider = law.reaching(first - 0.1 * way, last + 0.2 * way)
    places = np.linspace(first - 0.1 * way, last + 0.2 * way, 50)
    assert_allclose(wider.frequency(places), PLAIN.frequency_with(places), rtol=0, atol=1e-3)
    assert_allclose(wider.amplitude(places), 1.0 + 0.1e12 * (places - 9e-12), rtol=1e-6)
    with pytest.raises(ValueError, match="antenna capacitance must be between"):
        law.reaching(first, last + 0.3 * way)


def test_slope_is_the_derivative_and_continuous() -> None:
    law = lossless_law(9)
    inner = law.capacitances[1:-1]
    for step in (1e-16, -1e-16):
        assert_allclose(law.slope(inner + step), law.slope(inner), rtol=1e-4, atol=0)
    middle = 0.5 * (law.capacitances[1:] + law.capacitances[:-1])
    difference = (law.frequency(middle + 1e-16) - law.frequency(middle - 1e-16)) / 2e-16
    assert_allclose(law.slope(middle), difference, rtol=1e-4, atol=0)


def test_amplitude_stays_between_its_points() -> None:
    law = VariableLaw([1e-11, 1.1e-11, 1.2e-11, 1.3e-11], [3e5, 2.9e5, 2.8e5, 2.7e5], [1.0, 2.0, 2.0, 0.5])
    found = law.amplitude(np.linspace(1e-11, 1.3e-11, 301))
    assert found.min() >= 0.5 - 1e-12
    assert found.max() <= 2.0 + 1e-12
    assert_allclose(law.amplitude(law.capacitances), law.amplitudes, rtol=1e-14)


def test_detector_takes_the_amplitudes_of_the_distance() -> None:
    law = lossless_law(20, slope=0.1)
    made = replace(PLAIN, variable_law=law, reference_amplitude=1.05, detector=Detector("junction", 0.5, 3.0))
    assert made.amplitude_varies
    far, near = made.detector_at(0.8), made.detector_at(0.01)
    assert far.amplitude_ratio == pytest.approx(float(made.variable_amplitude(0.8)) / 1.05)
    assert far.drive == pytest.approx(1.05 / THERMAL_VOLTAGE)
    assert near.amplitude == pytest.approx(float(made.variable_amplitude(0.01)))  # the stronger one now
    assert near.amplitude_ratio == pytest.approx(1.05 / near.amplitude)
    assert replace(made, reference_amplitude=None).detector_at(0.2) is made.detector


@pytest.mark.parametrize(("kind", "power"), [("product", 2.0), ("square-law", 2.0), ("envelope", 1.0), ("diode", 0.0)])
def test_strength_scales_with_the_amplitudes(kind: str, power: float) -> None:
    weak, strong = (Detector(kind).with_amplitudes(v, 0.4 * v) for v in (0.5, 1.5))
    assert [weak.amplitude_ratio, strong.amplitude_ratio] == pytest.approx([0.4, 0.4])
    assert strong.strength / weak.strength == pytest.approx(3.0**power)
    loud, soft = (Detector("junction").with_amplitudes(v, 0.05) for v in (0.1, 0.05))
    assert loud.strength > soft.strength


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (([1e-11, 1e-11], [3e5, 2e5], [1.0, 1.0]), "capacitances must increase strictly"),
        (([1e-11, 2e-11], [2e5, 2e5], [1.0, 1.0]), "frequencies must decrease strictly"),
        (([1e-11, 2e-11], [3e5, 2e5], [1.0, 0.0]), "amplitudes must be > 0"),
        (([1e-11, 2e-11], [3e5, 2e5], [1.0]), "rows of one length"),
        (([1e-11], [3e5], [1.0]), "rows of one length >= 2"),
        (([1e-11, np.nan], [3e5, 2e5], [1.0, 1.0]), "capacitances must be finite"),
    ],
)
def test_bad_tables_are_refused(rows: tuple[list[float], ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        VariableLaw(*rows)


def test_laws_that_do_not_reach_are_refused() -> None:
    law = lossless_law(5)
    short = VariableLaw(law.capacitances[:3], law.frequencies[:3], law.amplitudes[:3])
    with pytest.raises(ValueError, match="variable_law must cover antenna capacitances"):
        replace(PLAIN, variable_law=short)
    with pytest.raises(ValueError, match="antenna capacitance must be between"):
        short.frequency(law.capacitances[-1])
    with pytest.raises(ValueError, match="reference_amplitude needs a variable_law"):
        replace(PLAIN, reference_amplitude=1.0)
    with pytest.raises(ValueError, match="variable_amplitude needs a variable_law"):
        PLAIN.variable_amplitude(0.2)


def test_equal_laws_are_equal() -> None:
    assert lossless_law(6) == lossless_law(6)
    assert hash(lossless_law(6)) == hash(lossless_law(6))
    assert lossless_law(6) != lossless_law(7)
