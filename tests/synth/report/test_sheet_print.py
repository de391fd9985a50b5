"""The build and tuning sheet printed by a browser: pages, text, the ruler's true length, nothing cut.

Where a tool is missing the test is skipped with its name; on a build machine (CI=true) that is a failure.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from browser import FLAGS
from small_instrument import RING_CURVE, ROD

from synth.analysis.sheet_figures import SheetFigures, sheet_figures
from synth.build.workbench import assemble
from synth.designs.design_file import load_design
from synth.designs.template import template_design
from synth.report.sheet_markup import reading
from synth.report.sheet_page import sheet_page

TOOLS = {"chromium": "chromium", "pdftotext": "poppler-utils", "pdfinfo": "poppler-utils", "pdftoppm": "poppler-utils"}
POINT = 25.4 / 72.0  # mm
SIZES = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # mm: ISO 216; 8.5 by 11 inches
TOP, SIDE, BOTTOM = 13.0, 14.0, 15.0  # mm of margin
FOOT = 4.0  # mm below the text that stay white before the foot line
DPI = 300


@dataclass(frozen=True)
class Print:
    """A printed sheet: file, text of every page, pages as grey values (pages, rows, columns)."""

    path: Path
    pages: list[str]
    size: tuple[float, float]
    paper: str

    def pictures(self, dpi: int, first: int = 1) -> list[np.ndarray]:
        """The pages from `first` on as grey values, white 255."""
        stem = self.path.with_suffix("")
        command = ["pdftoppm", "-gray", "-r", str(dpi), "-f", str(first), str(self.path), str(stem)]
        subprocess.run(command, check=True, timeout=60.0)
        return [_grey(found) for found in sorted(self.path.parent.glob(f"{stem.name}-*.pgm"))]


def _grey(path: Path) -> np.ndarray:
    content = path.read_bytes()
    path.unlink()
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", content)
    assert head is not None
    width, height = int(head[1]), int(head[2])
    return np.frombuffer(content[head.end() :], dtype=np.uint8).reshape(height, width)


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Print]:
    for tool, package in TOOLS.items():
        if shutil.which(tool) is None:
            text = f"printing the sheet needs {tool} (Debian package {package})"
            (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(text)

    def print_page(page: str, paper: str) -> Print:
        folder = tmp_path_factory.mktemp("print")
        source, target = folder / "sheet.html", folder / "sheet.pdf"
        source.write_text(page, encoding="utf-8")
        command = [
            "chromium",
            *FLAGS,
            "--no-pdf-header-footer",
            f"--user-data-dir={folder / 'profile'}",
            f"--print-to-pdf={target}",
        ]
        subprocess.run([*command, source.as_uri()], check=True, timeout=120.0, capture_output=True)
        text = subprocess.run(["pdftotext", "-layout", str(target), "-"], check=True, capture_output=True).stdout
        facts = subprocess.run(["pdfinfo", str(target)], check=True, capture_output=True, text=True).stdout
        size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", facts)
        assert size is not None
        pages = text.decode("utf-8").split("\f")[:-1]
        assert f"Pages:           {len(pages)}" in facts
        return Print(target, pages, (float(size[1]) * POINT, float(size[2]) * POINT), paper)

    return print_page


@pytest.fixture(scope="module")
def lantern() -> SheetFigures:
    return sheet_figures(assemble(template_design(), ROD, RING_CURVE))


@pytest.fixture(scope="module")
def willow(demos: Path) -> SheetFigures:
    return sheet_figures(assemble(load_design(demos / "willow.toml"), ROD))


def assert_nothing_is_cut(sheet: Print) -> None:
    """Margins are white, nothing hangs over the end of the text, and nothing that touches it goes on overleaf."""
    dpi = 150
    scale = dpi / 25.4
    before: np.ndarray | None = None
    for picture in sheet.pictures(dpi):
        ink = picture < 160
        height, width = ink.shape
        side, top, end = int((SIDE - 0.6) * scale), TOP * scale, height - BOTTOM * scale
        assert ink.any()
        assert not ink[:, :side].any(), "ink in the left margin"
        assert not ink[:, width - side :].any(), "ink in the right margin"
        assert not ink[: int(top - 0.6 * scale)].any(), "ink in the upper margin"
        assert not ink[int(end + 0.4 * scale) : int(end + FOOT * scale)].any(), "ink below the text"
        first = ink[int(top) : int(top + 0.5 * scale)].any(axis=0)
        assert before is None or not (before & first).any(), "a row goes on overleaf"
        before = ink[int(end - 0.5 * scale) : int(end)].any(axis=0)


def assert_bar_is_100_mm(sheet: Print) -> None:
    """The only area 1.5 mm high and black over more than 50 mm is the bar; it is measured at 300 dpi."""
    page = next(number for number, text in enumerate(sheet.pages, 1) if "this bar is 100 mm" in text)
    ink = sheet.pictures(DPI, page)[0] < 128
    high = int(1.5 / 25.4 * DPI)
    total = np.cumsum(np.vstack([np.zeros(ink.shape[1], dtype=int), ink]), axis=0)
    solid = (total[high:] - total[:-high]) == high
    longest = 0
    for line in solid[solid.sum(axis=1) > 50.0 / 25.4 * DPI]:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(int), [0]])))
        longest = max(longest, int((edges[1::2] - edges[::2]).max()))
    assert longest * 25.4 / DPI == pytest.approx(100.0, abs=0.25)


def assert_centimetres_are_true(sheet: Print) -> None:
    """The printed figures 2 and 12 of the ruler's first row stand 100 mm apart, middle to middle."""
    command = ["pdftotext", "-bbox", str(sheet.path), "-"]
    boxes = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    found = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="[\d.]+">(\d+)</word>', boxes)
    for base in {round(float(y), 1) for _, y, _, _ in found}:
        line = [(word, low, high) for low, y, high, word in found if abs(float(y) - base) < 0.3]
        row = {int(word): 0.5 * (float(low) + float(high)) for word, low, high in line}
        if set(range(1, 16)) <= set(row):
            assert (row[12] - row[2]) * POINT == pytest.approx(100.0, abs=0.25)
            assert np.diff([row[place] for place in range(1, 10)]) * POINT == pytest.approx(10.0, abs=0.25)
            return
    pytest.fail("the ruler's first row was not found")


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_on_paper(printed: Callable[[str, str], Print], lantern: SheetFigures, paper: str) -> None:
    sheet = printed(sheet_page(lantern, paper), paper)
    assert sheet.size == pytest.approx(SIZES[paper], abs=0.2)
    assert len(sheet.pages) == 5
    for number, page in enumerate(sheet.pages, 1):
        assert f"Page {number} of {len(sheet.pages)}" in page
        assert lantern.design_hash in page
    text = "\n".join(sheet.pages).replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "Lantern",
        "Cautions",
        "47 CFR 15.209",
        "Parts",
        "Checks, in the order of assembly",
        "Expected readings",
        "Tuning, step by step",
        "When a reading is off",
        "Print at 100 %",
        "row 1 of 4",
        "zero beat",
    ):
        assert words in text
    for found in lantern.readings:  # a whole row of the table on one line of one page
        expected = reading(found.expected, found.unit).replace("\N{NO-BREAK SPACE}", " ")
        assert re.search(rf"^\s*{found.code}\s+{found.point}\s+{re.escape(expected)}\s", text, re.MULTILINE)
    assert_nothing_is_cut(sheet)
    assert_bar_is_100_mm(sheet)
    assert_centimetres_are_true(sheet)


