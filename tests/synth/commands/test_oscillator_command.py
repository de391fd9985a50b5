"""`beatfield oscillator`: readings, text against JSON, transient, plot, and one message for what cannot be."""

from __future__ import annotations

import contextlib
import functools
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from slow_ones import slow_ones

from models.circuit.envelope import Outcome
from models.circuit.oscillator import pot_sweep, steady_state
from models.circuit.start_up import StartUp, start_up
from synth.analysis.oscillator import (
    OscillatorFigures,
    PreparedOscillator,
    oscillator_figures,
    prepared_oscillator,
    steady,
)
from synth.build.circuit_assembly import circuit_of
from synth.build.workbench import open_design
from synth.cli import main
from synth.designs.design_file import load_design
from synth.designs.template import template_text
from synth.report.oscillator import OSCILLATOR

DEMO = Path(__file__).parents[3] / "demos" / "willow.toml"


@pytest.fixture
def quick(tmp_path, monkeypatch) -> str:
    """The demo with small bias capacitors, so that the start-up is over in a millisecond, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    text = DEMO.read_text("utf-8").replace('"22 nF"', '"4.7 nF"')
    Path("quick.toml").write_text(text, "utf-8")
    return "quick.toml"


def printed(*arguments: str) -> str:
    """What the command prints."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["oscillator", *arguments]) == 0
    return out.getvalue()


def document(*arguments: str) -> dict:
    return json.loads(printed(*arguments, "--json"))


@functools.cache
def of_demo(*arguments: str) -> dict:
    """The document of the demo; asked for once, whatever the tests compare it with."""
    return document(str(DEMO), *arguments)


