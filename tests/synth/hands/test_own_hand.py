"""The measured hand: against what was put into the path, and the file it is kept in."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from models.arrays import Floats
from synth.errors import DesignError
from synth.hands.gestures import minimum_jerk, tremor
from synth.hands.own_hand import OwnHand, measured_hand
from synth.hands.own_hand_file import KEYS, hand_text, keep_hand, kept_hand
from synth.hands.tune_path import PLACEMENT

HAND = OwnHand(0.06, 0.45, 0.004, 0.0002, 8.4, 0.7, 1e-5, "pointer", "2026-03-01T10:00:00")


def path(places: list[float], rest: float = 3.0, way: float = 0.8, step: float = 0.0) -> tuple[Floats, Floats]:
    """A hand that rests at each of the places, m, with minimum-jerk ways between them; 60 points a second."""
    times = np.arange(0.0, len(places) * (rest + way), 1.0 / 60.0)
    distances = np.full(times.size, places[0])
    for number in range(1, len(places)):
        begin = number * (rest + way) - way
        distances += (places[number] - places[number - 1]) * minimum_jerk((times - begin) / way)
    return times, np.round(distances / step) * step if step else distances


def test_reach_scatter_and_speed_are_what_was_put_in() -> None:
    errors = [0.0, 4e-3, -3e-3, 1e-3, -2e-3]
    times, distances = path([0.07, 0.46, *[each for error in errors for each in (0.2 + error, 0.35)]])
    hand = measured_hand(times, distances)
    assert hand.nearest == pytest.approx(0.07, abs=1e-3)
    assert hand.farthest == pytest.approx(0.46, abs=1e-3)
    # five returns to 20 cm and five, exact ones, to 35 cm: pooled, by hand
    assert hand.scatter == pytest.approx(math.sqrt(sum(e**2 for e in errors) / 8.0), rel=0.05)
    # the fastest moment of a minimum-jerk way is 15/8 of its mean speed (Flash and Hogan 1985, from their course)
    assert hand.speed == pytest.approx(15.0 / 8.0 * 0.15 / 0.8, rel=0.05)
    assert hand.tremor is None  # nothing trembled


@pytest.mark.parametrize("size", [0.1e-3, 0.5e-3])
def test_tremor_is_measured_in_its_band(size: float) -> None:
    times, distances = path([0.2, 0.35] * 4, rest=6.0)
    shaken = distances + tremor(times, 3, size)
    hand = measured_hand(times, shaken)
    assert hand.tremor == pytest.approx(size, rel=0.2)
    assert hand.tremor_rate is not None
    assert 6.0 <= hand.tremor_rate <= 12.0
    one = measured_hand(times, distances + size * math.sqrt(2.0) * np.sin(2.0 * math.pi * 8.6 * times))
    assert one.tremor == pytest.approx(size, rel=0.1)
    assert one.tremor_rate == pytest.approx(8.6, abs=0.2)


def test_what_a_pointer_cannot_show_is_not_called_tremor() -> None:
    pixel = 0.5e-3
    times, distances = path([0.2, 0.35] * 4, step=pixel)
    hand = measured_hand(times, distances)
    assert hand.resolution == pytest.approx(pixel)
    assert hand.tremor is None


def test_a_twitch_at_one_place_is_no_return_to_it() -> None:
    times, distances = path([0.2, 0.35], rest=6.0)
    since = times[:, None] - np.arange(1.0, 6.0)
    twitching = distances + 8e-3 * np.exp(-((since / 0.04) ** 2)).sum(axis=1)
    with pytest.raises(DesignError, match="does not come back to a place 3 times"):
        measured_hand(times, twitching)


def test_drifting_without_a_rest_is_refused_with_a_remedy() -> None:
    times = np.arange(0.0, 20.0, 1.0 / 60.0)
    with pytest.raises(DesignError, match="come back"):
        measured_hand(times, 0.3 + 0.1 * np.sin(2.0 * times))
    with pytest.raises(DesignError, match="too short"):
        measured_hand(times[:5], times[:5] + 0.1)


def test_the_assumed_placement_is_what_an_elbow_does() -> None:
    """Derived in the module: L cos(e/2) at a right angle times 0.6 to 1.1 degrees (van Beers et al. 1998, abstract)."""
    angle, length, step = math.pi / 2.0, 0.3, 1e-6

    def reach(elbow: float) -> float:  # the law of cosines
        return math.sqrt(2.0 * length**2 * (1.0 - math.cos(elbow)))

    slope = (reach(angle + step) - reach(angle - step)) / (2.0 * step)
    assert slope == pytest.approx(length * math.cos(angle / 2.0), rel=1e-6)
    low, high = (slope * math.radians(degrees) for degrees in (0.6, 1.1))
    assert (round(1e3 * low, 1), round(1e3 * high, 1)) == (2.2, 4.1)
    assert low < PLACEMENT < high


def test_the_file_comes_back_as_it_was_written(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "hand.toml"
    assert kept_hand(file) is None
    keep_hand(file, HAND)
    found = kept_hand(file)
    assert found is not None
    for name, _, _ in KEYS.values():
        assert getattr(found, name) == pytest.approx(getattr(HAND, name), rel=1e-3)
    assert (found.source, found.when) == (HAND.source, HAND.when)
    steady = OwnHand(0.06, 0.45, 0.004, None, None, 0.7, 1e-3, 'a "name" \\', "")
    keep_hand(file, steady)
    again = kept_hand(file)
    assert again is not None
    assert (again.tremor, again.source) == (None, steady.source)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("nearest_cm = [", "TOML"),
        ("nearest_cm = 'near'", "nearest_cm must be a number"),
        ("nearest_cm = 90", "farthest must be above nearest"),
        ("nearest_cm = nan", "nearest"),
        ("nearest_cm = true", "nearest_cm must be a number"),
    ],
)
def test_a_damaged_file_names_the_key_and_the_remedy(tmp_path: Path, change: str, words: str) -> None:
    file = tmp_path / "hand.toml"
    lines = hand_text(HAND).splitlines()
    file.write_text("\n".join([change if line.startswith("nearest_cm") else line for line in lines]), encoding="utf-8")
    with pytest.raises(DesignError, match=words) as raised:
        kept_hand(file)
    assert "hand.toml" in str(raised.value)
    assert "measure the hand again" in str(raised.value)
