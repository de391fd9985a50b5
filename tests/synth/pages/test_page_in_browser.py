"""A page at work in Chromium: sound after a click, sliders, keyboard, names, contrast, no overlaps, nothing fetched."""

from __future__ import annotations

import subprocess
import time

import pytest
from page_checks import CANVAS, CONTRAST, LEAST_CONTRAST, OVERLAPS

from synth.lessons.table import LESSONS

pytestmark = pytest.mark.slow
WIDTHS = (390, 1280, 1920)  # of a phone, a laptop and a projector


@pytest.mark.parametrize("name", LESSONS)
def test_nothing_overlaps_and_all_can_be_read(chromium, pages, name):
    page = chromium.page(pages[name], 1280, 900)
    for width in WIDTHS:
        page.resize(width, 900)
        page.value("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        for opened in ("false", "true"):
            page.value(f"document.querySelectorAll('details').forEach((each) => {{each.open = {opened};}})")
            count, found = page.value(OVERLAPS)
            assert count > 40
            assert not found, (width, found[:4])
        count, found = page.value(CANVAS)
        assert count > 50
        assert not found, (width, found[:6])
    assert page.value(CONTRAST) >= LEAST_CONTRAST
    assert page.complaints() == []
    assert page.requests() == [pages[name].as_uri()]
    page.close()


def test_the_checks_see_what_is_wrong(chromium, pages):
    """A text laid over another, one too pale, and a request are found."""
    page = chromium.page(pages["beats"], 1280, 900)
    page.value("document.querySelector('.station h2').style.marginBottom = '-2rem'")
    assert page.value(OVERLAPS)[1]
    page.value("document.querySelector('.station h2').style.color = '#bbb'")
    assert page.value(CONTRAST) < LEAST_CONTRAST
    page.value("new Image().src = 'https://example.invalid/a.png'")
    page.until("true")
    assert len(page.requests()) + len(page.complaints()) > 1
    page.close()


def test_a_click_plays_after_the_caution(chromium, pages):
    page = chromium.page(pages["slide"], 1280, 900)
    assert page.value("engine.context === undefined")
    page.click("#bent .play")
    page.until("byId('caution-box').open")
    assert page.value("engine.context === undefined")
    page.click("#caution-box button")
    page.until("engine.context && engine.context.state === 'running' && engine.memory.count > 24000")
    first = page.value("[engine.context.currentTime, stations[1].stageTime, stations[1].picture.time]")
    time.sleep(0.3)
    later = page.value("[engine.context.currentTime, stations[1].stageTime, stations[1].picture.time]")
    assert all(after > before for before, after in zip(first, later, strict=True))
    assert 1e-3 < page.value("Math.max(...engine.memory.last(4800).map(Math.abs))") < 0.21
    assert page.value("engine.gain.gain.value") == pytest.approx(0.1, abs=0.02)
    assert page.value("byId('bent').querySelector('.play').getAttribute('aria-pressed')") == "true"
    page.click("#slide .play")  # another begins, the first ends
    page.until("stations[3].playing && !stations[1].playing")
    page.click("#stop")
    page.until("stations.every((station) => !station.playing)")
    assert page.complaints() == []
    page.close()


def test_it_plays_where_the_audio_thread_is_refused(chromium, pages):
    page = chromium.page(pages["beats"], 1280, 900)
    page.value("void (AudioWorklet.prototype.addModule = () => Promise.reject(new Error('refused')))")
    page.value("void (cautioned = () => Promise.resolve(true))")
    page.click("#four-beats .play")
    page.until("engine.node instanceof ScriptProcessorNode && engine.memory.count > 24000")
    assert 0.01 < page.value("Math.max(...engine.memory.last(12000).map(Math.abs))") < 0.21
    page.until("engine.report.state && engine.report.state.time > 0.3")
    page.value("engine.stop()")
    page.close()


def test_sliders_change_sound_and_picture(chromium, pages):
    page = chromium.page(pages["hand"], 1280, 900)
    page.value("void (cautioned = () => Promise.resolve(true))")
    page.click("#try-capacitor .play")
    page.until("engine.report && engine.report.state && engine.memory.count > 9600")
    station = "stations.find((each) => each.part.id === 'try-capacitor')"
    before = page.value(f"[engine.report.state.beat, {station}.picture.canvas.toDataURL().length]")
    shown = page.value("byId('try-capacitor').querySelector('[data-figure=note]').textContent")
    page.value("(() => {const s = byId('try-capacitor-place'); s.value = 900; s.dispatchEvent(new Event('input'));})()")
    page.until(f"engine.report.state && engine.report.state.beat > {before[0]} + 100")
    page.until(f"byId('try-capacitor').querySelector('[data-figure=note]').textContent !== {shown!r}")
    words = "byId('try-capacitor').querySelector('.slowed').textContent"
    slow = page.value(words)
    page.value(
        "(() => {const s = document.querySelector('#try-capacitor .slowing'); s.value = 990;"
        "s.dispatchEvent(new Event('input'));})()"
    )
    assert page.value(words) != slow
    page.value("document.querySelectorAll('#try-capacitor input[type=radio]')[1].click()")
    page.until(f"{station}.sound.recipe === 1 && engine.report.state")
    page.close()


def test_keyboard_and_names(chromium, pages):
    page = chromium.page(pages["beats"], 1280, 900)
    tree = page.tools().send("Accessibility.getFullAXTree")["nodes"]
    named = [
        node for node in tree if node.get("role", {}).get("value") in ("button", "slider", "radio", "image", "img")
    ]
    assert len(named) > 30
    for node in named:
        assert node["name"]["value"].strip(), node
    regions = [node for node in tree if node.get("role", {}).get("value") == "region"]
    assert len(regions) > 6
    assert all(node["name"]["value"] for node in regions)
    page.value("document.querySelector('.play').focus()")
    page.key("Enter")
    page.until("byId('caution-box').open")
    page.key("Enter")
    page.until("stations[0].playing")
    page.key("Escape")
    page.until("!stations[0].playing")
    page.value("byId('try-beats-place').focus()")
    place = page.value("byId('try-beats-place').value")
    page.key("ArrowRight")
    assert page.value("byId('try-beats-place').value") != place
    assert "Hz" in page.value("byId('try-beats-place').getAttribute('aria-valuetext')")
    page.close()


def test_reduced_motion_leaves_the_picture_still(chromium, pages):
    counting = """(() => {
      window.draws = 0;
      const draw = stations[0].picture.draw;
      stations[0].picture.draw = function () { window.draws += 1; draw.call(this); };
      cautioned = () => Promise.resolve(true);
      stations[0].toggle();
    })()"""
    drawn = []
    for reduced in (False, True):
        page = chromium.page(pages["beats"], 1280, 900, reduced=reduced)
        page.value(counting)
        page.until("engine.memory.count > 9600")
        time.sleep(1.2)
        drawn.append(page.value("window.draws"))
        page.value("engine.stop()")
        page.close()
    assert drawn[0] > 3 * drawn[1]
    assert drawn[1] <= 3


def test_paper(chromium, pages, tmp_path, reports):
    """A worksheet with space for answers, then on a new page the teacher's sheet with answers, times, what to bring."""
    page = chromium.page(pages["beats"], 1280, 900)
    page.printed(tmp_path / "both.pdf")
    for part in ("worksheet", "teacher"):
        page.value(f"document.body.dataset.print = '{part}'")
        page.printed(tmp_path / f"{part}.pdf")
    page.close()
    texts = {
        name: subprocess.run(
            ["pdftotext", "-layout", str(tmp_path / f"{name}.pdf"), "-"], check=True, capture_output=True
        ).stdout.decode()
        for name in ("both", "worksheet", "teacher")
    }
    flat = {name: " ".join(text.split()) for name, text in texts.items()}
    stage = reports["beats"].lesson.stages[1]
    assert stage.question in flat["worksheet"]
    assert stage.answer not in flat["worksheet"]
    assert "I expect:" in flat["worksheet"]
    assert stage.answer in flat["teacher"]
    for words in ("What to bring", "minutes", "turn the volume right down", "measured"):
        assert words in flat["teacher"]
    assert "I expect:" not in flat["teacher"]
    assert "Listen" not in flat["both"].split()
    first = next(number for number, text in enumerate(texts["both"].split("\f")) if "Teacher" in text)
    assert "I expect:" not in texts["both"].split("\f")[first]
