"""The parts that every page is put together from: the bar with the level, the caution, a station with its pictures."""

from __future__ import annotations

from functools import partial

from synth.lessons.recipes import Instrumental, Recipe
from synth.lessons.words import said
from synth.report.sheet_markup import tag, text

page = partial(said, "page")
QUIETEST_DB, FIRST_DB = -40, -20  # of the listening level, under full


def bar() -> str:
    """The bar that stays at the top: the listening level, and an end to all sound."""
    slider = (
        f'<input id="level" type="range" min="{QUIETEST_DB}" max="0" step="1" value="{FIRST_DB}"'
        f' aria-valuetext="{text(f"{FIRST_DB} dB".replace("-", chr(0x2212)))}">'
    )
    level = tag("label", tag("span", text(page("level"))) + slider)
    stop = tag("button", text(page("stop")), type="button", id="stop")
    return tag("div", level + stop, class_="bar", role="region", aria_label=page("sound"))


def caution_box(caution: str) -> str:
    """The caution that must be answered before the first sound."""
    buttons = tag("button", text(page("start")), value="start", autofocus="") + tag(
        "button", text(page("not-yet")), value="no", formnovalidate=""
    )
    inner = tag("h2", text(page("before")), id="caution-title") + tag("p", text(caution))
    return tag(
        "dialog", inner + tag("form", buttons, method="dialog"), id="caution-box", aria_labelledby="caution-title"
    )


def station(name: str, words: str, pictures: str) -> str:
    """One thing to listen to: words and controls beside its pictures."""
    inner = tag("div", words) + tag("div", pictures)
    return tag("section", inner, class_="station", id=name, aria_labelledby=f"{name}-title")


def playing(recipe: Recipe, title: str) -> str:
    """Figures, moving picture, slowing and spectrum of what plays."""
    if isinstance(recipe, Instrumental):
        return pictures_of_instrument(title)
    names = ["first", "second", "beat", "counted"]
    if recipe.waves is not None and recipe.waves.bend != "none":
        names.insert(3, "note")
    return _figures(*names) + _pictures(title)


def pictures_of_instrument(title: str) -> str:
    """The same with the hand and the rod."""
    drawn = tag("canvas", "", class_="above", role="img", aria_label=page("hand-picture"))
    figures = _figures("distance", "added", "reference", "variable", "beat", "note", "counted")
    return figures + tag("figure", drawn) + _pictures(title)


def _pictures(title: str) -> str:
    waves = tag("canvas", "", class_="waves", role="img", aria_label=page("picture", title=title))
    measured = tag("canvas", "", class_="spectrum", role="img", aria_label=page("spectrum", title=title))
    return tag("figure", waves + slowing(title)) + tag("figure", measured + tag("figcaption", text(page("marks"))))


def _figures(*names: str) -> str:
    cells = "".join(
        tag("div", tag("dt", text(page("figures", name))) + tag("dd", "\N{EN DASH}", data_figure=name))
        for name in names
    )
    return tag("dl", cells, class_="figures")


def slowing(title: str) -> str:
    """The slider that slows the picture, with what it says."""
    label = tag("span", text(page("slowing")))
    name = text(page("slowing-of", title=title))
    slider = f'<input class="slowing" type="range" min="0" max="1000" step="1" value="0" aria-label="{name}">'
    return tag("div", tag("div", label + " " + tag("output", "", class_="slowed")) + slider, class_="slider")
