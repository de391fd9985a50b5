"""Readings from the bench as CSV in everyday units: a header, then one line a reading of the whole instrument.

What was read: frequency of an oscillator, pitch of the beat. What was set: fitted_capacitor; and where it was so
trimmer and fine_trimmer (0 to 1, or "out" and "in"; a reference that stands at zero beat: "tuned"), hand_distance (or
"away" for an antenna with nobody near), reverse_voltage (across the junction) or pot (0 to 1, of a design with a
circuit), oscillator, board (any name; "none": coil and fitted capacitor alone, off every board, read by a generator
with a loose probe), supply, load and probe. Of the volume oscillator hand_distance is the height over the ring, and
control the rectified voltage behind its resonance. An empty cell: that part was not there, or as designed. Without a
column the part counts as stray, or with a design as the design has it. A line that begins with # is a remark. Faults
are reported together, each with its line and a remedy.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from models.pitch import frequency_of_note, parse_note
from models.quick_dataclass import dataclass
from synth.build.circuit_assembly import OSCILLATORS
from synth.designs.quantity import format_quantity, parse
from synth.designs.schema import did_you_mean
from synth.errors import DesignError
from synth.files.input_file import read_text
from synth.files.plain_text import counted

LARGEST_FILE = 1_000_000  # bytes
MOST_ROWS = 200
AWAY, TUNED = "away", "tuned"
TRIMMER_ENDS = {"out": 0.0, "in": 1.0}
_SHOWN_FAULTS = 10
_EXAMPLE = "fitted_capacitor,frequency"
_LONGEST_NAME = 40

_TRANSISTOR_ENDS = ("base", "emitter", "collector", "gate", "source", "drain")
_OTHER_ENDS = ("grid", "cathode", "anode", "input", "output")
DC_POINTS = tuple(f"dc_{end}" for end in (*_TRANSISTOR_ENDS, *_OTHER_ENDS))
"""Columns of the DC voltage at an end of the device that keeps the oscillation up."""

# column -> unit, lowest, highest (SI)
QUANTITIES = {
    "fitted_capacitor": ("F", 0.0, 1e-6),
    "frequency": ("Hz", 1e3, 1e8),
    "pitch": ("Hz", 1.0, 20e3),
    "trimmer": ("fraction", 0.0, 1.0),
    "fine_trimmer": ("fraction", 0.0, 1.0),
    "hand_distance": ("m", 0.005, 5.0),
    "reverse_voltage": ("V", 0.0, 100.0),
    "pot": ("fraction", 0.0, 1.0),
    "supply": ("V", 0.5, 400.0),
    "load": ("ohm", 1.0, 1e9),
    "probe": ("F", 0.0, 1e-9),
    **dict.fromkeys(DC_POINTS, ("V", -400.0, 400.0)),
    "swing": ("V", 1e-3, 1e3),
    "control": ("V", 0.0, 500.0),
}
NAMES = ("oscillator", "board")
COLUMNS = (*QUANTITIES, *NAMES)
VOLTS = (*DC_POINTS, "swing")
CONTROL, BARE = "control", "none"
READ = ("frequency", "pitch", *VOLTS, CONTROL)
"""Columns that hold what was read; the others hold what was set."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What was set for a reading, SI units. None: that part was not there, or as the design has it.

    away: antenna plugged, nobody near. tuned: the reference stands where zero beat is. oscillator, board: "" not said.
    """

    fitted_capacitor: float | None = None
    trimmer: float | None = None
    fine_trimmer: float | None = None
    hand_distance: float | None = None
    away: bool = False
    tuned: bool = False
    reverse_voltage: float | None = None
    pot: float | None = None
    supply: float | None = None
    load: float | None = None
    probe: float | None = None
    oscillator: str = ""
    board: str = ""

    @property
    def bare(self) -> bool:
        """Whether the coil was read alone with the fitted capacitor, off every board."""
        return self.board == BARE

    @property
    def antenna_plugged(self) -> bool:
        """Whether the antenna was connected."""
        return self.away or self.hand_distance is not None


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One line of the file: what was set, and what was read, by column, SI."""

    line: int
    setting: Setting
    read: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Readings:
    """The lines of a file and the columns that it has; `source` names it in messages."""

    rows: tuple[BenchRow, ...]
    columns: tuple[str, ...]
    source: str = "readings"


