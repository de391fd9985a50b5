"""A lesson in the making: recipes and claims come from the lesson's module, titles and texts from the file of texts."""

from __future__ import annotations

from synth.lessons.live import LiveChoice, LiveStage, OnAxis
from synth.lessons.passage import Passage
from synth.lessons.stage import PEAK_DB, Claim, Experiment, Lesson, Stage
from synth.lessons.words import said, texts


class Draft:
    """Puts words to the stages and pages of one lesson; `figures` are the numbers its texts may name."""

    def __init__(self, name: str, **figures: object) -> None:
        self._name, self._figures = name, figures

    def _said(self, *keys: str) -> str:
        return said(self._name, *keys, **self._figures)

    def stage(
        self,
        slug: str,
        claims: tuple[Claim, ...],
        passages: Passage | tuple[Passage, ...],
        wave: tuple[float, float],
        band: tuple[float, float] = (20.0, 22_000.0),
        peak_db: float = PEAK_DB,
    ) -> Stage:
        """One step of the script; the arguments as in `Stage`."""
        title, question, answer, text = (
            self._said("stages", slug, key) for key in ("title", "question", "answer", "text")
        )
        minutes = int(self._said("stages", slug, "minutes"))
        played = (passages,) if isinstance(passages, Passage) else passages
        return Stage(slug, title, question, answer, text, minutes, claims, played, wave, band, peak_db)

    def page(
        self, slug: str, sounds: dict[str, OnAxis], band: tuple[float, float], span: float | None = None
    ) -> LiveStage:
        """One page of live play; `sounds` by their keys in the texts, the rest as in `LiveStage`."""
        here = ("pages", slug)
        choices = tuple(
            LiveChoice(self._said(*here, "sounds", key, "name"), self._said(*here, "sounds", key, "hear"), source)
            for key, source in sounds.items()
        )
        return LiveStage(slug, self._said(*here, "title"), self._said(*here, "pointer"), choices, band, span)

    def experiment(self, slug: str) -> Experiment:
        """Something to do; its steps are the texts under "steps", in their order."""
        here = ("experiments", slug)
        title, bring, expected, caution = (self._said(*here, key) for key in ("title", "bring", "expected", "caution"))
        steps = tuple(self._said(*here, "steps", key) for key in texts()[self._name]["experiments"][slug]["steps"])
        return Experiment(title, bring, steps, expected, caution)

    def lesson(
        self, stages: tuple[Stage, ...], pages: tuple[LiveStage, ...], experiments: tuple[Experiment, ...] = ()
    ) -> Lesson:
        """The lesson as it is told."""
        title, introduction, bring, sources = (self._said(key) for key in ("title", "introduction", "bring", "sources"))
        return Lesson(self._name, title, introduction, bring, sources, stages, pages, experiments)
