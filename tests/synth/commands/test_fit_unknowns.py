"""`beatfield fit`: unknowns of the whole instrument, each told where the readings can, and said where they cannot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from models.readings.instrument_model import ControlOf, FrequencyOf, InstrumentModel, Rows
from models.readings.unknowns import NORMAL_95
from models.tank import resonant_frequency
from models.volume.loudness import PeakRectifier, resonance_response
from synth.analysis.fit_design import fitted_design
from synth.analysis.fit_figures import FitFigures, fit_figures
from synth.analysis.fit_target import Wish
from synth.analysis.fit_unknowns import Errors
from synth.analysis.fitting import SolvedBench, solved_bench
from synth.analysis.readings import read_readings
from synth.build.workbench import OpenedDesign
from synth.designs.design_file import Design, load_design
from synth.designs.template import template_design
from synth.errors import DesignError

P = 1e-12
FINE = Errors(counter_ratio=1e-5, hand_distance=0.0)


def fitted(lines: list[str], design: Design | None, which: str | None = None) -> tuple[SolvedBench, FitFigures]:
    bench = solved_bench(read_readings("\n".join(lines) + "\n"), FINE, {}, design, which)
    assert bench.slips == ()
    return bench, fit_figures(bench, "readings.csv", Wish())


def holds(report: FitFigures, name: str, truth: float) -> bool:
    part = next(one for one in report.inferred if one.name == name)
    return part.low <= truth <= part.high


def trimmer(section) -> float:
    return section.trimmer_minimum + section.trimmer * (section.trimmer_maximum - section.trimmer_minimum)


@pytest.fixture(scope="module")
def earthed(demos) -> tuple[Design, Design]:
    """A heron on an adapter of 20 pF, and as it was built: 33 pF, a person of 220 pF, 6 pF of coil windings."""
    design = load_design(demos / "heron.toml")
    design = replace(design, common=replace(design.common, to_earth=20 * P))
    section = replace(design.variable, inductance=2.6e-3, stray=20 * P, self_capacitance=6 * P)
    common, player = replace(design.common, to_earth=33 * P), replace(design.player, body_capacitance=220 * P)
    antenna = replace(design.antenna, stray=4 * P)
    return design, replace(design, variable=section, common=common, player=player, antenna=antenna)


@pytest.fixture(scope="module")
def swings(earthed) -> Callable[[float, float | None], float]:
    """What the variable oscillator of the built heron swings at with a capacitor, F, and a hand, m (None: away)."""
    built = earthed[1]
    opened = OpenedDesign(built)

    def frequency(capacitor: float, distance: float | None) -> float:
        curve = opened.curve
        antenna = curve.empty_capacitance if distance is None else float(curve.capacitance(distance))
        tank = capacitor + built.variable.stray + built.variable.self_capacitance + trimmer(built.variable)
        return float(resonant_frequency(built.variable.inductance, tank + antenna + built.antenna.stray))

    return frequency


HANDS = ((47, 0.05), (100, 0.05), (100, 0.3), (220, None), (47, None), (100, 0.02), (100, 0.1))


def of_hands(swings) -> list[str]:
    where = [(c, "away" if at is None else f"{100 * at:g} cm", swings(c * P, at)) for c, at in HANDS]
    return ["fitted_capacitor,frequency,hand_distance,board", *(f"{c} pF,{f!r} Hz,{at}," for c, at, f in where)]


def test_hand_readings_tell_what_joins_the_common_to_earth(earthed, swings):
    bench, report = fitted(of_hands(swings), earthed[0], "variable")
    assert holds(report, "common_to_earth", 33 * P)
    common = next(one for one in report.inferred if one.name == "common_to_earth")
    assert common.told
    assert common.high - common.low < 12 * P
    assert holds(report, "body_to_earth", 220 * P)
    assert "body_to_earth" in report.not_told, "a standing person is nearly earth already"
    written = fitted_design(bench, None).design
    again = OpenedDesign(written)
    stray = again.wired.antenna.stray
    for capacitor, distance in HANDS:
        marking = bench.capacitor(bench.bench.settings[[one[0] for one in HANDS].index(capacitor)])
        there = OpenedDesign(replace(written, variable=replace(written.variable, capacitance=marking)))
        hand = again.curve.empty_capacitance if distance is None else float(again.curve.capacitance(distance))
        tank = there.tanks["variable"]
        assert float(tank.with_antenna(hand + stray)) == pytest.approx(swings(capacitor * P, distance), rel=2e-6)


def test_windings_are_told_apart_from_the_board_by_the_coil_off_the_board(earthed, swings):
    design = replace(earthed[0], variable=replace(earthed[0].variable, self_capacitance=5 * P))
    lines = of_hands(swings)
    bare = 47 * P + 26 * P + trimmer(design.variable)
    lines.append(f"47 pF,{float(resonant_frequency(2.6e-3, bare))!r} Hz,,")
    _, report = fitted(lines, design, "variable")
    assert "self_capacitance" in report.not_told
    assert report.next_reading is not None
    assert "off the board" in report.next_reading.setting, "the reading that would tell"
    lines += [f"{c} pF,{float(resonant_frequency(2.6e-3, c * P + 6 * P))!r} Hz,,none" for c in (47, 150, 470)]
    bench, report = fitted(lines, design, "variable")
    assert report.not_told == ("body_to_earth",)
    for name, truth in (("self_capacitance", 6 * P), ("stray", 20 * P), ("antenna_stray", 4 * P)):
        assert holds(report, name, truth)
    windings = next(one for one in report.inferred if one.name == "self_capacitance")
    assert windings.high - windings.low < 3 * P
    section = fitted_design(bench, None).design.variable
    assert section.self_capacitance == pytest.approx(6 * P, rel=0.1)
    assert section.stray == pytest.approx(20 * P, rel=0.05)


@pytest.mark.slow
def test_the_volume_side_is_told_with_its_resonance_and_given_back():
    """The ring's oscillator and the voltage behind a resonance that was built 3.5 % high, with less Q and voltage."""
    design = template_design()
    response = replace(design.volume_response, full_height=None)
    turned = replace(
        design,
        volume=replace(design.volume, inductance=1.02 * design.volume.inductance, trimmer=0.4),
        volume_antenna=replace(design.volume_antenna, stray=3.5 * P),
        volume_response=replace(response, capacitance=0.93 * response.capacitance, quality_factor=80.0, amplitude=7.0),
    )
    built = OpenedDesign(replace(turned, volume=replace(turned.volume, stray=6.1 * P))).volume
    lines = ["fitted_capacitor,frequency,control,hand_distance,oscillator,trimmer"]
    heights = (0.05, 0.08, 0.12, 0.18, 0.25, 0.35, 0.45)
    fixed = f"{1e12 * design.volume.capacitance:g} pF"
    for height in heights:
        read = float(built.oscillator_frequency(height)), float(built.control_voltage(height))
        lines.append(f"{fixed},{read[0]!r} Hz,{read[1]!r} V,{100 * height:g} cm,volume,0.4")
    bench, report = fitted(lines, design)
    resonator = built.resonator
    assert holds(report, "resonance_frequency", resonator.frequency)
    assert holds(report, "resonance_q", 80.0)
    assert holds(report, "rectified_amplitude", 7.0)
    written = fitted_design(bench, None)
    assert any("full_height" in notice for notice in written.notices)
    again = OpenedDesign(written.design).volume
    for height in heights:
        assert float(again.oscillator_frequency(height)) == pytest.approx(
            float(built.oscillator_frequency(height)), rel=1e-6
        )
        assert float(again.control_voltage(height)) == pytest.approx(float(built.control_voltage(height)), rel=1e-3)


