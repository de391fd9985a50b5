"""Readings from the bench as CSV in everyday units: a header, then one line a reading.

Columns: fitted_capacitor and frequency; and optionally trimmer (0 to 1, or "out" and "in"), hand_distance (or "away"
for an antenna with nobody near), and either reverse_voltage (across the junction) or pot (0 to 1, of a design with a
circuit). An empty cell: that part was not there. Without a column the part counts as stray. Faults are reported
together, each with its line.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from synth.designs.quantity import format_quantity, parse
from synth.designs.schema import did_you_mean
from synth.errors import DesignError
from synth.files.input_file import read_text

LARGEST_FILE = 1_000_000  # bytes
MOST_ROWS = 200
AWAY = "away"
TRIMMER_ENDS = {"out": 0.0, "in": 1.0}
_SHOWN_FAULTS = 10
_EXAMPLE = "fitted_capacitor,frequency"

# column -> unit, lowest, highest (SI)
COLUMNS = {
    "fitted_capacitor": ("F", 0.0, 1e-6),
    "frequency": ("Hz", 1e3, 1e8),
    "trimmer": ("fraction", 0.0, 1.0),
    "hand_distance": ("m", 0.005, 5.0),
    "reverse_voltage": ("V", 0.0, 100.0),
    "pot": ("fraction", 0.0, 1.0),
}
REQUIRED = ("fitted_capacitor", "frequency")


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One line: F, Hz, position, m, V. None: that part was not there. away: antenna plugged, nobody near."""

    line: int
    fitted_capacitor: float
    frequency: float
    trimmer: float | None = None
    hand_distance: float | None = None
    away: bool = False
    reverse_voltage: float | None = None
    pot: float | None = None

    @property
    def antenna_plugged(self) -> bool:
        """Whether the antenna was connected."""
        return self.away or self.hand_distance is not None


def load_readings(path: Path) -> tuple[BenchRow, ...]:
    """The readings in the CSV file `path`; DesignError lists the first ten faults with their lines, counts the rest."""
    text = read_text(
        path,
        LARGEST_FILE,
        "name a CSV file",
        f"give a CSV file with the columns {_EXAMPLE}",
        "this is no list of readings",
    )
    return read_readings(text, str(path))


def read_readings(text: str, source: str = "readings") -> tuple[BenchRow, ...]:
    """The readings in CSV `text`; `source` names it in messages."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    faults: list[str] = []
    rows: list[BenchRow] = []
    header: list[str] | None = None
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _header(cells, f"{source}: line {reader.line_num}")
                continue
            if len(rows) + len(faults) >= MOST_ROWS:
                raise DesignError(f"{source}: line {reader.line_num}: more than {MOST_ROWS} readings; give fewer")
            row = _row(header, cells, reader.line_num, source, faults)
            if row is not None:
                rows.append(row)
    except csv.Error as error:
        raise DesignError(f"{source}: line {reader.line_num}: not readable as CSV ({error})") from None
    if header is None:
        raise DesignError(f"{source}: is empty; begin with the header {_EXAMPLE}")
    if faults:
        more = [f"{source}: and {len(faults) - _SHOWN_FAULTS} more faults"] if len(faults) > _SHOWN_FAULTS else []
        raise DesignError("\n".join(faults[:_SHOWN_FAULTS] + more))
    if len(rows) < 2:
        raise DesignError(f"{source}: has {len(rows)} reading; two or more are needed, with different capacitors")
    return tuple(rows)


def _header(cells: list[str], place: str) -> list[str]:
    names = [cell.strip() for cell in cells]
    faults = []
    for name in names:
        if name not in COLUMNS:
            hint = did_you_mean(name, COLUMNS) or f"; columns are {', '.join(COLUMNS)}"
            faults.append(f"{place}: unknown column {name[:40]!r}{hint}")
        elif names.count(name) > 1:
            faults.append(f"{place}: column {name!r} stands twice")
    missing = [name for name in REQUIRED if name not in names]
    if "pot" in names and "reverse_voltage" in names:
        faults.append(f"{place}: pot and reverse_voltage say the same thing; leave one column out")
    if missing:
        faults.append(f"{place}: column {' and '.join(missing)} is missing; begin with the header {_EXAMPLE}")
    if faults:
        raise DesignError("\n".join(dict.fromkeys(faults)))
    return names


def _row(header: list[str], cells: list[str], line: int, source: str, faults: list[str]) -> BenchRow | None:
    """One reading, or None with what is wrong added to `faults`."""
    place = f"{source}: line {line}"
    if len(cells) != len(header):
        faults.append(f"{place}: has {len(cells)} cells, the header {len(header)}; quote a cell with a comma in it")
        return None
    values: dict[str, float] = {}
    away, before = False, len(faults)
    for name, cell in zip(header, cells, strict=True):
        text = cell.strip()
        if name == "hand_distance" and text.lower() == AWAY:
            away = True
        elif text or name in REQUIRED:
            try:
                values[name] = _cell(name, text)
            except DesignError as error:
                faults.append(f"{place}: {name} = {text[:40]!r}: {error}")
    if len(faults) > before:
        return None
    return BenchRow(line, away=away, **values)


def _cell(name: str, text: str) -> float:
    unit, low, high = COLUMNS[name]
    if name == "trimmer" and text.lower() in TRIMMER_ENDS:
        return TRIMMER_ENDS[text.lower()]
    value = parse(text, unit)
    if not low <= value <= high:
        raise DesignError(f"must be between {format_quantity(low, unit)} and {format_quantity(high, unit)}")
    return value
