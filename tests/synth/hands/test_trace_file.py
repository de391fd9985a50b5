"""Hand traces as CSV. Format reference: RFC 4180 (comma-separated values)."""

from __future__ import annotations

import contextlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from letters import LETTERS
from small_instrument import BOTH, RING

import synth.hands.trace_file
from synth.errors import DesignError
from synth.hands.hand_path import HandPath
from synth.hands.trace_file import load_trace, save_trace


def _load(folder: Path, content: str | bytes) -> HandPath:
    file = folder / "hand.csv"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    return load_trace(file)


def test_reads_plain_columns(tmp_path: Path) -> None:
    path = _load(tmp_path, "time_s,distance_m,volume\n0,0.40,1\n0.5,0.30,0.5\n")
    np.testing.assert_array_equal(path.times, [0.0, 0.5])
    np.testing.assert_array_equal(path.distances, [0.4, 0.3])
    np.testing.assert_array_equal(path.volumes, [1.0, 0.5])


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbftime_s,distance_m\r\n0,0.4\r\n0.5,0.3\r\n\r\n\r\n",
        b"time_ms,distance_cm\n0,40\n500,30",
        b"time_ms, Distance_mm\n0, 400\n500, 300\n",
        b'"distance_m","time_s"\n"0.4","0"\n0.3,5e-1\n',
    ],
)
def test_other_units_ends_of_line_and_order(tmp_path: Path, content: bytes) -> None:
    path = _load(tmp_path, content)
    np.testing.assert_array_equal(path.times, [0.0, 0.5])
    np.testing.assert_array_equal(path.distances, [0.4, 0.3])
    np.testing.assert_array_equal(path.volumes, [1.0, 1.0])


@pytest.mark.parametrize(
    ("content", "parts"),
    [
        ("", ["is empty"]),
        ("time_s,distance_m\n", ["no rows"]),
        ("0,0.4\n1,0.3\n", ["header is missing"]),
        ("time_s;distance_m\n0;0,4\n", ["commas between the columns"]),
        ("time_s\tdistance_m\n0\t0.4\n", ["commas between the columns"]),
        ("time_s,distance_m\n0,0,4\n", ["line 2", "decimals need a point"]),
        ('time_s,distance_m\n0,"0,4"\n', ["line 2", "write 0.4"]),
        ("time_s,distnce_m\n0,0.4\n", ["unknown column", "did you mean 'distance_m'"]),
        ("time_s,time_ms,distance_m\n0,0,1\n", ["two columns for the time"]),
        ("time_s,volume\n0,1\n", ["no column for the distance"]),
        ("time_s,distance_m\n0,0.4\n0,0.3\n", ["line 3", "times must increase"]),
        ("time_s,distance_m\n-1,0.4\n", ["line 2", "count from the start"]),
        ("time_s,distance_m\n1e9,0.4\n", ["line 2", "count from the start"]),
        ("time_s,distance_m\n0,0\n", ["line 2", "above 0"]),
        ("time_s,distance_m\n0,40\n", ["line 2", "at most 10 m"]),
        ("time_s,distance_m,volume\n0,0.4,2\n", ["line 2", "volume"]),
        ("time_s,distance_m\n0,nan\n1,inf\n2,1_0\n3,0x1\n4,\n", ["line 2", "line 3", "line 4", "line 5", "line 6"]),
        ('time_s,distance_m\n0,"0.4\n', ["not readable as CSV"]),
        (b"time_s,distance_m\n0,\xff\n", ["not UTF-8"]),
        (b"\x00\x01\x02", ["unknown column"]),
    ],
)
def test_faults_name_line_and_remedy(tmp_path: Path, content: str | bytes, parts: list[str]) -> None:
    with pytest.raises(DesignError) as caught:
        _load(tmp_path, content)
    for part in [*parts, "hand.csv"]:
        assert part in str(caught.value)


def test_first_ten_faults_and_their_number(tmp_path: Path) -> None:
    with pytest.raises(DesignError) as caught:
        _load(tmp_path, "time_s,distance_m\n" + "0,-1\n" * 20)
    lines = str(caught.value).splitlines()
    assert len(lines) == 11
    assert "and 29 more faults" in lines[-1]  # 20 bad distances and 19 bad times, 10 shown


def test_bounds_of_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = "time_s,distance_m\n0,0.4\n1,0.3\n2,0.3\n"
    monkeypatch.setattr(synth.hands.trace_file, "MOST_ROWS", 2)
    with pytest.raises(DesignError, match="more than 2 rows"):
        _load(tmp_path, content)
    monkeypatch.setattr(synth.hands.trace_file, "LARGEST_FILE", 20)
    with pytest.raises(DesignError, match="larger than"):
        _load(tmp_path, content)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(DesignError, match="no such file"):
        load_trace(tmp_path / "none.csv")
    with pytest.raises(DesignError, match=r"^[^(]*: is a folder"):
        load_trace(tmp_path)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(1e-6, 10), st.floats(1e-4, 10), st.floats(0, 1)), min_size=1, max_size=20))
def test_round_trip(tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[float, float, float]]) -> None:
    steps, distances, volumes = np.array(rows).T
    path = HandPath(np.cumsum(steps), distances, volumes)
    file = tmp_path_factory.mktemp("trace") / "hand.csv"
    save_trace(path, file)
    back = load_trace(file)
    for name in ("times", "distances", "volumes"):
        np.testing.assert_array_equal(getattr(back, name), getattr(path, name))


