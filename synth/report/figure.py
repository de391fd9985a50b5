"""The one look of every plot: white ground, one typeface, thin axes, Okabe-Ito colours, saved whole or not at all.

Matplotlib is imported here, when a plot is wanted; figures are drawn without any screen.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

from models.pitch import note_name
from models.quick_dataclass import dataclass
from synth.beside import Beside
from synth.errors import DesignError, InstrumentError
from synth.files.atomic_file import atomic_path
from synth.libraries import require

if TYPE_CHECKING:
    from matplotlib.axes import Axes as Axes
    from matplotlib.figure import Figure
else:
    Axes = Any  # the name is for annotations alone: matplotlib is imported when a plot is drawn

# Okabe and Ito, Color Universal Design (2008), values from memory
BLUE, ORANGE, GREEN, VERMILLION = "#0072b2", "#e69f00", "#009e73", "#d55e00"
INK, QUIET, GRID = "#1a1a1a", "#595959", "#d9d9d9"
Band = tuple[float, float]
FORMATS = (".png", ".svg")
LOADED_AHEAD = ("matplotlib.backends.backend_agg", "matplotlib.figure", "PIL.PngImagePlugin")
QUICKLY_PACKED = {"compress_level": 1}
"""A PNG is larger by an eighth than packed as closely as can be, and written in two thirds of the time."""
_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 10.0,
    "axes.titlesize": 11.0,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "lines.linewidth": 1.8,
    "legend.frameon": False,
    "svg.hashsalt": "beatfield",
    "text.parse_math": False,  # a dollar sign in a design's name is a dollar sign
    "figure.dpi": 150,
}


def checked_plot_path(name: str | Path) -> Path:
    """`name` as a path if its ending is one a plot can have; raise DesignError otherwise."""
    path = Path(name)
    if path.suffix.lower() not in FORMATS:
        raise DesignError(f"{path}: name the plot {' or '.join(FORMATS)}")
    return path


@dataclass(frozen=True, slots=True)
class Layout:
    """Axes above one another in a figure of `size` inches, by default with one x axis.

    heights: of the rows, relative to each other; widths: of the columns, where there are several; the axes come column
    by column. margins: left, right, top, bottom and the space between rows (shares of the figure, of an axes' height)
    in place of those computed from the labels, which takes a third of the drawing.
    """

    heights: tuple[float, ...]
    size: tuple[float, float]
    share_x: bool = True
    widths: tuple[float, ...] = (1.0,)
    margins: tuple[float, float, float, float, float] | None = None


_BEGUN: dict[Layout, tuple[Figure, list[Axes]]] = {}
"""Figures with axes for plots that are to come (`begin_figure`)."""


@contextmanager
def saved_figure(path: str | Path, force: bool, layout: Layout) -> Iterator[tuple[Figure, list[Axes]]]:
    """Yield a figure and its axes; save it on leaving: `path` (.png or .svg) appears whole or not at all."""
    target = checked_plot_path(path)
    mpl = plotting_library()
    kind = target.suffix.lower()[1:]
    with mpl.rc_context(_STYLE), atomic_path(target, force) as temporary:
        begun = _BEGUN.pop(layout, None)
        figure, axes = begun or _made(layout)
        yield figure, axes
        options: dict[str, Any] = {"metadata": {"Date": None}} if kind == "svg" else {"pil_kwargs": QUICKLY_PACKED}
        figure.savefig(temporary, format=kind, **options)


def begin_figure(layout: Layout) -> None:
    """Have the figure with its axes ready for the next plot of that layout."""
    with plotting_library().rc_context(_STYLE):
        _BEGUN[layout] = _made(layout)


def _made(layout: Layout) -> tuple[Figure, list[Axes]]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=layout.size, layout="constrained" if layout.margins is None else None)
    if layout.margins is not None:
        figure.subplots_adjust(**dict(zip(("left", "right", "top", "bottom", "hspace"), layout.margins, strict=True)))
    axes = figure.subplots(
        len(layout.heights),
        len(layout.widths),
        sharex="col" if layout.share_x else "none",
        height_ratios=layout.heights,
        width_ratios=layout.widths,
        squeeze=False,
    )
    return figure, list(axes.T.ravel())


def plotting_library() -> ModuleType:
    """Matplotlib as it comes: settings and backend of the user (a file `matplotlibrc` here or named by $MATPLOTLIBRC,
    $MPLBACKEND) change no plot and cannot break one. While it is first imported, the shipped settings lie in the
    current folder, where it looks first. It lists no properties in its own help, which is a quarter of its loading.
    """
    data = here = None
    with suppress(ImportError, OSError):  # it is missing, or the current folder was removed
        spec, here = find_spec("matplotlib"), os.getcwd()
        data = None if spec is None or spec.origin is None else Path(spec.origin).parent / "mpl-data"
    if "matplotlib" in sys.modules or data is None or here is None:
        return require("matplotlib", "a plot")
    backend = os.environ.pop("MPLBACKEND", None)
    try:
        os.chdir(data)
        library = require("matplotlib", "a plot")
        vars(require("matplotlib.artist", "a plot"))["kwdoc"] = lambda artist: ""
        return library
    finally:
        os.chdir(here)
        if backend is not None:
            os.environ["MPLBACKEND"] = backend


def drawing_beside(module: str) -> Beside:
    """A second process for what `module` draws, which loads the library meanwhile: half a second of work. Where it is
    loaded already, all is drawn here.
    """
    return Beside(module=module, ready=load_plotting, here=LOADED_AHEAD[0] in sys.modules)


def load_plotting() -> None:
    """Load all that a plot needs; a library that is missing is told of by whoever draws with it."""
    with suppress(InstrumentError, ImportError):
        plotting_library()
        for name in LOADED_AHEAD:
            import_module(name)


def legend_above(axes: Axes, columns: int = 2, right: bool = False) -> None:
    """A row of labels above the axes, clear of the curves."""
    corner: Any = ("lower right", (1.0, 1.0)) if right else ("lower left", (0.0, 1.0))
    axes.legend(loc=corner[0], bbox_to_anchor=corner[1], ncols=columns, fontsize=9, borderaxespad=0.2)


def draw_note_axis(axes: Axes, low: float, high: float) -> None:
    """A vertical axis of note numbers from `low` to `high`, named at every octave from C."""
    ticks = 12.0 * np.arange(np.ceil(low / 12.0), np.floor(high / 12.0) + 1.0)
    axes.set_yticks(ticks, [note_name(tick) for tick in ticks])
    axes.set_ylim(low, high)
    axes.set_ylabel("note")


def draw_bands(axes: Axes, rows: Sequence[Sequence[Band | None]], styles: Sequence[dict[str, Any]]) -> None:
    """Rows of horizontal bands, the first on top; in every row a band for each of `styles`, None for one left out."""
    for place, bands in enumerate(rows):
        for band, style in zip(bands, styles, strict=True):
            if band is not None:
                axes.plot(band, [place, place], **style | ({"label": None} if place else {}))
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.grid(axis="x")
