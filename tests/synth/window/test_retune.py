"""The live controls against the models: what each does is what the models say it does."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from beside import beside
from slow_ones import slow_ones
from window_script import session_on

from models.branch.modes import mode_frequencies
from models.circuit.common_base import OscillatorCircuit
from models.circuit.oscillator import steady_state
from models.circuit.ripple_law import RippleLaw
from models.tank import resonant_frequency
from synth.analysis.drift import drift_law
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import OpenedDesign, open_design
from synth.errors import DesignError
from synth.sound.level_match import level_db
from synth.window.controls import Settings
from synth.window.retune import BEYOND_TRIMMER, retuned
from synth.window.saving import saved_design
from synth.window.session import SAMPLE_RATE, Session, opened_side, session_of, shared_sweep, sound_of
from synth.window.solver_process import SolverLostError
from synth.window.steering import part_by_law, part_for_sensitivity
from synth.window.tunable import AS_WRITTEN, Parts, Tunable, first_settings, towards_parts, tunable, with_parts

DEMOS = Path(__file__).resolve().parents[3] / "demos"
NAMES = ("meadow", "heron", "willow")
PLACES = np.array([0.08, 0.15, 0.3, 0.45])


@pytest.fixture(scope="module")
def pieces() -> dict[str, OpenedDesign]:
    return {name: open_design(DEMOS / f"{name}.toml") for name in (*NAMES, "puddle")}


@pytest.fixture(scope="module")
def offers(pieces: dict[str, OpenedDesign]) -> dict[str, Tunable]:
    return {name: tunable(piece) for name, piece in pieces.items()}


def settings_of(offer: Tunable, **values: float | str) -> Settings:
    settings = first_settings(offer)
    for name, value in values.items():
        settings = settings.with_value(name, value)
    return settings


@pytest.mark.parametrize("name", [*NAMES, "puddle"])
def test_as_the_design_has_it_nothing_is_changed(
    name: str, offers: dict[str, Tunable], pieces: dict[str, OpenedDesign]
) -> None:
    tuned = retuned(offers[name], first_settings(offers[name]))
    assert tuned.instrument == pieces[name].instrument
    assert tuned.field == pieces[name].field


@pytest.mark.parametrize("name", [*NAMES, "puddle"])
@pytest.mark.parametrize("distance", [0.2, 0.333, 0.6])
@pytest.mark.parametrize("rise", [0.0, 7.0])
def test_zero_beat_lies_where_it_was_set(name: str, distance: float, rise: float, offers: dict[str, Tunable]) -> None:
    tuned = retuned(offers[name], settings_of(offers[name], temperature=rise, zero_beat=distance))
    assert tuned.field.zero_beat_distance == pytest.approx(distance, abs=1e-7)
    assert abs(tuned.instrument.offset_frequency(distance)) < 1e-6  # Hz


def test_beyond_its_trimmer_the_player_is_told(offers: dict[str, Tunable]) -> None:
    assert retuned(offers["puddle"], settings_of(offers["puddle"], zero_beat=0.45)).notices == (BEYOND_TRIMMER,)
    assert retuned(offers["meadow"], settings_of(offers["meadow"], zero_beat=0.45)).notices == ()


@pytest.mark.parametrize("name", ["meadow", "heron"])
def test_closed_fingers_shift_the_beat_by_what_their_capacitance_says(
    name: str, offers: dict[str, Tunable], pieces: dict[str, OpenedDesign]
) -> None:
    """At a held wrist: the resonance with the capacitance of the closed hand, and the pitch goes down."""
    instrument, hand = pieces[name].instrument, pieces[name].hands["open"]
    tuned = retuned(offers[name], first_settings(offers[name]))
    tank, branch, stray = instrument.variable_tank, instrument.branch, pieces[name].wired.antenna.stray
    beats = []
    for opening in (0.0, 0.5, 1.0):
        place, _ = tuned.heard(0.15, 1.0, None, opening)
        total = float(hand.capacitance(0.15, None, opening)) + stray
        if branch.direct:
            expected = resonant_frequency(tank.inductance, tank.total_capacitance + total)
        else:
            both = mode_frequencies(
                tank.inductance, tank.total_capacitance, branch.inductance, total, branch.self_capacitance
            )
            expected = both[1 if instrument.mode == "high" else 0]
        assert float(tuned.instrument.variable_frequency(place)) == pytest.approx(float(expected), rel=1e-9)
        beats.append(float(tuned.instrument.beat_frequency(place)))
    assert beats == sorted(beats)
    assert beats[2] > 1.1 * beats[0]


@pytest.mark.parametrize("name", [*NAMES, "puddle"])
@pytest.mark.parametrize("rise", [*slow_ones(-12.0, 3.0), 25.0])
def test_temperature_moves_zero_beat_as_the_drift_report_says(
    name: str, rise: float, offers: dict[str, Tunable], pieces: dict[str, OpenedDesign]
) -> None:
    law = drift_law(pieces[name], 1.0, np.empty(0))
    reported = law.drift(rise)
    distance = law.law.zero_beat
    warm = retuned(offers[name], settings_of(offers[name], temperature=rise)).instrument
    cold = pieces[name].instrument
    moved = warm.offset_frequency(distance) - cold.offset_frequency(distance)
    assert float(moved) == pytest.approx(float(reported.zero_beat[0]), abs=2e-3)  # Hz
    assert abs(moved) > 0.1
    assert warm.reference_frequency - cold.reference_frequency == pytest.approx(reported.reference[0], abs=1e-3)
    place = float(reported.zero_beat_distance[0])
    if np.isfinite(place) and name != "puddle":  # which is not tuned to the zero beat it is asked for
        found = retuned(offers[name], settings_of(offers[name], temperature=rise)).field.zero_beat_distance
        assert found == pytest.approx(place, abs=2e-4)


@pytest.mark.parametrize("name", ["meadow", "heron"])
@pytest.mark.parametrize("ratio", [0.5, 2.0**0.5, 2.0])
def test_register_keeps_the_carrier_and_scales_shifts(name: str, ratio: float, offers: dict[str, Tunable]) -> None:
    offer = offers[name]
    changed = with_parts(offer, Parts(ratio))
    before, after = offer.instrument, changed.instrument
    assert after.variable_tank.inductance / before.variable_tank.inductance == pytest.approx(ratio**0.5, rel=1e-12)
    # a chain of chokes is taken at the reference's frequency before tuning, which is not quite the same
    chained = offer.design.branch is not None and offer.design.branch.chokes > 1.0
    assert after.reference_frequency == pytest.approx(before.reference_frequency, rel=2e-5 if chained else 1e-12)
    assert offer.zero_beat is not None
    assert after.variable_frequency(offer.zero_beat) == pytest.approx(after.reference_frequency)
    slopes = after.offset_slope(0.3) / before.offset_slope(0.3)
    if before.branch.direct:  # straight on the tank: df/dC = -f / (2 C), with C the whole capacitance
        assert slopes == pytest.approx(ratio**0.5, rel=2e-3)
    else:
        assert 1.0 < slopes ** np.sign(ratio - 1.0) < ratio ** (0.5 * np.sign(ratio - 1.0))


def test_register_is_refused_where_no_capacitor_is_left(pieces: dict[str, OpenedDesign]) -> None:
    piece = pieces["heron"]
    small = replace(piece.design.variable, capacitance=1e-12, stray=82e-12)
    offer = tunable(replace(piece, design=replace(piece.design, variable=small)))
    with pytest.raises(DesignError, match="too little fixed capacitance"):
        with_parts(offer, Parts(2.0))


@pytest.mark.slow
def test_register_solves_a_circuit_anew(offers: dict[str, Tunable]) -> None:
    offer = offers["willow"]
    changed = with_parts(offer, Parts(2.0))
    assert changed.instrument.reference_frequency == pytest.approx(offer.instrument.reference_frequency, rel=2e-3)
    assert 1.1 < changed.instrument.offset_slope(0.3) / offer.instrument.offset_slope(0.3) < 2.0**0.5


class StandIn:
    """Stands for the work beside the window: it takes whatever it is asked, and is done when the test says so."""

    def __init__(self) -> None:
        self.asked: list[Callable[..., Any]] = []
        self.answers: list[Future[Any]] = []

    def submit(self, function: Callable[..., Any], /, *_: Any) -> Future[Any]:
        self.asked.append(function)
        self.answers.append(Future())
        return self.answers[-1]

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        pass


@pytest.mark.parametrize("part", ["register", "inductor"])
def test_every_motion_of_a_drag_sounds_by_the_law_while_the_circuit_is_solved(
    offers: dict[str, Tunable], part: str
) -> None:
    """Forty motions of a slider, none of which waits for a solution: each has a frequency of its own at once."""
    work = StandIn()
    session = Session([opened_side("Willow", offers["willow"])], lambda: work)
    heard, solved = [], float(session.instrument.beat_frequency(0.2))
    for motion in range(40):
        session.slide(part, 0.5 + (motion + 1) / 240.0)
        session.update()
        assert session.take_changed()
        heard.append(float(session.instrument.beat_frequency(0.2)))
    assert work.asked == [with_parts]  # one solution was asked for; it is under way all the time
    with pytest.raises(DesignError, match="still being solved; save again"):
        saved_design(session.side)
    assert len(set(heard)) == len(heard)
    steps = np.diff([solved, *heard])
    assert np.all(steps > 0.0) or np.all(steps < 0.0)
    assert np.abs(np.diff(steps)).max() < 0.05 * np.abs(steps).max()  # no leaps


def test_a_circuit_sounds_at_once_and_its_other_controls_come_when_they_are_solved(
    pieces: dict[str, OpenedDesign], offers: dict[str, Tunable]
) -> None:
    work, whole = StandIn(), offers["willow"]
    session = session_of([pieces["willow"]], work=lambda: work, at_once=True)
    assert session.instrument == whole.instrument
    assert session.settings.controls == first_settings(whole).controls
    assert {"pot", "temperature"} <= set(session.disabled)
    session.set("temperature", 5.0)
    assert "a moment" in session.take_notice()
    session.slide("register", 0.55)  # before there is a law: it sounds on as it did
    session.update()
    assert not session.take_changed()
    session.prepare()
    work.answers[-1].set_result(whole)
    session.update()
    assert session.take_changed()
    assert session.instrument != whole.instrument
    assert session.disabled == whole.faults
    assert work.asked == [with_parts, tunable]


def test_a_lost_preparation_is_done_once_more_and_then_told(pieces: dict[str, OpenedDesign]) -> None:
    """The process that solves dies twice over what the controls wait for: none of them says for ever that it comes."""
    work = StandIn()
    session = session_of([pieces["willow"]], work=lambda: work, at_once=True)
    session.prepare()
    for died in range(2):
        assert work.asked == [tunable] * (died + 1)
        session.set("temperature", 5.0)
        assert "a moment" in session.take_notice()
        work.answers[-1].set_exception(SolverLostError("the solving process ended"))
        session.update()
    assert work.asked == [tunable] * 2
    assert session.disabled["temperature"] == session.disabled["pot"] == "the solving process ended"


def test_where_the_law_does_not_lead_to_a_sensitivity_circuits_are_solved_for_it(offers: dict[str, Tunable]) -> None:
    """A law that is wrong each time is asked four times at most."""
    work = StandIn()
    session = Session([opened_side("Willow", offers["willow"])], lambda: work)
    session.set("lever", "inductor")
    session.set("sensitivity", 1.1 * session.shown_settings.number("sensitivity"))
    for step in range(4):
        work.answers[-1].set_result(1.0 + 0.01 * (step + 1))
        session.update()
        assert work.asked[-2:] == [part_by_law, with_parts]
        work.answers[-1].set_result(offers["willow"])  # no more sensitive than before
        session.update()
    assert work.asked.count(part_by_law) == 4
    assert work.asked[-1] == part_for_sensitivity
    work.answers[-1].set_exception(DesignError("all that it can give"))
    session.update()
    assert session.take_notice() == "all that it can give"
    session.update()
    assert not session.busy


@pytest.mark.slow
@pytest.mark.parametrize("part", ["register", "inductor"])
def test_a_circuit_on_its_way_sounds_as_the_solved_one_to_first_order(offers: dict[str, Tunable], part: str) -> None:
    """Against circuits solved anew: half the change leaves a quarter of the error."""
    offer, errors, hand = offers["willow"], [], PLACES[:3]
    for ratio in (1.02, 1.04):
        parts = replace(AS_WRITTEN, **{part: ratio})
        solved, moved = (
            with_parts(offer, parts).instrument,
            towards_parts(offer, offer, AS_WRITTEN, parts).instrument,
        )
        errors.append(np.abs(moved.beat_frequency(hand) - solved.beat_frequency(hand)).max())
        change = np.abs(solved.beat_frequency(hand) - offer.instrument.beat_frequency(hand)).max()
        assert errors[-1] < 0.1 * change
    assert errors[1] / errors[0] == pytest.approx(4.0, rel=0.2)


@pytest.mark.slow
def test_sensitivity_of_a_circuit_is_found_by_the_law_and_put_right_by_the_solved_ones(
    offers: dict[str, Tunable],
) -> None:
    session = Session([opened_side("Willow", offers["willow"])], beside)
    session.set("lever", "inductor")
    wanted = 1.1 * session.shown_settings.number("sensitivity")
    session.set("sensitivity", wanted)
    heard = []
    while session.busy or session.side.aim is not None or not heard:
        session.update()
        if session.take_changed():
            heard.append(session.shown_settings.number("sensitivity"))
        time.sleep(0.002)
    session.close()
    assert heard[-1] == pytest.approx(wanted, rel=3e-3)
    assert heard[-1] != heard[0]


@pytest.mark.slow
def test_shoes_of_a_circuit_sound_as_it_is_solved_with_them(
    pieces: dict[str, OpenedDesign], offers: dict[str, Tunable]
) -> None:
    """Shoes of 400 pF bring the antenna beyond what the design's circuit was solved for."""
    piece = pieces["willow"]
    solved = piece.with_earthing(400e-12, piece.earthing.common_to_earth).instrument
    assert offers["willow"].law is not None
    assert float(solved.antenna_capacitance(solved.curve.nearest)) > offers["willow"].law.capacitances[-1]
    heard = retuned(offers["willow"], settings_of(offers["willow"], shoes=400e-12)).instrument
    distances = np.array([solved.curve.nearest, *PLACES])
    np.testing.assert_allclose(heard.variable_frequency(distances), solved.variable_frequency(distances), atol=2e-3)


