"""The way from fitted readings to a target frequency, against the closed form of a plain tank."""

from __future__ import annotations

from functools import partial

import pytest

from models.preferred_values import nearest
from models.readings.fit import fit_readings
from models.readings.tank_model import FrequencyReading, ReadingSet
from models.readings.target import needed_capacitor, reach_target
from models.tank import required_capacitance, resonant_frequency

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
INDUCTANCE, STRAY, LOW, HIGH = 1e-3, 60e-12, 8e-12, 48e-12


def reading(fitted: float, trimmer: float | None = None) -> FrequencyReading:
    rest = STRAY + (0.0 if trimmer is None else LOW + trimmer * (HIGH - LOW))
    return FrequencyReading(fitted, float(resonant_frequency(INDUCTANCE, fitted + rest)), trimmer)


PLAIN = fit_readings(ReadingSet((reading(100 * P), reading(330 * P), reading(470 * P))))
TRIMMED = fit_readings(
    ReadingSet((reading(100 * P, 0.0), reading(330 * P, 1.0), reading(470 * P, 0.0), reading(220 * P, 1.0)))
)


def test_common_practice_readings_reach_another_frequency():
    # common practice: 400 pF -> 147 kHz, 100 pF -> 172.278 kHz; so 250 pF lies between, by the closed form 158.1 kHz
    fit = fit_readings(ReadingSet((FrequencyReading(400 * P, 147e3), FrequencyReading(100 * P, 172.278e3))))
    middle = float(resonant_frequency(1.0625182547e-3, 703.2379524e-12 + 250e-12))
    assert needed_capacitor(fit, FrequencyReading(0.0), middle) == close(250 * P, rel=1e-6)
    assert needed_capacitor(fit, FrequencyReading(0.0), 147e3) == close(400 * P, rel=1e-6)


def test_needed_capacitor_is_the_closed_form():
    assert needed_capacitor(PLAIN, FrequencyReading(0.0), 250e3) == close(
        float(required_capacitance(INDUCTANCE, 250e3)) - STRAY, rel=1e-7
    )
    assert needed_capacitor(PLAIN, FrequencyReading(0.0), 250e3, 20 * P) == close(
        float(required_capacitance(INDUCTANCE, 250e3)) - STRAY - 20 * P, rel=1e-7
    )


def test_without_a_trimmer_the_nearest_value_is_named():
    reach = reach_target(PLAIN, FrequencyReading(0.0), 250e3, "E12")
    assert reach.fitted == nearest("E12", reach.needed) == 330 * P
    assert reach.trimmer is None
    assert reach.frequency[0] == close(float(resonant_frequency(INDUCTANCE, 390 * P)), rel=1e-7)
    assert reach.frequency[1] < reach.frequency[0] < reach.frequency[2]


def test_with_a_trimmer_its_position_lands_on_the_target():
    reach = reach_target(TRIMMED, FrequencyReading(0.0, trimmer=0.5), 250e3, "E24")
    total = reach.fitted + STRAY + LOW + reach.trimmer * (HIGH - LOW)
    assert resonant_frequency(INDUCTANCE, total) == close(250e3, rel=1e-7)
    assert reach.frequency[0] == close(250e3, rel=1e-9)
    assert reach.lowest < 250e3 < reach.highest
    best = min((300, 330, 270), key=lambda value: abs(_position(value * P) - 0.5))
    assert reach.fitted == best * P


def _position(fitted: float) -> float:
    return (float(required_capacitance(INDUCTANCE, 250e3)) - STRAY - LOW - fitted) / (HIGH - LOW)


def test_a_series_too_coarse_for_the_trimmer_comes_near():
    reach = reach_target(TRIMMED, FrequencyReading(0.0, trimmer=0.5), 200e3, "E3")
    assert reach.trimmer is None
    assert reach.fitted in (470 * P, 1000 * P)


def test_another_board_shifts_the_need_by_its_stray():
    here, there = (
        reach_target(TRIMMED, FrequencyReading(0.0, trimmer=0.5), 250e3, "E24", added) for added in (0.0, 25 * P)
    )
    assert here.needed - there.needed == close(25 * P, rel=1e-6)
    assert there.frequency[0] == close(250e3, rel=1e-9)


def test_out_of_reach_and_not_enough_known():
    with pytest.raises(ValueError, match="too much"):
        reach_target(PLAIN, FrequencyReading(0.0), 2e6, "E12")
    one = fit_readings(ReadingSet((reading(100 * P), reading(100 * P))))
    with pytest.raises(ValueError, match="not say enough"):
        reach_target(one, FrequencyReading(0.0), 250e3, "E12")
