"""`beatfield linearise` as a person meets it, with a search small enough for a test."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from models.preferred_values import values_in_range
from models.straight import plan
from models.straight.evenness import Tolerances
from models.straight.search import MARGIN, Effort, Place
from models.straight.shelf import Shelf
from synth.analysis.linearise import Wishes, improve, reference_section, reference_text
from synth.analysis.linearise_figures import linearise_figures
from synth.build.workbench import OpenedDesign, open_design, open_loaded
from synth.cli import main
from synth.designs.design_file import design_text
from synth.errors import EXIT_INTERRUPTED, DesignError
from synth.report.linearise import LINEARISE


def small_effort(*places: Place) -> Effort:
    """A search of few places (2 chokes, lower mode) and few candidates."""
    return Effort(300, 50, 4, 6, 1, 20, 3, 40, places or (Place(2, "low"),), ((0.5,), (300e3,)))


def small_wishes(*places: Place, series: str = "E24") -> Wishes:
    return Wishes(65.0, 1047.0, 0.05, 0.5, shelf=Shelf(series), effort=small_effort(*places))


@pytest.fixture
def small(demos, tmp_path, monkeypatch) -> str:
    """A design, the current folder empty, the search small."""
    monkeypatch.setattr("synth.analysis.linearise.EFFORT", small_effort())
    monkeypatch.chdir(tmp_path)
    return str(demos / "meadow.toml")


@pytest.fixture(scope="module")
def report(demos):
    """One small search in E12, shared."""
    wishes = small_wishes(series="E12")
    outcome = improve(open_design(demos / "meadow.toml"), wishes, "robust", lambda share: None)
    return linearise_figures(outcome)


@pytest.mark.slow
def test_everything_at_once_says_the_same(small, capsys):
    files = {
        "-o": "better.toml",
        "--csv": "field.csv",
        "--plot": "plot.svg",
        "--wav": "both.wav",
        "--wav-before": "before.wav",
        "--wav-after": "after.wav",
    }
    arguments = ["linearise", small, "--gesture", "still", "--json"] + [word for pair in files.items() for word in pair]
    assert main(arguments) == 0
    said = capsys.readouterr()
    document = json.loads(said.out)
    assert document["schema"] == "beatfield.linearise/1"
    assert sorted(path.name for path in Path().iterdir()) == sorted(files.values())
    assert document["after"]["rms_cents"] < document["before"]["rms_cents"]
    # the written design is the one told of: opened again by itself it has the same field
    piece = open_design(Path("better.toml"))
    assert piece.field.linearity_error_between(65.0, 1047.0) == pytest.approx(document["after"]["rms_cents"], rel=1e-9)
    assert piece.field.zero_beat_distance == pytest.approx(document["after"]["zero_beat_m"], rel=1e-9)
    assert document["after"]["rms_cents"] == pytest.approx(document["chosen"]["preferred_cents"], abs=0.5)
    assert not any("cannot reach" in notice for notice in piece.notices)
    # the CSV's columns are those two fields
    rows = list(csv.DictReader(io.StringIO(Path("field.csv").read_text("utf-8"))))
    for row in rows[40:140:20]:
        if row["after_note_number"]:
            note = 69.0 + 12.0 * np.log2(float(piece.field.frequency_at(float(row["distance_m"]))) / 440.0)
            assert float(row["after_note_number"]) == pytest.approx(note, abs=1e-6)
    assert "<svg" in Path("plot.svg").read_text("utf-8")
    before, after, both = (soundfile.read(name)[0] for name in ("before.wav", "after.wav", "both.wav"))
    assert before.size == after.size
    assert both.size > before.size + after.size
    assert 20.0 * np.log10(np.std(before) / np.std(after)) == pytest.approx(0.0, abs=0.2)
    # a second time: nothing is overwritten, and it is said before the search
    assert main(arguments) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.slow
def test_a_tapped_design_is_written_and_plays(demos, tmp_path):
    """A chain at a tap of the coil: the design file says so, and opened by itself it has the field that was told."""
    wishes = small_wishes(Place(2, "high", 0.5))
    outcome = improve(open_design(demos / "meadow.toml"), wishes, "nominal", lambda share: None)
    path = tmp_path / "tapped.toml"
    path.write_text(design_text(outcome.after.design), encoding="utf-8")
    piece = open_design(path)
    assert piece.design.variable.tap == 0.5
    assert "tap" in path.read_text(encoding="utf-8")
    assert "tapped at 50 %" in linearise_figures(outcome).parts
    told = outcome.chosen.point
    assert piece.field.linearity_error_between(65.0, 1047.0) == pytest.approx(told.rms_cents, abs=0.5)
    assert piece.field.zero_beat_distance == pytest.approx(told.zero_beat, abs=1e-3)
    assert piece.instrument.reference_frequency == pytest.approx(told.carrier, rel=1e-3)


@pytest.mark.slow
def test_a_circuit_is_judged_by_its_own_law(demos):
    """Beside the lossless figure stands that of the solved circuit, which is the written design's own."""
    wishes = small_wishes(Place(2, "high"))
    outcome = improve(open_design(demos / "willow.toml"), wishes, "nominal", lambda share: None)
    made = linearise_figures(outcome)
    rows = {row.label: row for row in made.solved}
    assert rows["before"].circuit_cents == pytest.approx(made.before.rms_cents)
    written = rows["written"]
    final = written.circuit_cents if written.polished_cents is None else written.polished_cents
    assert final == pytest.approx(made.after.rms_cents, rel=1e-9)
    assert written.circuit_cents != written.lossless_cents
    assert written.circuit_cents == pytest.approx(written.lossless_cents, abs=6.0)
    said = LINEARISE.text(made)
    assert "Solved as circuits" in said
    assert f"{written.circuit_cents:.1f}" in said
    assert LINEARISE.document(made)["solved"][0]["label"] == "before"