def test_the_trimmer_turns_the_reference_by_its_capacitance(offers: dict[str, Tunable]) -> None:
    offer = offers["meadow"]
    tank = offer.reference
    assert tank is not None
    turned = retuned(offer, settings_of(offer, pot=0.001)).instrument
    assert turned.reference_frequency == pytest.approx(tank.with_trimmer(tank.trimmer_setting + 0.001).frequency)
    assert turned.reference_frequency < offer.instrument.reference_frequency
    back = retuned(offer, settings_of(offer, pot=0.001, zero_beat=0.54)).instrument
    assert back.reference_frequency == pytest.approx(offer.instrument.reference_frequency, rel=1e-9)


def test_a_trimmer_at_its_end_turns_no_further(offers: dict[str, Tunable]) -> None:
    offer = offers["puddle"]  # all the way out
    with pytest.raises(DesignError, match="at its end"):
        retuned(offer, settings_of(offer, pot=-0.001))
    assert retuned(offer, settings_of(offer, pot=0.001)).instrument.reference_frequency < 262323.0


@pytest.mark.parametrize("position", [0.125, 0.68])
def test_the_pot_of_a_circuit_is_that_of_the_solved_reference(
    position: float, offers: dict[str, Tunable], pieces: dict[str, OpenedDesign]
) -> None:
    """Between the solved positions too; the shift, not only the frequency."""
    offer, piece = offers["willow"], pieces["willow"]
    circuit: OscillatorCircuit = circuit_of(piece.design, "reference").with_trimmer(
        piece.reference_tank.trimmer_setting
    )
    expected = steady_state(circuit.with_pot(position)).frequency - steady_state(circuit).frequency
    found = retuned(offer, settings_of(offer, pot=position)).instrument.reference_frequency
    assert found - offer.instrument.reference_frequency == pytest.approx(expected, abs=0.05)
    assert abs(expected) > 5.0


