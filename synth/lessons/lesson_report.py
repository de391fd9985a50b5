"""A lesson as script, data and files, from one set of figures: the claims and what the rendered sound shows."""

from __future__ import annotations

from textwrap import fill
from typing import Any

from models.arrays import Floats
from models.quick_dataclass import dataclass
from synth.errors import DesignError
from synth.files.atomic_file import make_folder, write_text
from synth.lessons.measure import measured
from synth.lessons.passage import SAMPLE_RATE
from synth.lessons.stage import Lesson
from synth.lessons.words import said
from synth.progress_line import ProgressLine
from synth.sound.audio_file import AudioWriter

SCHEMA = "beatfield.lesson/1"


@dataclass(frozen=True, slots=True, eq=False)
class LessonReport:
    """A lesson, the finished sound of each stage, and per stage and claim the level measured in it, dB.

    `gains`: how many times its recipes' own level each stage plays.
    """

    lesson: Lesson
    sounds: tuple[Floats, ...]
    levels: tuple[tuple[float, ...], ...]
    gains: tuple[float, ...]

    def stem(self, index: int) -> str:
        """Name of a stage's files without their ending."""
        return f"{index + 1:02d}-{self.lesson.stages[index].slug}"

    def text(self) -> str:
        """The script for a class."""
        lesson = self.lesson
        lines = [
            lesson.title,
            "=" * len(lesson.title),
            "",
            fill(lesson.introduction, 100),
            "",
            fill(said("caution"), 100),
            "",
        ]
        for index, (stage, levels) in enumerate(zip(lesson.stages, self.levels, strict=True)):
            lines += [f"{index + 1}. {stage.title}   ({self.stem(index)}.wav, {self.stem(index)}.png)", ""]
            for told in (
                said("script", "predict", question=stage.question),
                said("script", "answer", answer=stage.answer),
                stage.text,
            ):
                lines += [fill(told, 100), ""]
            lines.append(f"   {said('script', 'claims')}")
            lines += [
                f"   - {said('script', 'measured', claim=claim.text, level=level)}"
                for claim, level in zip(stage.claims, levels, strict=True)
            ]
            lines.append("")
        for found in lesson.experiments:
            lines += [said("script", "experiment", title=found.title), ""]
            lines += [fill(said("script", "needs", things=found.bring), 100), ""]
            lines += [fill(f"- {step}", 100, subsequent_indent="  ") for step in found.steps]
            lines += [
                "",
                fill(said("script", "expected", figures=found.expected), 100),
                "",
                fill(found.caution, 100),
                "",
            ]
        return "\n".join(lines)

    def document(self) -> dict[str, Any]:
        """The same as data."""
        return {
            "schema": SCHEMA,
            "name": self.lesson.name,
            "title": self.lesson.title,
            "introduction": self.lesson.introduction,
            "caution": said("caution"),
            "stages": [self._stage(index) for index in range(len(self.sounds))],
            "experiments": [
                {
                    "title": found.title,
                    "bring": found.bring,
                    "steps": list(found.steps),
                    "expected": found.expected,
                    "caution": found.caution,
                }
                for found in self.lesson.experiments
            ],
        }

    def _stage(self, index: int) -> dict[str, Any]:
        stage = self.lesson.stages[index]
        claims = [
            {
                "kind": claim.kind,
                "start_s": claim.start,
                "end_s": claim.end,
                "frequency_hz": claim.frequency,
                "level_db": claim.level_db,
                "measured_db": level,
            }
            for claim, level in zip(stage.claims, self.levels[index], strict=True)
        ]
        return {
            "file": self.stem(index),
            "title": stage.title,
            "question": stage.question,
            "answer": stage.answer,
            "text": stage.text,
            "minutes": stage.minutes,
            "claims": claims,
        }


def lesson_report(lesson: Lesson) -> LessonReport:
    """Render every stage and measure its claims."""
    with ProgressLine("rendering the lesson") as line:
        heard = [(*stage.levelled(), stage) for stage in line.each(lesson.stages)]
    sounds, gains, _ = zip(*heard, strict=True)
    levels = tuple(measured(stage.claims, sound) for sound, _, stage in heard)
    return LessonReport(lesson, sounds, levels, gains)


def write_lesson(report: LessonReport, folder_name: str, force: bool) -> None:
    """Write script, sounds and plots into a folder; before the first, DesignError if one exists and not `force`."""
    from synth.lessons.lesson_plot import save_stage_plot

    folder = make_folder(folder_name)
    stems = [folder / report.stem(index) for index in range(len(report.sounds))]
    names = [folder / "lesson.txt", *(stem.with_suffix(end) for stem in stems for end in (".wav", ".png"))]
    there = [str(name) for name in names if name.exists()]
    if there and not force:
        raise DesignError("\n".join(f"{name} exists already; add --force to replace it" for name in there))
    write_text(folder / "lesson.txt", report.text(), force)
    with ProgressLine("drawing the stages") as line:
        for stage, sound, stem in line.each(list(zip(report.lesson.stages, report.sounds, stems, strict=True))):
            with AudioWriter(stem.with_suffix(".wav"), SAMPLE_RATE, title=stage.title, force=force) as writer:
                writer.write(sound)
            save_stage_plot(stage, sound, stem.with_suffix(".png"), force)
