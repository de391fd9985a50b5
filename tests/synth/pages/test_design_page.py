"""The page of a design in Chromium against the design's own field, voice and volume law."""

from __future__ import annotations

import base64
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from page_checks import CANVAS, CONTRAST, LEAST_CONTRAST, OVERLAPS
from page_sound import line, rendered
from small_instrument import ROD

from synth.build.workbench import OpenedDesign, assemble, open_design
from synth.cli import main
from synth.designs.design_file import load_design
from synth.designs.template import template_design
from synth.lessons.passage import SAMPLE_RATE
from synth.pages.design_page import design_page
from synth.pages.plain_data import even_shape, instrument_data
from synth.sound.voice import Voice
from synth.window.scale import ring_volume

SECONDS, SETTLED = 1.5, 0.5
HIGHEST, FAINTEST_DB = 18_000.0, -50.0


def diode_design():
    """The built-in design with a diode, which remembers."""
    design = template_design()
    return replace(design, detector=replace(design.detector, kind="diode", amplitude=1.0))


@pytest.fixture(scope="module")
def designs(demos):
    opened = {name: open_design(demos / f"{name}.toml") for name in ("heron", "meadow", "willow")}
    built_in = template_design()
    return {**opened, "lantern": OpenedDesign(built_in), "diode": OpenedDesign(diode_design())}


@pytest.fixture(scope="module")
def files(designs, tmp_path_factory):
    folder = tmp_path_factory.mktemp("designs")
    for name, opened in designs.items():
        (folder / f"{name}.html").write_text(design_page(opened), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in designs}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["heron", "meadow", "willow", "lantern", "diode"])
def test_the_page_sounds_as_the_design(chromium, designs, files, name):
    """At hands near and far: pitch within 1 cent of the field, each line up to 18 kHz within 0.5 dB of the voice."""
    opened, page = designs[name], chromium.page(files[name])
    instrument = opened.instrument
    checked = 0
    for distance in (0.03, 0.15, 0.8 * (opened.field.zero_beat_distance or 0.5)):
        beat = float(instrument.beat_frequency(distance))
        order = {"recipe": 0, "place": distance, "volume": 1.0}
        theirs = rendered(page, None, "play", order, SECONDS)[round(SETTLED * SAMPLE_RATE) :]
        voice = Voice(instrument, SAMPLE_RATE).render(distance, round(SECONDS * SAMPLE_RATE))
        ours = voice[round(SETTLED * SAMPLE_RATE) :]
        orders = range(1, int(min(HIGHEST / abs(beat), 40)) + 1)
        levels = {order: line(ours, order * abs(beat))[0] for order in orders}
        assert 1200.0 * abs(math.log2(line(theirs, abs(beat))[1] / abs(beat))) < 1.0
        for order, level in levels.items():
            if 20.0 * math.log10(level / max(levels.values())) < FAINTEST_DB:
                continue
            there, at = line(theirs, order * abs(beat))
            assert 1200.0 * abs(math.log2(at / (order * abs(beat)))) < 1.0, (distance, order)
            assert 20.0 * abs(math.log10(there / level)) < 0.5, (distance, order)
            checked += 1
    assert checked > (2 if name == "heron" else 6)
    assert page.complaints() == []
    page.close()


