"""Small pieces of HTML: every text is escaped here, in one place; and quantities as they are printed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from synth.designs.quantity import format_quantity

NO_BREAK = "\N{NO-BREAK SPACE}"
DASH = "\N{EN DASH}"
MINUS = "\N{MINUS SIGN}"


def text(value: str) -> str:
    """`value` as HTML text, fit for attributes too; a percent sign stays with its number."""
    return escape(value.replace(" %", f"{NO_BREAK}%"), quote=True)


def tag(name: str, inner: str, **attributes: str) -> str:
    """An element around ready HTML; `class_` stands for class, `_` for `-` in a name."""
    written = "".join(f' {key.rstrip("_").replace("_", "-")}="{text(value)}"' for key, value in attributes.items())
    return f"<{name}{written}>{inner}</{name}>"


def section(title: str, *parts: str, class_: str = "") -> str:
    """A section with its heading."""
    heading = tag("h2", text(title))
    inner = "\n".join([heading, *parts])
    return tag("section", f"\n{inner}\n", class_=class_) if class_ else tag("section", f"\n{inner}\n")


def paragraph(value: str, class_: str = "") -> str:
    """A paragraph of plain text."""
    return tag("p", text(value), class_=class_) if class_ else tag("p", text(value))


def bullets(lines: Iterable[str]) -> str:
    """An unordered list of plain texts."""
    return tag("ul", "".join(tag("li", text(line)) for line in lines))


def steps(lines: Iterable[str]) -> str:
    """A numbered list of plain texts, each with a box to tick."""
    box = tag("span", "", class_="box")
    return tag("ol", "\n".join(tag("li", box + text(line)) for line in lines), class_="steps")


def table(
    heads: Sequence[str], rows: Iterable[Sequence[str] | str], numbers: Sequence[int] = (), class_: str = ""
) -> str:
    """A table of plain texts; `numbers` names the columns that line up at the right. A row that is one text heads the
    rows after it.
    """
    kind = {column: {"class_": "number"} for column in numbers}
    head = "".join(tag("th", text(name), scope="col", **kind.get(at, {})) for at, name in enumerate(heads))
    groups: list[list[str]] = [[]]
    for row in rows:
        if isinstance(row, str):
            title = tag("th", text(row), scope="rowgroup", colspan=str(len(heads)))
            groups.append([tag("tr", title, class_="group")])
        else:
            cells = (tag("td", text(cell), **kind.get(at, {})) for at, cell in enumerate(row))
            groups[-1].append(tag("tr", "".join(cells)))
    body = "\n".join(tag("tbody", "\n".join(group)) for group in groups if group)
    inner = f"<thead><tr>{head}</tr></thead>\n{body}"
    return tag("table", inner, class_=class_) if class_ else tag("table", inner)


def quantity(value: float, unit: str, digits: int = 4) -> str:
    """A quantity as printed: no break before the unit, real micro, ohm and minus signs."""
    number, _, symbol = format_quantity(value, unit, digits).partition(" ")
    number = number.replace("-", MINUS)
    symbol = ("µ" + symbol[1:] if symbol.startswith("u") else symbol).replace("ohm", "Ω")
    return f"{number}{NO_BREAK}{symbol}" if symbol else number


def reading(value: float, unit: str) -> str:
    """A reading with the places that a bench instrument shows: kHz to 10 Hz, notes to 1 Hz, volts to 10 mV."""
    if unit == "Hz":
        return f"{value / 1e3:.2f}{NO_BREAK}kHz" if abs(value) >= 10e3 else f"{value:.0f}{NO_BREAK}Hz"
    return f"{value:.2f}{NO_BREAK}V" if unit == "V" else quantity(value, unit, 3)


def span(low: float, high: float, unit: str) -> str:
    """ "240.10 to 266.35 kHz": two readings of one unit."""
    first, last = reading(low, unit), reading(high, unit)
    (number, _, symbol), end = first.partition(NO_BREAK), last.partition(NO_BREAK)[2]
    return f"{number} to{NO_BREAK}{last}" if symbol == end else f"{first} to{NO_BREAK}{last}"


def percent(fraction: float, digits: int = 2, sign: bool = False) -> str:
    """A fraction in percent, with its sign where asked for."""
    size = f"{100.0 * abs(fraction):.{digits}g}"
    before = MINUS if fraction < 0.0 else "+" if sign else ""
    return f"{before}{size}{NO_BREAK}%"


def grouped(pairs: Iterable[tuple[str, Sequence[str]]]) -> list[Sequence[str] | str]:
    """Rows for `table` from pairs of heading and row: a heading once, before the first of its rows."""
    rows: list[Sequence[str] | str] = []
    last = ""
    for heading, row in pairs:
        rows += [row] if heading == last else [heading[:1].upper() + heading[1:], row]
        last = heading
    return rows


def centimetres(distance: float | None) -> str:
    """A distance in cm to 1 mm, or a dash."""
    return DASH if distance is None else f"{100.0 * distance:.1f}{NO_BREAK}cm"
