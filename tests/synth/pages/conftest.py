"""One Chromium and one set of lessons for all tests of the pages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, started_browser
from unheard import unheard

from synth.lessons.lesson_report import LessonReport
from synth.lessons.setup import LessonSetup, open_setup
from synth.pages.lesson_page import lesson_page


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    browser = started_browser()
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def setup() -> LessonSetup:
    return open_setup()


@pytest.fixture(scope="session")
def reports(setup: LessonSetup) -> dict[str, LessonReport]:
    return unheard(setup)


@pytest.fixture(scope="session")
def pages(
    reports: dict[str, LessonReport], setup: LessonSetup, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    """Every lesson as a file."""
    folder = tmp_path_factory.mktemp("pages")
    for name, report in reports.items():
        (folder / f"{name}.html").write_text(lesson_page(report, setup), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in reports}