@pytest.mark.slow
def test_an_oscillator_with_a_kept_field_is_told_without_the_scientific_library():
    """Loading it would take a seventh of the time."""
    of_demo()  # keeps the field
    code = (
        f"import sys\nfrom synth.cli import main\nassert main(['oscillator', {str(DEMO)!r}]) == 0\n"
        "print(*sorted(name for name in sys.modules if name.split('.')[0] == 'scipy'), file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout
    assert "scipy" not in run.stderr


def refused(capsys, *arguments: str) -> str:
    assert main(["oscillator", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    lines = [line for line in said.err.splitlines() if line.startswith("beatfield: ")]
    assert len(lines) == 1
    return lines[0]


@pytest.mark.parametrize("which", ["reference", *slow_ones("variable")])
def test_text_says_what_json_says(which):
    figures = of_demo("--which", which)
    assert figures["schema"] == "beatfield.oscillator/1"
    text = printed(str(DEMO), "--which", which)
    lines = {line[:20].strip(): line[20:] for line in text.split("\n\n")[0].splitlines()}
    assert lines["frequency"] == f"{figures['frequency_hz'] / 1e3:.3f} kHz"
    assert f"{1e6 * figures['supply_current_a']:.4g} uA" in lines["supply"]
    assert f"{1e3 * figures['supply_power_w']:.4g} mW" in lines["supply"]
    assert lines["loop gain"].startswith(f"{figures['loop_gain_margin_db']:.1f} dB")
    assert lines["start-up"].startswith(f"{1e3 * figures['startup_s']:.3g} ms")
    assert figures["startup_by"] in lines["start-up"]
    assert f"{figures['probe_shift_hz']:+.0f} Hz" in lines["10 pF probe"]
    assert lines["board stray"] == figures["stray_explanation"]
    assert f"{1e3 * figures['load_ohm'] / 1e6:.4g} kohm" in lines["load"]
    points = {line.split()[0]: line for line in text.split("\n\n")[1].splitlines()[1:]}
    assert list(points) == ["supply", "wiper", "base", "emitter", "collector", "output"]
    for point in figures["test_points"]:
        line = points[point["name"]]
        assert f"{point['dc_v']:.3f} V" in line
        assert f"{point['frequency_hz'] / 1e3:.3f} kHz" in line
        assert point["thd"] is None or f"{100 * point['thd']:.2f} %" in line
    readings = "\n".join(text.split("\n\n")[2:5]).splitlines()
    for group in ("pot_readings", "trimmer_readings", "load_readings"):
        for reading in figures[group]:
            frequency = f"{reading['frequency_hz'] / 1e3:.3f} kHz"
            assert any(line.startswith(f"  {reading['name']}") and frequency in line for line in readings)
    assert (figures["antenna_f"] is None) == (which == "reference")


def test_readings_are_those_of_the_circuit():
    figures = of_demo("--which", "reference")
    again = of_demo()
    assert figures == again, "the reference is the default"
    design = load_design(DEMO)
    circuit = circuit_of(design, "reference")
    trimmers = {reading["name"]: reading for reading in figures["trimmer_readings"]}
    middle = steady_state(circuit)
    assert trimmers["mid"]["frequency_hz"] == pytest.approx(middle.frequency, rel=1e-6)
    assert trimmers["low"]["frequency_hz"] > middle.frequency > trimmers["high"]["frequency_hz"]
    tuned = circuit.with_trimmer(figures["trimmer"])
    _, swept = pot_sweep(tuned, (0.0, 0.5, 1.0))
    expected = [state.frequency - swept[1].frequency for state in swept]
    assert [reading["shift_hz"] for reading in figures["pot_readings"]] == pytest.approx(expected, abs=0.05)
    loaded, unloaded = steady_state(tuned), steady_state(replace(tuned, load=None))
    loads = {reading["name"]: reading for reading in figures["load_readings"]}
    shift = loads["as designed"]["frequency_hz"] - loads["none"]["frequency_hz"]
    assert shift == pytest.approx(loaded.frequency - unloaded.frequency, abs=0.05)
    collector = next(point for point in figures["test_points"] if point["name"] == "collector")
    assert collector["peak_to_peak_v"] == pytest.approx(loads["as designed"]["hot_end_pp_v"], rel=1e-6)
    assert figures["supply_power_w"] == pytest.approx(12.0 * figures["supply_current_a"], rel=1e-9)


def test_both_oscillators_are_at_zero_beat():
    frequencies = [of_demo("--which", which)["frequency_hz"] for which in ("reference", "variable")]
    assert frequencies[0] == pytest.approx(frequencies[1], abs=0.01)


@pytest.mark.slow
def test_pot_and_load_are_turned():
    plain = of_demo()
    turned = of_demo("--pot", "1")
    assert turned["pot"] == 1.0
    assert turned["frequency_hz"] == pytest.approx(plain["pot_readings"][2]["frequency_hz"], rel=1e-6)
    bare = of_demo("--load", "none")
    assert bare["load_ohm"] is None
    assert bare["frequency_hz"] == pytest.approx(plain["load_readings"][0]["frequency_hz"], rel=1e-6)
    heavy = of_demo("--load", "1k")
    assert heavy["load_ohm"] == 1000.0
    assert [reading["name"] for reading in heavy["load_readings"]] == ["none", "as designed", "as asked"]
    outputs = [reading["output_pp_v"] for reading in heavy["load_readings"]]
    assert outputs[0] > outputs[1] > outputs[2]


@pytest.mark.slow
def test_start_up_is_written_drawn_and_read(quick, capsys):
    figures = document(quick, "--transient", "start.csv", "--plot", "start.png")
    assert "envelope" in figures["startup_by"]
    assert figures["starts"] == "by itself"
    lines = Path("start.csv").read_text("utf-8").splitlines()
    assert lines[0] == "time_s,collector_v,emitter_v,base_v,supply_v,output_v"
    rows = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    assert (rows[0] == 0.0).all()
    assert (np.diff(rows[:, 0]) > 0.0).all()
    end = rows[-64:]  # four cycles, in which the means hardly move
    points = {point["name"]: point for point in figures["test_points"]}
    assert np.ptp(end[:, 1]) == pytest.approx(points["collector"]["peak_to_peak_v"], rel=0.03)
    assert np.ptp(end[:, 5]) == pytest.approx(points["output"]["peak_to_peak_v"], rel=0.03)
    assert end[:, 1].mean() == pytest.approx(points["collector"]["dc_v"], rel=0.01)
    early = rows[rows[:, 0] < 0.2 * figures["startup_s"]]
    drift = np.ptp(early[-16:, 1] - early[-16:, 4])
    assert drift < 0.1 * points["collector"]["peak_to_peak_v"]
    before = rows[rows[:, 0] < figures["startup_s"]][-16:, 1]
    assert np.ptp(before) == pytest.approx(0.9 * points["collector"]["peak_to_peak_v"], rel=0.05)
    assert Path("start.png").read_bytes().startswith(b"\x89PNG")
    assert "--force" in refused(capsys, quick, "--transient", "start.csv")


@pytest.mark.slow
@pytest.mark.parametrize("which", ["reference", "variable", "volume"])
def test_a_design_without_circuit_is_a_resonance(tmp_path, capsys, which):
    """No transistor is made up: the frequency is that of the instrument, and the head says what is not known."""
    path = tmp_path / "plain.toml"
    path.write_text(template_text(), "utf-8")
    assert main(["oscillator", str(path), "--which", which, "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    opened = open_design(path)
    tuned = {
        "reference": opened.instrument.reference_frequency,
        "variable": float(opened.instrument.frequency_with(opened.tuning_capacitance)),
    }
    assert figures["frequency_hz"] == pytest.approx(tuned.get(which, figures["frequency_hz"]), rel=1e-12)
    parts = figures["capacitor_f"] + figures["trimmer_f"] + figures["beside_f"]
    assert parts == pytest.approx(figures["tank_f"], rel=1e-12, abs=0.0)
    assert (figures["antenna_f"] is None) == (which == "reference")
    assert main(["oscillator", str(path), "--which", which]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Lantern has no [circuit]")
    assert f"{figures['frequency_hz'] / 1e3:.3f} kHz" in said
    assert "gain" not in said
    assert "has no [circuit]" in refused(capsys, str(path), "--which", which, "--plot", str(tmp_path / "x.png"))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--pot", "1.5"), r"--pot 1\.5: must be between 0 and 1"),
        (("--pot", "loud"), "--pot loud"),
        (("--pot", "nan"), "--pot nan"),
        (("--load", "0"), "--load 0"),
        (("--load", "-1k"), "--load -1k"),
        (("--load", "5 pF"), "--load 5 pF"),
        (("--which", "volume"), r"has no volume oscillator; add \[volume_antenna\]"),
        (("--plot", "x.gif"), "name the plot .png or .svg"),
    ],
)
def test_bad_requests_are_refused(arguments, message, capsys):
    joined = [f"{arguments[0]}={arguments[1]}"]
    assert re.search(message, refused(capsys, str(DEMO), *joined))


@pytest.mark.parametrize(
    ("old", "new", "which", "message"),
    [
        ("quality_factor = 80\n", "quality_factor = 2\n", "reference", r"the reference oscillator .*does not start"),
        *slow_ones(
            (
                'emitter_resistor = "220 kohm"',
                'emitter_resistor = "10 Mohm"',
                "variable",
                r"the variable oscillator .*does not start: the transconductance",
            ),
            ('"12 V"', '"500 mV"', "reference", r"does not start: the bias leaves the transistor without current"),
        ),
        ('"12 V"', '"0 V"', "reference", r"circuit\.supply_voltage = '0 V'"),
        ('feedback_capacitor = "100 pF"', 'feedback_capacitor = "-100 pF"', "reference", "feedback_capacitor"),
        ('wiper_capacitor = "22 nF"', 'wiper_capacitor = "0 F"', "reference", "wiper_capacitor"),
    ],
)
def test_what_cannot_swing_is_refused(old, new, which, message, tmp_path, capsys):
    text = DEMO.read_text("utf-8")
    assert old in text
    path = tmp_path / "bad.toml"
    path.write_text(text.replace(old, new), "utf-8")
    assert re.search(message, refused(capsys, str(path), "--which", which))


@pytest.mark.slow
def test_a_pot_that_stops_it_is_remarked(tmp_path):
    path = tmp_path / "weak.toml"
    text = DEMO.read_text("utf-8").replace('lower_resistor = "33 kohm"', 'lower_resistor = "100 ohm"')
    path.write_text(text, "utf-8")
    prepared = prepared_oscillator(load_design(path), "reference", pot=1.0)
    figures = oscillator_figures(prepared, steady(prepared), start_up(prepared.circuit))
    low = figures.pot_readings[0]
    assert low.frequency_hz is None
    assert "does not start" in low.remark
    assert "does not start" in OSCILLATOR.text(figures)


@pytest.mark.parametrize("option", ["--plot", "--transient"])
def test_an_existing_target_is_refused_before_anything_is_computed(demos, tmp_path, monkeypatch, capsys, option):
    target = tmp_path / "a.svg"
    target.write_text("a person's")

    def not_yet(*_: object, **__: object) -> None:
        raise AssertionError("computed before the target was checked")

    monkeypatch.setattr("synth.analysis.oscillator.steady", not_yet)
    assert main(["oscillator", str(demos / "willow.toml"), option, str(target)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert target.read_text() == "a person's"


def test_a_pot_that_is_no_number_is_told_in_plain_words(demos, capsys):
    assert main(["oscillator", str(demos / "willow.toml"), "--pot", "nan"]) == 2
    assert capsys.readouterr().err == "beatfield: --pot nan: is not a plain number; write for example '0.5'\n"


@pytest.fixture(scope="module")
def demo() -> PreparedOscillator:
    return prepared_oscillator(load_design(DEMO), "reference")


@pytest.fixture(scope="module")
def settled(demo) -> StartUp:
    return start_up(demo.circuit)


@pytest.fixture
def switched_on(demo) -> Callable[[StartUp], OscillatorFigures]:
    """The figures of the demo, were this its start."""

    def figures(run: StartUp) -> OscillatorFigures:
        return oscillator_figures(demo, steady(demo), run)

    return figures


@pytest.mark.parametrize(
    ("outcome", "found_by", "said"),
    [
        (Outcome.SQUEGS, "envelope", "comes in bursts"),
        *slow_ones((Outcome.DIES, "envelope", "dies away"), (Outcome.UNDECIDED, "not known", "its time is not known")),
    ],
)
def test_a_start_that_does_not_settle_is_told(outcome, found_by, said, settled, switched_on):
    early = tuple(point for point in settled.points if point.time < 0.7 * settled.started)
    figures = switched_on(replace(settled, outcome=outcome, state=None, points=early))
    assert found_by in figures.startup_by
    assert figures.startup_s is None
    assert said in " ".join(figures.notices)


def test_a_start_that_was_given_up_near_its_end_is_told(settled, switched_on):
    figures = switched_on(replace(settled, outcome=Outcome.UNDECIDED, state=None))
    assert figures.startup_s == pytest.approx(settled.started, rel=1e-4)
    assert not any("switched on" in notice or "not known" in notice for notice in figures.notices)


def test_an_end_with_few_harmonics_is_that_of_many(settled, switched_on):
    """An envelope ends with few harmonics: by what they leave out of the frequency it is no other oscillation."""
    end = settled.state
    few = {"spectra": end.spectra[:, :5], "port_coefficients": end.port_coefficients[:, :5]}
    figures = switched_on(replace(settled, state=replace(end, frequency=end.frequency * (1.0 + 3e-5), **few)))
    assert figures.startup_s == pytest.approx(settled.started, rel=1e-4)
    assert not any("instead" in notice for notice in figures.notices)


@pytest.mark.slow
def test_a_start_that_settles_elsewhere_is_told(switched_on):
    figures = switched_on(start_up(circuit_of(load_design(DEMO), "reference").with_trimmer(0.0)))
    assert figures.startup_s is None
    assert "settles at 270.145 kHz instead" in " ".join(figures.notices)


@pytest.mark.slow
def test_an_antenna_at_a_tap_is_told_as_it_is(tmp_path, capsys):
    """The whole coil sees a quarter of it through a tap in its middle; on the rod stands what the field has."""
    text = DEMO.read_text("utf-8")
    assert text.count('inductance = "20 mH"') == 1
    path = tmp_path / "tapped.toml"
    tapped = text.replace('inductance = "20 mH"', 'inductance = "4 mH"').replace("[branch]", "tap = 0.5\n\n[branch]")
    path.write_text(tapped, "utf-8")
    assert main(["oscillator", str(path), "--which", "variable", "--hand", "away", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["antenna_f"]
    piece = open_design(DEMO)
    assert told == pytest.approx(piece.curve.empty_capacitance + piece.design.antenna.stray, rel=1e-6, abs=0.0)


SQUEGGING = {
    'feed_resistor = "4.7 kohm"': 'feed_resistor = "1 Mohm"',
    'base_capacitor = "22 nF"': 'base_capacitor = "10 nF"',
    'emitter_resistor = "220 kohm"': 'emitter_resistor = "4.7 kohm"',
    'feedback_capacitor = "100 pF"': 'feedback_capacitor = "470 pF"',
    'emitter_capacitor = "2.2 nF"': 'emitter_capacitor = "4.7 nF"',
}


@pytest.mark.slow
def test_one_that_squegs_is_shown_and_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    # both forms are asked for: its bursts are integrated in time once
    monkeypatch.setattr("synth.analysis.oscillator.start_up", functools.cache(start_up))
    text = DEMO.read_text("utf-8") + "\n[transistor]\nforward_gain = 20\n"
    for old, new in SQUEGGING.items():
        assert old in text
        text = text.replace(old, new)
    Path("bursts.toml").write_text(text, "utf-8")
    assert main(["oscillator", "bursts.toml", "--pot", "0", "--json", "--plot", "bursts.png"]) == 2
    said = capsys.readouterr()
    figures = json.loads(said.out)
    assert figures["schema"] == "beatfield.unsteady_oscillator/1"
    assert not figures["steady"]
    assert figures["motion"] == "squegs"
    assert 0.5e-3 < figures["burst_period_s"] < 10e-3
    assert figures["burst_depth"] > 0.99
    tank = next(one for one in figures["ranges"] if one["name"] == "tank")
    assert tank["highest_peak_to_peak_v"] > 20.0
    assert "does not settle: it squegs" in said.err
    assert Path("bursts.png").read_bytes().startswith(b"\x89PNG")
    assert main(["oscillator", "bursts.toml", "--pot", "0"]) == 2
    assert f"one every {1e3 * figures['burst_period_s']:.3g} ms" in capsys.readouterr().out
    pot = Path("bursts.toml").read_text("utf-8").replace("reference_pot = 0.5", "reference_pot = 0")
    Path("bursts.toml").write_text(pot.replace("variable_pot = 0.5", "variable_pot = 0"), "utf-8")
    for command in (
        ["field", "bursts.toml"],
        ["render", "bursts.toml", "--gesture", "still", "--output", "bursts.wav"],
    ):
        assert main(command) == 2
        assert "not steady" in capsys.readouterr().err


HARD_START = {
    'feedback_capacitor = "100 pF"': 'feedback_capacitor = "150 pF"',
    'emitter_capacitor = "2.2 nF"': 'emitter_capacitor = "1.5 nF"',
    'lower_resistor = "33 kohm"': 'lower_resistor = "10 kohm"',
}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("resistor", "said"),
    [("2.2 kohm", "by itself"), ("600 ohm", "when switched on quickly; would not start again by itself")],
)
def test_one_that_needs_the_switching_on_is_told(resistor, said, tmp_path, capsys):
    text = DEMO.read_text("utf-8").replace('emitter_resistor = "220 kohm"', f'emitter_resistor = "{resistor}"')
    for old, new in HARD_START.items():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "hard.toml"
    path.write_text(text, "utf-8")
    figures = document(str(path))
    assert figures["starts"] == said
    assert (figures["growth_rate_per_s"] > 0.0) == (said == "by itself")
    assert figures["startup_s"] is not None
