"""The player's own files, hand and runs, of every kind of damage: read, or told of with file, key or line and remedy,
and never lost or left half written.
"""

from __future__ import annotations

import math
import os
import tempfile
from pathlib import Path

import pytest
import wild

from synth.errors import DesignError
from synth.hands.own_hand import OwnHand
from synth.hands.own_hand_file import KEYS, REMEDY, hand_text, keep_hand, kept_hand
from synth.practice.progress import COLUMNS, LARGEST_FILE, Run, add_run, by_day, read_runs

HANDS = [
    hand_text(OwnHand(0.08, 0.5, 3e-3, 4e-4, 8.5, 0.6, 1e-3, "pointer", "2026-03-01T10:00:00")).encode(),
    hand_text(OwnHand(0.1, 0.4, 2e-3, None, None, 0.3, 1e-3, 'a "trace".csv', "")).encode(),
]
RUN = Run("2026-03-01T10:00:00", "steps", "Meadow", 1.0, False, 8, 21.5, 6.0, -30.5, 1.0)
LINES = [
    "2026-03-01T10:00:00,steps,Meadow,1.0,no,8,21.5,6.0,-30.5,1.0",
    '2026-03-02T11:30:00,own,"A name, with ""marks""",0.75,yes,3,9.25,4.0,0.0,0.25',
]
RUNS = [("\n".join((",".join(COLUMNS), *LINES[:count])) + "\n").encode() for count in (0, 1, 2)]


def _file(content: bytes, suffix: str) -> Path:
    handle, name = tempfile.mkstemp(suffix=suffix)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
    return Path(name)


def _hand(content: bytes) -> None:
    path = _file(content, ".toml")
    try:
        hand = wild.told(lambda: kept_hand(path), str(path))
        assert path.read_bytes() == content  # reading changes nothing
        if hand is not None:
            assert 0.0 < hand.nearest < hand.farthest
            keep_hand(path, hand)
            again = kept_hand(path)
            assert again is not None
            assert again.farthest == pytest.approx(hand.farthest, rel=1e-3)
    finally:
        path.unlink()


def _runs(content: bytes) -> None:
    path = _file(content, ".csv")
    try:
        runs = wild.told(lambda: read_runs(path), str(path))
        if runs is None:  # what cannot be read is never written over
            with pytest.raises(DesignError):
                add_run(path, RUN)
            assert path.read_bytes() == content
        else:
            assert all(math.isfinite(error) for _, error in by_day(runs))
            assert add_run(path, RUN) == (*runs, RUN)
            assert read_runs(path) == (*runs, RUN)
    finally:
        path.unlink()


test_hands_few, test_hands = wild.quick_and_slow(_hand, wild.damaged(HANDS), 40, 150)
test_runs_few, test_runs = wild.quick_and_slow(_runs, wild.damaged(RUNS), 40, 150)


@pytest.mark.parametrize("key", KEYS)
def test_a_value_that_no_hand_has_names_file_key_and_remedy(key: str, tmp_path: Path) -> None:
    path = tmp_path / "hand.toml"
    lines = HANDS[0].decode().splitlines()
    for value in ("-1.0", '"wide"', "true"):
        path.write_text("\n".join(f"{key} = {value}" if line.startswith(key + " ") else line for line in lines))
        with pytest.raises(DesignError) as told:
            kept_hand(path)
        assert str(told.value).startswith(f"{path}: {key}")
        assert str(told.value).endswith(REMEDY)


@pytest.mark.parametrize(
    "line",
    [
        LINES[0].replace(",8,", ",-8,"),
        LINES[0].replace("21.5", "1e300"),
        LINES[0].replace("21.5", "nan"),
        LINES[0].replace(",no,", ",perhaps,"),
        LINES[0].replace("2026-03-01", "2026-13-01"),
        LINES[0] + ",7",
    ],
)
def test_a_line_that_no_run_wrote_is_named_and_the_file_kept(line: str, tmp_path: Path) -> None:
    path = tmp_path / "practice.csv"
    content = f"{','.join(COLUMNS)}\n{LINES[1]}\n{line}\n"
    path.write_text(content)
    with pytest.raises(DesignError, match=r"practice\.csv: line 3: .*; mend that line"):
        add_run(path, RUN)
    assert path.read_text() == content


def test_a_file_that_is_no_file_or_too_large_is_told_of(tmp_path: Path) -> None:
    folder, long, lost = tmp_path / "folder", tmp_path / "long", tmp_path / "lost"
    folder.mkdir()
    long.write_bytes(RUNS[2] + b"x" * LARGEST_FILE)
    lost.symlink_to(tmp_path / "nowhere")
    for place in (folder, long, lost):
        for read in (read_runs, kept_hand):
            with pytest.raises(DesignError) as told:
                read(place)
            wild.fit_to_read(str(told.value), str(place))
