"""Where everything stands in the window: boxes from its size, the text size, and which hand plays the pitch."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import fields, replace
from typing import Any

from models.checks import positive
from models.quick_dataclass import dataclass
from synth.window.box import Box as Box

SMALLEST = (900, 560)  # pixels, at text sizes up to 100 %; below it the window only asks to be enlarged
SMALLEST_FOR_LARGEST = (1024, 640)  # at the largest text size
TEXT_SCALES = (0.8, 1.6)
_DESIGN_SIZE = (1280.0, 720.0)


@dataclass(frozen=True, slots=True)
class TextSizes:
    """Heights in pixels: captions and numbers, readouts, headings, the tuner's note."""

    small: int
    normal: int
    large: int
    note: int


def drawing_scale(size: tuple[int, int]) -> float:
    """Size of the drawing against the one it was designed at, 1280 x 720 pixels."""
    return min(size[0] / _DESIGN_SIZE[0], size[1] / _DESIGN_SIZE[1])


def checked_text_scale(text_scale: float) -> float:
    """`text_scale` if it is from 0.8 to 1.6; else ValueError."""
    value = positive("text_scale", text_scale)
    if not TEXT_SCALES[0] - 1e-9 <= value <= TEXT_SCALES[1] + 1e-9:
        raise ValueError(f"text_scale must be from {TEXT_SCALES[0]} to {TEXT_SCALES[1]}; got {value:g}")
    return value


def text_sizes(size: tuple[int, int], text_scale: float, normal: float = 15.0) -> TextSizes:
    """Sizes for a window of `size` pixels: at 100 % no text is below 11 pixels; the note grows less than the rest.

    `normal`: the readouts' in a window of usual size.
    """
    scale = drawing_scale(size)
    return TextSizes(
        small=round(max(11.0, 13.0 * scale) * text_scale),
        normal=round(max(12.0, normal * scale) * text_scale),
        large=round(max(17.0, 23.0 * scale) * min(text_scale, 1.3)),
        note=round(64.0 * scale * min(text_scale, 1.25)),
    )


def too_small(size: tuple[int, int], text_scale: float = 1.0) -> bool:
    """True where the window cannot hold its parts legibly: smaller than `needed_size`."""
    return any(have < want for have, want in zip(size, needed_size(text_scale), strict=True))


def needed_size(text_scale: float = 1.0) -> tuple[int, int]:
    """The smallest window at a text size, pixels: 900 x 560 up to 100 %, 1024 x 640 at 160 %."""
    share = max(0.0, (checked_text_scale(text_scale) - 1.0) / (TEXT_SCALES[1] - 1.0))
    across, down = (
        round(least + share * (most - least)) for least, most in zip(SMALLEST, SMALLEST_FOR_LARGEST, strict=True)
    )
    return across, down


CONTROL_ROWS = 23  # as many as the drawer is laid out for; more make the rows lower
_LOWEST_ROW = 1.7  # small text heights: a name above its slider
_HIGHEST_ROW = 3.3
_HINT_LINES = 4.1  # small text heights kept for the hint below the rows
_ROOMY_HINT = 6.2  # where the rows leave so much
_FIELD_PARTS = ("note_band", "volume_scale", "volume_way", "stage", "antenna", "distance_scale")
_OPEN_COLUMNS = 3  # of controls, in the stage's place
STRIP_LINES = 3
_STRIP_HEIGHT = 2.0  # small text heights of a line: names over short sliders
_STRIP_NAME = 1.25  # of them, the names'
_LEAST_STAGE = 0.5  # of the window's width; a drawer that would leave less is a strip
_LEAST_HEIGHT = 0.27  # of the window's height; a strip that would leave the stage less is left out


@dataclass(frozen=True, slots=True)
class Frame:
    """What the layouts of all windows have; `scale`: size of the drawing against that of 1280 x 720 pixels."""

    size: tuple[int, int]
    scale: float
    text: TextSizes
    title: Box
    flags: Box
    footer: Box

    def parts(self, hidden: Container[str] = ()) -> dict[str, Box]:
        """Every box but the `hidden` by its name."""
        names = [field.name for field in fields(self) if field.name not in hidden]
        return {name: value for name in names if isinstance(value := getattr(self, name), Box)}


