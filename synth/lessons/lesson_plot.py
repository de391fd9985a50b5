"""One stage of a lesson as a plot: a stretch of its waveform, and its spectra, or where it slides its spectrogram."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np

from models.arrays import Floats
from synth.lessons.measure import spectrum, stretch
from synth.lessons.passage import MOVE, SAMPLE_RATE
from synth.lessons.stage import ABSENT_DB, Stage
from synth.lessons.words import said
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, Axes, Layout, saved_figure

text = partial(said, "plot")
_COLOURS = (BLUE, ORANGE, GREEN, VERMILLION, QUIET)
_DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
_WINDOW, _STEP, _DEEPEST_DB = 4096, 1024, -60.0  # samples, of a spectrogram, and its faintest level
_FAINTEST = 3e-3  # of the strongest: lines of a recipe that are drawn on it


def save_stage_plot(stage: Stage, sound: Floats, path: Path, force: bool) -> None:
    """Draw waveform and spectrum of a stage into `path`."""
    with saved_figure(path, force, Layout((1.0, 1.5), (8.0, 6.2), share_x=False)) as (figure, (wave, lines)):
        start, length = stage.wave
        piece = stretch(sound, start, start + length)
        wave.plot(start + np.arange(piece.size) / SAMPLE_RATE, piece, color=BLUE, linewidth=0.8)
        wave.set(xlabel=text("time"), ylabel=text("amplitude"), xlim=(start, start + length))
        wave.set_title(stage.title, loc="left", color=INK)
        (_spectrogram if stage.slides else _spectra)(lines, stage, sound)
        handles, labels = lines.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=4, fontsize=9)


def _spectra(lines: Axes, stage: Stage, sound: Floats) -> None:
    """One spectrum for each stretch that is claimed of, told apart by its dashes, with what is predicted in it."""
    spans = dict.fromkeys((claim.start, claim.end) for claim in stage.claims if claim.frequency)
    for colour, dashes, span in zip(_COLOURS, _DASHES, spans, strict=False):
        frequency, size = spectrum(stretch(sound, *span))
        level = 20.0 * np.log10(np.maximum(size / size.max(), 1e-6))
        shown = (frequency >= stage.band[0]) & (frequency <= stage.band[1])
        label = text("span", start=span[0], end=span[1])
        lines.plot(frequency[shown], level[shown], color=colour, linewidth=1.0, linestyle=dashes, label=label)
    for kind, marker in (("line", "o"), ("absent", "x")):
        found = [
            (claim.frequency, claim.level_db if kind == "line" else ABSENT_DB)
            for claim in stage.claims
            if claim.kind == kind and stage.band[0] <= claim.frequency <= stage.band[1]
        ]
        if found:
            points = zip(*found, strict=True)
            lines.plot(*points, marker, color=INK, fillstyle="none", label=text(kind), clip_on=False)
    if stage.band[1] > 5.0 * stage.band[0]:
        lines.set_xscale("log")
        lines.xaxis.set_major_formatter("{x:g}")
    lines.set(xlabel=text("frequency"), ylabel=text("level"), xlim=stage.band, ylim=(-90.0, 8.0))
    lines.grid(axis="y")


def _spectrogram(lines: Axes, stage: Stage, sound: Floats) -> None:
    """Frequency against time, dark where it is strong, with the lines that the recipe predicts all along."""
    starts = np.arange(0, sound.size - _WINDOW, _STEP)
    sizes = np.array([spectrum(sound[start : start + _WINDOW], padding=1)[1] for start in starts])
    frequency = spectrum(sound[:_WINDOW], padding=1)[0]
    level = 20.0 * np.log10(np.maximum(sizes / sizes.max(), 1e-6))
    middles = (starts + 0.5 * _WINDOW) / SAMPLE_RATE
    shown = (frequency >= stage.band[0]) & (frequency <= stage.band[1])
    image = lines.pcolormesh(
        middles, frequency[shown], level.T[shown], cmap="Blues", vmin=_DEEPEST_DB, vmax=0.0, rasterized=True
    )
    lines.figure.colorbar(image, ax=lines, label=text("level"), pad=0.01)
    predicted = np.array(_predicted(stage))
    kept = (predicted[:, 1] >= stage.band[0]) & (predicted[:, 1] <= stage.band[1])
    lines.plot(*predicted[kept].T, ".", color=INK, markersize=1.5, label=text("course"))
    lines.set_yscale("log")
    lines.yaxis.set_major_formatter("{x:g}")
    lines.set(xlabel=text("time"), ylabel=text("frequency"), ylim=stage.band, xlim=(0.0, sound.size / SAMPLE_RATE))


def _predicted(stage: Stage) -> list[tuple[float, float]]:
    """(time, frequency) of the lines that each passage's recipe names along its course."""
    points, begin = [], 0.0
    for passage in stage.passages:
        course = passage.course()
        for at in np.arange(0.02, passage.seconds, 0.08).tolist():
            found = passage.recipe.lines(float(course[round(at * SAMPLE_RATE)]))
            strongest = max((size for _, size in found), default=1.0)
            points += [(begin + at, frequency) for frequency, size in found if size > _FAINTEST * strongest]
        begin += passage.seconds + MOVE
    return points
