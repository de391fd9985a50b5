"""What a lesson's page prints: the worksheet for pupils, and the teacher's sheet: answers, times, what to bring."""

from __future__ import annotations

from functools import partial

from synth.lessons.lesson_report import LessonReport
from synth.lessons.stage import Experiment
from synth.lessons.words import said
from synth.report.sheet_markup import bullets, tag, text

paper = partial(said, "page", "paper")


def worksheet(report: LessonReport) -> str:
    """Questions with space for what a pupil expects and hears."""
    lesson = report.lesson
    parts = [
        tag("h1", text(paper("worksheet", title=lesson.title))),
        tag("p", text(paper("name"))),
        tag("p", text(lesson.introduction)),
        tag("p", text(said("caution")), class_="caution"),
    ]
    for number, stage in enumerate(lesson.stages, 1):
        heading = tag("h2", text(f"{number}. {stage.title}"))
        spaces = tag("div", text(paper("expect")), class_="space") + tag("div", text(paper("heard")), class_="space")
        parts.append(tag("section", heading + tag("p", text(stage.question)) + spaces))
    parts += [tag("section", _experiment(found, spaces=True)) for found in lesson.experiments]
    return tag("div", "\n".join(parts), class_="paper worksheet")


def teacher_sheet(report: LessonReport) -> str:
    """Answers, times, what to bring, and what was measured in each sound."""
    lesson = report.lesson
    minutes = sum(stage.minutes for stage in lesson.stages)
    parts = [
        tag("h1", text(paper("teacher", title=lesson.title))),
        tag("p", text(paper("time", minutes=minutes, stages=len(lesson.stages)))),
        tag("h2", text(paper("bring"))),
        tag("p", text(lesson.bring)),
        tag("h2", text(paper("cautions"))),
        tag("p", text(said("caution")), class_="caution"),
    ]
    for index, (stage, levels) in enumerate(zip(lesson.stages, report.levels, strict=True)):
        head = tag("h2", text(paper("stage", number=index + 1, title=stage.title, minutes=stage.minutes)))
        claims = (
            said("script", "measured", claim=claim.text, level=level)
            for claim, level in zip(stage.claims, levels, strict=True)
        )
        found = tag("p", text(said("script", "claims"))) + bullets(claims)
        words = tag("p", text(stage.question)) + tag("p", tag("b", text(stage.answer))) + tag("p", text(stage.text))
        parts.append(tag("section", head + words + tag("div", found, class_="claims")))
    parts += [tag("section", _experiment(found, spaces=False)) for found in lesson.experiments]
    parts += [tag("h2", text(paper("sources"))), tag("p", text(lesson.sources))]
    return tag("div", "\n".join(parts), class_="paper teacher")


def experiment(found: Experiment) -> str:
    """An experiment on the screen: the figure that is expected opens."""
    opened = tag("details", tag("summary", text(paper("expected"))) + tag("p", text(found.expected)))
    return _head(found) + opened


def _experiment(found: Experiment, spaces: bool) -> str:
    end = tag("div", text(paper("measured")), class_="space") if spaces else tag("p", tag("b", text(found.expected)))
    return _head(found) + end


def _head(found: Experiment) -> str:
    return (
        tag("h2", text(said("script", "experiment", title=found.title)))
        + tag("p", text(said("script", "needs", things=found.bring)))
        + bullets(found.steps)
        + tag("p", text(found.caution), class_="caution")
    )