@pytest.mark.slow
def test_a_circuit_s_sheet_with_a_long_ruler_pushed_down(
    printed: Callable[[str, str], Print], willow: SheetFigures
) -> None:
    """The same with volts and currents, and with the ruler moved so that a row would lie across the page's end."""
    far = replace(willow, zero_beat_m=0.79, zero_beat_asked_m=0.79)
    page = sheet_page(far, "Letter")
    place = page.index('<div class="row"><svg')
    sheet = printed(page[:place] + '<div style="height: 70mm"></div>' + page[place:], "Letter")
    text = "\n".join(sheet.pages)
    assert "DC at the emitter" in text
    assert len(sheet.pages) == 7
    assert "row 1 of 5" in sheet.pages[5]
    assert "row 5 of 5" in sheet.pages[6]
    assert_nothing_is_cut(sheet)


@pytest.mark.slow
def test_a_hostile_name_on_paper(printed: Callable[[str, str], Print], lantern: SheetFigures) -> None:
    """Markup in a name is printed as it stands, a long one is broken, and the ruler stays true."""
    name = "<script>document.body.remove()</script>" + "W" * 41
    sheet = printed(sheet_page(replace(lantern, design=name, description="</style>" + "M" * 900), "A4"), "A4")
    assert "<script>" in sheet.pages[0]
    assert "Cautions" in sheet.pages[0]
    assert_nothing_is_cut(sheet)
    assert_bar_is_100_mm(sheet)


KEPT = "dl div, li, tr, .row, svg, thead { break-inside: avoid; }"
LINES = 5


def with_tall_rows(page: str) -> str:
    """Every table row and every step grown to LINES marked lines, so that some lie across each page's end."""
    count = 0

    def grown(match: re.Match[str]) -> str:
        nonlocal count
        count += 1
        words = "<br>".join(f"r{count}x{line}" for line in range(LINES))
        return f'{match[0]}<span style="white-space: nowrap">{words}</span><br>'

    return re.sub(r"<tr>\s*<td[^>]*>|<li\b[^>]*>", grown, page)


def cut_rows(sheet: Print) -> list[str]:
    """The marked rows whose lines do not all stand on one page, from the words' places in the PDF."""
    command = ["pdftotext", "-bbox", str(sheet.path), "-"]
    boxes = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    places: dict[str, list[int]] = {}
    for number, page in enumerate(boxes.split("<page ")[1:]):
        for row in re.findall(r">(r\d+)x\d+</word>", page):
            places.setdefault(row, []).append(number)
    assert len(places) > 40
    assert all(len(found) == LINES for found in places.values()), "a line was lost"
    return [row for row, found in places.items() if len(set(found)) > 1]


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_row_is_cut_however_the_pages_end(
    printed: Callable[[str, str], Print], willow: SheetFigures, paper: str
) -> None:
    """Rows grown until they lie across pages' ends go over whole; without the rule that keeps them, some are cut."""
    page = with_tall_rows(sheet_page(willow, paper))
    assert KEPT in page
    assert cut_rows(printed(page, paper)) == []
    assert cut_rows(printed(page.replace(KEPT, ""), paper)) != []


@pytest.mark.slow
def test_the_check_sees_a_cut_row(printed: Callable[[str, str], Print], lantern: SheetFigures) -> None:
    """A bar that is longer than a page is cut, and noticed."""
    page = sheet_page(lantern, "A4")
    bar = '<div style="height: 400mm; border-left: 2mm solid #000"></div>'
    sheet = printed(page.replace("</header>", f"</header>{bar}"), "A4")
    with pytest.raises(AssertionError, match="overleaf"):
        assert_nothing_is_cut(sheet)
