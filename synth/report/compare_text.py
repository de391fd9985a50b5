"""Any number of designs in one table for a person, and how its figures are written."""

from __future__ import annotations

from typing import Any

from synth.analysis.compare_figures import CompareFigures, DesignRow
from synth.report.compare_plot import save_compare_plot
from synth.report.written import Form, columns_of, rows_csv

_FACTS = (
    ("reference", "reference_frequency_hz", "kHz"),
    ("mode", "mode", ""),
    ("zero beat", "zero_beat_m", "cm"),
    ("playable from", "playable_near_m", "cm"),
    ("playable to", "playable_far_m", "cm"),
    ("lowest note", "lowest_hz", "Hz"),
    ("highest note", "highest_hz", "Hz"),
    ("whole octaves, C to C", "octaves", ""),
    ("unevenness over them, RMS", "linearity_rms_cents", "cents"),
    ("unevenness over RANGE, RMS", "range_rms_cents", "cents"),
    ("RANGE from", "range_near_m", "cm"),
    ("RANGE to", "range_far_m", "cm"),
    ("steepness at A4", "cents_per_mm_at_a4", "cents/mm"),
    ("gain for equal level", "gain_db", "dB"),
    ("level, sounding parts", "level_db", "dB"),
)
_SCALES = {"kHz": (1e-3, 3), "cm": (100.0, 1), "Hz": (1.0, 1), "cents": (1.0, 0), "cents/mm": (1.0, 1), "dB": (1.0, 1)}


def compare_text(report: CompareFigures) -> str:
    """The table for a person, one column a design."""
    heard = any(row.gain_db is not None for row in report.designs)
    columns = [[str(number) + " " + row.design for number, row in enumerate(report.designs, start=1)]]
    labels = [""]
    for label, name, unit in _FACTS:
        if unit == "dB" and not heard:
            continue
        labels.append(label.replace("RANGE", f"{report.low_hz:.0f}-{report.high_hz:.0f} Hz"))
        columns.append([shown(getattr(row, name), unit) for row in report.designs])
    widths = [max(14, *(len(column[number]) + 2 for column in columns)) for number in range(len(report.designs))]
    lines = [
        f"{label:<34}" + "".join(f"{cell:>{width}}" for cell, width in zip(column, widths, strict=True))
        for label, column in zip(labels, columns, strict=True)
    ]
    lines += [f"note: {row.design}: {notice}" for row in report.designs for notice in row.notices]
    return "\n".join(lines) + "\n"


def shown(value: Any, unit: str) -> str:
    """One cell of the table."""
    if value is None:
        return "-"
    if unit not in _SCALES:
        return str(value)
    scale, digits = _SCALES[unit]
    return f"{scale * value:.{digits}f} {unit}"


COLUMNS = columns_of(DesignRow, "notices")
COMPARE = Form("beatfield.compare/1", compare_text, lambda made: rows_csv(COLUMNS, made.designs), save_compare_plot)
