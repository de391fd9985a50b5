"""`beatfield benchmark`: one report said everywhere, comparators that agree with the fast ways; nothing is timed."""

import json
import sys
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_setup import small_piece

from synth.cli import main
from synth.comparisons import (
    adjoint,
    benchmark_report,
    builds,
    circuit_builds,
    fem_blocks,
    field,
    growth,
    listening,
    oscillator,
    suite,
    voice,
    waiting,
)
from synth.comparisons.benchmark_report import BenchmarkGoal, BenchmarkReport, Column, Comparison
from synth.comparisons.field import Step, cost_at
from synth.comparisons.suite import SECTIONS
from synth.designs.design_file import load_design
from synth.errors import EXIT_GOAL_MISSED

COLUMNS = (Column("case", "case"), Column("time", "time, ms", "s", 1e3, ".1f"), Column("ratio", "ratio", shown=".0f"))


def report_of(section):
    return BenchmarkReport(True, "3.11", "2.0", "1.12", 2, None, (section,))


def report(*goals, rows=(("first", 0.0123, 45.0), ("second", 2.0, None)), skipped=""):
    section = Comparison("made", "Made up", COLUMNS, rows, goals, ("a note",), skipped, 1.5)
    return report_of(section)


def test_text_and_document_say_the_same():
    made = report(
        BenchmarkGoal("first", "ratio", 45.0, 50.0), BenchmarkGoal("first", "error", 1e-4, 1e-3, at_least=False)
    )
    document = json.loads(json.dumps(made.document(), allow_nan=False))
    assert document["schema"] == "beatfield.benchmark/1"
    (section,) = document["sections"]
    assert section["rows"][0] == {"case": "first", "time": 0.0123, "ratio": 45.0}
    assert section["units"] == {"time": "s"}
    assert [goal["met"] for goal in section["goals"]] == [False, True]
    assert document["goals_met"] is False
    text = made.text()
    assert "12.3" in text
    assert "MISSED first: ratio 45, goal at least 50" in text
    assert "met    first: error 0.0001, goal at most 0.001" in text
    assert "goals: 1 met, 1 MISSED" in text
    assert "note: a note" in text
    for line in text.splitlines():
        assert line == line.rstrip()


def test_what_was_not_measured_misses_its_goal_and_what_was_skipped_has_none():
    assert not BenchmarkGoal("x", "ratio", None, 1.0).met
    assert "nothing measured" in report(BenchmarkGoal("x", "ratio", None, 1.0)).text()
    skipped = report(rows=(), skipped="the library is missing")
    assert skipped.goals_met
    assert "not measured: the library is missing" in skipped.text()


def test_goals_at_their_limit_are_met():
    assert BenchmarkGoal("x", "y", 2.0, 2.0).met
    assert BenchmarkGoal("x", "y", 2.0, 2.0, at_least=False).met


def test_every_name_is_a_comparison():
    from importlib import import_module

    for name in SECTIONS:
        assert callable(getattr(import_module(f"synth.comparisons.{name}"), f"{name}_section"))


def clock_of(seconds):
    """A stopwatch that says these times, s, one after the other, whatever the machine."""
    left = iter(seconds)
    return lambda action: (action(), next(left))


def test_command_prints_json_and_tells_missed_goals(monkeypatch, capsys):
    """8 builds in a loop take 4 s, 0.5 s each; 2000 at once take 20 s in the middle of three runs, 10 ms each."""
    monkeypatch.setattr(builds, "open_loaded", lambda design: small_piece())
    monkeypatch.setattr(builds, "QUICK_BUILDS", 2000)
    monkeypatch.setattr(builds, "QUICK_LOOP", 8)
    monkeypatch.setattr(builds, "timed", clock_of([4.0, 60.0, 10.0, 20.0]))
    assert main(["benchmark", "--quick", "--only", "builds", "--json"]) == EXIT_GOAL_MISSED
    document = json.loads(capsys.readouterr().out)
    assert not document["goals_met"]
    (section,) = document["sections"]
    (row,) = section["rows"]
    # the vectorised builds are the loop's, to the accuracy of their tables
    assert row["same_reached"] == "yes"
    assert row["compared"] >= 6
    assert row["unevenness_cents"] < builds.MOST_CENTS
    assert row["beat"] < 1e-6
    assert_allclose([row["loop"], row["at_once"], row["ratio"]], [0.5, 0.01, 50.0], rtol=1e-12)
    assert [goal["met"] for goal in section["goals"]] == [False, False, True, True]