@dataclass(frozen=True, slots=True)
class Layout(Frame):
    """Boxes of the playing window's parts.

    The boxes `seen` never overlap. The stage holds the field to scale; above it stand the note names, below it the
    centimetre scale, on the player's side the volume hand's way and its scale, on the other the antenna; `mirrored` has
    the antenna at the left, for a left hand. `oscillogram` and `spectrum` are None where they have no room. Where the
    drawer of controls has no room beside the stage (`drawer_is_strip`), it is a strip of short sliders below the
    readouts and the selected control's name and value stand in the footer; where the strip would leave a low stage it
    has no height. `with_open_drawer` lays all of it in the stage's place (`drawer_over_stage`). `page` is what help and
    caution take: stage, readouts and drawer.
    """

    mirrored: bool
    drawer_is_strip: bool
    drawer_over_stage: bool
    sides: Box
    status: Box
    notice: Box
    note_band: Box
    volume_scale: Box
    volume_way: Box
    stage: Box
    antenna: Box
    distance_scale: Box
    tuner: Box
    oscillogram: Box | None
    spectrum: Box | None
    chain: Box
    level: Box
    drawer: Box
    listening: Box
    page: Box

    @property
    def seen(self) -> dict[str, Box]:
        """The boxes seen together while playing, by name."""
        hidden = (
            "page",
            *(_FIELD_PARTS if self.drawer_over_stage else ()),
            *(() if self.drawer.height else ("drawer",)),
        )
        return self.parts(hidden)

    @property
    def volume_bar(self) -> Box:
        """What the volume hand moves along, in `volume_way`, as high as the stage."""
        gap, wide = max(3, round(5 * self.scale)), max(4, round(9 * self.scale))
        left = self.stage.right + gap if self.mirrored else self.stage.left - gap - wide
        return Box(left, self.stage.top, wide, self.stage.height)

    @property
    def drawer_room(self) -> Box:
        """The drawer less its margins."""
        across, down = round(12 * self.scale), round(10 * self.scale)
        return self.drawer if self.drawer_is_strip else self.drawer.shrunk(across, down)

    @property
    def drawer_hint(self) -> Box:
        """What the selected control does, at the foot of the drawer; of no height in a strip."""
        room = self.drawer_room
        spare = room.height / self.text.small - CONTROL_ROWS * _LOWEST_ROW
        own = min(max(spare, _HINT_LINES), _ROOMY_HINT)
        lines = 0.0 if self.drawer_is_strip else 2.2 if self.drawer_over_stage else own
        height = round(lines * self.text.small)
        return Box(room.left, room.bottom - height, room.width, height)

    def control_boxes(self, count: int) -> tuple[Box, ...]:
        """A place for each of `count` controls: rows of the drawer, or cells of the strip."""
        if count <= 0 or not self.drawer.height:
            return ()
        if self.drawer_is_strip:
            gap, half = round(0.2 * self.text.small), -(-count // STRIP_LINES)
            strips = self.drawer_room.rows((1.0,) * STRIP_LINES, 2)
            return tuple(cell for strip in strips for cell in strip.columns((1.0,) * half, gap))[:count]
        room = self.drawer_room
        top = room.top
        columns = _OPEN_COLUMNS if self.drawer_over_stage else 1
        lines = -(-count // columns)
        height = min((self.drawer_hint.top - top) // lines, round(_HIGHEST_ROW * self.text.small))
        places = Box(room.left, top, room.width, height * lines).columns((1.0,) * columns, self.text.small)
        return tuple(
            Box(places[number // lines].left, top + number % lines * height, places[number // lines].width, height)
            for number in range(count)
        )

    def row_line(self, row: Box) -> Box:
        """Where a row's name and value stand, above its slider."""
        inset = round(0.6 * self.text.small)
        spare = max(0, row.height - round(_LOWEST_ROW * self.text.small))
        return Box(row.left + inset, row.top + spare // 2, row.width - 2 * inset, round(1.25 * self.text.small))

    def strip_name(self, cell: Box) -> Box:
        """Where the name of a strip's cell stands."""
        return Box(cell.left, cell.top, cell.width, round(_STRIP_NAME * self.text.small))

    def slider_box(self, row: Box) -> Box:
        """The part of a control's place that is its slider: its left edge is 0, its right edge 1."""
        inset = round(0.6 * self.text.small)
        if self.drawer_is_strip:
            below = self.strip_name(row).bottom
            return Box(row.left + inset, below, row.width - 2 * inset, row.bottom - below - 2)
        line = self.row_line(row)
        return Box(line.left, line.bottom, line.width, min(round(0.8 * self.text.small), row.bottom - line.bottom))

    def with_open_drawer(self) -> Layout:
        """The same with the controls in the stage's place, where they have only a strip; else this layout itself."""
        if not self.drawer_is_strip:
            return self
        top, below = self.note_band.top, self.distance_scale
        drawer = Box(below.left, top, below.width, below.bottom - top)
        return replace(self, drawer=drawer, drawer_is_strip=False, drawer_over_stage=True)


def lay_out(size: tuple[int, int], text_scale: float = 1.0, mirrored: bool = False) -> Layout:
    """The layout of a window of `size` pixels at a text size of 0.8 to 1.6.

    ValueError where the window is `too_small` for that text size.
    """
    if too_small(size, text_scale):
        raise ValueError(
            f"size must be at least {SMALLEST[0]} x {SMALLEST[1]} pixels (more for large text); "
            f"got {size[0]} x {size[1]} at {100.0 * text_scale:.0f} %"
        )
    text, scale = text_sizes(size, checked_text_scale(text_scale)), drawing_scale(size)
    layout = _unmirrored(size, scale, text)
    if layout.drawer_is_strip and layout.stage.height < _LEAST_HEIGHT * size[1]:
        layout = _unmirrored(size, scale, text, no_strip=True)
    return _mirrored(layout) if mirrored else layout


def _unmirrored(size: tuple[int, int], scale: float, text: TextSizes, no_strip: bool = False) -> Layout:
    """Header and footer over the whole width; between them the drawer beside field and readouts.

    no_strip: where the drawer would be a strip it is left out.
    """
    width, height = size

    def px(length: float) -> int:
        return round(length * scale)

    margin, gap = px(20), px(14)
    header = Box(margin, px(10), width - 2 * margin, max(px(36), round(1.5 * text.large)))
    title, sides, flags, status = header.columns((0.26, 0.22, 0.27, 0.25), gap)
    notice = Box(margin, header.bottom, width - 2 * margin, round(1.6 * text.small))
    line = round(1.8 * text.small)
    foot = Box(margin, height - px(8) - line, width - 2 * margin, line)
    footer, listening = foot.columns((0.62, 0.38), gap)
    top = notice.bottom + px(6)
    page = Box(margin, top, width - 2 * margin, foot.top - px(8) - top)

    drawer_width = round(16.4 * text.small) + px(24)
    left, right = max(px(76), round(5.9 * text.small)) + px(20), max(px(146), round(4.7 * text.small))
    rows_height = CONTROL_ROWS * _LOWEST_ROW + _HINT_LINES
    is_strip = (
        rows_height * text.small + px(20) > page.height
        or page.width - drawer_width - gap - left - right < _LEAST_STAGE * width
    )
    if is_strip and no_strip:
        drawer, playing = Box(page.left, page.bottom, page.width, 0), page
    elif is_strip:
        strip = STRIP_LINES * round(_STRIP_HEIGHT * text.small) + 2
        drawer = Box(page.left, page.bottom - strip, page.width, strip)
        playing = Box(page.left, top, page.width, page.height - strip - px(8))
    else:
        drawer = Box(page.left, top, drawer_width, page.height)  # on the way to it nobody crosses the antenna
        playing = Box(drawer.right + gap, top, page.width - drawer_width - gap, page.height)

    panel_height = max(px(178), round(5 * 1.36 * text.normal + 1.7 * text.small) + 2 * px(10))
    panels = Box(playing.left, playing.bottom - panel_height, playing.width, panel_height)
    tuner, oscillogram, spectrum, chain, level = _panels(panels, scale, text, px(10))
    above, below = round(1.6 * text.small) + px(11), px(13) + round(2.95 * text.small)
    field = Box(playing.left, top, playing.width, panels.top - px(10) - top)
    stage = Box(field.left + left, top + above, field.width - left - right, field.height - above - below)
    return Layout(
        size=size,
        scale=scale,
        text=text,
        mirrored=False,
        drawer_is_strip=is_strip,
        drawer_over_stage=False,
        title=title,
        sides=sides,
        flags=flags,
        status=status,
        notice=notice,
        note_band=Box(stage.left, top, stage.width, above),
        volume_scale=Box(field.left, top, left - px(20), field.height - below),
        volume_way=Box(stage.left - px(20), top, px(20), field.height - below),
        stage=stage,
        antenna=Box(stage.right, top, right, field.height - below),
        distance_scale=Box(field.left, stage.bottom, field.width, below),
        tuner=tuner,
        oscillogram=oscillogram,
        spectrum=spectrum,
        chain=chain,
        level=level,
        drawer=drawer,
        footer=footer,
        listening=listening,
        page=page,
    )


def _panels(row: Box, scale: float, text: TextSizes, gap: int) -> tuple[Box, Box | None, Box | None, Box, Box]:
    """Tuner, oscillogram, spectrum, chain and level: each as wide as its texts need, what is left to the two curves.

    Where the row is too narrow the numbers become as narrow as they may; then the spectrum is left out, then the other.
    """
    pad = 28.0 * scale
    usual = {
        "tuner": 1.8 * text.note + 5.0 * text.large + pad,
        "oscillogram": 9.0 * text.small + pad,
        "spectrum": 9.4 * text.small + pad,
        "chain": max(5.6 * text.small + 6.9 * text.normal, 16.0 * text.small) + pad,
        "level": 4.2 * text.small + 18.0 * scale,
    }
    tight = usual | {
        "tuner": max(1.5 * text.note + 4.2 * text.large, 12.5 * text.small) + pad,
        "oscillogram": 7.6 * text.small + pad,
        "spectrum": 8.4 * text.small + pad,
        "chain": 12.6 * text.small + pad,
    }
    for least, hidden in (
        (usual, ()),
        (tight, ()),
        (usual, ("spectrum",)),
        (tight, ("spectrum",)),
        (usual, ("spectrum", "oscillogram")),
    ):
        names = [name for name in least if name not in hidden]
        spare = row.width - gap * (len(names) - 1) - sum(least[name] for name in names)
        if spare >= 0.0:
            break
    takers = [name for name in names if name in ("oscillogram", "spectrum")] or ["tuner", "chain"]
    shares = tuple(least[name] + (max(spare, 0.0) / len(takers) if name in takers else 0.0) for name in names)
    boxes = dict(zip(names, row.columns(shares, gap), strict=True))
    return boxes["tuner"], boxes.get("oscillogram"), boxes.get("spectrum"), boxes["chain"], boxes["level"]


def _mirrored(layout: Layout) -> Layout:
    """The parts around the stage, the readouts and the drawer as in a mirror; header and footer stay."""
    stay = ("title", "sides", "flags", "status", "notice", "footer", "listening")
    turned: dict[str, Any] = {
        field.name: value.mirrored(layout.size[0])
        for field in fields(layout)
        if field.name not in stay and isinstance(value := getattr(layout, field.name), Box)
    }
    return replace(layout, mirrored=True, **turned)


@dataclass(frozen=True, slots=True)
class LessonLayout(Frame):
    """Boxes of the parts of a lesson's window, which never overlap.

    The pointer plays on the pad; its marks stand below it, the number of its place above.
    """

    script: Box
    oscillogram: Box
    spectrum: Box
    choices: Box
    reading: Box
    pad: Box
    marks: Box

    @property
    def page(self) -> Box:
        """Where the caution is shown instead of everything between title and footer."""
        top = self.script.top
        return Box(self.title.left, top, self.footer.width, self.footer.top - top)

    def choice_boxes(self, count: int) -> tuple[Box, ...]:
        """A button for each of `count` sounds, side by side."""
        return self.choices.columns((1.0,) * count, self.text.small)


def lay_out_lesson(size: tuple[int, int], text_scale: float = 1.0) -> LessonLayout:
    """The layout of a window of `size` pixels (at least `SMALLEST`; ValueError below) at a text size of 0.8 to 1.6."""
    if too_small(size):
        raise ValueError(f"size must be at least {SMALLEST[0]} x {SMALLEST[1]} pixels; got {size[0]} x {size[1]}")
    width, height = size
    scale = drawing_scale(size)

    def px(length: float) -> int:
        return round(length * scale)

    text = text_sizes(size, checked_text_scale(text_scale), normal=16.0)
    margin, gap = px(24), px(16)
    inner = width - 2 * margin
    header = Box(margin, px(14), inner, max(px(36), round(1.4 * text.normal)))
    title, flags = header.columns((0.7, 0.3), gap)
    foot = max(px(26), round(1.5 * text.small))
    footer = Box(margin, height - px(10) - foot, inner, foot)
    body_top, body_bottom = header.bottom + px(10), footer.top - px(10)
    upper = Box(margin, body_top, inner, round(0.52 * (body_bottom - body_top)))
    script, plots = upper.columns((0.40, 0.60), gap)
    oscillogram, spectrum = plots.rows((0.56, 0.44), px(10))
    choices = Box(margin, upper.bottom + px(12), inner, max(px(34), round(1.6 * text.normal)))
    reading = Box(margin, choices.bottom + px(6), inner, max(px(30), round(1.3 * text.large)))
    marks_height = max(px(26), round(1.5 * text.small))
    pad_top = reading.bottom + px(4)
    pad = Box(margin, pad_top, inner, body_bottom - marks_height - pad_top)
    return LessonLayout(
        size=size,
        scale=scale,
        text=text,
        title=title,
        flags=flags,
        script=script,
        oscillogram=oscillogram,
        spectrum=spectrum,
        choices=choices,
        reading=reading,
        pad=pad,
        marks=Box(margin, pad.bottom, inner, marks_height),
        footer=footer,
    )
