"""The way from fitted readings to a target frequency, against the closed form of a plain tank."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from models.preferred_values import nearest
from models.readings.fit import Problem, solved
from models.readings.instrument_model import FrequencyOf, InstrumentModel, Rows
from models.readings.target import Target, reach_target
from models.readings.unknowns import Unknown
from models.tank import required_capacitance, resonant_frequency

close = partial(pytest.approx, abs=0.0)  # by ratio alone: approx by itself lets 1e-12 (1 pF) pass

P = 1e-12
INDUCTANCE, STRAY, LOW, HIGH = 1e-3, 60e-12, 8e-12, 48e-12
COIL = Unknown("inductance", "H", 1e-3, 1.7, by_ratio=True)
BOARD = Unknown("stray", "F", 0.0, 400 * P, least=0.0)


def rows(fitted: list[float], trimmers: list[float]) -> Rows:
    """A tank whose trimmer is known, the rest not."""
    count = len(fitted)
    offsets, shares = np.zeros((5, count)), np.zeros((5, count, 2))
    shares[0, :, 0], shares[1, :, 1] = 1.0, 1.0
    offsets[1] = np.array(fitted) + np.array(trimmers)
    return Rows(offsets, shares, np.zeros(count, dtype=bool), np.zeros((count, 2)))


def target(trimmed: bool, added: float = 0.0, capacitors: tuple[float, ...] = (100 * P, 330 * P, 470 * P)) -> Target:
    read = [float(resonant_frequency(INDUCTANCE, value + STRAY)) for value in capacitors]
    model = InstrumentModel(
        rows(list(capacitors), [0.0] * len(capacitors)), tuple(map(FrequencyOf, range(len(capacitors))))
    )
    fit = solved(Problem((COIL, BOARD), model, np.log(read), np.full(len(capacitors), 5e-5)))

    def row_of(trimmer: float | None) -> Rows:
        return rows([0.0], [0.0 if trimmer is None else LOW + trimmer * (HIGH - LOW)])

    return Target(fit, row_of, trimmed, 0.005, added)


def test_needed_capacitor_is_the_closed_form():
    exact = float(required_capacitance(INDUCTANCE, 250e3)) - STRAY
    assert target(False).needed(250e3, None) == close(exact, rel=1e-5)
    assert target(False, 20 * P).needed(250e3, None) == close(exact - 20 * P, rel=1e-5)


def test_without_a_trimmer_the_nearest_value_is_named():
    reach = reach_target(target(False), 250e3, "E12")
    assert reach.fitted == nearest("E12", reach.needed) == 330 * P
    assert reach.trimmer is None
    assert reach.frequency[0] == close(float(resonant_frequency(INDUCTANCE, 390 * P)), rel=1e-6)
    # a new capacitor of 1 % at 330 of 390 pF: half of it in the frequency, and what the fit leaves
    assert reach.frequency[2] / reach.frequency[0] - 1.0 == close(0.5 * 0.0098 * 330 / 390, rel=0.02)


def test_with_a_trimmer_its_position_lands_on_the_target():
    reach = reach_target(target(True), 250e3, "E24")
    assert reach.trimmer is not None
    total = reach.fitted + STRAY + LOW + reach.trimmer * (HIGH - LOW)
    assert resonant_frequency(INDUCTANCE, total) == close(250e3, rel=1e-6)
    assert reach.lowest < 250e3 < reach.highest
    best = min((300, 330, 270), key=lambda value: abs(_position(value * P) - 0.5))
    assert reach.fitted == best * P


def _position(fitted: float) -> float:
    return (float(required_capacitance(INDUCTANCE, 250e3)) - STRAY - LOW - fitted) / (HIGH - LOW)


def test_a_series_too_coarse_for_the_trimmer_comes_near():
    reach = reach_target(target(True), 200e3, "E3")
    assert reach.trimmer is None
    assert reach.fitted in (470 * P, 1000 * P)


def test_another_board_shifts_the_need_by_its_stray():
    here, there = (reach_target(target(True, added), 250e3, "E24") for added in (0.0, 25 * P))
    assert here.needed - there.needed == close(25 * P, rel=1e-6)
    assert there.frequency[0] == close(250e3, rel=1e-9)


def test_out_of_reach_and_not_enough_known():
    with pytest.raises(ValueError, match="too much"):
        reach_target(target(False), 2e6, "E12")
    with pytest.raises(ValueError, match="not say enough"):
        reach_target(target(False, capacitors=(100 * P,)), 120e3, "E12")