def test_command_ends_well_where_all_goals_are_met(monkeypatch, capsys):
    """The loop takes 2 ms a build, all at once 10 us each: 200 times faster, and 1 s for 100 000."""
    monkeypatch.setattr(builds, "open_loaded", lambda design: small_piece())
    monkeypatch.setattr(builds, "QUICK_BUILDS", 2000)
    monkeypatch.setattr(builds, "QUICK_LOOP", 8)
    monkeypatch.setattr(builds, "timed", clock_of([0.016, 0.02, 0.02, 0.02]))
    assert main(["benchmark", "--quick", "--only", "builds"]) == 0
    assert "goals: 4 met, 0 MISSED" in capsys.readouterr().out


@pytest.mark.slow
def test_adjoint_and_differences_agree(monkeypatch):
    """Every derivative by both ways; 2 ms and 80 ms, said by a stopwatch of ours."""
    monkeypatch.setattr(adjoint, "side_by_side", lambda actions, rounds: {"adjoint": 2e-3, "differences": 8e-2})
    section = adjoint.adjoint_section(True)
    (row,) = section.document()["rows"]
    assert row["values"] >= 30
    assert row["off"] < 1e-5
    assert row["ratio"] == pytest.approx(40.0)
    assert all(goal.met for goal in section.goals)


def test_listening_tells_every_way_and_meets_its_goals(monkeypatch):
    monkeypatch.setattr(listening, "QUICK_NOTES", 1)
    monkeypatch.setattr(listening, "LOW", 1500.0)
    section = listening.listening_section(True)
    rows = section.document()["rows"]
    assert {row["sound"] for row in rows} == set(listening.SOUNDS)
    assert {listening.OWN, listening.PEAK} <= {row["way"] for row in rows}
    assert all(goal.met for goal in section.goals)
    # the peak of one spectrum is no match for vibrato: the comparison can tell ways apart
    worst = {row["way"]: row["rest"] for row in rows if row["sound"] == "with vibrato"}
    assert worst[listening.PEAK] > 5.0 > worst[listening.OWN]


def test_listening_goes_without_the_library(monkeypatch):
    monkeypatch.setattr(listening, "QUICK_NOTES", 1)
    monkeypatch.setattr(listening, "SOUNDS", {"clean": listening.SOUNDS["clean"]})
    monkeypatch.setitem(sys.modules, "parselmouth", None)
    section = listening.listening_section(True)
    assert [row["way"] for row in section.document()["rows"]] == [listening.OWN, listening.PEAK]
    assert "praat-parselmouth" in section.notes[-1]


def test_builds_by_the_adjoint_are_those_solved(monkeypatch, opened):
    """10 ms for the derivatives, 0.19 s for ten thousand builds and 10 s for five that are solved."""
    monkeypatch.setattr(circuit_builds, "timed", clock_of([0.01, 10.0, 0.19]))
    monkeypatch.setattr(circuit_builds, "monte_carlo", lambda trial, builds, seed: None)
    monkeypatch.setattr(circuit_builds, "QUICK_BUILDS", 3)
    section = circuit_builds.circuit_builds_section(True, opened(load_design("willow")))
    assert [row["what"] for row in section.document()["rows"]] == list(circuit_builds.WORDS.values())
    assert section.goals[0].value == pytest.approx((10.0 / 3) / (0.2 / 10_000))
    assert all(goal.met for goal in section.goals)


