"""A circuit diagram drawn with the symbols of IEC 60617, as SVG or PNG; by schemdraw, imported when one is wanted."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType
from typing import Any

from synth.analysis.circuit_diagram import CircuitDiagram
from synth.analysis.diagram_geometry import EM, LINE, REACH, Placed, Point, Text
from synth.files.atomic_file import atomic_path
from synth.libraries import require
from synth.report.figure import INK, QUIET, checked_plot_path

HIGH_VOLTAGE = "These voltages can kill. Leave building and measuring to people trained for it; local codes come first."
WARNING = "#a63600"
INCHES = 0.42
BASE_LINE = 0.95  # from the top of a line of text down to its base line, heights of the type
PNG_DOTS = 150.0


def save_diagram(diagram: CircuitDiagram, target: str, force: bool) -> None:
    """Draw a circuit into the file `target`, .svg or .png, whole or not at all.

    Raises DesignError and DeviceError for a file that cannot be written or a library that is missing.
    """
    path = checked_plot_path(target)
    content = _drawn(diagram, path)
    with atomic_path(path, force) as temporary:
        temporary.write_bytes(content)


def diagrams_as_svg(diagrams: Mapping[str, CircuitDiagram]) -> dict[str, tuple[str, str]]:
    """Every diagram as SVG text, to stand in a page, and its remark, by its title."""
    return {
        title: (_drawn(diagram, Path("diagram.svg")).decode("utf-8"), diagram.remark)
        for title, diagram in diagrams.items()
    }


def _drawn(diagram: CircuitDiagram, path: Path) -> bytes:
    """The diagram as the bytes of an SVG or PNG file, with a caution below it where its voltages are dangerous."""
    layout = diagram.layout
    kind = path.suffix.lower()[1:]
    schemdraw = _library(kind)
    elm = schemdraw.elements
    left, lowest, right, _ = layout.box
    with schemdraw.Drawing(show=False, canvas="svg" if kind == "svg" else "matplotlib") as sheet:
        sheet.config(unit=2.0 * REACH, inches_per_unit=INCHES, font="DejaVu Sans", color=INK, lw=1.2, margin=0.8)
        for wires in layout.wires.values():
            for first, second in wires:
                sheet.add(elm.Line().at(first).to(second))
        for dot in layout.junctions:
            sheet.add(elm.Dot().at(dot))
        for one in layout.placed:
            _draw(sheet, elm, one)
        if diagram.dangerous:
            _write(sheet, elm, Text((HIGH_VOLTAGE,), (left, lowest - 1.2)), WARNING)
        dots = min(PNG_DOTS, 9000.0 / (INCHES * (right - left)))
        return bytes(sheet.get_imagedata(kind) if kind == "svg" else _png(sheet, dots))


def _library(kind: str) -> ModuleType:
    """Schemdraw, for an SVG without matplotlib: it needs none, but loads it where it can be had, before anything can be
    told to it (`schemdraw.use` comes too late). Measured: 0.42 s of processor time with it, 0.03 s without.
    """
    name, backend = "schemdraw", "schemdraw.backends.mpl"
    loaded = [module for module in sys.modules if module.partition(".")[0] == name]
    if kind == "svg" and not loaded:
        sys.modules[backend] = None  # type: ignore[assignment]  # what an import takes for a module that is missing
        try:
            return require(name, "a circuit diagram")
        finally:
            del sys.modules[backend]
    if kind != "svg" and backend not in loaded:  # loaded for an SVG before
        for module in loaded:
            del sys.modules[module]
    return require(name, "a circuit diagram")


def _png(sheet: Any, dots: float) -> bytes:
    import io

    figure, made = sheet.draw(show=False), io.BytesIO()
    figure.save(made, dpi=dots)
    return made.getvalue()


def _draw(sheet: Any, elm: ModuleType, one: Placed) -> None:
    """Draw one symbol with its short wires and its label."""
    symbol, kind = one.symbol, one.symbol.kind
    colour = QUIET if symbol.faint or kind == "text" else INK
    if one.label is not None:
        _write(sheet, elm, one.label, colour)
    if kind == "text":
        sheet.add(elm.Dot(open=True).at(one.centre))
        return
    standing = {"supply": elm.Vdd, "ground": elm.Ground, "antenna": elm.Antenna}
    if kind in standing:
        sheet.add(standing[kind]().at(one.centre))
        return
    two_ended = {
        "resistor": elm.ResistorIEC,
        "potentiometer": elm.ResistorIEC,
        "capacitor": elm.Capacitor,
        "trimmer": elm.CapacitorTrim,
        "coil": elm.Inductor,
        "diode": elm.Diode,
    }
    if kind in two_ended:
        sheet.add(two_ended[kind]().at(one.at(0.0, REACH)).to(one.at(0.0, -REACH)).color(colour))
        if kind == "potentiometer":
            sheet.add(elm.Arrow(headwidth=0.16, headlength=0.2).at(one.at(REACH, 0.0)).to(one.at(0.2, 0.0)))
        elif "right" in symbol.ends:
            sheet.add(elm.Line().at(one.at(REACH, 0.0)).to(one.at(0.0, 0.0)))
        return
    for _, (first, second) in one.stubs:
        sheet.add(elm.Line().at(first).to(second))
    _draw_device(sheet, elm, one)


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
    kind = one.symbol.kind

    def at(point: Point) -> Point:
        return one.at(*point)

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


def _write(sheet: Any, elm: ModuleType, text: Text, colour: str) -> None:
    """Lines of text in their place, each on its base line."""
    from schemdraw.segments import SegmentText

    (x, y), size = text.place, text.size * EM * INCHES * 72.0
    for number, line in enumerate(text.lines):
        base = y + text.size * (LINE * (0.5 * len(text.lines) - number) - BASE_LINE * EM)
        written = elm.Element()
        written.segments.append(SegmentText((0.0, 0.0), line, align=(text.align, "base"), color=colour, fontsize=size))
        sheet.add(written.at((x, base)).right())