@pytest.mark.parametrize("kind", ["product", "envelope", "square-law", "junction", "diode"])
@pytest.mark.parametrize("name", [*slow_ones("heron", "willow"), "meadow"])
def test_each_detector_takes_the_designs_parts(kind: str, name: str, offers: dict[str, Tunable]) -> None:
    offer = offers[name]
    tuned = retuned(offer, settings_of(offer, detector=kind)).instrument
    assert tuned.detector.kind == kind
    assert tuned.detector.amplitude_ratio == offer.instrument.detector.amplitude_ratio
    np.testing.assert_array_equal(tuned.beat_frequency(PLACES), offer.instrument.beat_frequency(PLACES))
    sound = sound_of(tuned, shared_sweep([retuned(offer, settings_of(offer, detector=kind))]))
    assert np.abs(sound).max() > 0.05


def test_coupling_silences_its_range(offers: dict[str, Tunable]) -> None:
    """Adler: beat = sqrt(offset^2 - lock range^2), silence within it (common practice)."""
    offer = offers["heron"]
    tuned = retuned(offer, settings_of(offer, coupling=30.0)).instrument
    offset = tuned.offset_frequency(PLACES)
    expected = np.sqrt(np.maximum(offset**2 - 900.0, 0.0))
    np.testing.assert_allclose(np.abs(tuned.beat_frequency(PLACES)), expected, rtol=1e-9)
    assert 0.0 in expected