def test_unknown_comparison_is_refused(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["benchmark", "--only", "nothing"])
    assert ended.value.code == 2
    assert "voice" in capsys.readouterr().err


def test_missing_library_is_a_reason_and_not_a_fault(monkeypatch):
    monkeypatch.setitem(sys.modules, "skfem", None)
    (section,) = suite.benchmark_report(True, ["field"]).sections
    assert "scikit-fem" in section.skipped
    assert "pip install" in section.skipped
    assert not section.rows
    assert not section.goals


def test_voice_is_the_radio_rate_and_its_row_hangs_together(monkeypatch):
    """Tables 0.5 s, the radio rate 3 s, the voice 8 ms and the sine 2 ms, said by a stopwatch of ours."""
    monkeypatch.setattr(voice, "timed", clock_of([0.5, 3.0]))
    monkeypatch.setattr(voice, "side_by_side", lambda actions, rounds: {"voice": 8e-3, "sine": 2e-3})
    section = voice.voice_section(True, ["product"])
    row = section.document()["rows"][0]
    assert row["difference_db"] < -100.0
    assert (row["build"], row["radio_rate"]) == (0.5, 3.0)
    voice_second, radio_second = 8e-3 / voice.FULL_SECONDS, 3.0 / voice.QUICK_SECONDS
    assert_allclose([row["ratio"], row["over_sine"]], [radio_second / voice_second, 4.0], rtol=1e-12)
    assert_allclose(row["real_time"], 1.0 / voice_second, rtol=1e-12)
    assert [goal.met for goal in section.goals if goal.figure == "passes of np.sin"] == [False]  # 4, the goal is 3.5


def test_field_compares_what_agrees():
    pytest.importorskip("skfem")
    steps = field.climb(
        {field.BOUNDARY: field.rod_case(True).boundary[1:2], field.FINITE: field.rod_case(True).finite[1:2]},
        field.ROD_TRUTH,
        rounds=1,
    )
    assert [step.way for step in steps] == [field.BOUNDARY, field.FINITE]
    assert all(abs(step.error) < 1e-3 for step in steps)


@pytest.mark.slow
def test_a_case_that_is_not_solved_is_skipped_with_its_reason(monkeypatch):
    pytest.importorskip("skfem")
    monkeypatch.setattr(fem_blocks, "MOST_STEPS", 2)
    monkeypatch.setattr(field, "rod_case", lambda quick: replace(field.cube_case(quick), name="rod"))

    def solved() -> tuple[float, int]:
        sum(range(100_000))  # a time that every clock can tell
        return 1.0, 10

    sphere = field.Case("sphere", 1.0, (solved,), (solved,), (1e-3,), 0.0)
    monkeypatch.setattr(field, "sphere_case", lambda height, quick: sphere)
    section = field.field_section(True)
    assert {row[0] for row in section.rows} == {goal.of for goal in section.goals} == {"sphere"}
    skipped = [note for note in section.notes if "skipped" in note]
    assert len(skipped) == 2
    assert all("did not converge in 2 steps" in note for note in skipped)
    assert "note: rod: skipped" in report_of(section).text()


def test_ratio_is_that_of_the_cheapest_step_within_the_accuracy():
    def made(way, *pairs):
        return tuple(Step(way, 1, seconds, 1.0, error) for seconds, error in pairs)

    lucky = made("a", (1.0, 1e-4), (2.0, 1e-2), (4.0, 1e-3), (8.0, -1e-4))
    assert cost_at(lucky, "a", 2e-3).seconds == 4.0, "a coarse step that is right by luck does not count"
    assert cost_at(lucky, "a", 1e-6) is None
    case = field.Case("case", 1.0, (), (), (2e-3,), 1.0)
    own, other = made(field.BOUNDARY, (1.0, 1e-3)), made(field.FINITE, (30.0, 1e-3))
    goal, notes = field.judged(case, own + other, 2e-3)
    assert goal.value == 30.0
    assert notes == []
    goal, notes = field.judged(case, own + made(field.FINITE, (5.0, 1e-2)), 2e-3)
    assert goal.value == 5.0
    assert "no step of the finite elements" in notes[0]
    goal, notes = field.judged(case, made(field.BOUNDARY, (1.0, 1e-1)) + other, 2e-3)
    assert not goal.met
    assert "no step of the boundary elements" in notes[0]