def test_derivatives_of_the_rectified_voltage_match_differences():
    rows = Rows(
        np.zeros((5, 1)) + np.array([0.0, 80 * P, 0.0, 0.0, 0.0])[:, None],
        np.array([1.0, 0.0, 0.0, 0.0, 0.0])[:, None, None] * np.array([1.0, 0.0, 0.0, 0.0]),
        np.array([False]),
        np.zeros((1, 4)),
    )
    model = InstrumentModel(rows, (FrequencyOf(0), ControlOf(0, 1, 2, 3, 0.3)))
    truth = np.array([2.2e-3, 381e3, 90.0, 8.0])
    read, slopes = model.predicted(truth)
    frequency = float(resonant_frequency(2.2e-3, 80 * P))
    said = PeakRectifier(8.0, 0.3).voltage(resonance_response(frequency, 381e3, 90.0))
    assert read[1] == pytest.approx(float(said), rel=1e-12)
    for place in range(4):
        step = np.zeros(4)
        step[place] = 1e-6 * truth[place]
        numeric = (model.predicted(truth + step)[0] - model.predicted(truth - step)[0]) / (2e-6 * truth[place])
        np.testing.assert_allclose(slopes[:, place], numeric, rtol=1e-5, atol=1e-7 * abs(numeric).max())


@pytest.mark.parametrize(
    ("head", "row", "words"),
    [
        ("fitted_capacitor,control,hand_distance", "33 pF,3 V,10 cm", ["line 2", "oscillator = volume"]),
        ("fitted_capacitor,frequency,hand_distance,board", "33 pF,300 kHz,10 cm,none", ["line 2", "coil alone"]),
    ],
)
def test_readings_that_cannot_be_have_a_remedy(head, row, words):
    with pytest.raises(DesignError) as caught:
        solved_bench(read_readings(f"{head}\n{row}\n", "r.csv"), FINE, {}, template_design())
    for word in ("r.csv", *words):
        assert word in str(caught.value)


def test_an_error_of_distance_lowers_the_weight_of_the_near_hand(earthed, swings):
    """2 mm at 2 cm move the frequency by far more than the counter's error: the interval grows, and holds the truth."""
    lines = of_hands(swings)
    bench = [
        solved_bench(read_readings("\n".join(lines) + "\n"), Errors(hand_distance=at), {}, earthed[0], "variable")
        for at in (0.0, 2e-3)
    ]
    exact, vague = (dict(zip([one.row.line for one in b.bench.places], b.deviations, strict=True)) for b in bench)
    of_hand = np.sqrt(vague[7] ** 2 - exact[7] ** 2)
    assert of_hand > exact[7], "100 pF with the hand at 2 cm"
    assert vague[6] == exact[6], "nobody near"
    curve = bench[0].bench.field.opened.curve
    near = [float(curve.capacitance(0.02 + off)) for off in (-2e-3, 2e-3)]
    section = earthed[1].variable
    tank = 100 * P + section.stray + section.self_capacitance + trimmer(section) + earthed[1].antenna.stray
    moved = np.log(resonant_frequency(section.inductance, tank + np.array(near)))
    assert of_hand == pytest.approx(float(moved[1] - moved[0]) / 2.0 / NORMAL_95, rel=0.15)
    widths = [b.fit.told(b.fit.place("antenna_stray")) for b in bench]
    assert widths[1] > widths[0]