def test_ripple_sounds_through_every_control(offers: dict[str, Tunable]) -> None:
    law = RippleLaw(100.0, (8e-12, 12e-12), (0.1 + 0.1j, 0.2 + 0.1j), (1e-3 + 0j, 1e-3 + 0j), 1e-3 + 0j)
    offer = replace(offers["willow"], instrument=replace(offers["willow"].instrument, ripple=law))
    changed = settings_of(offer, temperature=3.0, coupling=5.0, tone=1000.0, detector="product")
    assert retuned(offer, changed).instrument.ripple == law


def test_tone_and_reference_a_go_where_they_belong(offers: dict[str, Tunable]) -> None:
    tuned = retuned(offers["heron"], settings_of(offers["heron"], tone=1000.0, reference_a=432.0))
    assert tuned.instrument.tone_low_pass == 1000.0
    assert tuned.field.reference_a == 432.0
    line = next(note for note in tuned.field.notes() if note.name == "A4")
    assert tuned.instrument.beat_frequency(line.distance) == pytest.approx(432.0)


def test_controls_that_are_not_there_say_why(pieces: dict[str, OpenedDesign]) -> None:
    session = session_on(pieces["heron"].instrument)
    assert set(session.disabled) == {"register", "inductor", "antenna", "pot", "temperature"}
    session.set("temperature", 5.0)
    session.update()
    assert "not with this instrument" in session.take_notice()
    assert session.settings == first_settings(session.side.offer)
    session.set("zero_beat", 0.3)
    session.update()
    assert session.tuned.field.zero_beat_distance == pytest.approx(0.3, abs=1e-7)


