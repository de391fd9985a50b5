"""The demos: each script runs without a screen or sound device, tells what it promises, and leaves nothing behind."""

from __future__ import annotations

import ast
import math
import re
import runpy
import tempfile
from pathlib import Path

import pytest

DEMOS = Path(__file__).parents[2] / "demos"
TOURS = sorted(DEMOS.glob("tour_*.py"))


@pytest.fixture
def tour(tmp_path, monkeypatch, capsys):
    """Run the tour script whose name starts so, in an empty folder; return what it prints."""
    empty, temporary = tmp_path / "here", tmp_path / "temporary"
    for folder in (empty, temporary):
        folder.mkdir()
    monkeypatch.chdir(empty)
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)

    def run(start: str, *arguments: str) -> str:
        (script,) = DEMOS.glob(f"{start}_*.py")
        monkeypatch.setattr("sys.argv", [str(script), *arguments])
        runpy.run_path(str(script), run_name="__main__")
        assert list(empty.iterdir()) == list(temporary.iterdir()) == [], "it left files where it was not told to"
        return capsys.readouterr().out

    return run


def numbers(text: str) -> list[float]:
    """Every number in a line, in order."""
    return [float(found) for found in re.findall(r"(?<![\w.])[+-]?\d+(?:\.\d+)?", text)]


def lines(text: str, pattern: str) -> list[list[float]]:
    """The numbers of every line that matches."""
    return [numbers(line) for line in text.splitlines() if re.search(pattern, line)]


def test_there_are_tours_and_each_is_short_and_says_what_it_shows():
    assert len(TOURS) >= 6
    for script in TOURS:
        source = script.read_text("utf-8")
        assert 20 <= len(source.splitlines()) <= 75, script.name
        assert (ast.get_docstring(ast.parse(source)) or "").startswith(f"Tour {script.stem.split('_')[1]}: ")


def test_the_rod_holds_more_than_evenly_spread_charge_and_more_still_above_earth(tour):
    told = tour("tour_1")
    even = numbers(told.split("evenly")[1])[0]
    coarse, fine = (row[-1] for row in lines(told, "solved"))
    high, low = (row[-1] for row in lines(told, "earth plane"))
    assert even < fine < high < low
    assert fine == pytest.approx(coarse, rel=3e-3)
    # even charge on the axis, potential averaged along the rod: the integral itself, not its logarithm
    ratio = 0.45 / 0.005
    exact = 2.0 * math.pi * 8.8541878e-12 * 0.45 / (math.asinh(ratio) - math.sqrt(1.0 + ratio**-2) + 1.0 / ratio)
    assert even == pytest.approx(1e12 * exact, rel=3e-3)


@pytest.mark.slow
def test_the_hand_counts_more_the_nearer_it_is(tour):
    told = tour("tour_2")
    open_hand, fist = told.split("fist:")
    for part in (open_hand, fist):
        rows = lines(part, r"^ +\d+ cm")
        assert [row[0] for row in rows] == [5.0, 10.0, 20.0, 30.0, 40.0, 60.0]
        added, steepness = [row[1] for row in rows], [row[2] for row in rows]
        assert added == sorted(added, reverse=True)
        assert steepness == sorted(steepness, reverse=True)
        assert steepness[0] > 100.0 * steepness[-1]


def test_a_series_inductor_moves_the_lower_mode_further(tour):
    rows = lines(tour("tour_3"), r"\d+ mH")
    steps = [row[2] if row[0] == 0.0 else row[3] for row in rows]
    assert steps == sorted(steps, reverse=True)
    direct = 267.12 * math.sqrt(355e-12 / 365e-12)  # kHz: 270 + 25 + 60 pF with 10 pF more straight across
    assert rows[0][1] == pytest.approx(direct, abs=0.02)


def test_the_counted_beat_is_that_of_the_law(tour):
    rows = lines(tour("tour_4"), r"^ +\d+ Hz")
    assert len(rows) == 7
    for offset, law, counted, *_ in rows:
        assert law == pytest.approx(math.sqrt(max(0.0, offset**2 - 1600.0)), abs=6e-4)
        assert abs(counted - law) < 0.25 / 4.0  # a quarter of a turn in four seconds


def test_the_detectors_have_the_known_overtones(tour):
    told = tour("tour_5")
    assert lines(told, "^product") == [[0.0]]
    equal = next(line for line in told.splitlines() if line.startswith("envelope, equal"))
    # a full-wave rectified sine: the harmonics go as 1 / (4 n^2 - 1) (any handbook of Fourier series)
    known = [20.0 * math.log10(3.0 / (4.0 * order**2 - 1.0)) for order in range(1, 7)]
    assert numbers(equal) == pytest.approx(known, abs=0.06)


def test_the_oscillator_lands_near_its_plain_resonance(tour):
    told = tour("tour_6")
    plain, steady = (lines(told, pattern)[0][0] for pattern in ("alone", "steady state"))
    assert 0.99 * plain < steady < plain  # the transistor adds capacitance, the more so the lower
    moves = [row[-1] for row in lines(told, "pot at")]
    assert moves[2] == 0.0
    assert moves == sorted(moves)


def test_the_gesture_sounds_as_wanted_and_is_written_where_told(tour, tmp_path):
    import soundfile

    folder = tmp_path / "given"
    folder.mkdir()
    told = tour("tour_7", str(folder))
    rows = lines(told, "hand at")
    assert len(rows) == 4
    assert all(abs(row[-1]) < 1.0 for row in rows)
    assert [file.name for file in folder.iterdir()] == ["four_notes.wav"]
    assert soundfile.info(str(folder / "four_notes.wav")).frames == round(3.85 * 48000) + 1
    assert "wrote four_notes.wav" in tour("tour_7")  # without a folder: a temporary one, gone afterwards


def test_the_tolerances_add_up(tour):
    told = tour("tour_8")
    share, low, high = numbers(told.splitlines()[0].replace("95 %", ""))[1:]
    assert low < share < high
    # Wilson's half-width is near 1.96 sqrt(p (1 - p) / n)
    half = 196.0 * math.sqrt(0.01 * share * (1.0 - 0.01 * share) / 2000.0)
    assert high - low == pytest.approx(2.0 * half, abs=0.15)
    parts = [row[-1] for row in lines(told, "of the variance")]
    assert parts == sorted(parts, reverse=True)
    assert 50.0 < sum(parts) <= 100.0