@pytest.mark.slow
def test_volume_field_and_lines_of_the_page(chromium, designs, files):
    """The volume law within 0.1 dB where it is loud; the figures and the predicted lines are those of the design."""
    page, opened = chromium.page(files["lantern"]), designs["lantern"]
    axis = ring_volume(opened.volume)
    for height in (0.05, 0.2, 0.5, 0.9):
        page.value(f"stations[0].hand({{height: {height}}})")
        assert page.value("stations[0].gain") == pytest.approx(axis.gain_at(height), rel=1e-2, abs=1e-3)
    page.value("stations[0].hand({distance: 0.15})")
    page.value("stations[0].draw()")
    instrument = opened.instrument
    shown = page.value("document.querySelector('[data-figure=added]').textContent")
    curve = instrument.curve
    assert float(shown.split()[0]) == pytest.approx(
        1e12 * float(curve.capacitance(0.15) - curve.empty_capacitance), abs=6e-4
    )
    beat = float(instrument.beat_frequency(0.15))
    lines = page.value("linesOf(DATA.recipes[0], 0.15)")
    ours = Voice(instrument, SAMPLE_RATE).render(0.15, 2 * SAMPLE_RATE)[SAMPLE_RATE // 2 :]
    for order in (2, 3, 4):
        ours_db, theirs_db = (
            20.0 * math.log10(each[1] / each[0])
            for each in (
                (line(ours, beat)[0], line(ours, order * beat)[0]),
                (lines[0][1], lines[order - 1][1]),
            )
        )
        assert theirs_db == pytest.approx(ours_db, abs=0.3)
        assert lines[order - 1][0] == pytest.approx(order * beat, rel=1e-5)
    page.close()


@pytest.mark.slow
def test_two_fingers_are_two_hands(chromium, files):
    page = chromium.page(files["lantern"], 1280, 900)
    page.value("document.querySelector('.strings').scrollIntoView({block: 'center'})")
    box = page.value(
        "(() => {const b = document.querySelector('.strings').getBoundingClientRect();"
        "return [b.x, b.y, b.width, b.height];})()"
    )

    def point(x, y):
        return {"x": box[0] + x * box[2], "y": box[1] + y * box[3]}

    tools = page.tools()
    for points in ([point(0.8, 0.5)], [point(0.8, 0.5), point(0.05, 0.25)]):
        fingers = [{**place, "id": number} for number, place in enumerate(points)]
        tools.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": fingers})
    distance, height = page.value("[stations[0].value, stations[0].height]")
    width = page.value("DATA.stations[0].width")
    assert distance == pytest.approx(width * 0.2 / 0.84, abs=0.005)
    assert height == pytest.approx(0.75, abs=0.02)
    tools.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert page.value("stations[0].here") is False
    page.close()


@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1280, 1920])
def test_it_can_be_read_at_every_width(chromium, files, width):
    page = chromium.page(files["lantern"], width, 900)
    assert page.value(OVERLAPS)[1] == []
    assert page.value(CANVAS)[1] == []
    assert page.value(CONTRAST) >= LEAST_CONTRAST
    assert page.requests() == [files["lantern"].as_uri()]
    page.close()


@pytest.mark.slow
def test_it_plays_after_the_caution_and_is_silent_without_a_hand(chromium, files):
    page = chromium.page(files["heron"], 1280, 900)
    page.click("#play .play")
    page.until("byId('caution-box').open")
    page.click("#caution-box button")
    page.until("engine.report && engine.report.state && engine.memory.count > 9600")
    page.value("stations[0].lifted({pointerId: 1})")
    page.until("Math.max(...engine.memory.last(1024).map(Math.abs)) < 1e-4")
    page.close()


@pytest.mark.slow
def test_the_command_writes_one_file(demos, tmp_path, capsys):
    target = tmp_path / "heron.html"
    assert main(["page", str(demos / "heron.toml"), "-o", str(target)]) == 0
    assert "sketch of the full program" in target.read_text(encoding="utf-8")
    assert main(["page", str(demos / "heron.toml"), "-o", str(target)]) == 2
    assert "--force" in capsys.readouterr().err
    assert main(["page", str(demos / "heron.toml"), "-o", str(tmp_path / "heron.txt")]) == 2
    assert main(["page", str(demos / "heron.toml"), "-o", str(target), "--force"]) == 0


def test_the_page_says_what_it_is(demos):
    page = design_page(assemble(load_design(demos / "heron.toml"), ROD))
    text = re.sub(r"\s+", " ", page)
    for words in ("sketch of the full program", "leaves out", "hum, noise, drift", "turn the volume right down"):
        assert words in text
    assert len(page.encode()) < 3_000_000
    assert not re.search(r"https?://|\bsrc=|@import|url\(", page)


def test_the_page_of_a_diode_says_that_its_picture_is_ideal():
    design = template_design()
    texts = [
        design_page(assemble(replace(design, detector=replace(design.detector, kind=kind)), ROD))
        for kind in ("diode", "product")
    ]
    assert ["an ideal rectifier is drawn" in text for text in texts] == [True, False]


def test_a_hostile_name_is_only_text():
    design = template_design()
    named = replace(design, about=replace(design.about, name="</script><b>x", description="</style>"))
    page = design_page(assemble(named, ROD))
    assert "<b>x" not in page
    assert page.count("</style>") == 1


def test_table_of_the_field_is_that_of_the_instrument():
    """Read as the page reads it, straight between points: less than a tenth of a cent off at 20 Hz and more."""
    instrument = assemble(template_design(), ROD).instrument
    table = instrument_data(instrument, 0.5, even_shape(instrument))["field"]
    points = np.frombuffer(base64.b64decode(table["points"]["f64"]), dtype="<f8")
    distances = np.geomspace(instrument.curve.nearest, instrument.curve.farthest, 777)
    read = np.interp(np.log(distances / table["nearest"]) / table["step"], np.arange(points.size), points)
    exact = np.asarray(instrument.offset_frequency(distances))
    loud = np.abs(exact) > 20.0
    assert loud.sum() > 300
    assert 1200.0 * np.abs(np.log2(read[loud] / exact[loud])).max() < 0.1
