"""One stage of a lesson as a plot: a stretch of its waveform, and its spectra with the claimed lines."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np

from models.arrays import Floats
from synth.lessons.measure import spectrum, stretch
from synth.lessons.passage import SAMPLE_RATE
from synth.lessons.stage import Stage
from synth.lessons.words import said
from synth.report.figure import BLUE, GREEN, INK, ORANGE, QUIET, VERMILLION, saved_figure

text = partial(said, "plot")
_COLOURS = (BLUE, ORANGE, GREEN, VERMILLION, QUIET)


def save_stage_plot(stage: Stage, sound: Floats, path: Path, force: bool) -> None:
    """Draw waveform and spectrum of a stage into `path`."""
    with saved_figure(path, force, (1.0, 1.5), (8.0, 6.2), share_x=False) as (figure, (wave, lines)):
        start, length = stage.wave
        piece = stretch(sound, start, start + length)
        wave.plot(start + np.arange(piece.size) / SAMPLE_RATE, piece, color=BLUE, linewidth=0.8)
        wave.set(xlabel=text("time"), ylabel=text("sample"), xlim=(start, start + length))
        wave.set_title(stage.title, loc="left", color=INK)
        spans = dict.fromkeys((claim.start, claim.end) for claim in stage.claims if claim.frequency)
        for colour, span in zip(_COLOURS, spans, strict=False):
            frequency, size = spectrum(stretch(sound, *span))
            level = 20.0 * np.log10(np.maximum(size / size.max(), 1e-6))
            shown = (frequency >= stage.band[0]) & (frequency <= stage.band[1])
            label = text("span", start=span[0], end=span[1])
            lines.plot(frequency[shown], level[shown], color=colour, linewidth=1.0, label=label)
        for kind, marker in (("line", "o"), ("absent", "x")):
            found = [
                (claim.frequency, claim.level_db if kind == "line" else -60.0)
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
        handles, labels = lines.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=4, fontsize=9)
