"""Recorded hand paths as CSV: a header line, then one line a time stamp.

Header: time_s or time_ms; distance_m, distance_cm or distance_mm; and optionally either volume (0 to 1) or, for a
design with a volume antenna, volume_distance_m, volume_distance_cm or volume_distance_mm, the height of the volume hand
above the ring. Decimal points, commas between the columns. Faults are reported together, each with its line.
"""

from __future__ import annotations

import csv
import os
import re
from array import array
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path

import numpy as np

from models.arrays import Floats
from models.volume.both_hands import BothHands
from synth.designs.schema import did_you_mean
from synth.errors import DesignError
from synth.files.atomic_file import write_pieces
from synth.files.input_file import text_lines
from synth.files.plain_text import counted
from synth.hands.hand_path import HandPath

MOST_ROWS = 2_000_000
LARGEST_FILE = 75 * MOST_ROWS  # bytes; a row of three numbers with all their digits takes some 65
AT_ONCE = 20_000  # rows that are written in one piece
LONGEST = 6 * 3600.0  # s
FARTHEST = 10.0  # m
#: A moving volume hand becomes a gain at least this often: every 1 mm, but no more than every 5 ms.
VOLUME_STEP, VOLUME_TIME_STEP = 1e-3, 5e-3

# Column name -> (field, divisor to SI). A division by a power of ten is correctly rounded, a product need not be.
_COLUMNS = {
    "time_s": ("time", 1.0),
    "time_ms": ("time", 1e3),
    "distance_m": ("distance", 1.0),
    "distance_cm": ("distance", 1e2),
    "distance_mm": ("distance", 1e3),
    "volume": ("volume", 1.0),
    "volume_distance_m": ("volume distance", 1.0),
    "volume_distance_cm": ("volume distance", 1e2),
    "volume_distance_mm": ("volume distance", 1e3),
}
_Columns = dict[str, tuple[int, float]]  # field -> position in a row and divisor
_Row = tuple[float, float, float]  # time (s), distance (m), volume or the volume hand's distance (m)
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_EXAMPLE = "time_s,distance_m,volume"
_SHOWN_FAULTS = 10


def load_trace(
    path: str | os.PathLike[str],
    hands: BothHands | None = None,
    progress: Callable[[float], None] = lambda share: None,
    pitch_hand_alone: bool = False,
) -> HandPath:
    """The hand path in the CSV file `path`. DesignError lists the first ten faults and counts the others.

    A column of volume distances goes through both hands' law of the design, `hands` (outside the computed heights the
    hand counts as at their border): it sets the volume, and the pitch hand is at the distance that alone would sound
    as both hands do. It is refused for a design without a volume antenna, unless only the pitch hand is asked for: then
    it is checked and left out. progress: hears the share that is read.
    """
    source = str(path)
    lines = text_lines(
        Path(path),
        LARGEST_FILE,
        "name a CSV file",
        f"give a CSV file with the columns {_EXAMPLE}",
        "split the trace or write fewer time stamps",
        progress,
    )
    with closing(lines):
        return _of_rows(_rows(lines, source), source, hands, pitch_hand_alone)


def _of_rows(
    rows: Iterator[tuple[int, list[str]]], source: str, hands: BothHands | None, pitch_hand_alone: bool
) -> HandPath:
    line, names = next(rows, (0, []))
    if not names:
        raise DesignError(f"{source}: is empty; the first line must be {_EXAMPLE}")
    columns = _read_header(f"{source}: line {line}", names, pitch_hand_alone or hands is not None)
    values = array("d")  # row after row: as tuples two million would take far more memory
    shown: list[str] = []
    count, before = 0, None
    for number, (line, cells) in enumerate(rows, start=1):
        if number > MOST_ROWS:
            raise DesignError(f"{source}: has more than {MOST_ROWS} rows; split it or write fewer time stamps")
        row, faults = _read_row(columns, len(names), cells, before)
        count += len(faults)
        shown += [f"{source}: line {line}: {fault}" for fault in faults[: _SHOWN_FAULTS - len(shown)]]
        if row is not None:
            before = row[0]
            values.extend(row)
    if count:
        more = [f"{source}: and {counted(count - len(shown), 'more fault')}"] if count > len(shown) else []
        raise DesignError("\n".join(shown + more))
    if not values:
        raise DesignError(f"{source}: has a header but no rows; add at least one time stamp")
    times, distances, volumes = np.frombuffer(values, dtype=np.float64).reshape(-1, 3).T
    if "volume distance" not in columns:
        return HandPath(times, distances, volumes)
    if hands is None:
        return HandPath(times, distances, np.ones(times.size))
    return _of_both_hands(times, distances, volumes, hands)


def save_trace(path: HandPath, target: str | os.PathLike[str], force: bool = False) -> None:
    """Write the hand path as CSV that `load_trace` reads back to exactly the same values, whole or not at all."""
    write_pieces(target, _pieces(path), force)


def _pieces(path: HandPath) -> Iterator[str]:
    yield f"{_EXAMPLE}\n"
    for start in range(0, path.times.size, AT_ONCE):
        part = slice(start, start + AT_ONCE)
        columns = (values[part].tolist() for values in (path.times, path.distances, path.volumes))
        yield "".join(f"{time!r},{distance!r},{volume!r}\n" for time, distance, volume in zip(*columns, strict=True))


