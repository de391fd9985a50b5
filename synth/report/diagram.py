"""A circuit diagram drawn with the symbols of IEC 60617, as SVG or PNG; by schemdraw, imported when one is wanted."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType
from typing import Any

from synth.analysis.circuit_diagram import CircuitDiagram
from synth.analysis.diagram_layout import BODY, Placed, Point
from synth.files.atomic_file import atomic_path
from synth.libraries import require
from synth.report.figure import INK, QUIET, checked_plot_path

HIGH_VOLTAGE = "These voltages can kill. Leave building and measuring to people trained for it; local codes come first."
WARNING = "#a63600"
FONT = 12.0
PNG_DOTS = 150.0


def save_diagram(diagram: CircuitDiagram, target: str, force: bool) -> None:
    """Draw a circuit into the file `target`, .svg or .png, whole or not at all.

    Raises DesignError and DeviceError for a file that cannot be written or a library that is missing.
    """
    path = checked_plot_path(target)
    content = _drawn(diagram, path)
    with atomic_path(path, force) as temporary:
        temporary.write_bytes(content)


def diagrams_as_svg(diagrams: Mapping[str, CircuitDiagram]) -> dict[str, str]:
    """Every diagram as SVG text, to stand in a page, by its title."""
    return {title: _drawn(diagram, Path("diagram.svg")).decode("utf-8") for title, diagram in diagrams.items()}


def _drawn(diagram: CircuitDiagram, path: Path) -> bytes:
    """The diagram as the bytes of an SVG or PNG file, with a caution below it where its voltages are dangerous."""
    layout = diagram.layout
    schemdraw = require("schemdraw", "a circuit diagram")
    import schemdraw.elements as elm

    kind = path.suffix.lower()[1:]
    with schemdraw.Drawing(show=False, canvas="svg" if kind == "svg" else "matplotlib") as sheet:
        sheet.config(unit=BODY, inches_per_unit=0.42, fontsize=FONT, font="DejaVu Sans", color=INK, lw=1.2)
        for first, second in layout.rails.values():
            if first != second:
                sheet.add(elm.Line().at(first).to(second))
        for dot in sorted(layout.junctions):
            sheet.add(elm.Dot().at(dot))
        for one in layout.placed:
            _draw(sheet, elm, one)
        if diagram.dangerous:
            lowest = min(height for (_, height), _ in layout.rails.values())
            _write(sheet, elm, (HIGH_VOLTAGE,), (0.0, lowest - 2.0), WARNING)
        dots = min(PNG_DOTS, 9000.0 / (0.42 * layout.width))
        return bytes(sheet.get_imagedata(kind) if kind == "svg" else _png(sheet, dots))


def _png(sheet: Any, dots: float) -> bytes:
    import io

    figure, made = sheet.draw(show=False), io.BytesIO()
    figure.save(made, dpi=dots)
    return made.getvalue()


def _draw(sheet: Any, elm: ModuleType, one: Placed) -> None:
    """Draw one symbol with its wires, dots and label."""
    symbol, (x, y) = one.symbol, one.centre
    for first, second in one.wires:
        sheet.add(elm.Line().at(first).to(second))
    if symbol.kind == "text":
        (rail,) = one.dots
        sheet.add(elm.Dot(open=True).at(rail))
        _write(sheet, elm, symbol.label, (rail[0] - 0.1, rail[1] + 0.68), QUIET)
        return
    if "rail" in symbol.ends:
        (rail,) = one.dots
        ends = {"supply": elm.Vdd, "ground": elm.Ground, "antenna": elm.Antenna}
        if symbol.kind == "ground":
            sheet.add(elm.Ground().at(rail))
            return
        sheet.add(ends[symbol.kind]().at((rail[0], rail[1] + 0.7)))
        _write(sheet, elm, symbol.label, (rail[0] + 0.7, rail[1] + 1.2), INK)
        return
    tip = 0.5 * BODY * (-1.0 if one.turned else 1.0)
    top, bottom = (x, y + tip), (x, y - tip)
    two_ended = {
        "resistor": elm.ResistorIEC,
        "potentiometer": elm.ResistorIEC,
        "capacitor": elm.Capacitor,
        "trimmer": elm.CapacitorTrim,
        "coil": elm.Inductor,
        "diode": elm.Diode,
    }
    if symbol.kind in two_ended:
        sheet.add(two_ended[symbol.kind]().at(top).to(bottom))
        if symbol.kind == "potentiometer":
            sheet.add(elm.Arrow(headwidth=0.16, headlength=0.2).at((x + 0.45, y)).to((x + 0.2, y)))
        elif "right" in symbol.ends:
            sheet.add(elm.Line().at((x + 0.45, y)).to((x, y)))
    else:
        _draw_device(sheet, elm, one)
    _write(sheet, elm, symbol.label, one.label_place, INK)


# Devices as lines between points, from the middle of the body, top end upwards; IEC 60617-5 in a plain form.
_BAR = -0.15
_UPRIGHT = {
    "npn": (
        ((_BAR, 0.35), (_BAR, -0.35)),
        ((_BAR, 0.12), (0.0, 0.4), (0.0, 1.0)),
        ((_BAR, -0.12), (0.0, -0.4), (0.0, -1.0)),
    ),
    "n-channel": (
        ((_BAR, 0.4), (_BAR, -0.4)),
        ((_BAR, 0.28), (0.0, 0.28), (0.0, 1.0)),
        ((_BAR, -0.28), (0.0, -0.28), (0.0, -1.0)),
    ),
    "triode": (
        ((-0.25, 0.28), (0.25, 0.28)),
        ((0.0, 0.28), (0.0, 1.0)),
        ((-0.22, -0.36), (-0.22, -0.28), (0.22, -0.28)),
        ((0.0, -0.28), (0.0, -1.0)),
    ),
    "inverter": (
        ((-0.35, 0.45), (-0.35, -0.45), (0.3, 0.0), (-0.35, 0.45)),
        ((0.0, 0.21), (0.0, 1.0)),
        ((0.0, -0.21), (0.0, -1.0)),
    ),
}
_UPRIGHT["pnp"], _UPRIGHT["p-channel"] = _UPRIGHT["npn"], _UPRIGHT["n-channel"]
_ARROWS = {  # at the emitter or the gate: the way of the current of a forward junction
    "npn": ((_BAR, -0.12), (0.0, -0.4)),
    "pnp": ((0.0, 0.4), (_BAR, 0.12)),
    "n-channel": ((-0.45, 0.0), (_BAR, 0.0)),
    "p-channel": ((_BAR, 0.0), (-0.45, 0.0)),
}


def _draw_device(sheet: Any, elm: ModuleType, one: Placed) -> None:
    """Draw a device in its place."""
    (x, y), kind = one.centre, one.symbol.kind
    sign = -1.0 if one.turned else 1.0

    def at(point: Point) -> Point:
        return x + point[0], y + sign * point[1]

    def line(*points: Point, **look: Any) -> None:
        for first, second in itertools.pairwise(points):
            sheet.add(elm.Line(**look).at(at(first)).to(at(second)))

    if kind != "inverter":
        sheet.add(elm.Dot(radius=0.52, open=True).zorder(0).at(at((-0.05 if kind != "triode" else 0.0, 0.0))))
    for points in _UPRIGHT[kind]:
        line(*points)
    if kind == "triode":
        line((-0.45, 0.0), (-0.3, 0.0))
        line((-0.3, 0.0), (0.3, 0.0), ls="--")
    elif kind == "inverter":
        line((-0.45, 0.0), (-0.35, 0.0))
        sheet.add(elm.Dot(radius=0.075, open=True).at(at((0.375, 0.0))))
    else:
        line((-0.45, 0.0), (_BAR, 0.0))
        first, second = _ARROWS[kind]
        sheet.add(elm.Arrow(headwidth=0.16, headlength=0.18).at(at(first)).to(at(second)))


def _write(sheet: Any, elm: ModuleType, lines: tuple[str, ...], place: tuple[float, float], colour: str) -> None:
    """A label of one or more lines, its left end and its middle at `place`."""
    if lines:
        text = elm.Label().at(place).label("\n".join(lines), loc="center", halign="left", valign="center")
        sheet.add(text.color(colour))