def load_readings(path: Path) -> Readings:
    """The readings in the CSV file `path`; DesignError lists the first ten faults with their lines, counts the rest."""
    text = read_text(
        path,
        LARGEST_FILE,
        "name a CSV file",
        f"give a CSV file with the columns {_EXAMPLE}",
        "a list of readings is never that large",
    )
    return read_readings(text, str(path))


def read_readings(text: str, source: str = "readings") -> Readings:
    """The readings in CSV `text`; `source` names it in messages."""
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    faults: list[str] = []
    rows: list[BenchRow] = []
    header: list[str] | None = None
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
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
        more = (
            [f"{source}: and {counted(len(faults) - _SHOWN_FAULTS, 'more fault')}"]
            if len(faults) > _SHOWN_FAULTS
            else []
        )
        raise DesignError("\n".join(faults[:_SHOWN_FAULTS] + more))
    if not rows:
        raise DesignError(f"{source}: has no readings; write one line for each below the header")
    return Readings(tuple(rows), tuple(header), source)


def _header(cells: list[str], place: str) -> list[str]:
    if len(cells) > len(COLUMNS) + 8:
        raise DesignError(f"{place}: has {len(cells)} columns; readings have at most {len(COLUMNS)}")
    names = [cell.strip().lower() for cell in cells]
    if len(names) == 1 and ";" in names[0]:
        raise DesignError(
            f"{place}: the cells are separated by semicolons; put commas between them, and write decimals with a point "
            '("231.4 kHz"): a spreadsheet does so when it saves with English numbers'
        )
    if len(names) == 1 and "\t" in names[0]:
        raise DesignError(f"{place}: the cells are separated by tabs; put commas between them")
    if any(name[:1].isdigit() for name in names):
        raise DesignError(f"{place}: is a reading; begin with a line that names the columns, {_EXAMPLE}")
    faults = []
    for name in names:
        if not name:
            faults.append(f"{place}: a column has no name; delete the comma before it, or name the column")
        elif name not in COLUMNS:
            hint = did_you_mean(name, COLUMNS) or f"; columns are {', '.join(COLUMNS)}"
            faults.append(f"{place}: unknown column {name[:_LONGEST_NAME]!r}{hint}")
        elif names.count(name) > 1:
            faults.append(f"{place}: column {name!r} stands twice")
    if "pot" in names and "reverse_voltage" in names:
        faults.append(f"{place}: pot and reverse_voltage say the same thing; leave one column out")
    if not any(name in names for name in READ):
        faults.append(
            f"{place}: column frequency is missing (or one of {', '.join(READ[1:])}); begin with the header {_EXAMPLE}"
        )
    if faults:
        raise DesignError("\n".join(dict.fromkeys(faults)))
    return names


def _row(header: list[str], cells: list[str], line: int, source: str, faults: list[str]) -> BenchRow | None:
    """One line, or None with what is wrong added to `faults`."""
    place = f"{source}: line {line}"
    if len(cells) != len(header):
        faults.append(
            f"{place}: has {counted(len(cells), 'cell')}, the header {len(header)}; {_of_cells(cells, len(header))}"
        )
        return None
    values: dict[str, Any] = {}
    before = len(faults)
    for name, cell in zip(header, cells, strict=True):
        text = cell.strip()
        word = text.lower()
        try:
            if name == "hand_distance" and word == AWAY:
                values["away"] = True
            elif name == "trimmer" and word == TUNED:
                values["tuned"] = True
            elif name == "oscillator" and text:
                values[name] = _oscillator(word)
            elif name == "board":
                values[name] = _board(text)
            elif text or (name == "fitted_capacitor" and "pitch" not in header):
                values[name] = _cell(name, text)
        except DesignError as error:
            hint = _swapped(name, text, header) if text else AS_DESIGNED.get(name, "")
            faults.append(f"{place}: {name} = {text[:_LONGEST_NAME]!r}: {error}{hint}")
    if len(faults) > before:
        return None
    read = {name: values.pop(name) for name in READ if name in values}
    if not read:
        wanted = [name for name in READ if name in header]
        faults.append(f"{place}: {wanted[0]} = '': is empty; write what was read, or leave the line out")
        return None
    if "pitch" in read and not (values.get("away") or "hand_distance" in values):
        faults.append(f"{place}: pitch needs hand_distance, or {AWAY!r} with nobody near")
        return None
    return BenchRow(line, Setting(**values), read)