def test_bounds_are_told(report):
    bounds, said = report.bounds, LINEARISE.text(report)
    assert (bounds.lowest_carrier_hz, bounds.highest_carrier_hz) == (30e3, 300e3)
    assert bounds.least_tank_f == pytest.approx(30.0 * 0.2 * 25e-12, rel=1e-9, abs=0.0)  # 30 x the stray's spread
    assert report.after.carrier_hz < 300e3 * 1.001
    assert "Held to carriers of 30 to 300 kHz and a tank of at least 150 pF" in said
    assert f"the other needs {MARGIN:g} times its conductance" in said
    assert f"{bounds.without_cents:.1f} cents" in said.replace("\n", " ")
    assert bounds.without_cents <= bounds.within_cents + 1.0


def test_text_has_the_figures_of_the_document(report):
    document, said = LINEARISE.document(report), LINEARISE.text(report)
    for figures in (document["before"], document["after"]):
        assert f"{figures['rms_cents']:.1f}" in said
        assert f"{100 * figures['zero_beat_m']:.1f} cm" in said
    for name in ("ideal_cents", "real_chokes_cents", "preferred_cents", "lossy_cents", "builds_mean_cents"):
        assert f"{document['chosen'][name]:.1f}" in said
    for point in document["front"]:
        assert f"{point['rms_cents']:.1f}" in said
    assert document["parts"] in said
    json.dumps(document, allow_nan=False)


@pytest.mark.slow
def test_parts_at_hand_are_used_and_what_is_to_stay_stays(small, capsys):
    """Two chokes of 8.2 mH; meadow keeps its own coils: the design written is a chain of those."""
    kept = ["--keep", "variable.inductance,reference.inductance"]
    assert main(["linearise", small, "--own", "2x 8.2 mH, 1x 22mH", *kept, "-o", "own.toml", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    design = open_design(Path("own.toml")).design
    assert design.branch is not None
    assert (design.branch.chokes, design.branch.inductance) == (2.0, pytest.approx(16.4e-3))
    assert design.branch.joint_stray == pytest.approx(0.5e-12, abs=0.0)
    assert design.variable.inductance == design.reference.inductance == 1e-3
    assert document["chosen"]["choke_h"] == pytest.approx(8.2e-3, rel=1e-12)
    corners = document["corners"]
    assert corners[0]["name"] == "as designed"
    assert corners[0]["rms_cents"] == pytest.approx(document["after"]["rms_cents"], rel=1e-9)


def test_values_are_preferred_ones(report):
    published = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10.0)  # IEC 60063, E12
    for value in (report.chosen.choke_h, report.chosen.tank_h, report.chosen.capacitor_f):
        assert np.isclose(value / 10.0 ** np.floor(np.log10(value)), published, rtol=1e-9).any(), value


@pytest.mark.slow
def test_a_circuit_that_refuses_is_passed_over(demos, monkeypatch):
    """The next best place is taken where the best cannot be assembled, and it is said."""
    tried = []

    def picky(design):
        tried.append(design)
        if len(tried) == 1:
            raise DesignError("does not swing")
        return open_loaded(design)

    monkeypatch.setattr("synth.analysis.linearise.open_loaded", picky)
    wishes = small_wishes(Place(1, "low"), Place(2, "low"))
    outcome = improve(open_design(demos / "meadow.toml"), wishes, "nominal", lambda share: None)
    assert len(tried) == 2
    assert outcome.after.design == tried[1]
    assert "does not swing" in outcome.refused[0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--range", "65"], ["--range 65", "colon"]),
        (["--range", "65:1047"], ["--range 65", "no unit"]),
        (["--reach", "50cm:5cm"], ["--reach", "below the second"]),
        (["--reach", "0.5cm:50cm"], ["--reach", "1.0 cm"]),
        (["--reach", "5cm:79cm"], ["--reach", "body"]),
        (["--series", "E13"], ["E13", "E24"]),
        (["--own", "four 10 mH"], ["--own", "how many"]),
        (["--own", "4x 10 uF"], ["--own", "10 uF"]),
        (["--own-coils", "10 H"], ["--own-coils", "10 mH"]),
        (["--keep", "variable.inductence"], ["--keep", "variable.inductance"]),
        (["--seed", "-1"], ["--seed"]),
        (["--fill", "120 %"], ["--fill"]),
        (["--choke-capacitance", "0 pF"], ["--choke-capacitance"]),
        (["--carrier", "1kHz:300kHz"], ["--carrier", "10 kHz"]),
        (["--stray-multiple", "-1"], ["--stray-multiple"]),
        (["--plot", "a.bmp"], ["a.bmp", ".png"]),
        (["--wav", "a.mp3"], ["a.mp3", ".wav"]),
        (["--wav", "a.wav", "--wav-after", "a.wav"], ["a.wav", "twice"]),
        (["-o", "no/where.toml"], ["folder"]),
        (["--gesture", "swoop"], ["swoop", "sweep"]),
    ],
)
def test_bad_usage_is_one_message_and_leaves_nothing(small, refused, arguments, words):
    refused(["linearise", small, *arguments], words)


