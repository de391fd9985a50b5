"""A lesson as one page: stages to listen to, sounds to try, questions with answers that open, and sheets to print."""

from __future__ import annotations

from functools import partial
from html import escape
from typing import Any

from models.pitch import REFERENCE_A
from synth.lessons.lesson_report import LessonReport
from synth.lessons.live import LiveStage
from synth.lessons.passage import MOVE
from synth.lessons.recipes import Instrumental, Recipe, difference_of
from synth.lessons.setup import LessonSetup
from synth.lessons.stage import Stage
from synth.lessons.waves import Waves
from synth.lessons.words import said, table
from synth.pages.document import document
from synth.pages.markup import bar, caution_box, playing, station
from synth.pages.paper import experiment, teacher_sheet, worksheet
from synth.pages.plain_data import axis_data, hand_data, passage_data, recipe_data, stage_seconds
from synth.report.sheet_markup import bullets, tag, text

SCREEN_SECONDS, BEATS_SHOWN = 4.0, 3.0  # of a picture, when nothing else is asked for
LONGEST, SHORTEST = 17, 15  # measured spectra: powers of two of samples, for lines close to each other and others
page = partial(said, "page")


class Recipes:
    """The recipes of a page, each once."""

    def __init__(self, setup: LessonSetup) -> None:
        self._setup = setup
        self._found: list[Recipe] = []

    def number(self, recipe: Recipe) -> int:
        """The recipe's place in the page's list."""
        if recipe not in self._found:
            self._found.append(recipe)
        return self._found.index(recipe)

    def data(self) -> list[dict[str, Any]]:
        """All of them, for the page."""
        return [recipe_data(recipe, self._hand(recipe)) for recipe in self._found]

    def _hand(self, recipe: Recipe) -> dict[str, float] | None:
        if not isinstance(recipe, Instrumental):
            return None
        fist = recipe.instrument.curve == self._setup.fist.curve
        return hand_data("fist" if fist else "open", self._setup.parts.antenna.diameter, 0.6)


def lesson_page(report: LessonReport, setup: LessonSetup) -> str:
    """The whole file."""
    lesson, recipes = report.lesson, Recipes(setup)
    stations, data = [], []

    def offer(after: str) -> None:
        for trial in lesson.pages:
            if trial.after == after:
                stations.append(_try_html(trial))
                data.append(_try_data(trial, recipes))

    for number, (stage, gain) in enumerate(zip(lesson.stages, report.gains, strict=True), 1):
        stations.append(_stage_html(number, stage))
        data.append(_stage_data(stage, gain, recipes))
        offer(stage.slug)
    offer("")
    tried = [tag("section", experiment(found), class_="plain") for found in lesson.experiments]
    title = tag("header", tag("h1", text(lesson.title)) + tag("p", text(lesson.introduction)), class_="title")
    body = [
        bar(),
        caution_box(said("caution")),
        title,
        tag("main", "\n".join([_start(), *stations, *tried])),
        tag("footer", tag("p", text(lesson.sources)) + tag("p", text(page("made")))),
        worksheet(report),
        teacher_sheet(report),
    ]
    words = {**table("page", "script"), "rows": table("page", "rows")}
    filled = {"recipes": recipes.data(), "stations": data, "words": words, "referenceA": REFERENCE_A}
    return document(lesson.title, "\n".join(body), filled)


def _start() -> str:
    caution = tag("div", tag("p", text(said("caution"))), class_="caution", role="note")
    prints = "".join(
        tag("button", text(page("prints", sheet)), type="button", data_prints=sheet)
        for sheet in ("worksheet", "teacher")
    )
    read = bullets((page("waves-caption"), page("spectrum-caption")))
    pictures = tag("details", tag("summary", text(page("pictures"))) + read, class_="plain")
    return caution + tag("div", prints, class_="prints") + pictures


