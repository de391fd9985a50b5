"""The file of texts and the lessons fit: every text is used, every field has its figure, no figure is left over."""

from __future__ import annotations

from dataclasses import replace
from string import Formatter

import numpy as np
import pytest
from small_instrument import RING_CURVE, ROD
from small_setup import small_setup

from synth.build.workbench import assemble
from synth.designs.design_file import load_design
from synth.designs.template import template_design
from synth.lessons import words
from synth.lessons.draft import Draft
from synth.lessons.lesson_plot import save_stage_plot
from synth.lessons.lesson_report import LessonReport, lesson_report
from synth.lessons.table import LESSONS, build_lesson, lesson_list, live_lesson
from synth.pages.design_page import design_page
from synth.pages.lesson_page import lesson_page


class Watched(dict):
    """A table of texts that notes the path of every text that is read."""

    def __init__(self, table, path, read):
        below = {k: Watched(v, (*path, k), read) if isinstance(v, dict) else v for k, v in table.items()}
        super().__init__(below)
        self.path, self.read = path, read

    def __getitem__(self, key):
        found = super().__getitem__(key)
        if isinstance(found, str):
            self.read.add((*self.path, key))
        return found


def paths(table, *path):
    """(path, text) of every text in a table and the tables below."""
    for key, value in table.items():
        yield from paths(value, *path, key) if isinstance(value, dict) else [((*path, key), value)]


def fields(text):
    """The names in a text's braces."""
    return {name.split("[")[0] for _, name, _, _ in Formatter().parse(text) if name is not None}


@pytest.fixture(scope="module")
def setup():
    return small_setup()


@pytest.mark.slow
def test_every_text_is_used(setup, demos, tmp_path, monkeypatch):
    read: set[tuple[str, ...]] = set()
    watched = Watched(words.texts(), (), read)
    monkeypatch.setattr(words, "texts", lambda: watched)
    assert set(lesson_list()) == set(LESSONS)
    for name in LESSONS:
        assert live_lesson(name, setup).stages
    report = lesson_report(build_lesson("beats", setup))
    assert report.text()
    way = build_lesson("path", setup)
    levels = tuple(tuple(0.0 for _ in stage.claims) for stage in way.stages)
    unheard = LessonReport(way, (), levels, tuple(1.0 for _ in way.stages))
    assert lesson_page(unheard, setup)
    assert unheard.text()
    assert all(claim.text for claim in way.stages[7].claims)
    design = template_design()
    diode = replace(design, detector=replace(design.detector, kind="diode"))
    assert design_page(assemble(diode, ROD, RING_CURVE))
    assert design_page(assemble(load_design(demos / "puddle.toml"), ROD))
    assert {claim.kind for claim in report.lesson.stages[1].claims} == {"line", "absent", "beat"}
    assert all(claim.text for claim in build_lesson("locking", setup).stages[1].claims)
    assert all(claim.text for claim in build_lesson("taps", setup).stages[0].claims)
    save_stage_plot(report.lesson.stages[1], report.sounds[1], tmp_path / "a.png", False)
    sliding = next(stage for stage in way.stages if stage.slides)
    save_stage_plot(sliding, np.sin(np.arange(20_000.0)), tmp_path / "b.png", False)
    assert {path for path, _ in paths(words.texts())} == read


def test_every_figure_is_named_and_every_field_has_one(setup, monkeypatch):
    """A field without a figure would raise KeyError as well; here the names of both are set side by side."""
    given = {}
    begin = Draft.__init__

    def noted(self, name, **figures):
        given[name] = set(figures)
        begin(self, name, **figures)

    monkeypatch.setattr(Draft, "__init__", noted)
    for name in LESSONS:
        build_lesson(name, setup)
        told = {key: table for key, table in words.texts()[name].items() if key != "pieces"}
        assert set().union(*(fields(text) for _, text in paths(told))) == given[name], name


@pytest.mark.parametrize("name", LESSONS)
def test_stages_and_pages_stand_in_the_file_in_their_order(setup, name):
    lesson, texts = build_lesson(name, setup), words.texts()[name]
    assert [stage.slug for stage in lesson.stages] == list(texts["stages"])
    own = [page for page in lesson.pages if page.slug in texts.get("pages", {})]
    assert [page.slug for page in own] == list(texts.get("pages", {}))
    assert (own == list(lesson.pages)) == (name != "path")  # the path borrows them
    for page in own:
        assert [choice.name for choice in page.choices] == [
            sound["name"] for sound in texts["pages"][page.slug]["sounds"].values()
        ]


def test_no_text_holds_an_unfilled_brace_or_a_line_break(setup):
    for name in LESSONS:
        lesson = build_lesson(name, setup)
        told = [lesson.title, lesson.introduction]
        told += [text for stage in lesson.stages for text in (stage.title, stage.text)]
        told += [text for page in lesson.pages for text in (page.title, page.pointer)]
        told += [text for page in lesson.pages for choice in page.choices for text in (choice.name, choice.hear)]
        assert not any(mark in text for text in told for mark in "{}\n"), name


def test_a_missing_figure_is_found():
    with pytest.raises(KeyError, match="swing"):
        Draft("beats", unequal=0.3).stage("unequal", (), lambda: None, (0.0, 1.0))