def test_a_goal_out_of_the_question_is_said(small, capsys):
    assert main(["linearise", small, "--range", "20Hz:19kHz", "--reach", "40cm:50cm", "--fill", "95 %"]) == 2
    assert "allow fewer notes" in capsys.readouterr().err


@pytest.mark.slow
def test_a_stray_of_nanofarads_is_one_message(small, capsys):
    """The tank it asks for is beyond any that the search knows: told with the section that asks for it."""
    text = Path(small).read_text("utf-8").replace('stray = "25 pF"', 'stray = "9.9 nF"')
    Path("stray.toml").write_text(text, "utf-8")
    assert main(["linearise", "stray.toml"]) == 2
    said = capsys.readouterr().err
    assert "a tank of 59.4 nF or more, as [variable] asks with its stray" in said
    assert "Traceback" not in said


def test_interrupt_leaves_nothing(small, monkeypatch):
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("os.cpu_count", lambda: 1)  # a second process does not hear of Ctrl-C
    monkeypatch.setattr("models.straight.plan.buyable", interrupted)
    assert main(["linearise", small, "-o", "a.toml", "--plot", "a.png", "--wav", "a.wav"]) == 130
    assert list(Path().iterdir()) == []


def test_tolerances_are_checked():
    with pytest.raises(ValueError, match="coil must be between 0 and 1"):
        Tolerances(coil=-0.1)


@pytest.mark.soak  # a minute; the small searches above better the same demo
def test_whole_search_betters_a_demo(demos, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["linearise", str(demos / "meadow.toml"), "-o", "better.toml", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["after"]["rms_cents"] < min(25.0, document["before"]["rms_cents"])
    assert document["after"]["builds_mean_cents"] < 30.0
    assert document["bounds"]["without_cents"] < 25.0
    assert len(document["front"]) >= 3


def test_reference_takes_two_capacitors_where_its_trimmer_is_too_small_for_one(demos):
    design = open_design(demos / "puddle.toml").design  # its trimmer spans 7 pF, E24 has nothing from 130 to 150 pF
    section = reference_section(OpenedDesign(design), 3.6e-3, 205.69e3, Shelf())
    lowest, highest = OpenedDesign(replace(design, reference=section)).tanks["reference"].trimmer_range()
    assert lowest < 205.69e3 < highest
    assert "130 pF with 4.7 pF in parallel" in reference_text(section.capacitance, Shelf())
    wide = replace(design, reference=replace(design.reference, trimmer_maximum=60e-12))
    single = reference_section(OpenedDesign(wide), 3.6e-3, 205.69e3, Shelf())
    assert single.capacitance in values_in_range("E24", 1e-12, 1e-9)
    assert reference_text(single.capacitance, Shelf()) == ""


@pytest.mark.slow
def test_interrupted_search_leaves_what_it_found(small, capsys, monkeypatch):
    monkeypatch.setattr("synth.analysis.linearise.EFFORT", small_effort(Place(2, "low"), Place(1, "low")))
    buy = plan.buyable

    def cut_at_the_second(search, ideal, tank, shelf):
        if ideal.place.chokes == 1:
            raise KeyboardInterrupt
        return buy(search, ideal, tank, shelf)

    monkeypatch.setattr("os.cpu_count", lambda: 1)  # a second process does not hear of Ctrl-C
    monkeypatch.setattr(plan, "buyable", cut_at_the_second)
    assert main(["linearise", small, "-o", "better.toml", "--json"]) == EXIT_INTERRUPTED
    document = json.loads(capsys.readouterr().out)
    assert document["interrupted"]
    assert [row["place"] for row in document["places"]] == ["2 chokes in series, lower mode"]
    assert document["front"] == []
    assert "not searched: one choke, lower mode" in document["notices"][0]
    assert open_design(Path("better.toml")).design.branch is not None
    monkeypatch.setattr("synth.analysis.linearise.EFFORT", small_effort(Place(1, "low")))
    assert main(["linearise", small, "-o", "none.toml"]) == EXIT_INTERRUPTED
    assert not Path("none.toml").exists()