def _stage_html(number: int, stage: Stage) -> str:
    heading = tag("h2", text(f"{number}. {stage.title}"), id=f"{stage.slug}-title")
    ask = tag("p", f"{tag('b', text(page('predict')))} {text(stage.question)}", class_="ask")
    play = tag("button", text(page("listen")), type="button", class_="play", aria_pressed="false")
    progress = f'<progress max="1" value="0" aria-label="{escape(page("progress"))}"></progress>'
    answer = tag("p", text(stage.answer), class_="answer") + tag("p", text(stage.text))
    check = tag("details", tag("summary", text(page("check"))) + answer)
    left = heading + ask + tag("div", play + progress, class_="controls") + check
    return station(stage.slug, left, playing(stage.passages[0].recipe, stage.title))


def _try_html(trial: LiveStage) -> str:
    name = f"try-{trial.slug}"
    heading = tag("h2", text(page("try", title=trial.title)), id=f"{name}-title")
    axis = trial.choices[0].source.axis
    choices = "".join(
        tag(
            "label",
            f'<input type="radio" name="{name}-sound" value="{at}"{" checked" if at == 0 else ""}>'
            + tag("span", text(choice.name)),
        )
        for at, choice in enumerate(trial.choices)
    )
    group = tag("fieldset", tag("legend", text(page("sounds"))) + choices) if len(trial.choices) > 1 else ""
    slider = tag(
        "div",
        tag("label", f"{text(axis.name)}: {tag('output', '', class_='shown')}", for_=f"{name}-place")
        + f'<input class="place" id="{name}-place" type="range" min="0" max="1000" step="1" value="500">'
        + tag("div", "", class_="marks", aria_hidden="true"),
        class_="slider",
    )
    play = tag("button", text(page("play")), type="button", class_="play", aria_pressed="false")
    hear = "".join(
        tag("p", text(choice.hear), class_="hear", data_sound=str(at)) for at, choice in enumerate(trial.choices)
    )
    left = heading + tag("p", text(trial.pointer)) + tag("div", group + play + slider, class_="controls") + hear
    return station(name, left, playing(trial.choices[0].source.recipe, trial.title))


def default_slowing(waves: Waves, difference: float) -> float:
    """How many times slower than the waves a picture runs at first: some beats stand in it, or it runs with a slow
    sound.
    """
    beat = abs(waves.beat(difference))
    wanted = SCREEN_SECONDS * beat / BEATS_SHOWN
    return float(waves.slowed if wanted < 10.0 else max(waves.slowed, wanted))


def _slowing(recipe: Recipe, value: float) -> float:
    """Of a recipe with its value: Hz, or for an instrument the hand's distance, m."""
    return 1.0 if recipe.waves is None else default_slowing(recipe.waves, difference_of(recipe, value))


def _stage_data(stage: Stage, gain: float, recipes: Recipes) -> dict[str, Any]:
    first = stage.passages[0]
    return {
        "kind": "stage",
        "id": stage.slug,
        "passages": [passage_data(passage, recipes.number(passage.recipe)) for passage in stage.passages],
        "gain": gain,
        "pause": MOVE,
        "seconds": stage_seconds(stage.passages),
        "slow": _slowing(first.recipe, first.values[0]),
        "spectrum": {
            "band": stage.band,
            "size": LONGEST if stage.wave[1] > 0.2 else SHORTEST,
            "moving": stage.slides,
            "claims": [
                {"kind": claim.kind, "start": claim.start, "end": claim.end, "frequency": claim.frequency}
                for claim in stage.claims
            ],
        },
    }


def _try_data(trial: LiveStage, recipes: Recipes) -> dict[str, Any]:
    source = trial.choices[0].source
    return {
        "kind": "try",
        "id": f"try-{trial.slug}",
        "sounds": [
            {"recipe": recipes.number(choice.source.recipe), "axis": axis_data(choice.source.axis)}
            for choice in trial.choices
        ],
        "slow": _slowing(source.recipe, float(source.axis.value(0.5))),
        "spectrum": {"band": trial.band, "size": LONGEST if (trial.span or 0.0) > 0.2 else SHORTEST},
    }
