"""A design as a page that plays: the hand under the pointer or two fingers, field, lock, detector and volume inside."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from models.detector.memoryless import Detector
from models.instrument import Instrument
from synth.build.workbench import OpenedDesign
from synth.lessons.passage import SAMPLE_RATE
from synth.lessons.waves import Waves, oscillators
from synth.lessons.words import said, table
from synth.pages.document import CODE, document, packed
from synth.pages.lesson_page import default_slowing
from synth.pages.markup import bar, caution_box, pictures_of_instrument, station
from synth.pages.plain_data import even_shape, hand_data, instrument_data, waves_data
from synth.report.sheet_markup import bullets, tag, text
from synth.sound.row_table import instrument_rows
from synth.window.scale import PLAIN, VolumeAxis, ring_volume, stage_width

VOLUME_POINTS = 513  # of the table of gains, even in height
FAINTEST, MOST_HARMONICS = 1e-4, 96  # of rows along the hand: weaker harmonics, and higher ones, are left out
LEFT_OUT = ("body", "second-hand", "noise", "live", "harmonics")
BENDS = {
    "product": "product",
    "envelope": "rectified",
    "diode": "rectified",
    "square-law": "squared",
    "junction": "exponential",
    "drawn": "none",  # what its parts make of the sum is no one curve
}
page = partial(said, "page", "instrument")


def design_page(opened: OpenedDesign) -> str:
    """The whole file."""
    instrument, design = opened.instrument, opened.design
    title = page("title", name=design.name)
    body = [
        bar(),
        caution_box(said("caution")),
        tag("header", tag("h1", text(title)) + tag("p", text(design.about.description)), class_="title"),
        tag("main", _main(opened)),
        tag("footer", tag("p", text(page("made")))),
    ]
    width = stage_width(opened.field.zero_beat_distance, instrument.curve.farthest)
    waves = _waves(instrument, opened.tuning_distance)
    recipe = {
        **instrument_data(instrument, instrument.level, _shape(instrument)),
        "hand": hand_data(design.player.posture, design.antenna.diameter, width),
        "waves": waves_data(waves),
    }
    resting = 0.5 * width
    free = abs(float(instrument.offset_frequency(resting)))
    part = {
        "kind": "play",
        "id": "play",
        "width": width,
        "resting": resting,
        "notes": [(line.name, line.distance) for line in opened.field.notes() if line.distance <= width],
        "zero": opened.field.zero_beat_distance,
        "volume": _volume_data(opened),
        "slow": default_slowing(waves, free),
        "spectrum": {"band": (20.0, 20_000.0), "size": 15},
    }
    words = {**table("page", "script"), **table("page", "instrument", "script"), "rows": table("page", "rows")}
    data = {"recipes": [recipe], "stations": [part], "words": words, "referenceA": design.tuning.reference_a}
    return document(title, "\n".join(body), data, (*CODE[:-1], "play.js", CODE[-1]))


def _main(opened: OpenedDesign) -> str:
    instrument = opened.instrument
    name = text(page("field", name=opened.design.name))
    heading = tag("h2", text(page("play")), id="play-title")
    button = tag("button", text(said("page", "play")), type="button", class_="play", aria_pressed="false")
    canvas = tag("canvas", "", class_="strings", role="img", aria_label=page("field", name=opened.design.name))
    sliders = "".join(
        tag(
            "div",
            tag("label", f"{text(page(which))} {tag('output', '', class_='shown')}", for_=f"play-{which}")
            + f'<input id="play-{which}" type="range" min="0" max="1000" step="1" value="{start}">',
            class_="slider",
        )
        for which, start in (("distance", 500), ("height", 700))
    )
    how = page("ring-how" if opened.volume is not None else "plain-how")
    left = heading + tag("p", text(how)) + tag("div", button + sliders, class_="controls")
    field = tag("section", tag("figure", canvas), class_="plain", aria_label=name)
    left_out = (*LEFT_OUT, "diode") if instrument.detector.kind == "diode" else LEFT_OUT
    sketch = tag("p", text(page("sketch"))) + bullets(
        page("leaves-out", each, posture=opened.design.player.posture) for each in left_out
    )
    notices = opened.notices
    told = tag("h3", text(page("notices"))) + bullets(notices) if notices else ""
    caution = tag("div", tag("p", text(said("caution"))), class_="caution", role="note")
    inside = station("play", left, pictures_of_instrument(opened.design.name))
    facts = page(
        "facts",
        kind=instrument.detector.kind,
        lock=instrument.lock_range,
        reference_khz=1e-3 * instrument.reference_frequency,
    )
    about = tag("h2", text(page("about"))) + tag("p", text(facts)) + sketch + told
    return caution + field + inside + tag("section", about, class_="plain")


def _volume_data(opened: OpenedDesign) -> dict[str, Any]:
    """Gain against the height of the volume hand, and that height in metres, None for a plain gain."""
    axis: VolumeAxis = PLAIN if opened.volume is None else ring_volume(opened.volume)
    gains = [axis.gain_at(float(height)) for height in np.linspace(0.0, 1.0, VOLUME_POINTS)]
    return {"top": axis.top, "gains": packed(gains)}


def _waves(instrument: Instrument, distance: float) -> Waves:
    """What is drawn: both oscillators, added and bent as this kind of detector bends them."""
    detector = instrument.detector_at(distance)
    drawn = oscillators(
        instrument.reference_frequency, instrument.lock_range, BENDS[detector.kind], detector.amplitude_ratio
    )
    if isinstance(detector, Detector) and detector.kind == "junction":
        return drawn.driven(detector.drive)
    return drawn


def _shape(instrument: Instrument) -> dict[str, Any]:
    """The detector's harmonics: one row for all distances, or rows along the hand's way, as the voice has them."""
    if instrument.detector.kind != "diode" and not instrument.amplitude_varies:
        return even_shape(instrument)
    rows = instrument_rows(instrument, SAMPLE_RATE)
    sounding = rows.coefficients[:, 1 : MOST_HARMONICS + 1]
    strengths = np.abs(sounding).max(axis=0)
    kept = int(np.flatnonzero(strengths > FAINTEST * strengths.max())[-1]) + 1
    return {
        "width": kept,
        "offsets": packed(rows.offsets),
        "even": packed(sounding[:, :kept].real.ravel()),
        "odd": packed(sounding[:, :kept].imag.ravel()),
        "mirrored": rows.mirrored,
    }
