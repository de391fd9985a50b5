"""What a page plays in Chromium, rendered offline there, against Beatfield's own voice: pitch, lines, whole stages."""

from __future__ import annotations

import json

import numpy as np
import pytest
from page_sound import line, rendered

from synth.lessons.passage import MOVE, SAMPLE_RATE
from synth.lessons.waves import BENDS, Tone, Waves
from synth.pages.plain_data import axis_data, passage_data, recipe_data, waves_data
from synth.sound.voice import CrossfadingVoice

pytestmark = pytest.mark.slow
SECONDS, SETTLED = 2.5, 0.5
HIGHEST = 18_000.0  # Hz: above it lines fade out


@pytest.fixture(scope="module")
def page(chromium, pages):
    opened = chromium.page(pages["beats"])
    yield opened
    opened.close()


def sources(reports):
    for name, report in reports.items():
        if name == "path":  # it borrows the others'
            continue
        for page in report.lesson.pages:
            for choice in page.choices:
                yield f"{name} {page.slug} {choice.name}", choice.source


@pytest.mark.parametrize("place", [0.12, 0.81])
def test_every_sound_of_every_page_is_that_of_our_own_voice(page, reports, place):
    """Where the slider rests: each line up to 18 kHz within 1 cent and 0.5 dB."""
    checked = 0
    for name, source in sources(reports):
        value = float(source.axis.value(place))
        ours = CrossfadingVoice(source.start(SAMPLE_RATE), SAMPLE_RATE).render(place, round(SECONDS * SAMPLE_RATE))
        given = {"recipe": 0, "axis": axis_data(source.axis), "place": place}
        theirs = rendered(page, [recipe_data(source.recipe)], "play", given, SECONDS)
        start = round(SETTLED * SAMPLE_RATE)
        lines = [(f, a) for f, a in source.recipe.lines(value) if 20.0 <= f <= HIGHEST]
        strongest = max((a for _, a in lines), default=1.0)
        for frequency, amplitude in lines:
            apart = min((abs(frequency - other) for other, _ in lines if other != frequency), default=np.inf)
            if amplitude < 3e-3 * strongest or apart < 8.0:
                continue
            (level, at), (our_level, our_at) = (line(sound[start:], frequency) for sound in (theirs, ours))
            assert 1200.0 * abs(np.log2(at / our_at)) < 1.0, (name, frequency, at, our_at)
            assert 20.0 * abs(np.log10(level / our_level)) < 0.5, (name, frequency)
            checked += 1
        if not lines:
            assert np.abs(theirs[start:]).max() < 1e-3, name
    assert checked > 25


@pytest.mark.parametrize(("name", "number"), [("slide", 3), ("locking", 1), ("hand", 1), ("taps", 1)])
def test_a_stage_in_the_page_is_its_sound_file(page, reports, name, number):
    """Sample by sample, also while the value moves: within two thousandths of the peak, but for the ends.

    The table of an instrument's field, straight between its points, lets the phase drift by that much.
    """
    stage = reports[name].lesson.stages[number]
    sound, gain = stage.levelled()
    recipes = list(dict.fromkeys(passage.recipe for passage in stage.passages))
    given = {
        "passages": [passage_data(passage, recipes.index(passage.recipe)) for passage in stage.passages],
        "gain": gain,
        "pause": MOVE,
    }
    theirs = rendered(page, [recipe_data(recipe) for recipe in recipes], "perform", given, sound.size / SAMPLE_RATE)
    inner = np.ones(sound.size, dtype=bool)
    start = 0.0
    for passage in stage.passages:  # each opens otherwise
        inner[round(start * SAMPLE_RATE) :][:1500] = False
        start += passage.seconds + MOVE
    inner[-1500:] = False
    np.testing.assert_allclose(theirs[inner], sound[inner], atol=2e-3 * np.abs(sound).max())


def test_what_the_page_draws_is_what_the_waves_are(page):
    """Every row of the picture and its band, point by point, against synth.lessons.waves."""
    tone = Tone(440.0, 0.0)
    ones = np.linspace(0.0, 50.0, 97)
    phases = np.linspace(0.0, 2.0 * np.pi, 97)
    for bend in BENDS:
        waves = Waves(tone, Tone(0.0, 1.0), 0.7, bend, curvature=0.5, drive=1.5)
        given = json.dumps({"kind": "mixture", "waves": waves_data(waves)})
        rows = page.value(
            f"rowsOf({given}).map((row) => [row.name, {ones.tolist()}.map((one, k) => "
            f"row.at(one, one - {phases.tolist()}[k])), {phases.tolist()}.map((phase) => row.band(phase))])"
        )
        drawn = {name: (np.array(values), np.array(bands)) for name, values, bands in rows}
        twos = ones - phases
        wanted = {"first": np.cos(ones), "second": 0.7 * np.cos(twos), "sum": np.cos(ones) + 0.7 * np.cos(twos)}
        if bend != "none":
            wanted |= {bend: waves.bent(ones, twos), "filtered": waves.tone(phases)}
            np.testing.assert_allclose(drawn[bend][1].T, waves.bent_band(phases), atol=1e-9)
        assert drawn.keys() == wanted.keys()
        for name, values in wanted.items():
            np.testing.assert_allclose(drawn[name][0], values, atol=1e-9, err_msg=f"{bend} {name}")
        np.testing.assert_allclose(drawn["sum"][1][:, 1], waves.envelope(phases), atol=1e-9)