def _rows(lines: Iterable[str], source: str) -> Iterator[tuple[int, list[str]]]:
    """Line and cells of every row that is not blank."""
    reader = csv.reader(lines, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as error:
        raise DesignError(f"{source}: line {reader.line_num}: not readable as CSV ({error})") from None


def _of_both_hands(times: Floats, distances: Floats, heights: Floats, hands: BothHands) -> HandPath:
    """The path of hands whose volume hand is at `heights`, m: time stamps are put in where it moves, so that it is the
    hand that moves evenly between two rows, not the gain.
    """
    moves = np.minimum(np.abs(np.diff(heights)) / VOLUME_STEP, np.diff(times) / VOLUME_TIME_STEP)
    parts = np.maximum(np.ceil(moves), 1.0).astype(np.intp)
    starts = np.concatenate([[0], np.cumsum(parts)])
    at = np.interp(np.arange(starts[-1] + 1), starts, np.arange(times.size))  # place in the table, rows and between
    rows = np.arange(times.size)
    dense = np.interp(at, rows, times)
    dense[starts] = times
    places, risen = np.interp(at, rows, distances), np.interp(at, rows, heights)
    near, far = hands.pitch.curve.nearest, hands.pitch.curve.farthest
    inside = (near <= places) & (places <= far)  # a hand beyond the field stays there: whoever plays it says so
    heard = np.where(inside, hands.pitch_distance(places, risen), places)
    return HandPath(dense, heard, hands.gain(places, risen))


def _read_header(place: str, cells: list[str], takes_heights: bool) -> _Columns:
    """The columns that the first row, at `place`, declares; raise DesignError with every fault of it."""
    names = [cell.strip().lower() for cell in cells]
    if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
        raise DesignError(f"{place}: put commas between the columns and points in the decimals: {_EXAMPLE}")
    if all(_NUMBER.fullmatch(name) for name in names):
        raise DesignError(f"{place}: the header is missing; the first line must be {_EXAMPLE}")
    columns: _Columns = {}
    faults = []
    for position, name in enumerate(names):
        if name not in _COLUMNS:
            hint = did_you_mean(name, _COLUMNS) or f"; columns are {', '.join(_COLUMNS)}"
            faults.append(f"{place}: unknown column {name[:40]!r}{hint}")
            continue
        field, divisor = _COLUMNS[name]
        if field in columns:
            faults.append(f"{place}: has two columns for the {field}; keep one")
        columns[field] = (position, divisor)
    if "volume distance" in columns and "volume" in columns:
        faults.append(f"{place}: has both a volume and a volume distance; keep one")
    elif "volume distance" in columns and not takes_heights:
        faults.append(
            f"{place}: gives the volume hand's distance, but the design has no volume antenna; add [volume_antenna], "
            "[volume] and [volume_response] to the design, or give the column volume (0 to 1) instead"
        )
    missing = [field for field in ("time", "distance") if field not in columns]
    if missing and not faults:
        faults.append(f"{place}: no column for the {' and the '.join(missing)}; write for example {_EXAMPLE}")
    if faults:
        raise DesignError("\n".join(faults[:_SHOWN_FAULTS]))
    return columns


def _read_row(columns: _Columns, width: int, cells: list[str], before: float | None) -> tuple[_Row | None, list[str]]:
    """A row, None where it cannot be read, and what is wrong with it after the time `before` (s)."""
    if len(cells) != width:
        hint = "; commas separate columns, so decimals need a point" if len(cells) > width else ""
        return None, [f"has {counted(len(cells), 'column')}, the header has {width}{hint}"]
    place = columns.get("volume", columns.get("volume distance"))
    try:
        time, distance = _read_cell(cells, *columns["time"]), _read_cell(cells, *columns["distance"])
        volume = 1.0 if place is None else _read_cell(cells, *place)
    except DesignError as error:
        return None, [str(error)]
    row = time, distance, volume
    return row, list(_row_faults(row, before, "volume distance" in columns))


def _read_cell(cells: list[str], position: int, divisor: float) -> float:
    cell = cells[position].strip()
    if not _NUMBER.fullmatch(cell):
        hint = f"; write {cell.replace(',', '.')}" if re.fullmatch(r"[+-]?[0-9]+,[0-9]+", cell) else ""
        raise DesignError(f"{cell[:40]!r} is not a number{hint}")
    return float(cell) / divisor


def _row_faults(row: _Row, last_time: float | None, volume_is_distance: bool) -> Iterator[str]:
    """What is wrong with the values of a row."""
    time, distance, volume = row
    if not 0.0 <= time <= LONGEST:
        yield f"time {time:g} s is not between 0 and {LONGEST:g} s; count from the start of the trace"
    if last_time is not None and time <= last_time:
        yield f"time {time:g} s does not come after {last_time:g} s; times must increase from line to line"
    if not 0.0 < distance <= FARTHEST:
        yield f"distance {distance:g} m must be above 0 and at most {FARTHEST:g} m (nearest skin to the rod)"
    if volume_is_distance:
        if not 0.0 < volume <= FARTHEST:
            yield f"volume distance {volume:g} m must be above 0 and at most {FARTHEST:g} m (hand above the ring)"
    elif not 0.0 <= volume <= 1.0:
        yield f"volume {volume:g} is not between 0 and 1"