def test_added_capacitance_of_the_hand_settles_with_fineness():
    coarse, fine = field.added_by_panels(0.5)[0], field.added_by_panels(1.0)[0]
    assert 1e-12 < coarse < 3e-12
    assert_allclose(coarse, fine, rtol=2e-2, atol=0)


def test_power_law_finds_its_exponent_and_interval():
    sizes = np.array([1.0, 2.0, 4.0, 8.0, 16.0])
    law = growth.power_law(sizes, 3.0 * sizes**1.7)
    assert_allclose([law.exponent, law.low, law.high], 1.7, rtol=1e-9)
    noisy = growth.power_law(sizes, sizes**2 * np.array([1.1, 0.9, 1.05, 0.95, 1.0]))
    assert noisy.low < 2.0 < noisy.high
    # Student's interval against the library's own fit of a line
    from scipy.stats import linregress, t

    line = linregress(np.log(sizes), np.log(sizes**2 * np.array([1.1, 0.9, 1.05, 0.95, 1.0])))
    assert_allclose(noisy.high - noisy.exponent, t.ppf(0.975, 3) * line.stderr, rtol=1e-9)
    with pytest.raises(ValueError, match="one length"):
        growth.power_law([1.0, 2.0], [1.0, 2.0])


def test_work_of_every_kind_runs_at_its_smallest_size(monkeypatch):
    monkeypatch.setattr(growth, "open_loaded", lambda design: small_piece())
    for work in growth.works(quick=True):
        size, action = work.make(work.sizes[0])
        assert size > 0
        action()


def test_what_is_waited_for_is_run_as_a_program_and_held_to_its_goal(monkeypatch):
    """Libraries in 0.5 s, the commands in 1.2 s, the hand field in 4 s, said by a stopwatch of ours."""
    ran, times = [], iter([0.5, 1.2, 1.2, 1.2, 1.2, 1.2, 4.0])
    monkeypatch.setattr(waiting.subprocess, "run", lambda command, **_: ran.append(" ".join(command[1:])))
    monkeypatch.setattr(waiting, "hand_field", lambda scene: ran.append("field"))
    monkeypatch.setattr(waiting, "waited", lambda action, rounds: (action(), next(times))[1])
    section = waiting.waiting_section(True)
    assert ran[-1] == "field"
    assert ran.count("-m synth sheet willow -o sheet.html --force") == 2  # once before it is timed
    rows = {row["what"]: row for row in section.document()["rows"]}
    assert rows["tolerance willow --builds 10000"]["ratio"] == pytest.approx(2.4)
    assert [goal.met for goal in section.goals] == [True, False, False, True, False, False]


def test_peak_memory_sees_an_array():
    peak = benchmark_report.peak_memory(lambda: np.ones(1_000_000).sum())
    assert 7.9e6 < peak < 9e6


def test_oscillator_cases_are_known():
    assert set(oscillator.QUICK_CASES) <= set(oscillator.CIRCUITS)
    one = oscillator.Compared(1e5, 0.01, 0.001, 2.0, 0.1, 0.1)
    assert one.ratio == 200.0
    assert replace(one, balance=0.1).ratio == 20.0


@pytest.mark.slow
def test_a_circuit_whose_growth_waits_for_its_bias_is_integrated_until_it_settles():
    found = oscillator.compare(oscillator.CIRCUITS["heavy drive"], rounds=1)
    assert abs(found.ppm) < oscillator.MOST_PPM
    assert abs(found.percent) < oscillator.MOST_PERCENT
