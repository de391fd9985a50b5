"""Limits on the field that an unlicensed transmitter may leave, as one example of such rules.

The figures are those of the United States, 47 CFR 15.209(a), from memory; other places have their own, and amateur or
other licensed practice its own again. They speak of the field measured at a distance: what a circuit radiates is not
computed here.
"""

from __future__ import annotations

from models.checks import positive
from models.quick_dataclass import dataclass

LOWEST, HIGHEST = 9e3, 88e6  # Hz, of the rows kept here; the rule itself goes on above


@dataclass(frozen=True, slots=True)
class FieldLimit:
    """An electric field, V/m, that may not be exceeded at a distance, m."""

    field: float
    distance: float


def general_field_limit(frequency: float) -> FieldLimit:
    """The general limit at a `frequency`, Hz, from 9 kHz to 88 MHz; ValueError outside.

    47 CFR 15.209(a), f in kHz: 9 to 490 kHz 2400/f uV/m at 300 m; 490 to 1705 kHz 24000/f uV/m at 30 m; 1.705 to
    30 MHz 30 uV/m at 30 m; 30 to 88 MHz 100 uV/m at 3 m. At an edge the tighter limit applies (15.209(b)).
    """
    carrier = positive("frequency", frequency)
    if not LOWEST <= carrier <= HIGHEST:
        raise ValueError(f"frequency must be between {LOWEST:g} and {HIGHEST:g} Hz; got {carrier:g}")
    if carrier < 490e3:
        return FieldLimit(2400e-6 / (carrier / 1e3), 300.0)
    if carrier <= 1705e3:
        return FieldLimit(24000e-6 / (carrier / 1e3), 30.0)
    return FieldLimit(30e-6, 30.0) if carrier < 30e6 else FieldLimit(100e-6, 3.0)