def test_two_designs_are_within_half_a_decibel(pieces: dict[str, OpenedDesign]) -> None:
    session = session_of([pieces["meadow"], pieces["heron"]], work=beside)
    assert session.names == ("A Meadow", "B Heron")
    session.set("detector", "square-law")
    session.set("tone", 500.0)
    session.update()
    session.match_now()
    path = shared_sweep([session.sides[0].tuned, session.sides[1].tuned])
    levels = [level_db(sound_of(session.instrument_of(place), path), SAMPLE_RATE) for place in (0, 1)]
    assert abs(levels[0] - levels[1]) < 0.5
    loud = [level_db(sound_of(session.sides[place].tuned.instrument, path), SAMPLE_RATE) for place in (0, 1)]
    assert abs(loud[0] - loud[1]) > 0.5  # without the match they are not


def test_each_side_keeps_its_own_settings(pieces: dict[str, OpenedDesign]) -> None:
    session = session_of([pieces["meadow"], pieces["heron"]], work=beside)
    session.set("zero_beat", 0.4)
    session.update()
    assert session.switch()
    assert session.settings["zero_beat"] == pytest.approx(0.45)
    assert session.tuned.instrument == pieces["heron"].instrument
    session.undo()
    session.update()
    assert session.settings["zero_beat"] == pytest.approx(0.45)
    session.switch()
    assert session.settings["zero_beat"] == 0.4
    session.undo()
    session.update()
    assert session.tuned.instrument == pieces["meadow"].instrument


def test_a_change_just_before_the_switch_is_not_lost(pieces: dict[str, OpenedDesign]) -> None:
    session = session_of([pieces["meadow"], pieces["heron"]], work=beside)
    session.set("zero_beat", 0.4)
    session.switch()
    session.switch()
    session.update()
    assert session.tuned.field.zero_beat_distance == pytest.approx(0.4, abs=1e-7)


def test_what_cannot_be_built_goes_back(offers: dict[str, Tunable]) -> None:
    session = Session([opened_side("Puddle", offers["puddle"])])
    session.set("tone", 2000.0)
    session.update()
    session.slide("pot", 0.1)
    session.update()
    assert "at its end" in session.take_notice()
    assert session.settings["pot"] == 0.0
    assert session.settings["tone"] == 2000.0
    session.undo()
    session.update()
    assert session.settings == first_settings(offers["puddle"])


def test_a_session_has_one_side_to_six(offers: dict[str, Tunable]) -> None:
    with pytest.raises(ValueError, match="one to 6"):
        Session([])
    assert not Session([opened_side("Heron", offers["heron"])]).switch()
