"""What stands in the files, without a browser: everything in one file, all texts, and numbers that say the same."""

from __future__ import annotations

import base64
import json
import re
from html import escape
from importlib.resources import files

import numpy as np
import pytest
from small_setup import small_setup
from unheard import unheard

from synth.lessons.passage import Passage
from synth.lessons.table import LESSONS
from synth.lessons.waves import Tone, Waves
from synth.pages.document import packed
from synth.pages.lesson_page import default_slowing, lesson_page


@pytest.fixture(scope="module")
def written():
    """Every lesson and its page."""
    setup = small_setup()
    return {name: (report.lesson, lesson_page(report, setup)) for name, report in unheard(setup).items()}


@pytest.mark.parametrize("name", LESSONS)
def test_one_file_with_everything_in_it(written, name):
    lesson, page = written[name]
    assert len(page.encode()) < 3_000_000
    assert not re.search(r"https?://|\bsrc=|@import|url\(|<link(?! rel=\"icon\" href=\"data:,\")", page)
    assert "default-src 'none'" in page
    for stage in lesson.stages:
        for words in (stage.title, stage.question, stage.answer, stage.text):
            assert escape(words).replace(" %", "\N{NO-BREAK SPACE}%") in page
    assert page.count('class="play"') == len(lesson.stages) + len(lesson.pages)
    assert page.index("caution") < page.index('class="play"')


@pytest.mark.parametrize("name", LESSONS)
def test_every_stage_asks_answers_and_takes_its_time(written, name):
    lesson, page = written[name]
    assert all(stage.question.endswith("?") and stage.minutes > 0 for stage in lesson.stages)
    assert all(stage.answer not in stage.question for stage in lesson.stages)
    data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.DOTALL)[1].replace("<\\/", "</"))
    stages = [part for part in data["stations"] if part["kind"] == "stage"]
    assert [part["id"] for part in stages] == [stage.slug for stage in lesson.stages]
    assert len({part["id"] for part in data["stations"]}) == len(data["stations"])
    for part, stage in zip(stages, lesson.stages, strict=True):
        assert [tuple(passage["values"]) for passage in part["passages"]] == [each.values for each in stage.passages]


def test_the_path_takes_about_twenty_minutes_and_has_three_experiments(written):
    lesson, _ = written["path"]
    assert 18 <= sum(stage.minutes for stage in lesson.stages) <= 25
    assert len(lesson.experiments) == 3
    assert all(each.caution and each.expected and each.steps for each in lesson.experiments)


def test_figures_of_the_experiments(written):
    """Reckoned here: beats of the phones and of the fifth; the plates by Kirchhoff (1877, from memory)."""
    phones, radios, plates = written["path"][0].experiments
    assert "3.00 beats a second, so 90 in 30" in phones.expected
    fifth = abs(3 * 220.0 - 2 * 440.0 * 2 ** (-5 / 12))
    assert f"beats {fifth:.2f} times" in phones.expected
    assert f"{20 * np.log10(1.5 / 0.5):.1f} dB" in phones.expected
    assert f"B5 +{1200 * np.log2(1000 / (440 * 2 ** (14 / 12))):.0f} cents" in radios.expected

    def kirchhoff(gap, radius=0.1):
        return 8.8541878188e-12 * (np.pi * radius**2 / gap + radius * (np.log(16 * np.pi * radius / gap) - 1))

    told = [float(each) for each in re.findall(r"[\d.]+", plates.expected)[:3]]
    assert told == pytest.approx([1e12 * kirchhoff(gap) for gap in (2e-3, 4e-3, 8e-3)], abs=0.7)  # printed to 1 pF
    levels = [float(each) for each in re.findall(r"([\d.]+) dB", plates.expected)[:2]]
    falls = [20 * np.log10(kirchhoff(2e-3) / kirchhoff(gap)) for gap in (4e-3, 8e-3)]
    assert levels == pytest.approx(falls, abs=0.1)


def test_packed_numbers_come_back():
    values = np.array([0.0, -1.5, 1e-300, np.pi])
    assert np.array_equal(np.frombuffer(base64.b64decode(packed(values)["f64"]), dtype="<f8"), values)


def test_a_picture_starts_with_a_few_beats_in_it():
    """Four seconds on the screen; three beats of 300 Hz take 10 ms: 400 times slower. Slow beats run with the sound."""
    waves = Waves(Tone(300e3, 0.0), Tone(300e3, -1.0))
    assert default_slowing(waves, 300.0) == pytest.approx(400.0)
    assert default_slowing(waves, 4.0) == 1.0


def test_bad_passages_and_waves():
    tone = Tone(1.0, 0.0)
    with pytest.raises(ValueError, match="bend"):
        Waves(tone, tone, bend="folded")
    with pytest.raises(ValueError, match="rise from 0"):
        Passage(None, (0.0, 0.0), (1.0, 1.0))
    with pytest.raises(ValueError, match="one length"):
        Passage(None, (0.0, 1.0), (1.0, 1.0, 2.0))
    with pytest.raises(ValueError, match="values"):
        Passage(None, (0.0, 1.0), (1.0, -1.0), even_pitch=True)


def test_the_page_s_files_come_with_the_package():
    names = {each.name for each in files("synth.pages").joinpath("assets").iterdir()}
    assert names >= {"page.html", "page.css", "sound.js", "worklet.js", "picture.js", "spectrum.js", "station.js"}