@settings(max_examples=60, deadline=None)
@given(st.text(LETTERS, max_size=60) | st.from_regex(r"time_s,distance_m\n([0-9.,;\"\n-]{0,30})", alphabet=LETTERS))
def test_any_text_is_a_path_or_a_design_error(tmp_path_factory: pytest.TempPathFactory, content: str) -> None:
    with contextlib.suppress(DesignError):
        assert _load(tmp_path_factory.mktemp("trace"), content.encode("utf-8", "surrogatepass")).times.size > 0


# The volume hand as a distance


def _load_with_ring(folder: Path, content: str) -> HandPath:
    file = folder / "hand.csv"
    file.write_text(content)
    return load_trace(file, BOTH)


@pytest.mark.parametrize(
    ("column", "values"),
    [("volume_distance_m", "0.08 0.20"), ("Volume_Distance_cm", "8 20"), ("volume_distance_mm", "80 200")],
)
def test_volume_distances_go_through_the_gain_law(tmp_path: Path, column: str, values: str) -> None:
    first, second = values.split()
    path = _load_with_ring(tmp_path, f"time_s,distance_m,{column}\n0,0.4,{first}\n1.5,0.3,{second}\n")
    assert path.times[0] == 0.0
    assert path.times[-1] == path.duration == 1.5
    np.testing.assert_allclose(path.volumes[[0, -1]], RING.gain([0.08, 0.20]), rtol=1e-12)
    # the pitch hand is where it alone would sound as both do: farther, as the other hand takes from the capacitance
    heard = BOTH.pitch_distance([0.4, 0.3], [0.08, 0.20])
    np.testing.assert_allclose(path.distances[[0, -1]], heard, rtol=1e-12)
    assert (path.distances[[0, -1]] > [0.4, 0.3]).all()
    # between the rows it is the hands that move evenly: gain and pitch follow their laws on the way
    for share in (0.1, 0.37, 0.8):
        at = path.block(round(48000 * 1.5 * share), 1, 48000)
        assert at.volume[0] == pytest.approx(float(RING.gain(0.08 + 0.12 * share)), abs=2e-4)
        both = BOTH.pitch_distance(0.4 - 0.1 * share, 0.08 + 0.12 * share)
        assert at.distance[0] == pytest.approx(float(both), rel=1e-5)


def test_a_still_volume_hand_adds_no_time_stamps(tmp_path: Path) -> None:
    text = "time_s,distance_m,volume_distance_cm\n0,0.4,10\n1,0.3,10\n1.001,0.3,20\n2,0.3,20\n"
    path = _load_with_ring(tmp_path, text)
    np.testing.assert_array_equal(path.times, [0.0, 1.0, 1.001, 2.0])


def test_a_pitch_hand_beyond_the_field_stays_there(tmp_path: Path) -> None:
    path = _load_with_ring(tmp_path, "time_s,distance_m,volume_distance_cm\n0,0.004,5\n0.001,2,5\n")
    np.testing.assert_array_equal(path.distances, [0.004, 2.0])


def test_a_volume_hand_outside_the_computed_heights_counts_as_at_their_border(tmp_path: Path) -> None:
    path = _load_with_ring(tmp_path, "time_s,distance_m,volume_distance_m\n0,0.4,0.001\n0.001,0.4,5\n")
    np.testing.assert_allclose(path.volumes, RING.gain([0.01, 0.6]), rtol=1e-12)


def test_plain_volume_stays_plain_beside_a_volume_antenna(tmp_path: Path) -> None:
    path = _load_with_ring(tmp_path, "time_s,distance_m,volume\n0,0.4,0.25\n1,0.3,1\n")
    np.testing.assert_array_equal(path.volumes, [0.25, 1.0])


def test_volume_distance_faults(tmp_path: Path) -> None:
    with pytest.raises(DesignError, match=r"line 1: has both a volume and a volume distance; keep one"):
        _load_with_ring(tmp_path, "time_s,distance_m,volume,volume_distance_m\n0,0.4,1,0.1\n")
    with pytest.raises(DesignError, match=r"line 1: .*no volume antenna; add \[volume_antenna\]"):
        _load(tmp_path, "time_s,distance_m,volume_distance_m\n0,0.4,0.1\n")
    with pytest.raises(DesignError, match=r"line 3: volume distance -0.1 m must be above 0"):
        _load_with_ring(tmp_path, "time_s,distance_m,volume_distance_m\n0,0.4,0.1\n1,0.4,-0.1\n")
    with pytest.raises(DesignError, match="two columns for the volume distance"):
        _load_with_ring(tmp_path, "time_s,distance_m,volume_distance_m,volume_distance_cm\n0,0.4,0.1,10\n")


def test_of_the_pitch_hand_alone_heights_are_checked_and_left_out(tmp_path):
    (tmp_path / "a.csv").write_text("time_s,distance_m,volume_distance_m\n0,0.2,0.1\n1,0.3,0.2\n")
    path = load_trace(tmp_path / "a.csv", pitch_hand_alone=True)
    assert path.distances.tolist() == [0.2, 0.3]
    assert path.volumes.tolist() == [1.0, 1.0]
    (tmp_path / "b.csv").write_text("time_s,distance_m,volume_distance_m\n0,0.2,-0.1\n")
    with pytest.raises(DesignError, match="volume distance"):
        load_trace(tmp_path / "b.csv", pitch_hand_alone=True)


def test_reading_tells_how_far_it_is(tmp_path):
    rows = "".join(f"{0.01 * k:.2f},0.2\n" for k in range(12_000))
    (tmp_path / "long.csv").write_text("time_s,distance_m\n" + rows)
    shares = []
    load_trace(tmp_path / "long.csv", progress=shares.append)
    assert len(shares) > 1
    assert shares == sorted(shares)
    assert 0.3 < shares[-1] <= 1.0