AS_DESIGNED = {"fitted_capacitor": "; where it is the design's own, write its value"}
"""What to do about an empty cell, by column."""


def _of_cells(cells: list[str], wanted: int) -> str:
    """What to do about a line with too many or too few cells."""
    if len(cells) > wanted:
        if not any(cell.strip() for cell in cells[wanted:]):
            return "delete the commas at its end"
        if any(_is_comma(*pair) for pair in zip(cells, cells[1:], strict=False)):
            return "write decimals with a point (231.4 kHz)"
        return "quote a cell with a comma in it"
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if any(mark in cell for cell in cells):
            return f"its cells are separated by {name}; put commas between them"
    return "write one cell for each column, with commas between; a cell may be empty"


def _is_comma(first: str, second: str) -> bool:
    """Whether two cells look like one number with a decimal comma between."""
    return first.strip().isdigit() and second.strip()[:1].isdigit()


def _oscillator(word: str) -> str:
    if word not in OSCILLATORS:
        raise DesignError(f"must be one of {', '.join(OSCILLATORS)}{did_you_mean(word, OSCILLATORS)}")
    return word


def _board(text: str) -> str:
    if len(text) > _LONGEST_NAME or not text.isprintable():
        raise DesignError(f"must be a printable name of at most {_LONGEST_NAME} characters")
    return BARE if text.lower() == BARE else text


def _cell(name: str, text: str) -> float:
    unit, low, high = QUANTITIES[name]
    if name in ("trimmer", "fine_trimmer") and text.lower() in TRIMMER_ENDS:
        return TRIMMER_ENDS[text.lower()]
    if name == "pitch" and text[:1].upper() in "ABCDEFG" and text[:1]:
        try:
            return float(frequency_of_note(parse_note(text)))
        except ValueError as error:
            raise DesignError(str(error)) from None
    try:
        value = parse(text, unit)
    except DesignError as error:
        if name != "pitch":
            raise
        raise DesignError("is no note and no frequency; write for example 'A4' or '440 Hz'") from error
    if not low <= value <= high:
        factor = next((by for by in (1e3, 1e-3) if low < by * value <= high), None)
        slip = name in ("frequency", "fitted_capacitor") and factor is not None and value > 0.0
        remedy = f"; was it {format_quantity((factor or 1.0) * value, unit, 9)}?" if slip else ""
        if unit == "fraction" and 1.0 < value <= 100.0:
            remedy = f"; in percent write '{value:g} %'"
        raise DesignError(f"must be between {format_quantity(low, unit)} and {format_quantity(high, unit)}{remedy}")
    return value


def _swapped(name: str, text: str, header: list[str]) -> str:
    """A remedy where the cell is what another column wants."""
    if name not in QUANTITIES:
        return ""
    for other in header:
        if other == name or other not in QUANTITIES or QUANTITIES[other][0] == QUANTITIES[name][0]:
            continue
        unit, low, high = QUANTITIES[other]
        if unit == "fraction":
            continue
        try:
            if text and low <= parse(text, unit) <= high:
                return f"; it is what the column {other} wants: are the cells swapped?"
        except DesignError:
            continue
    return ""
